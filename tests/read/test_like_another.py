"""Files that continue one another though one has no header, or another unit."""

import numpy as np
import pytest

from tests.read.reading import read
from tests.read.test_odd_channels import HEAD, KPA, PART, RELEASE, SUPPLY, TIME, as_recorded, log
from tracekit.errors import LogReadError
from tracekit.read.station_file import parse_station

HALF = len(TIME) // 2
FIRST = [c[:HALF] for c in (TIME, KPA, SUPPLY, RELEASE, PART)]
SECOND = [c[HALF:] for c in (TIME, KPA, SUPPLY, RELEASE, PART)]


def without_header(folder, columns):
    """The second half of the recording with rows alone."""
    first, *rest = zip(*columns, strict=True)
    return log(folder, ",".join(map(str, first)), *zip(*rest, strict=True), name="b.csv")


@pytest.mark.parametrize("station", ["", '[channels]\nsupply = "suction"\npressure = "pressure [kPa]"\n'])
def test_a_continuation_without_a_header(tmp_path, station):
    """Rows without a header that continue a file have its columns, which is told; the order of the files is free."""
    paths = [without_header(tmp_path, SECOND), log(tmp_path, HEAD, *FIRST, name="a.csv")]
    found = read(paths, parse_station(station, "s.toml"))
    assert as_recorded(found)
    assert any("no header" in text and "a.csv" in text for text in found.facts.warnings)


def test_rows_of_other_columns_are_no_continuation(tmp_path):
    """Rows without a header are not read by a header of more columns."""
    paths = [without_header(tmp_path, SECOND[:4]), log(tmp_path, HEAD, *FIRST, name="a.csv")]
    with pytest.raises(LogReadError, match="column 2"):
        read(paths)


def test_a_continuation_in_another_unit(tmp_path):
    """A file that goes on in mbar is read by its own header, and told."""
    mbar = (SECOND[1] * 10).round(1)
    head = HEAD.replace("[kPa]", "[mbar]")
    paths = [log(tmp_path, HEAD, *FIRST, name="a.csv"), log(tmp_path, head, SECOND[0], mbar, *SECOND[2:], name="b.csv")]
    found = read(paths)
    assert np.abs(found.pressure_kpa - KPA).max() < 1e-9
    assert np.array_equal(found.time_s, TIME)
    assert len(found.layout.stations) == 1
    assert "b.csv is written in mbar, a.csv in kPa: each is read in its own" in found.facts.warnings


def test_another_sensor_is_no_continuation(tmp_path):
    """A pressure of another name is another one, whatever its unit."""
    head = HEAD.replace("pressure [kPa]", "vacuum behind the filter [mbar]")
    paths = [log(tmp_path, HEAD, *FIRST, name="a.csv"),
             log(tmp_path, head, SECOND[0], (SECOND[1] * 10).round(1), *SECOND[2:], name="b.csv")]  # fmt: skip
    with pytest.raises(LogReadError, match="do not continue"):
        read(paths)
