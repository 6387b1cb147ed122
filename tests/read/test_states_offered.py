"""The states that a question offers for suction and blow-off read right when they are pasted."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.read.deciding import UndecidedLogError
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=12)


@pytest.mark.parametrize("quiet_s", [0.0, 2.0])
def test_a_state_of_rest_is_not_offered_beside_suction(tmp_path, quiet_s):
    """The pressure still moves a little at rest, for long; that is no vacuum that is made there."""
    rows, at = [], 0.0
    drift = np.where(RECORDING.digital == 0, -0.02, 0.0)
    kpa = RECORDING.pressure_kpa + np.cumsum(drift) % 2.0
    before = 0
    for p, d in zip(kpa, RECORDING.digital.astype(int), strict=True):
        pause = quiet_s if before and not d else 0.0
        rows += [f"{at + k / 100:.2f};{p - 0.02 * k:.2f};0 0 0" for k in range(round(pause * 100))]
        at += pause
        rows.append(f"{at:.2f};{p:.2f};{d & 1} {d >> 1 & 1} {d >> 2}")
        at, before = at + 0.01, d
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["Time (s);Pressure (kPa);State", *rows]) + "\n")
    with pytest.raises(UndecidedLogError) as asked:
        read(path)
    lines = {q.line.partition(" ")[0]: q.line.partition("   #")[0] for q in asked.value.questions}
    assert "0 0 0" not in lines["supply"] + lines["release"]
    given = parse_station("[channels]\n" + "\n".join(lines[r] for r in ("supply", "release")) + "\n", "station.toml")
    found = read(path, given)
    edges = [np.count_nonzero(np.diff(found.digital >> bit & 1)) for bit in (0, 1)]
    assert edges == [np.count_nonzero(np.diff(RECORDING.digital >> bit & 1)) for bit in (0, 1)]
