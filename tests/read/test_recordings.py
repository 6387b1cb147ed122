"""Recordings that nobody here made: every row is read, or rejected with a reason."""

import os
from pathlib import Path

import numpy as np
import pytest
from recordings import SIMULATED

from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.model.station import Channel, Station

FOLDER = os.environ.get("TRACEKIT_RECORDINGS")
pytestmark = pytest.mark.skipif(FOLDER is None, reason="TRACEKIT_RECORDINGS names no folder of recordings")


def channels(time: tuple[str, str | None], pressure: tuple[str, str, str]) -> Station:
    """A station file that names time and pressure."""
    column, unit, sense = pressure
    return Station(
        channels={
            "time": Channel(column=time[0], unit=time[1]),
            "pressure": Channel(column=column, unit=unit, sense=sense),
        }
    )


BAR = channels(("column 1", "us"), ("column 3", "bar", "gauge"))
ALONE = [
    *(f"suction_cup/2023-01-{n}.csv" for n in ("20_trial_0", "20_trial_2", "27_trial_0", "27_trial_2", "27_trial_4",
                                               "27_trial_7", "31_trial_0", "31_trial_5")),
    "suction_cup/direct_trial_0.csv", "suction_cup/direct_trial_1.csv", "three_cups/clean_3cups.csv",
]  # fmt: skip
NAMED = {
    "chamber_decay/chamber_metal.csv": BAR,
    "chamber_decay/chamber_printed_a.csv": BAR,
    "chamber_decay/chamber_printed_b.csv": BAR,
    "pump_down/suck2.TXT": channels(("column 1", "ms"), ("column 2", "kPa", "vacuum")),
    "three_cups/raw_array_in_string.csv": channels(("elapsed_time", "s"), ("_data[0]", "hPa", "absolute")),
    "loggers/date_time_ms_columns.csv": channels(("Time", None), ("LEVEL", "mH2O", "absolute")),
    "loggers/quoted_decimal_comma_offset_zone.csv": channels(("DRME_OCR_UTC_DTE", None), ("DRME_DRU", "hPa", "absolute")),
    "loggers/tab_blank_first_line.txt": channels(("Datum", None), ("Waterstand", "mmH2O", "gauge")),
    "loggers/tab_decimal_comma_empty_columns.txt": channels(("Date/Time", None), ("P1", "mH2O", "gauge")),
    "loggers/units_above_names_duplicate_stamps.txt": channels(("column 1", "s"), ("column 2", "bar", "gauge")),
}  # fmt: skip


def rows_of(path: Path) -> int:
    """Lines with something in them."""
    return sum(1 for line in path.read_bytes().splitlines() if line.strip())


@pytest.mark.parametrize("name", ALONE)
def test_recordings_that_tell_everything(name):
    """Absolute pressures in hPa are read without a station file, every row."""
    path = Path(str(FOLDER)) / "data" / name
    found = read(path)
    assert found.facts.rows_read == found.facts.rows_used == rows_of(path) - 1
    assert found.layout.absolute
    assert -75 < np.nanmin(found.pressure_kpa) < 0
    assert -0.05 <= np.nanmax(found.pressure_kpa) < 5
    assert not any((found.layout.has_supply, found.layout.has_release, found.layout.has_present))


@pytest.mark.parametrize("name", NAMED)
def test_recordings_that_need_a_line(name):
    """A recording that does not tell a unit is refused with the line to add, and read with it, every row."""
    path = Path(str(FOLDER)) / "data" / name
    with pytest.raises(LogReadError, match=r"\[channels\]"):
        read(path)
    found = read(path, NAMED[name])
    assert found.facts.rows_read == found.facts.rows_used + found.facts.rows_rejected
    assert rows_of(path) - found.facts.rows_read <= 14
    assert found.facts.rows_used > 0.95 * found.facts.rows_read


def test_thousands_marks_in_a_time(tmp_path):
    """A time of 151.303.000 µs is 151.303 s."""
    found = read(Path(str(FOLDER)) / "data" / "chamber_decay" / "chamber_metal.csv", BAR)
    assert found.facts.duration_s == pytest.approx(151.303)


def test_several_stations_in_one_table():
    """A log with a station column and stamps has both stations, gauge, with their digitals."""
    (path,) = (SIMULATED / "multi_station_0").glob("log.*")
    found = read(path)
    assert found.layout.stations == ("ST01", "ST02")
    assert found.facts.start_time_us is not None
    assert np.nanmin(found.pressure_kpa) < -70
    assert found.facts.rows_used == found.facts.rows_read
