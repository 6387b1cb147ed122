"""Several samples in a line, under names that come again for each of them."""

import datetime as dt

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError

RECORDING = make_recording(cycles=12)
NAMES = ("time s", "pressure kPa", "suction", "blow-off", "part present")
START = dt.datetime(2026, 3, 18, 13, 47, 12, tzinfo=dt.UTC)


def samples(clock: bool, comma: bool) -> list[list[str]]:
    """The cells of every sample."""
    rows = []
    for time_s, kpa, bits in zip(
        RECORDING.time_s.tolist(), RECORDING.pressure_kpa, RECORDING.digital.tolist(), strict=True
    ):
        stamp = (START + dt.timedelta(seconds=time_s)).strftime("%Y-%m-%d %H:%M:%S.%f")[:-3]
        number = f"{kpa:.2f}".replace(".", ",") if comma else f"{kpa:.2f}"
        rows.append([stamp if clock else f"{time_s:.2f}", number, *(str(bits >> k & 1) for k in range(3))])
    return rows


@pytest.mark.parametrize("per_line", [2, 4, 7])
@pytest.mark.parametrize("clock", [False, True])
@pytest.mark.parametrize(("mark", "comma"), [(";", True), (";", False), ("\t", True), (",", False)])
@pytest.mark.parametrize("units", [False, True])
def test_every_sample_of_a_line_is_read(tmp_path, per_line, clock, mark, comma, units):
    """A line of several samples is as many rows, also the last one, which holds fewer."""
    rows = samples(clock, comma)
    names = ["stamp" if clock else "time s", *NAMES[1:]]
    heads = [mark.join(names * per_line)]
    if units:
        heads = [
            mark.join(n.split()[0] for n in names * per_line),
            mark.join(["" if clock else "s", "kPa", "", "", ""] * per_line),
        ]
    lines = [mark.join(c for row in rows[k : k + per_line] for c in row) for k in range(0, len(rows), per_line)]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["recorded in hall 2", "", *heads, *lines]) + "\n")
    found = read(path)
    np.testing.assert_allclose(found.pressure_kpa, RECORDING.pressure_kpa, atol=0.0051)
    np.testing.assert_allclose(found.time_s, RECORDING.time_s, atol=1e-6)
    assert np.array_equal(found.digital, RECORDING.digital)
    assert found.facts.rows_read == len(RECORDING.time_s)


def test_samples_of_the_same_time_are_asked_about(tmp_path):
    """Names that come again above samples of the same time are perhaps stations: no line is parted."""
    rows = samples(clock=False, comma=False)
    path = tmp_path / "log.csv"
    lines = [",".join([*row, *row[:1], f"{0.9 * float(row[1]):.2f}", *row[2:]]) for row in rows]
    path.write_text("\n".join([",".join(NAMES * 2), *lines]) + "\n")
    with pytest.raises(
        LogReadError, match='several columns may be the pressure: "pressure kPa", "pressure kPa \\(2\\)"'
    ):
        read(path)
