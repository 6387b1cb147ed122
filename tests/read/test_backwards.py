"""Files whose newest row stands first are read in the order of time, whole or in pieces."""

import datetime as dt
import gzip

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tests.read.dialects import START, make_recording
from tests.read.plant_logs import Files, clock, level, lines_of, ms, text
from tests.read.reading import Read, read
from tracekit.options.read import ReadOptions

RECORDING = make_recording(cycles=8)
N = len(RECORDING.time_s)
SMALL = ReadOptions(block_bytes=6000, head_bytes=40_000, head_rows=900, batch_rows=500)
HEAD = "Timestamp,Vacuum [kPa],Suction,Blow-off,Part present"


def turned(part: slice = slice(None), seconds: int = 0, zone: str = "Z") -> bytes:
    """The recording with the newest row first."""
    at, kpa = clock(RECORDING), RECORDING.pressure_kpa
    s, r, p = (level(RECORDING, b) for b in range(3))
    rows = lines_of(
        RECORDING, lambda i: (f"{at[i]:%Y-%m-%d %H:%M:%S}" + (zone if seconds else f".{ms(at[i])}{zone}"), kpa[i],
                              s[i], r[i], p[i]), ",",
    )  # fmt: skip
    return text([HEAD, *rows[part][::-1]])


def as_recorded(found: Read) -> None:
    """The same samples as in the recording, every row accounted for."""
    assert np.abs(found.time_s - RECORDING.time_s).max() < 1e-4
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert np.array_equal(found.digital, RECORDING.digital)
    assert found.facts.rows_used == found.facts.rows_read == N


@pytest.mark.parametrize("options", [ReadOptions(), SMALL], ids=["whole", "pieces"])
@pytest.mark.parametrize("pack", ["plain", "gzip"])
def test_newest_first(tmp_path, options, pack):
    """A text whose newest row stands first reads like the recording and says so; the start is that of the oldest row."""
    path = tmp_path / "log.csv"
    path.write_bytes(turned() if pack == "plain" else gzip.compress(turned()))
    found = read(path, options=options)
    as_recorded(found)
    assert found.facts.start_time_us == round(START.replace(tzinfo=dt.UTC).timestamp() * 1e6)
    assert [a.value for a in found.layout.assumptions if a.what == "order of rows"] == ["newest first, read from the end"]


def test_newest_first_in_seconds(tmp_path):
    """Rounded stamps are spread as usual."""
    (tmp_path / "log.csv").write_bytes(turned(seconds=1))
    as_recorded(read(tmp_path / "log.csv", options=SMALL))


def test_a_bad_line_keeps_its_number(tmp_path):
    """A row that cannot be read is told by its place in the file."""
    lines = turned().split(b"\r\n")
    lines[100] = b"no time," + lines[100].partition(b",")[2]
    lines[N - 10] = b"broken"
    (tmp_path / "log.csv").write_bytes(b"\r\n".join(lines))
    facts = read(tmp_path / "log.csv", options=SMALL).facts
    assert facts.rows_rejected == 2
    assert sorted(line for r in facts.rejections for line in r.first_lines) == [101, N - 9]


@pytest.mark.parametrize("first", ["newest", "oldest"])
def test_two_files_join(tmp_path, first):
    """Files that each stand newest first continue one another, whatever their names."""
    parts = {"a.csv": turned(slice(1000, None)), "b.csv": turned(slice(0, 1000))}
    for name, content in parts.items():
        (tmp_path / name).write_bytes(content)
    names = sorted(parts, reverse=first == "oldest")
    as_recorded(read([str(tmp_path / n) for n in names], options=SMALL))


def test_newest_first_in_parquet(tmp_path):
    """A typed file with tags reads like the recording too."""
    stamps = pa.array([a.replace(tzinfo=dt.UTC) for a in clock(RECORDING)][::-1], pa.timestamp("ms", "UTC"))
    words = [["off", "on"][v] for v in level(RECORDING, 0)]
    table = pa.table({
        "ts": stamps, "vacuum_kPa": RECORDING.pressure_kpa[::-1], "suction": pa.array(words[::-1]).dictionary_encode(),
        **{n: level(RECORDING, b)[::-1] for b, n in ((1, "blow_off"), (2, "part_present"))},
    })  # fmt: skip
    pq.write_table(table, tmp_path / "log.parquet")
    as_recorded(read(tmp_path / "log.parquet", options=SMALL))


def test_a_counter_that_falls_is_no_order(tmp_path):
    """A number that falls beside times that rise changes nothing."""
    content: Files = {"log.csv": text([
        "Time [s],Vacuum [kPa],Suction,Blow-off,Part present,Left",
        *(f"{t:.2f},{k},{d & 1},{d >> 1 & 1},{d >> 2},{N - i}"
          for i, (t, k, d) in enumerate(zip(RECORDING.time_s, RECORDING.pressure_kpa, RECORDING.digital, strict=True))),
    ])}  # fmt: skip
    (tmp_path / "log.csv").write_bytes(content["log.csv"])
    as_recorded(read(tmp_path / "log.csv"))
