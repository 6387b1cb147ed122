"""Date and clock as types of their own, and readings whose rows are no samples."""

import datetime as dt

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tests.read.dialects import START, Dialect, make_recording
from tests.read.reading import read, wrong
from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=8)
STAMPS = [START + dt.timedelta(seconds=round(float(t), 3)) for t in RECORDING.time_s]
LEVELS = {name: (RECORDING.digital >> bit & 1) > 0 for bit, name in enumerate(("suction", "blow_off", "part_present"))}


@pytest.mark.parametrize("unit", [pa.time64("us"), pa.time32("ms"), pa.time64("ns")])
def test_a_date_and_a_clock_of_types_of_their_own(tmp_path, unit):
    """The date stands with the clock and is no rival of it."""
    table = pa.table({
        "date": pa.array([s.date() for s in STAMPS], pa.date32()),
        "time": pa.array([s.time() for s in STAMPS], pa.time64("us")).cast(unit),
        "pressure_kpa": RECORDING.pressure_kpa, **LEVELS,
    })  # fmt: skip
    path = tmp_path / "log.parquet"
    pq.write_table(table, path)
    found = read(path)
    assert wrong(RECORDING, found, Dialect()) == ""
    assert found.facts.start_time_us is None or found.facts.start_time_us > 0
    assert found.layout.columns["time"] == "date + time"


def test_rows_of_readings_take_no_interval(tmp_path):
    """Where a row is a reading of one channel a time from row to row says nothing: one message, and no line for it."""
    rows = []
    for t, p, d in zip(RECORDING.time_s, RECORDING.pressure_kpa, RECORDING.digital.astype(int), strict=True):
        rows += [f"{t:.3f};pressure_kpa;{p:.2f}", f"{t:.3f};suction;{d & 1}"]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["time [s];tag;value", *rows]))
    assert len(read(path).time_s) == len(RECORDING.time_s)
    with pytest.raises(LogReadError, match="a row is no sample"):
        read(path, parse_station("[channels]\ntime = { interval_s = 0.01 }\n", "station.toml"))


def test_readings_in_no_order_are_sorted_whatever_the_station_file_says(tmp_path):
    """Readings of two tags in no order of time, with and without a line that names the column of times."""
    kpa, levels = RECORDING.pressure_kpa, RECORDING.digital.astype(float)
    table = pa.table({
        "event_time": pa.array([*STAMPS, *STAMPS], pa.timestamp("us")),
        "tag": ["VACUUM_KPA"] * len(STAMPS) + ["SUCTION"] * len(STAMPS),
        "value": np.concatenate([kpa, levels % 2]),
    })  # fmt: skip
    path = tmp_path / "log.parquet"
    pq.write_table(table.take(np.random.default_rng(3).permutation(len(table))), path)
    given = parse_station('[channels]\ntime = "event_time"\n', "station.toml")
    for station in (None, given):
        found = read(path, station)
        assert np.array_equal(found.pressure_kpa, kpa)
        assert np.array_equal(found.digital, RECORDING.digital & 1)


def test_rows_that_lose_their_order_later_are_refused(tmp_path):
    """The first rows rise; behind them most go back."""
    head, rest = 3000, np.random.default_rng(3).permutation(20_000) + 3000
    order = np.concatenate([np.arange(head), rest])
    rows = [f"{k * 0.01:.2f};{-30 + 30 * np.cos(k / 40):.2f}" for k in order.tolist()]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["time [s];pressure [kPa]", *rows]))
    given = parse_station('[channels]\ntime = { column = "time [s]", unit = "s" }\n', "station.toml")
    with pytest.raises(LogReadError, match="time goes back"):
        read(path, given, ReadOptions(head_bytes=20_000, block_bytes=40_000))
