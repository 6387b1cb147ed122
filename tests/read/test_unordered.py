"""Rows out of the order of time are put into it where their times prove it; else what was read before stays."""

import datetime as dt
import gzip

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import Read, read
from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions
from tracekit.read.unordered import fit_together, stretches_of

RECORDING = make_recording(cycles=8)
N = len(RECORDING.time_s)
SMALL = ReadOptions(block_bytes=6000, head_bytes=40_000, head_rows=900, batch_rows=500, sort_rows=1500, sorted_rows=70)
SHUFFLED = np.random.default_rng(8).permutation(N)
ROTATED = np.roll(np.arange(N), N // 3)
SWAPPED = np.concatenate([np.array_split(np.arange(N), 9)[k] for k in (0, 3, 1, 2, 4, 8, 5, 6, 7)])


def stamps(form: str = "%Y-%m-%dT%H:%M:%S.%f") -> list[str]:
    """The times of the recording as stamps."""
    return [f"{START + dt.timedelta(seconds=float(t)):{form}}" for t in RECORDING.time_s]


def wide(order: np.ndarray, times: list[str] | None = None) -> bytes:
    """The recording with its rows in some order."""
    times = times or [f"{t:.4f}" for t in RECORDING.time_s]
    levels = [(RECORDING.digital >> b) & 1 for b in range(3)]
    rows = (
        f"{times[k]},{RECORDING.pressure_kpa[k]:.3f},{levels[0][k]},{levels[1][k]},{levels[2][k]}"
        for k in order.tolist()
    )
    return "\n".join(["time_s,pressure_kpa,supply,release,part_present", *rows, ""]).encode()


def as_recorded(found: Read) -> None:
    """The same samples as in the recording, every row accounted for, and the order told."""
    assert np.abs(found.time_s - RECORDING.time_s).max() < 1e-4
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert np.array_equal(found.digital, RECORDING.digital)
    assert found.facts.rows_used == found.facts.rows_read == N
    told = [a.value for a in found.layout.assumptions if a.what == "order of rows"]
    assert told == ["not that of time, put in the order of time"]


@pytest.mark.parametrize("options", [ReadOptions(), SMALL], ids=["whole", "pieces"])
@pytest.mark.parametrize("order", [SHUFFLED, ROTATED, SWAPPED], ids=["shuffled", "rotated", "swapped"])
@pytest.mark.parametrize("time", ["seconds", "stamps", "clock"])
def test_rows_are_sorted(tmp_path, options, order, time):
    """In whatever order the rows stand and however time is written, the recording is found."""
    times = {"seconds": None, "stamps": stamps(), "clock": stamps("%H:%M:%S.%f")}[time]
    (tmp_path / "log.csv").write_bytes(wide(order, times))
    as_recorded(read(tmp_path / "log.csv", options=options))


def test_a_packed_text_and_a_columnar_file(tmp_path):
    """Shuffled rows of a packed text and of a columnar file are sorted too."""
    (tmp_path / "log.csv.gz").write_bytes(gzip.compress(wide(SHUFFLED)))
    as_recorded(read(tmp_path / "log.csv.gz", options=SMALL))
    levels = [((RECORDING.digital >> b) & 1).astype(np.int8) for b in range(3)]
    names = ["time_s", "pressure_kpa", "supply", "release", "part_present"]
    table = pa.table(dict(zip(names, [RECORDING.time_s, RECORDING.pressure_kpa, *levels], strict=True)))
    pq.write_table(table.take(ROTATED), tmp_path / "log.parquet", row_group_size=700)
    as_recorded(read(tmp_path / "log.parquet", options=SMALL))


def test_line_numbers_stay(tmp_path):
    """A row that is rejected is told by its place in the file, not by its place in time."""
    lines = wide(SWAPPED).split(b"\n")
    lines[1200] = b"bad line"
    (tmp_path / "log.csv").write_bytes(b"\n".join(lines))
    facts = read(tmp_path / "log.csv").facts
    assert [r.first_lines for r in facts.rejections] == [(1201,)]


def test_readings_of_several_tags(tmp_path):
    """A row per reading: a time may come once for each tag."""
    levels = {name: (RECORDING.digital >> b) & 1 for b, name in enumerate(("suction", "blow-off", "part present"))}
    channels = {"vacuum kPa": RECORDING.pressure_kpa, **levels}
    rows = [f"{t};{tag};{values[k]:g}" for k, t in enumerate(stamps()) for tag, values in channels.items()]
    order = np.random.default_rng(2).permutation(len(rows))
    (tmp_path / "log.csv").write_text("\n".join(["time;tag;value", *(rows[k] for k in order.tolist())]))
    found = read(tmp_path / "log.csv")
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert np.array_equal(found.digital, RECORDING.digital)


@pytest.mark.parametrize("back_s", [3.0, 3.005, 40.0])
def test_a_clock_set_back_is_no_other_order(tmp_path, back_s):
    """Times that come twice, by turns, or leave a hole are those of a clock that was set: rows stay where they are."""
    times = RECORDING.time_s - back_s * (np.arange(N) >= N // 2) + 100
    (tmp_path / "log.csv").write_bytes(wide(np.arange(N), [f"{t:.4f}" for t in times]))
    found = read(tmp_path / "log.csv")
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert len(found.facts.clock_steps) == 1


def test_rows_that_share_times_are_refused(tmp_path):
    """Shuffled rows of which many have one stamp cannot be put in order."""
    (tmp_path / "log.csv").write_bytes(wide(SHUFFLED, stamps("%Y-%m-%d %H:%M:%S")))
    with pytest.raises(LogReadError, match=r"log\.csv"):
        read(tmp_path / "log.csv")


def test_stretches_do_not_depend_on_pieces():
    """The stretches of some times are the same in one piece and in many."""
    times = np.concatenate([np.arange(50.0, 80), np.arange(10.0, 50), np.arange(95.0, 99), np.arange(80.0, 95)])
    whole = stretches_of([times], 1.0)
    assert whole.tolist() == [[50, 79], [10, 49], [95, 98], [80, 94]]
    assert np.array_equal(whole, stretches_of(np.array_split(times, 7), 1.0))
    assert fit_together(whole, 1.0)
    assert not fit_together(whole[[0]], 1.0)
    assert not fit_together(np.array([[50.0, 80], [10, 60]]), 1.0)
    assert not fit_together(np.array([[50.0, 80], [10, 30]]), 1.0)


def test_stretches_that_leave_their_order_later_are_refused(tmp_path):
    """The first and the last rows rise; what lies between stands in another order."""
    order = np.concatenate([np.array_split(np.arange(N), 9)[k] for k in (0, 1, 2, 3, 6, 4, 5, 7, 8)])
    (tmp_path / "log.csv").write_bytes(wide(order))
    with pytest.raises(LogReadError, match="4 stretches of rows that stand in another order"):
        read(tmp_path / "log.csv", options=ReadOptions(block_bytes=6000, head_bytes=15_000))
    as_recorded(read(tmp_path / "log.csv"))


def test_a_footer_that_counts_from_zero_is_no_first_row(tmp_path):
    """A last row with an early time stays what it is."""
    foot = b"0.0000,-71.000,0,0,0\n"
    times = [f"{t + 0.01:.4f}" for t in RECORDING.time_s]
    (tmp_path / "log.csv").write_bytes(wide(np.arange(N), times) + foot)
    found = read(tmp_path / "log.csv")
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert found.facts.rows_rejected == 1


@pytest.mark.parametrize("block", [10, 100, 500])
def test_channels_that_are_written_in_blocks(tmp_path, block):
    """A gateway that writes some rows of one channel, then of the next: each rises by itself."""
    levels = {name: (RECORDING.digital >> b) & 1 for b, name in enumerate(("suction", "blow-off", "part present"))}
    channels = {"vacuum kPa": RECORDING.pressure_kpa, **levels}
    times, rows = stamps(), []
    for start in range(0, N, block):
        for tag, values in channels.items():
            rows += [f"{times[k]};{tag};{values[k]:g}" for k in range(start, min(start + block, N))]
    (tmp_path / "log.csv").write_text("\n".join(["time;tag;value", *rows, ""]))
    found = read(tmp_path / "log.csv")
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert np.array_equal(found.digital, RECORDING.digital)
    assert found.facts.clock_steps == ()
