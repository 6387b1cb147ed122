"""What looks like something that it is not: signs of life, factors, orders of columns, several levels in one cell."""


import numpy as np
import pytest

from tests.read.reading import read
from tests.read.test_odd_channels import HEAD, KPA, PART, RELEASE, SUPPLY, TIME, log
from tracekit.errors import LogReadError
from tracekit.read.station_file import parse_station

ROWS = len(TIME) // 2 * 2
PAIRS = 2 * (np.arange(ROWS) // 2)


def answered(path, pick=lambda line: line):
    """The log read with the lines that its refusal asks for, after some change to them."""
    with pytest.raises(LogReadError, match=r"\[channels\]") as caught:
        read(path)
    lines = [pick(x.strip()) for x in str(caught.value).partition("[channels]")[2].splitlines() if x.strip()]
    return read(path, parse_station("[channels]\n" + "\n".join(lines) + "\n", "s.toml"))


def in_pairs(folder, name: str, kpa):
    """Two rows under every stamp, told apart by a column of 0 and 1."""
    half = np.arange(ROWS) % 2
    columns = (TIME[PAIRS].round(4), half, kpa, *(c[:ROWS] for c in (SUPPLY, RELEASE, PART)))
    return log(folder, HEAD.replace("time [s],", f"time [s],{name},"), *columns)


@pytest.mark.parametrize("name", ["Life", "Half"])
def test_a_sign_of_life_is_no_station(tmp_path, name):
    """Rows that lie on the way from one stamp to the next are of one station, whatever alternates beside them."""
    found = read(in_pairs(tmp_path, name, KPA[:ROWS]))
    assert len(found.layout.stations) == 1
    assert np.array_equal(found.pressure_kpa, KPA[:ROWS])
    assert np.abs(found.time_s - TIME[:ROWS]).max() < 6e-3


def test_rows_that_may_be_copies_or_stations_are_asked(tmp_path):
    """Readings that are the same under a stamp do not tell whether the words beside them are stations."""
    path = in_pairs(tmp_path, "Half", KPA[PAIRS])
    with pytest.raises(LogReadError, match="whether these are stations does not show"):
        read(path)
    assert answered(path).layout.stations == ("0", "1")
    assert len(answered(path, lambda line: 'context = ["Half"]').layout.stations) == 1
