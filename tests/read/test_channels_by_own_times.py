"""Columns of time and value by turns: every channel by its own times, at its own rate or on change."""

import datetime as dt

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import read
from tracekit.options.read import ReadOptions

RECORDING = make_recording(cycles=8)
N = len(RECORDING.time_s)
LEVELS = [(RECORDING.digital >> b & 1).astype(int) for b in range(3)]
SMALL = ReadOptions(block_bytes=6000, head_bytes=40_000, head_rows=900, batch_rows=500)
HEADS = {
    "named": "Time Pressure [s],Pressure [kPa],Time Suction [s],Suction,Time Release [s],Release,Time Part [s],Part present",
    "copies": "X,Pressure kPa,X,Suction,X,Release,X,Part present",
    "counted": "t1,Pressure kPa,t2,Suction,t3,Release,t4,Part present",
}  # fmt: skip


def stamp(time_s: float) -> str:
    """A time as a stamp."""
    return (START + dt.timedelta(seconds=float(time_s))).strftime("%Y-%m-%d %H:%M:%S.%f")[:-3]


def picked(way: str) -> list[np.ndarray]:
    """The rows that are written of each digital: every second one, or those of changes and the first."""
    if way == "every second":
        return [np.arange(0, N, 2)] * 3
    return [np.concatenate([[0], np.flatnonzero(np.diff(level)) + 1]) for level in LEVELS]


def pairs(head: str, way: str, time=lambda t: f"{t:.2f}") -> bytes:
    """The recording with times of its own beside every channel."""
    rows = [[time(t), f"{p:.3f}"] for t, p in zip(RECORDING.time_s, RECORDING.pressure_kpa, strict=True)]
    for level, kept in zip(LEVELS, picked(way), strict=True):
        for place, row in enumerate(rows):
            own = place < len(kept)
            row += [time(RECORDING.time_s[kept[place]]), str(level[kept[place]])] if own else ["", ""]
    return "\n".join([head, *map(",".join, rows), ""]).encode()


def expected(way: str) -> np.ndarray:
    """Levels at the times of the pressure, each the last one that was written."""
    found = np.zeros(N, np.uint8)
    for bit, (level, kept) in enumerate(zip(LEVELS, picked(way), strict=True)):
        last = kept[np.searchsorted(kept, np.arange(N), side="right") - 1]
        found |= (level[last] << bit).astype(np.uint8)
    return found


@pytest.mark.parametrize("options", [ReadOptions(), SMALL], ids=["whole", "pieces"])
@pytest.mark.parametrize("way", ["every second", "on change"])
@pytest.mark.parametrize("head", HEADS)
def test_channels_by_their_own_times(tmp_path, options, way, head):
    """Each level stands at the time that is written beside it, whatever row it is in."""
    (tmp_path / "log.csv").write_bytes(pairs(HEADS[head], way))
    found = read(tmp_path / "log.csv", options=options)
    assert np.abs(found.time_s - RECORDING.time_s).max() < 1e-6
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert np.array_equal(found.digital, expected(way))
    readings = N + sum(map(len, picked(way)))
    assert (found.facts.rows_read, found.facts.rows_rejected) == (readings, 0)
    assert [a.value for a in found.layout.assumptions if a.what == "times"]


def test_stamps_beside_every_channel(tmp_path):
    """The same with stamps, and in a columnar file."""
    head = "Pressure Time,Pressure kPa,Suction Time,Suction,Release Time,Release,Part Time,Part present"
    (tmp_path / "log.csv").write_bytes(pairs(head, "every second", stamp))
    assert np.array_equal(read(tmp_path / "log.csv").digital, expected("every second"))
    columns = {"t pressure [s]": RECORDING.time_s, "pressure kPa": RECORDING.pressure_kpa}
    kept = np.arange(0, N, 2)
    for name, level in zip(("suction", "release", "part present"), LEVELS, strict=True):
        rest = np.full(N - len(kept), np.nan)
        columns |= {f"t {name} [s]": np.concatenate([RECORDING.time_s[kept], rest])}
        columns |= {name: np.concatenate([level[kept].astype(float), rest])}
    table = {name: pa.array(values, from_pandas=True) for name, values in columns.items()}
    pq.write_table(pa.table(table), tmp_path / "log.parquet", row_group_size=400)
    assert np.array_equal(read(tmp_path / "log.parquet", options=SMALL).digital, expected("every second"))


def test_two_clocks_of_the_same_rows_are_one_table(tmp_path):
    """A second clock beside the last column is no channel of its own."""
    rows = [
        f"{t:.2f},{p:.3f},{stamp(t + 0.004)},{a},{b},{c}"
        for t, p, a, b, c in zip(RECORDING.time_s, RECORDING.pressure_kpa, *LEVELS, strict=True)
    ]
    head = "time_s,pressure kPa,received,suction,release,part present"
    (tmp_path / "log.csv").write_text("\n".join([head, *rows]))
    found = read(tmp_path / "log.csv")
    assert found.facts.rows_read == N
    assert np.array_equal(found.digital, RECORDING.digital)
