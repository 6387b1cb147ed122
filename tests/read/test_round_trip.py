"""A station file that was written for a log reads that log as it was read without."""

import datetime as dt

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.read.inspection import inspect_log
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=8)
STAMPS = [START + dt.timedelta(seconds=round(float(t), 3)) for t in RECORDING.time_s]
LEVELS = {name: (RECORDING.digital >> bit & 1) > 0 for bit, name in enumerate(("suction", "blow_off", "part_present"))}
HEAD = "Time (s);Pressure ({});Suction;Blow-off;Part present"


def given_back(source):
    """The log read with the station file that was written for it, held against the log read without."""
    plain = read(source)
    (told,) = inspect_log(source)
    found = read(source, parse_station(told.station_file, "station.toml"))
    assert np.array_equal(found.time_s, plain.time_s)
    assert np.array_equal(found.digital, plain.digital)
    assert found.facts.start_time_us == plain.facts.start_time_us
    return found


def rows(place, factor: float = 1.0) -> list[str]:
    """Rows of a part of the recording with pressures in some unit."""
    cells = [RECORDING.time_s[place], RECORDING.pressure_kpa[place], *(level[place] * 1 for level in LEVELS.values())]
    return [f"{t:.3f};{p * factor:.2f};{s};{r};{d}" for t, p, s, r, d in zip(*cells, strict=True)]


def halves() -> list[str]:
    """The first half in kPa, the second one in mbar, each under its header."""
    half = len(RECORDING.time_s) // 2
    first = "\n".join([HEAD.format("kPa"), *rows(slice(half))])
    return [first, "\n".join([HEAD.format("mbar"), *rows(slice(half, None), 10.0)])]


def test_a_unit_that_changes_from_file_to_file(tmp_path):
    """The station file names the column of the first file; the other one has it in another unit."""
    paths = [tmp_path / "a.csv", tmp_path / "b.csv"]
    for path, text in zip(paths, halves(), strict=True):
        path.write_text(text + "\n")
    assert np.allclose(given_back(paths).pressure_kpa, RECORDING.pressure_kpa, atol=0.011)
    scaled = parse_station('[channels]\npressure = { column = "Pressure (kPa)", scale = [[0, 0], [1, 1]] }\n', "s.toml")
    with pytest.raises(LogReadError, match="columns that are not there"):
        read(paths, scaled)


def test_a_unit_that_changes_within_a_file(tmp_path):
    """The same with a header of its own in the midst of one file."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join(halves()) + "\n")
    assert np.allclose(given_back(path).pressure_kpa, RECORDING.pressure_kpa, atol=0.011)


@pytest.mark.parametrize("date", [pa.date32(), pa.string()])
@pytest.mark.parametrize("clock", [pa.time64("us"), pa.time32("ms")])
def test_a_date_and_a_clock_in_two_columns(tmp_path, date, clock):
    """The station file names the clock; the date stands with it."""
    days = [s.date() for s in STAMPS] if date != pa.string() else [s.date().isoformat() for s in STAMPS]
    table = pa.table({
        "date": pa.array(days, date), "clock": pa.array([s.time() for s in STAMPS], pa.time64("us")).cast(clock),
        "pressure_kpa": RECORDING.pressure_kpa, **LEVELS,
    })  # fmt: skip
    path = tmp_path / "log.parquet"
    pq.write_table(table, path)
    assert given_back(path).layout.columns["time"] == "date + clock"
