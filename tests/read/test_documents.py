"""Documents of JSON and statements of a database: read like the recording, in bounded memory, or told what to do."""

import json
import tracemalloc

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions
from tracekit.read.documents import Document, find_document, record_lines

RECORDING = make_recording(cycles=8)
KEYS = ("time_s", "pressure_kpa", "supply", "release", "part_present")
START = "2025-03-18T09:14:07Z"
ROWS = [
    (round(float(t), 4), round(float(k), 2), *(int(bits >> b & 1) for b in range(3)))
    for t, k, bits in zip(RECORDING.time_s, RECORDING.pressure_kpa, RECORDING.digital, strict=True)
]
KPA = np.array([row[1] for row in ROWS])
RECORDS = [dict(zip(KEYS, row, strict=True)) for row in ROWS]
NESTED = [{"t_s": r["time_s"], "v": {k: r[k] for k in KEYS[1:]}} for r in RECORDS]
TURNED = [r if k % 3 else dict(reversed(r.items())) for k, r in enumerate(RECORDS)]
BEHIND = {"device": 'logger "4", [line\\', "channels": [{"name": "p", "unit": "kPa"}], "samples": RECORDS, "ok": True}

DOCUMENTS = {
    "a list, drawn out": json.dumps(RECORDS, indent=2),
    "a list in one line": json.dumps(RECORDS),
    "a list with a record per line": "[\n" + ",\n".join(map(json.dumps, RECORDS)) + "\n]\n",
    "an object, drawn out": json.dumps(BEHIND, indent=2),
    "an object in one line": json.dumps(BEHIND),
    "drawn out with tabs and carriage returns": json.dumps(RECORDS, indent="\t").replace("\n", "\r\n"),
    "records drawn out without a list": "\n".join(json.dumps(r, indent=1) for r in RECORDS),
    "records in records": json.dumps(NESTED, indent=4),
    "names in two orders": json.dumps(TURNED, indent=2),
    "lists of channels": json.dumps({k: [r[k] for r in RECORDS] for k in KEYS}),
    "lists of channels, drawn out": json.dumps({"id": 4, **{k: [r[k] for r in RECORDS] for k in KEYS}}, indent=1),
    "rows and names apart": json.dumps({"columns": KEYS, "data": ROWS}),
    "rows with names in the first": json.dumps([KEYS, *ROWS]),
}

LISTS = {k: [r[k] for r in RECORDS] for k in KEYS[1:]}
BARE = {k.replace("_kpa", ""): v for k, v in LISTS.items()}
APART = {
    "interval and units in a header": {"header": {"dt": 0.01, "start": START, "units": {"pressure": "kPa"}}, "data": BARE},
    "interval in its name": {"interval_ms": 10, "start": START, **LISTS},
    "a list of channels": {
        "start": START, "sample_interval": 0.01,
        "channels": [{"name": k, "unit": "kPa" * (k == "pressure"), "values": v} for k, v in BARE.items()],
    },
    "an object of channels": {"start": START, "fs": 100, "channels": {k: {"data": v} for k, v in LISTS.items()}},
    "a unit of the interval": {"start": START, "interval": 10, "interval_unit": "ms", "data": LISTS},
    "members before records": {
        "dt_s": 0.01, "start": START, "samples": [{k: r[k] for k in KEYS[1:]} for r in RECORDS],
    },
    "rows with units apart": {
        "start": START, "columns": ["time", "p", *KEYS[2:]], "units": ["s", "kPa", "", "", ""], "data": ROWS,
    },
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(APART))
@pytest.mark.parametrize("indent", [None, 1])
def test_what_stands_beside_the_samples(tmp_path, name, indent):
    """The interval, the start and units, wherever in the document they stand."""
    (tmp_path / "log.json").write_text(json.dumps(APART[name], indent=indent))
    found = read(tmp_path / "log.json")
    assert np.abs(found.time_s - (RECORDING.time_s - RECORDING.time_s[0])).max() < 1e-4
    assert np.array_equal(found.pressure_kpa, KPA)
    assert np.array_equal(found.digital, RECORDING.digital)
    assert found.facts.start_time_us == 1_742_289_247_000_000


def as_recorded(found, rejected: int = 0) -> bool:
    """Times, pressures and levels are those of the recording, and so many rows were rejected."""
    late = np.abs(found.time_s - RECORDING.time_s).max()
    same = np.array_equal(found.pressure_kpa, KPA)
    levels = np.array_equal(found.digital, RECORDING.digital)
    return bool(late < 1e-4 and same and levels and found.facts.rows_rejected == rejected)


@pytest.mark.parametrize("name", sorted(DOCUMENTS))
@pytest.mark.parametrize(
    "options", [ReadOptions(), ReadOptions(block_bytes=3000, head_bytes=30_000)], ids=["whole", "pieces"]
)
def test_a_document_reads_like_the_recording(tmp_path, name, options):
    """Records, lists of channels and rows with names apart, whatever their line ends."""
    path = tmp_path / "log.json"
    path.write_bytes(DOCUMENTS[name].encode())
    members_behind = 1 if name.startswith("an object") else 0
    assert as_recorded(read(path, options=options), members_behind)


def test_every_cut_of_the_text_gives_the_same_lines():
    """Where pieces end does not matter, not even within an escaped quote."""
    text = json.dumps({"a": 'x\\"[{', "samples": [{"t": 1, "b": 'y",{'}, {"t": 2, "b": "\\"}]}, indent=1).encode()
    found = find_document(text, "log.json", whole=True)
    assert found == Document(depth=2)
    whole = b"".join(record_lines(iter([text]), found))
    records = [json.loads(line) for line in whole.split(b"\n") if b'"t"' in line]
    assert records == [{"t": 1, "b": 'y",{'}, {"t": 2, "b": "\\"}]
    for cut in range(1, len(text)):
        assert b"".join(record_lines(iter([text[:cut], text[cut:]]), found)) == whole


def test_records_are_not_held_whole():
    """A list of records needs memory for its pieces alone, however long it is."""
    body = (json.dumps(RECORDS[:500], indent=2)[1:-1] + ",").encode()
    tracemalloc.start()
    pieces = (piece for k in range(200) for piece in ([b"["] if k == 0 else []) + [body])
    lines = sum(piece.count(b"\n") for piece in record_lines(pieces, Document(depth=1)))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert lines >= 200 * 500
    assert peak < 40 * len(body)


def test_a_document_without_records_says_what_to_export(tmp_path):
    """What is no table, and lists of channels that are too long, are refused with what to do."""
    path = tmp_path / "log.json"
    path.write_text(json.dumps({"a": {"b": 1}, "c": [1, 2]}, indent=1), encoding="utf-8")
    with pytest.raises(LogReadError, match=r"neither records nor lists of channels.*Export an array of records"):
        read(path)
    path.write_text(json.dumps([list(row) for row in ROWS]), encoding="utf-8")
    with pytest.raises(LogReadError, match=r"without a name for each column.*Export an array of records"):
        read(path)


NAMES = ", ".join(KEYS)
TUPLES = [f"({', '.join(map(str, row))})" for row in ROWS]
CREATE = "CREATE TABLE vac (\n  time_s REAL NOT NULL,\n  `pressure_kpa` decimal(8,2),\n  supply int,\n  `release` int,\n  part_present int,\n  PRIMARY KEY (time_s)\n);"
STATEMENTS = {
    "one each": [f"INSERT INTO vac ({NAMES}) VALUES {t};" for t in TUPLES],
    "names from the table's making": [CREATE, *(f"INSERT INTO `vac` VALUES {t};" for t in TUPLES)],
    "many below one": ["-- dump", f"INSERT INTO vac ({NAMES}) VALUES", *(f"{t}," for t in TUPLES[:-1]), f"{TUPLES[-1]};"],
    "many in a line": [
        f"insert into vac ({NAMES}) values {','.join(TUPLES[k : k + 300])};" for k in range(0, len(TUPLES), 300)
    ],
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(STATEMENTS))
@pytest.mark.parametrize("options", [ReadOptions(), ReadOptions(block_bytes=3000)], ids=["whole", "pieces"])
def test_statements_read_like_the_recording(tmp_path, name, options):
    """Rows between brackets are read under the names that the statements, or the making of the table, tell."""
    path = tmp_path / "log.sql"
    path.write_text("\n".join(STATEMENTS[name]) + "\n", encoding="utf-8")
    assert as_recorded(read(path, options=options))


@pytest.mark.parametrize("place", [3, len(TUPLES) - 5])
def test_statements_for_another_table_are_refused(tmp_path, place):
    """Rows of two tables would be mixed: refused with the names of both, wherever the second one stands."""
    lines = list(STATEMENTS["one each"])
    lines.insert(place, "INSERT INTO alarms (time_s, a, b, c, d) VALUES (1, 2, 0, 0, 0);")
    path = tmp_path / "log.sql"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(LogReadError, match=r'several tables: .*"vac".*Export the table of the samples alone'):
        read(path, options=ReadOptions(head_bytes=20_000))


def test_lines_of_bad_tuples_are_those_of_the_file(tmp_path):
    """A tuple that lacks a value is rejected with its line, though several stand in one."""
    lines = list(STATEMENTS["many in a line"])
    lines[2] = lines[2].replace(TUPLES[700], "(1, 2)")
    path = tmp_path / "log.sql"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    (bad,) = read(path).facts.rejections
    assert (bad.rows, bad.first_lines) == (1, (3,))
