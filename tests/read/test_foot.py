"""A footer of bare numbers behind a blank line is no sample."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.options.read import ReadOptions

RECORDING = make_recording(cycles=8)
ROWS = [
    f"{t:.3f};{p:.2f};{d & 1};{d >> 1 & 1};{d >> 2}"
    for t, p, d in zip(RECORDING.time_s, RECORDING.pressure_kpa, RECORDING.digital.astype(int), strict=True)
]
HEAD = "Time (s);Pressure (kPa);Suction;Blow-off;Part present"


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("closed", [True, False])
@pytest.mark.parametrize("lines", [1, 3])
@pytest.mark.parametrize("gap", [[""], []], ids=["blank line", "no blank line"])
@pytest.mark.parametrize("options", [ReadOptions(), ReadOptions(block_bytes=4000, head_bytes=20_000)])
def test_sums_at_the_end_are_rejected(tmp_path, end, closed, lines, gap, options):
    """Behind a blank line, or with a time thousands of intervals away and numbers for levels: told with their lines.

    Every sample stays, and so does every signal.
    """
    foot = [f"{len(ROWS)};-71.6;10.0;-41.1;28.1"] * lines
    path = tmp_path / "log.csv"
    path.write_bytes((end.join([HEAD, *ROWS, *gap, *foot]) + end * closed).encode())
    found = read(path, options=options)
    assert np.array_equal(found.digital, RECORDING.digital)
    (left,) = found.facts.rejections
    assert (left.rows, left.first_lines[0]) == (lines, len(ROWS) + 2 + len(gap))
    assert "as a footer" in left.reason or not gap
    assert found.facts.duration_s == pytest.approx(RECORDING.time_s[-1] - RECORDING.time_s[0])


@pytest.mark.parametrize("last", ["9785.000;-40.00;0;0;1", f"{RECORDING.time_s[-1] + 0.02:.3f};-40.00;0;2;1"])
def test_a_last_row_that_is_odd_in_one_way_alone_stays(tmp_path, last):
    """After a long pause with levels as ever, or at once with a cell that is no level."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join([HEAD, *ROWS, last]) + "\n")
    assert len(read(path).time_s) == len(ROWS) + 1


def test_blank_lines_that_part_stretches_lose_nothing(tmp_path):
    """Where rows just above are parted by blank lines too, a short last stretch is a stretch."""
    parted = [row + "\n" if k % 10 == len(ROWS) % 10 - 3 else row for k, row in enumerate(ROWS)]
    path = tmp_path / "log.csv"
    path.write_text("\n".join([HEAD, *parted]) + "\n")
    assert len(read(path).time_s) == len(ROWS)
