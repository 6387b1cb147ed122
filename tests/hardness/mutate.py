"""Mutations of logs, station files, JSON documents and command lines that know what these are made of."""

import copy
import gzip
import io
import json
import re
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
from hypothesis import strategies as st
from pyarrow import feather

CELLS = (
    "", " ", "nan", "NaN", "inf", "-Infinity", "1e308", "-1e308", "1e400", "1" + "0" * 400, "-0", "-0.0", "0x1F", "1_000",
    "1,5", "1.2.3", "--1", "+", "-", "\u0663", "½", "1e", "TRUE", "off", "null", "N/A", "#REF!", "2025-02-30T25:61:61",
    "9999-12-31T23:59:60Z", "0001-01-01", "2025-03-30 02:30:00", "1970-01-01T00:00:00Z", "12:00:00", "31/12/25 11:59 PM",
    str(2**63), str(-(2**63) - 1), str(2**64), "1e-320", "\x00", "\x1b[2J", "a" * 3000, " " * 3000, "1" * 3000, ";", "\t",
    '"', "'", "\\", "%s", "=1+1", "<b>", "1 kPa", "5 °C", "-99999", "65535", "time_s", "2025-01-01T00:00:00.1234567890123",
    "20250101000000", "0:0:0", "99:99:99", "1:2:3:4:5:6:7:8", "-".join("1" * 200), ":" * 500, "\u202e", "\ufeff", "1.",
)  # fmt: skip
HEADERS = (
    "time", "time_s", "t[ms]", "pressure_kpa", "p [mbar]", "Druck", "vacuum", "supply", "release", "", "kPa", "1", "-1", "date",
    "station", "index", "AI1 (4-20 mA)", "absolute pressure [Pa]", "<script>", "x" * 300, "psi", "DI0", "uptime_h", "temp",
)  # fmt: skip
INSERTS = (
    b"\x00" * 64, b'"', b'"' * 7, b"9" * 300, b"\n", b"\r", b"e308", b"nan", b"\xff\xfe", b";,\t|", b"x" * 5000, b"\n\n\n",
    b"\x1a", b"\x1f\x8b\x08", b"PAR1", b"PK\x03\x04", b"# comment\n", b"[section]\n", b",,,,\n", b"\xef\xbb\xbf", b"\xc3(",
    b"\xed\xa0\x80", b"\xf4\x90\x80\x80", b"-----\n", b"{}\n", b"\\", b"\n=\n",
)  # fmt: skip
FACTORS = (0.0, -1.0, 1000.0, 0.001, 7.5, 1e30, -1e-30)
PACKINGS = ("plain", "gzip", "zstd", "zip", "utf-16", "latin-1", "bom", "parquet", "returns", "records", "feather")
TABLES = ("parquet", "feather", "records")
OPS = (
    "cell", "cell", "header", "row twice", "row gone", "row moved", "row short", "row long", "column gone", "column twice",
    "column constant", "column scaled", "column shifted", "columns swapped", "time back", "time stops", "delimiter",
    "decimal", "no header", "headers", "rows cut", "one row", "unit row", "comments", "bytes", "bytes", "packing", "cut",
)  # fmt: skip
Op = tuple[str, int, int, int]
operations = st.lists(
    st.tuples(st.sampled_from(OPS), st.integers(0, 997), st.integers(0, 991), st.integers(0, 255)), min_size=1, max_size=4
)


@dataclass(slots=True)
class Draft:
    """A log while it is mutated: header, rows of cells, form of the text, packing, changes of the finished bytes."""

    header: list[str]
    rows: list[list[str]]
    delimiter: str = ","
    decimal: str = "."
    packing: str = "plain"
    before: str = ""
    late: tuple[Op, ...] = ()


@dataclass(frozen=True, slots=True)
class Made:
    """A mutated log: its bytes, and the lines that a text in it has or the rows of a table in it.

    Lines are None where the bytes were changed after they were packed, or hold what does not show where a line ends.
    """

    data: bytes
    lines: int | None


def mutated_log(header: Sequence[str], rows: Sequence[Sequence[str]], ops: Sequence[Op], packing: str = "plain") -> bytes:
    """The bytes of a log after some operations."""
    return made_log(header, rows, ops, packing).data


def made_log(header: Sequence[str], rows: Sequence[Sequence[str]], ops: Sequence[Op], packing: str = "plain") -> Made:
    """A log after some operations; an operation may change the packing."""
    draft = Draft(list(header), [list(r) for r in rows], packing=packing)
    for op in ops:
        _apply(draft, op)
    data = _packed(draft)
    lines = len(draft.rows) if draft.packing in TABLES else lines_of(_text(draft).encode("utf-8"))
    packed = draft.packing not in ("plain", *TABLES)
    for _, place, size, pick in draft.late:
        data = damaged(data, place, size, pick)
    if draft.late:
        lines = None if packed or draft.packing in TABLES else lines_of(data)
    return Made(data, lines)


def lines_of(text: bytes) -> int | None:
    """Lines of a text that hold more than delimiters; None where quotes or odd characters may hide where a line ends."""
    if re.search(rb'[^\t\n -~]|"', text):
        return None
    return sum(1 for line in text.split(b"\n") if line.strip(b" \t,;|:"))


def _apply(draft: Draft, op: Op) -> None:
    kind, place, other, pick = op
    rows = draft.rows
    at = place * len(rows) // 1000
    width = max(len(draft.header), 1)
    column, second = other % width, pick % width
    if kind in _ROWS and rows:
        _ROWS[kind](rows, at, other, pick)
    elif kind.startswith(("column", "time")):
        _columns(draft, kind, (at, column, second, pick))
    elif kind in ("header", "headers", "no header"):
        _headers(draft, kind, column, pick)
    elif kind == "delimiter":
        draft.delimiter = ";\t| ,:"[pick % 6]
    elif kind == "decimal":
        draft.decimal = ","
        draft.delimiter = ";" if pick % 3 else draft.delimiter
    elif kind == "packing":
        draft.packing = PACKINGS[pick % len(PACKINGS)]
    elif kind == "comments":
        draft.before = ("# a comment\n", "Exported 2025-03-02 06:00:00\n\n", "sep=,\n", "a;b;c\n" * 30)[pick % 4]
    elif kind in ("bytes", "cut"):
        draft.late = (*draft.late, (kind, place, other, pick if kind == "bytes" else -1))


def _cell(rows, at, other, pick):
    row = rows[at]
    if row:
        row[other % len(row)] = CELLS[pick % len(CELLS)]


def _moved(rows, at, other, pick):
    rows.insert(other % len(rows), rows.pop(at))


def _long(rows, at, other, pick):
    rows[at] = [*rows[at], *CELLS[pick % 7 : pick % 7 + 1 + pick % 5]]


def _unit_row(rows, at, other, pick):
    rows.insert(0, ["s", "kPa", "", "-", "[mbar]", "ms", ""][pick % 3 :])


_ROWS: dict[str, Callable[[list[list[str]], int, int, int], None]] = {
    "cell": _cell,
    "row twice": lambda rows, at, other, pick: rows.__setitem__(slice(at, at), [list(rows[at])] * (pick % 9)),
    "row gone": lambda rows, at, other, pick: rows.__delitem__(slice(at, at + 1 + pick)),
    "row moved": _moved,
    "row short": lambda rows, at, other, pick: rows.__setitem__(at, rows[at][: pick % 4]),
    "row long": _long,
    "rows cut": lambda rows, at, other, pick: rows.__delitem__(slice(at, None)),
    "one row": lambda rows, at, other, pick: rows.__delitem__(slice(1 + pick % 3, None)),
    "unit row": _unit_row,
}


def _headers(draft: Draft, kind: str, column: int, pick: int) -> None:
    if kind == "no header":
        draft.header = []
    elif kind == "headers":
        draft.rows[0:0] = [list(draft.header)] * (pick % 3)
    elif draft.header:
        draft.header[column] = HEADERS[pick % len(HEADERS)]


def _columns(draft: Draft, kind: str, where: tuple[int, int, int, int]) -> None:
    at, column, second, pick = where
    for row in [draft.header, *draft.rows]:
        if column < len(row) and second < len(row):
            if kind == "columns swapped":
                row[column], row[second] = row[second], row[column]
            elif kind == "column twice":
                row.append(row[column])
            elif kind == "column gone":
                del row[column]
    for n, row in enumerate(draft.rows):
        if kind == "column constant" and column < len(row):
            row[column] = CELLS[pick % len(CELLS)]
        elif kind == "column scaled" and column < len(row):
            row[column] = _scaled(row[column], FACTORS[pick % len(FACTORS)], 0.0)
        elif kind == "column shifted" and column < len(row):
            row[column] = _scaled(row[column], 1.0, (1e9, -1e6, 101.325, -50.0)[pick % 4])
        elif kind == "time back" and n >= at and row:
            row[0] = _scaled(row[0], 1.0, -float(pick))
        elif kind == "time stops" and n >= at and row:
            row[0] = draft.rows[at][0] if draft.rows[at] else "0"


def _scaled(cell: str, factor: float, shift: float) -> str:
    try:
        return f"{float(cell) * factor + shift:.6g}"
    except (ValueError, OverflowError):
        return cell


def _packed(draft: Draft) -> bytes:
    if draft.packing == "parquet":
        return _as_parquet(draft)
    if draft.packing == "feather":
        sink = io.BytesIO()
        feather.write_feather(_table(draft), sink, compression="uncompressed")
        return sink.getvalue()
    if draft.packing == "records":
        return _records(draft)
    text = _text(draft)
    plain = text.encode("utf-8")
    if draft.packing == "gzip":
        return gzip.compress(plain, 1, mtime=0)
    if draft.packing == "zstd":
        return pa.compress(plain, codec="zstd", asbytes=True)
    if draft.packing == "zip":
        sink = io.BytesIO()
        with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("../../log.csv", plain)
        return sink.getvalue()
    if draft.packing == "utf-16":
        return text.encode("utf-16")
    if draft.packing == "latin-1":
        return text.encode("latin-1", "replace")
    return {"bom": b"\xef\xbb\xbf" + plain, "returns": plain.replace(b"\n", b"\r\n")}.get(draft.packing, plain)


def _text(draft: Draft) -> str:
    lines = ([draft.header] if draft.header else []) + draft.rows
    cells = ([c.replace(".", draft.decimal) for c in line] if draft.decimal != "." else line for line in lines)
    return draft.before + "\n".join(draft.delimiter.join(line) for line in cells) + "\n"


def _records(draft: Draft) -> bytes:
    """One JSON object a line; a cell becomes a number where it is one."""
    names = draft.header or [f"c{i}" for i in range(5)]
    lines = [json.dumps(dict(zip(names, map(_number, row), strict=False))) for row in draft.rows]
    return (draft.before + "\n".join(lines) + "\n").encode("utf-8")


def _number(cell: str) -> float | str:
    try:
        return float(cell)
    except ValueError:
        return cell


def _as_parquet(draft: Draft) -> bytes:
    sink = io.BytesIO()
    pq.write_table(_table(draft), sink, compression=("zstd", "snappy", "none")[len(draft.rows) % 3])
    return sink.getvalue()


def _table(draft: Draft) -> pa.Table:
    """Columns become numbers where every cell is one, else text; now and then another type."""
    names = draft.header or [str(i) for i in range(5)]
    columns: dict[str, pa.Array] = {}
    for n, name in enumerate(names):
        cells = [row[n] if n < len(row) else None for row in draft.rows]
        columns[name + "'" * (name in columns)] = _typed(cells)
    return pa.table(columns)


def _typed(cells: list[str | None]) -> pa.Array:
    try:
        numbers = [None if c is None or not c.strip() else float(c) for c in cells]
    except ValueError:
        return pa.array(cells, pa.string())
    kind = len(cells) % 11
    whole = all(n is not None and n.is_integer() and abs(n) < 1e9 for n in numbers)
    if kind == 3:
        return pa.array([[n, n] for n in numbers], pa.list_(pa.float64()))
    if kind == 4:
        return pa.array([{"v": n} for n in numbers], pa.struct([("v", pa.float32())]))
    if kind == 5:
        return pa.array(cells, pa.string()).dictionary_encode()
    if whole and kind == 6:
        return pa.array([int(n) for n in numbers], pa.int64()).cast(pa.timestamp("ms"))
    if whole and kind == 7:
        return pa.array([bool(n) for n in numbers])
    return pa.array([int(n) for n in numbers], pa.int64()) if whole else pa.array(numbers, pa.float64())


def damaged(data: bytes, place: int, size: int, pick: int) -> bytes:
    """Bytes with one flip, cut, loss, insertion or copy at a place in thousandths."""
    found = bytearray(data)
    at = place * len(found) // 1000
    if not found or pick < 0:
        return bytes(found[:at])
    if pick % 5 == 0:
        found[at] ^= 1 << pick % 8
    elif pick % 5 == 1:
        del found[at : at + size]
    elif pick % 5 == 2:
        found[at:at] = found[size * len(found) // 1000 :][:pick]
    else:
        found[at:at] = INSERTS[(pick + size) % len(INSERTS)]
    return bytes(found)


VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 3, 1e308, -0.0, 1e-300, 2**70, "", "x", "a" * 400, "../../x", "\x1b[31m", "=1+1", [], {}, [1, 2],
    {"a": 1}, [[]], "nan", "56.0", "kPa", "Europe/Lisbon", [[4.0, 0.0], [20.0, -101.3]], {"column": "x"}, "none", -56.5,
)  # fmt: skip
changes = st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 10**6), st.integers(0, 255)), min_size=1, max_size=3)


def mutated_document(document: Any, ops: Sequence[tuple[int, int, int]]) -> Any:
    """A JSON document with nodes replaced, removed, renamed, doubled."""
    found = json.loads(json.dumps(document))
    for place, pick, how in ops:
        nodes = list(_nodes(found))
        if not nodes:
            return copy.deepcopy(VALUES[pick % len(VALUES)])
        holder, key = nodes[place % len(nodes)]
        number = isinstance(holder[key], int | float) and not isinstance(holder[key], bool)
        if number and how % 8 > 3:
            holder[key] = holder[key] * (0.5, 0.99, 1.01, 2.0, 100.0, -1.0, 0.0)[pick % 7]
        elif how % 8 == 0:
            del holder[key]
        elif how % 8 == 1 and isinstance(holder, dict):
            holder[str(key) + "_x"] = holder.pop(key)
        elif how % 8 == 2:
            other, name = nodes[pick % len(nodes)]
            holder[key] = json.loads(json.dumps(other[name]))
        else:
            holder[key] = copy.deepcopy(VALUES[pick % len(VALUES)])  # what is changed later must not hold itself
    return found


def _nodes(node: Any):
    """Every place of a document: its holder and its key."""
    for key in list(node) if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ():
        yield node, key
        yield from _nodes(node[key])


def toml_text(document: dict[str, dict[str, Any]]) -> str:
    """A station file from a document; what TOML cannot say is left out."""
    lines = []
    for section, keys in document.items():
        if not isinstance(keys, dict):
            lines.insert(0, f"{_key(section)} = {_toml(keys)}")
            continue
        lines.append(f"[{_key(section)}]")
        lines += [f"{_key(k)} = {_toml(v)}" for k, v in keys.items() if v is not None]
    return "\n".join(lines) + "\n"


def _key(name: str) -> str:
    return name if name.replace("_", "a").isalnum() and name.isascii() else json.dumps(name)


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(k)} = {_toml(v)}" for k, v in value.items() if v is not None) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(v) for v in value if v is not None) + "]"
    if isinstance(value, str):
        return json.dumps(value).replace("\x7f", "\\u007f")
    return json.dumps(value).replace("Infinity", "inf").replace("null", '""')
