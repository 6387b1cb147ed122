"""Several files, several stations, rows of readings."""

import io

import numpy as np
import pytest

from tests.read.dialects import Dialect, make_recording, write
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions
from tracekit.read import open_log
from tracekit.read import source as source_module
from tracekit.read.opening import open_logs

RECORDING = make_recording(cycles=8)


def table(time: str = "s") -> list[list[str]]:
    """Header and rows of the recording as cells."""
    return [line.split(",") for line in write(RECORDING, Dialect(time=time)).decode().splitlines()]


def put(path, rows, mark=","):
    """Rows of cells in a file."""
    path.write_text("\n".join(mark.join(row) for row in rows) + "\n")
    return path


def same(found) -> bool:
    """True where a reading equals the recording."""
    return (
        len(found.time_s) == len(RECORDING.time_s)
        and np.abs(found.time_s - RECORDING.time_s).max() < 1e-6
        and np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
        and np.array_equal(found.digital, RECORDING.digital)
    )


@pytest.mark.parametrize("time", ["s", "iso"])
def test_files_that_continue_are_one_recording(tmp_path, time):
    """Two files out of order that overlap by 50 rows give the recording, and the 50 rows are counted."""
    head, *rows = table(time)
    put(tmp_path / "b.csv", [head, *rows[:1000]])
    put(tmp_path / "a.csv", [head, *rows[950:]])
    found = read(tmp_path)
    assert same(found)
    assert found.facts.rows_rejected == 50
    assert found.facts.source == "b.csv, a.csv"
    assert found.facts.log_id == read([tmp_path / "a.csv", tmp_path / "b.csv"]).facts.log_id


def test_files_that_do_not_continue_are_separate(tmp_path):
    """Two files that both start at zero and hold different samples are two recordings."""
    put(tmp_path / "a.csv", table())
    (tmp_path / "b.csv").write_bytes(write(make_recording(cycles=8, seed=4), Dialect()))
    assert [log.source for log in open_logs(tmp_path)] == ["a.csv", "b.csv"]
    with pytest.raises(LogReadError, match="2 recordings that do not continue"):
        open_log(tmp_path)


@pytest.mark.parametrize("sparse", [True, False])
@pytest.mark.parametrize("block_bytes", [2000, 1 << 20])
def test_digitals_in_a_second_file(tmp_path, sparse, block_bytes):
    """Digitals of a second file, as samples or as changes only, lie under the samples of the first."""
    rows = table()
    put(tmp_path / "pressure.csv", [row[:2] for row in rows])
    kept = [b for a, b in zip([[""] * 5, *rows], rows, strict=False) if not sparse or a[2:] != b[2:]]
    put(tmp_path / "levels.csv", [[row[0], *row[2:]] for row in kept])
    assert same(read(tmp_path, options=ReadOptions(block_bytes=block_bytes)))


@pytest.mark.parametrize("style", ["L{} {}", "{1}{0}", "{1} {0}"])
def test_stations_as_columns(tmp_path, style):
    """Columns of two stations, told by prefix or number, give two stations."""
    head, *rows = table()
    names = ["Pressure", "Suction", "Blow", "Part"]
    wide = [style.format(k, n) + (" [kPa]" if n == "Pressure" else "") for k in (1, 2) for n in names]
    put(tmp_path / "log.csv", [[head[0], *wide], *([*row, *row[1:]] for row in rows)])
    found = read(tmp_path / "log.csv")
    assert len(found.layout.stations) == 2
    assert found.facts.rows_used == len(rows)
    for station in (0, 1):
        assert np.array_equal(found.digital[found.station == station], RECORDING.digital)


@pytest.mark.parametrize("stacked", [True, False])
def test_stations_in_a_column(tmp_path, stacked):
    """Rows of two stations, mixed or one after the other, give two stations with all their samples."""
    head, *rows = table("iso")
    both = [[s, *row] for s in ("ST1", "ST2") for row in rows]
    if not stacked:
        both = [[s, *row] for row in rows for s in ("ST1", "ST2")]
    put(tmp_path / "log.csv", [["Station", *head], *both])
    found = read(tmp_path / "log.csv", options=ReadOptions(head_bytes=20_000, block_bytes=10_000))
    assert found.layout.stations == ("ST1", "ST2")
    for station in (0, 1):
        assert np.array_equal(found.pressure_kpa[found.station == station], RECORDING.pressure_kpa)


@pytest.mark.parametrize("words", [True, False])
@pytest.mark.parametrize("block_bytes", [1500, 1 << 20])
def test_rows_of_readings(tmp_path, words, block_bytes):
    """Rows of time, tag and value, levels on change only, give the recording."""
    rows, last = [["Time [s]", "Tag", "Value"]], [-1, -1, -1]
    names = ["Suction", "BlowOff", "PartPresent"]
    for t, p, d in zip(RECORDING.time_s, RECORDING.pressure_kpa, RECORDING.digital.tolist(), strict=True):
        rows.append([f"{t:.2f}", "Vacuum [kPa]", str(p)])
        for bit, name in enumerate(names):
            if last[bit] != (level := d >> bit & 1):
                rows.append([f"{t:.2f}", name, ("OFF", "ON")[level] if words else str(level)])
                last[bit] = level
    found = read(put(tmp_path / "log.csv", rows, ";"), options=ReadOptions(block_bytes=block_bytes))
    assert same(found)
    assert found.facts.rows_used == len(rows) - 1


def test_standard_input(monkeypatch):
    """A log on standard input reads like a file."""
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(write(RECORDING, Dialect()))))
    found = read("-")
    assert same(found)
    assert found.facts.source == "standard input"


@pytest.mark.parametrize(
    ("name", "content", "match"),
    [
        ("none.csv", None, "no such file or folder"),
        ("empty.csv", b"", "an empty file"),
        ("picture.csv", bytes(range(1, 32)) * 300, "a binary file"),
        ("prose.csv", b"This is a letter.\nIt holds no samples.\n", "no rows of values|no column"),
        ("cut.parquet", b"PAR1" + bytes(100), "a damaged Parquet file"),
        ("cut.gz", b"\x1f\x8b\x08\x00abc", "a damaged compressed file"),
    ],
)
def test_what_is_no_log_is_refused(tmp_path, name, content, match):
    """A file that is no log is refused in one message that names it."""
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(LogReadError, match=match) as caught:
        open_log(tmp_path / name)
    assert name in str(caught.value)


def test_an_empty_folder_is_refused(tmp_path):
    """A folder without logs is refused with the endings that are read."""
    with pytest.raises(LogReadError, match="a folder without logs"):
        source_module.find_inputs(tmp_path)
