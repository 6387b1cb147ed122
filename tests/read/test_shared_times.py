"""Times that many rows share: stations that a long table parts, and stamps too few to tell an interval."""

import datetime as dt

import numpy as np
import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.read.station_file import parse_station

RECORDING, OTHER = make_recording(cycles=8), make_recording(cycles=8, seed=4)
ROWS = min(len(RECORDING.time_s), len(OTHER.time_s))
TAGS = ("vacuum_kpa", "suction", "blow", "part")


def cells(recording, k: int) -> list[object]:
    """The readings of all tags in one sample."""
    d = int(recording.digital[k])
    return [f"{-recording.pressure_kpa[k]:.2f}", d & 1, d >> 1 & 1, d >> 2]


@pytest.mark.parametrize("title", ["asset", "Gerät", "column of words"])
def test_words_that_part_readings_of_one_tag_at_one_time_are_stations(tmp_path, title):
    """Whatever the column is called: each station has its own samples, and none is mixed with the other's."""
    rows = []
    for k in range(ROWS):
        stamp = (START + dt.timedelta(seconds=k / 100)).isoformat(timespec="milliseconds")
        for name, one in (("North", RECORDING), ("South", OTHER)):
            rows += [f"{stamp};{name};{tag};{v};192" for tag, v in zip(TAGS, cells(one, k), strict=True)]
    path = tmp_path / "log.csv"
    path.write_text("\n".join([f"time;{title};attribute;value;quality", *rows]) + "\n")
    found = read(path)
    assert found.layout.stations == ("North", "South")
    for number, one in enumerate((RECORDING, OTHER)):
        own = found.pressure_kpa[found.station == number]
        assert np.allclose(own, one.pressure_kpa[:ROWS], atol=0.0051)


def test_a_column_that_changes_with_time_is_no_station(tmp_path):
    """An operator who hands over to another parts no readings."""
    rows = []
    for k in range(ROWS):
        who = "Ann" if k < ROWS // 2 else "Ben"
        rows += [f"{k / 100:.2f};{who};{tag};{v}" for tag, v in zip(TAGS, cells(RECORDING, k), strict=True)]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["time [s];name;tag;value", *rows]) + "\n")
    assert len(read(path).layout.stations) == 1


@pytest.mark.parametrize("stamps", [2, 3])
def test_stamps_that_nearly_all_rows_share_are_no_times(tmp_path, stamps):
    """A clock of so few figures that it hardly moves tells no interval: one question, and the interval answers it."""
    coarse = np.arange(ROWS) * stamps // ROWS * 128 + 1_742_289_280
    rows = [";".join(map(str, [t, *cells(RECORDING, k)])) for k, t in enumerate(coarse)]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["epoch;Vacuum (kPa);Suction;Blow-off;Part present", *rows]) + "\n")
    with pytest.raises(LogReadError, match=rf'"epoch" tells {stamps} different times in {ROWS} rows'):
        read(path)
    given = parse_station("[channels]\ntime = { interval_s = 0.01 }\n", "station.toml")
    assert np.allclose(np.diff(read(path, given).time_s), 0.01)
