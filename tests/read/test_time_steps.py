"""Times from row to row, powers of ten behind a D, and lakhs: read as what they mean."""

import numpy as np
import pyarrow as pa
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.options.read import ReadOptions
from tracekit.read.columns import number_form
from tracekit.read.timesteps import _STEP
from tracekit.read.values import column_numbers
from tracekit.read.words import fold

RECORDING = make_recording(cycles=8)
N = len(RECORDING.time_s)
LEVELS = [(RECORDING.digital >> b & 1).astype(int) for b in range(3)]
SMALL = ReadOptions(block_bytes=6000, head_bytes=40_000)


def put(folder, name: str, steps: np.ndarray, before: str = "") -> str:
    """The recording with a column of steps of time."""
    rows = zip(range(N), steps, RECORDING.pressure_kpa, *LEVELS, strict=True)
    lines = [(f"{k}," if before else "") + ",".join(map(str, rest)) for k, *rest in rows]
    (folder / "log.csv").write_text(
        "\n".join([f"{before}{name},pressure kPa,suction,release,part present", *lines, ""])
    )
    return folder / "log.csv"


@pytest.mark.parametrize("options", [ReadOptions(), SMALL], ids=["whole", "pieces"])
@pytest.mark.parametrize("name", ["delta t [ms]", "Δt (ms)", "delta_ms", "time since last sample (ms)"])
@pytest.mark.parametrize("uneven", [False, True])
@pytest.mark.parametrize("before", ["", "no,"])
def test_steps_are_added_up(tmp_path, options, name, uneven, before):
    """Even and uneven steps, also beside the number of the row, in pieces as in one."""
    jitter = np.random.default_rng(4).integers(-2, 3, N) if uneven else 0
    at_ms = np.round(RECORDING.time_s * 1e3).astype(int) + jitter
    path = put(tmp_path, name, np.diff(at_ms, prepend=at_ms[0]), before)
    found = read(path, options=options)
    assert np.abs(found.time_s - (at_ms - at_ms[0]) / 1e3).max() < 1e-6
    assert np.array_equal(found.digital, RECORDING.digital)
    assert found.facts.rows_used == N


def test_steps_beside_a_time_are_left_alone(tmp_path):
    """Where a column tells the time the steps are none of it."""
    rows = zip(RECORDING.time_s, RECORDING.pressure_kpa, *LEVELS, strict=True)
    lines = [f"{t:.2f},10," + ",".join(map(str, rest)) for t, *rest in rows]
    head = "time_s,dt [ms],pressure kPa,suction,release,part present"
    (tmp_path / "log.csv").write_text("\n".join([head, *lines, ""]))
    assert read(tmp_path / "log.csv").layout.columns["time"] == "time_s"


def test_other_names_are_no_steps():
    """A set point or a temperature difference is none."""
    assert all(_STEP.fullmatch(fold(n)) for n in ("dt", "Δt", "delta time [s]", "Time diff", "delta"))
    assert not any(_STEP.fullmatch(fold(n)) for n in ("time", "dT setpoint", "data", "delta p [kPa]", "date"))


@pytest.mark.parametrize(
    ("cells", "values"),
    [
        (["5.0D-03", "-1.25D+02", "0.0D+00"], [0.005, -125.0, 0.0]),
        (["1,00,995", "95,427", "12,34,567.5"], [100995.0, 95427.0, 1234567.5]),
    ],
)
def test_numbers_of_other_habits(cells, values):
    """Powers of ten behind a D, and figures that are grouped by lakhs."""
    assert column_numbers(pa.array(cells), number_form(cells)).tolist() == values
