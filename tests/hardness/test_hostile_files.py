"""Files that are made to fill the memory, to run for hours or to lead the reader astray."""

import gzip
import json
import os
import zipfile

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hardness.child import MOST_BYTES, child
from hardness.made import csv_text, many_stations, rows
from hardness.trial import command, leftovers

MIB = 1 << 20


def head() -> bytes:
    """The start of a sound log."""
    header, cells = rows(30)
    return csv_text(header, cells).encode()


def packed(path, piece: bytes, times: int) -> None:
    """A gzip file that begins like a log and goes on with `times` MiB of a piece."""
    with gzip.open(path, "wb", compresslevel=9) as file:
        file.write(head())
        for _ in range(times):
            file.write(piece * (MIB // len(piece)))


def zstd_zeros(path) -> None:
    with pa.CompressedOutputStream(str(path), "zstd") as sink:
        sink.write(head())
        for _ in range(3000):
            sink.write(bytes(MIB))


def zipped(path, members: int, content: bytes) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for number in range(members):
            archive.writestr(f"../../{number}.csv", content)


def declared(path) -> None:
    """A small Parquet file of 200 million rows that are all alike."""
    table = pa.table({"time_s": np.zeros(MIB), "pressure_kpa": np.zeros(MIB)})
    with pq.ParquetWriter(path, table.schema) as writer:
        for _ in range(200):
            writer.write_table(table)


def repeated_text(path, column: str) -> None:
    """A Parquet file in which every row repeats one text of a MiB."""
    n = 100_000
    rng = np.random.default_rng(1)
    columns = {"time_s": pa.array(np.arange(n) / 100), "pressure_kpa": pa.array(-20 - rng.random(n))}
    columns[column] = pa.DictionaryArray.from_arrays(pa.array(np.zeros(n, np.int32)), pa.array(["9" * MIB]))
    pq.write_table(pa.table(columns), path)


BOMBS = {
    "zeros.csv.gz": lambda p: packed(p, b"\0", 1500),
    "spaces.csv.gz": lambda p: packed(p, b" ", 1500),
    "blank_lines.csv.gz": lambda p: packed(p, b"\n", 1500),
    "commas.csv.gz": lambda p: packed(p, b",", 1500),
    "quotes.csv.gz": lambda p: packed(p, b'"', 1500),
    "no_rows.csv.gz": lambda p: packed(p, b"x\n", 1500),
    "one_row.csv.gz": lambda p: packed(p, b"999.000,-20.00,1\n", 1500),
    "zeros.csv.zst": zstd_zeros,
    "members.zip": lambda p: zipped(p, 20_000, b""),
    "zeros.zip": lambda p: zipped(p, 1, head() + bytes(500 * MIB)),
    "alike.parquet": declared,
    "text.parquet": lambda p: repeated_text(p, "pressure_kpa"),
    "note.parquet": lambda p: repeated_text(p, "note"),
    "columns.parquet": lambda p: pq.write_table(pa.table({f"c{i}": [1.0, 2.0] for i in range(20_000)}), p),
    "columns.csv": lambda p: p.write_text((",".join(["1"] * 100_000) + "\n") * 3),
    "line.csv": lambda p: p.write_bytes(head() + b"1" * (60 * MIB) + b"\n"),
    "digits.csv": lambda p: p.write_bytes(head() + b"".join(b"%d,%s,1,1,1\n" % (i, b"9" * 100_000) for i in range(100))),
    "junk.csv": lambda p: p.write_bytes(head() + b"x\n" * (4 * MIB)),
}
QUICK = ("note.parquet", "members.zip")


@pytest.mark.parametrize("name", [pytest.param(n, marks=() if n in QUICK else pytest.mark.full) for n in BOMBS])
def test_bombs(tmp_path, tally, name):
    """A small file that would unpack to very much is refused, or read with the loss counted, in bounded time and memory."""
    path = tmp_path / name
    BOMBS[name](path)
    ended = child("diagnose", path, "--out", tmp_path / "out", "--quiet")
    word = ended.outcome()
    if word == "right":
        log = json.loads((tmp_path / "out" / "diagnosis.json").read_text(encoding="utf-8"))["logs"][0]
        word = "partly read" if log["rows_rejected"] or log["warnings"] else "silent loss"
    tally.add("bombs", word, (name, ended.seconds, ended.memory, ended.err[-300:]))
    assert word in ("refused", "partly read"), (ended.seconds, ended.memory, ended.err[-1000:])
    assert 0 < ended.memory < MOST_BYTES
    assert leftovers(tmp_path) == []
    assert sorted(p.name for p in tmp_path.parent.iterdir() if p.suffix == ".csv") == []


NUMBERS = ("1e308", "-1e308", "1e400", "1" + "0" * 400, "-0", "-0.0", "nan", "inf", "-inf", "1e-320", "0x10", "1_0", str(2**63), "٣")


@pytest.mark.parametrize("column", [0, 1, 2])
def test_numbers(tmp_path, tally, column):
    """A number beyond all measure costs its row or its reading; what is computed stays finite and JSON stays JSON."""
    for number in NUMBERS:
        header, cells = rows(3)
        cells[555][column] = number
        path = tmp_path / "log.csv"
        path.write_text(csv_text(header, cells), encoding="utf-8")
        ran = command("diagnose", path, "--out", tmp_path / "out", "--quiet")
        word = ran.outcome()
        if word == "right":
            text = (tmp_path / "out" / "diagnosis.json").read_text(encoding="utf-8")
            document = json.loads(text, parse_constant=pytest.fail)
            log = document["logs"][0]
            word = "partly read" if log["rows_rejected"] or log["warnings"] else "right"
            assert log["rows_read"] == log["rows_used"] + log["rows_rejected"]
            assert log["duration_s"] < 1e4 or column == 0
        tally.add("numbers beyond measure", word, (column, number[:20], ran.err[-300:]))
        assert word in ("right", "partly read", "refused"), (number[:20], ran.err)


BLOW_UPS = {
    "zeros of a second": "2025-01-01T00:00:00." + "0" * 50_000,
    "spaces": " " * 50_000 + "1",
    "signs": "-" * 50_000,
    "points": "1." * 25_000,
    "colons": "1:" * 25_000,
    "slashes": "1/" * 25_000,
    "digits": "1" * 50_000,
    "letters": "a" * 50_000 + "!",
    "brackets": "[" * 50_000,
    "units": "p " * 25_000,
    "quotes": "'" * 50_000,
    "zones": "2025-01-01T00:00:00" + "+00:00" * 8_000,
}


@pytest.mark.full
@pytest.mark.parametrize("place", ["header", "first line", "time", "pressure", "station file", "event"])
def test_patterns_do_not_blow_up(tmp_path, tally, place):
    """No pattern and no date takes long, however its text is made."""
    header, cells = rows(2)
    for name, text in BLOW_UPS.items():
        names, lines, before = list(header), [list(c) for c in cells[::4]], ""
        given = tmp_path / "station.toml"
        given.write_text("")
        if place == "header":
            names[1] = text
        elif place == "first line":
            before = text + "\n"
        elif place in ("time", "pressure"):
            for line in lines[:3]:
                line[0 if place == "time" else 1] = text
        elif place == "station file":
            given.write_text(f"[station]\nname = {json.dumps(text)}\ntimezone = {json.dumps(text)}\n")
        path = tmp_path / "log.csv"
        path.write_text(before + csv_text(names, lines))
        more = ("history", tmp_path / "h", "--event", text) if place == "event" else ("inspect", path, "--station", given)
        ran = command(*more)
        tally.add("patterns and dates", ran.outcome(), (place, name, ran.seconds, ran.err[-200:]))
        assert ran.outcome() in ("right", "refused"), (name, ran.seconds, ran.err[-500:])


@pytest.mark.parametrize("text", ["[" * 100_000, '{"a":' * 50_000, "1" * 10_000, '{"measure": ' + "9" * 6000 + "}", "\x00", '{"a": NaN}', '"\\ud800"'])
def test_documents_that_are_made_to_break_the_reader(tmp_path, tally, text):
    """A nested, endless or broken document is refused in one message."""
    path = tmp_path / "given.json"
    path.write_text(text)
    log = tmp_path / "log.csv"
    log.write_text(csv_text(*rows(2)))
    station = tmp_path / "given.toml"
    station.write_text("a = " + text)
    for more in (("verify", path, log), ("compare", log, log, "--plan", path), ("inspect", log, "--station", station)):
        ran = command(*more, *(("--out", tmp_path / "out") if more[0] == "compare" else ()))
        tally.add("nested and endless documents", ran.outcome(), (more[0], text[:20], ran.err[-300:]))
        assert ran.outcome() == "refused", ran.err[-500:]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the system has no pipes with names")
def test_what_is_no_file(tmp_path, tally):
    """Pipes, devices and links that lead nowhere or in a circle are refused at once, never waited for."""
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "circle.csv").symlink_to(tmp_path / "circle.csv")
    (tmp_path / "nowhere.csv").symlink_to(tmp_path / "not there")
    for name in (tmp_path / "pipe.csv", tmp_path / "circle.csv", tmp_path / "nowhere.csv", "/dev/zero", "/dev/null"):
        ended = child("diagnose", name, "--out", tmp_path / "out", limit_s=5)
        tally.add("no files", ended.outcome(), (str(name), ended.err[-200:]))
        assert ended.outcome() == "refused", (name, ended.err)


def test_folders_in_a_circle(tmp_path, tally):
    """A pattern that descends does not follow folders round in circles."""
    folder = tmp_path / "a"
    folder.mkdir()
    (folder / "log.csv").write_text(csv_text(*rows(2)))
    for name in ("x", "y"):
        (folder / name).symlink_to(folder, target_is_directory=True)
    ended = child("inspect", tmp_path / "**" / "*.csv", limit_s=20)
    tally.add("folders in a circle", ended.outcome(), ended.err[-200:])
    assert ended.outcome() in ("right", "refused"), ended.err


def test_a_thousand_parts(tmp_path, tally):
    """A context column with another value in every row (a serial number) is no trouble."""
    log = many_stations(tmp_path / "log.csv", ["a"], [f"serial {i}" for i in range(3)], cycles=3)
    text = log.read_text().splitlines()
    log.write_text("\n".join([text[0], *(f"{line[: line.rindex(',')]},{n}" for n, line in enumerate(text[1:]))]) + "\n")
    (tmp_path / "s.toml").write_text('[channels]\ncontext = ["recipe"]\n')
    ran = command("diagnose", log, "--station", tmp_path / "s.toml", "--out", tmp_path / "out", "--quiet")
    tally.add("a context value per row", ran.outcome(), ran.err[-300:])
    assert ran.outcome() == "right", ran.err
