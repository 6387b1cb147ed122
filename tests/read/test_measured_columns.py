"""Columns with a unit of something measured are no switches, however few values they hold."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read

RECORDING = make_recording(cycles=8)


@pytest.mark.parametrize(
    ("name", "drawn", "rest"),
    [
        ("Supply pressure, bar", "5.40", "5.50"),
        ("Supply air [bar]", "5.4", "5.5"),
        ("Valve supply/kPa", "540", "550"),
        ("Suction temperature (°C)", "21.5", "21.4"),
        ("Supply air (l/min)", "55", "0"),
    ],
)
@pytest.mark.parametrize("noise", [False, True])
def test_what_is_measured_is_no_command(tmp_path, name, drawn, rest, noise):
    """Air that is drawn moves like the valve, the other way round and later; the valve stays the supply."""
    supply = RECORDING.digital & 1
    moved = np.roll(supply, 6)
    cells = zip(RECORDING.time_s, RECORDING.pressure_kpa, moved, RECORDING.digital.astype(int), strict=True)
    rows = [
        f"{t:.3f};{p:.2f};{drawn if m else rest}{k % 3 if noise and '.' in rest else ''};{d & 1};{d >> 1 & 1};{d >> 2}"
        for k, (t, p, m, d) in enumerate(cells)
    ]
    path = tmp_path / "log.csv"
    path.write_text("\n".join([f"Time (s);Vacuum gauge (kPa);{name};DO1;DO2;DI1", *rows]) + "\n")
    found = read(path)
    assert found.layout.columns["supply"] == "DO1"
    assert np.array_equal(found.digital, RECORDING.digital)
