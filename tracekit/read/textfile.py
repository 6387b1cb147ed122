"""Text files: how they are cut and written, their first rows, and all rows as columns."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np
import pyarrow as pa

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.model.trace import Assumption
from tracekit.options.read import ReadOptions
from tracekit.read.between import find_between
from tracekit.read.bounds import bounded, worth_reading
from tracekit.read.bytestream import Hash, reading, size_of, unpacked, whole_lines
from tracekit.read.columns import Column, Profile, item_columns, make_column, profile_cells
from tracekit.read.delimited import TextShape, parse, parse_ahead
from tracekit.read.documents import Document, find_document, record_lines
from tracekit.read.encoding import DAMAGE, Encoding, as_utf8, find_encoding, sound_utf8
from tracekit.read.head import Head
from tracekit.read.headers import joined_header, unique_names
from tracekit.read.inserts import Inserts, find_inserts
from tracekit.read.keyed import Keyed, find_keyed
from tracekit.read.lastline import guard_end, marked_foot, without_foot
from tracekit.read.legend import check_numbered, padded_words, with_legends
from tracekit.read.longcells import mixed_profiles
from tracekit.read.marks import find_marked
from tracekit.read.mending import (
    Formulas,
    Glued,
    Mend,
    Records,
    find_formulas,
    find_glued,
    find_records,
    mended,
)
from tracekit.read.naming import Named, find_named
from tracekit.read.nested import Nested, find_nested
from tracekit.read.preamble import read_preamble
from tracekit.read.quotedpairs import find_quoted_pairs
from tracekit.read.records import find_flat
from tracekit.read.refusing import check_table
from tracekit.read.repeated import find_repeated
from tracekit.read.restarts import restarts_before
from tracekit.read.rows import Rows
from tracekit.read.sections import check_above
from tracekit.read.sniff import TextForm, sniff, split
from tracekit.read.titles import titles

_FIRST_BYTES = 1 << 18
_SNIFFED_LINES, _FIRST_ROWS, _SPREAD_ROWS, _TAIL_BYTES, _TAIL_ROWS = 400, 300, 300, 65536, 100
WORDS = pa.dictionary(pa.int32(), pa.binary())


@dataclass(frozen=True, slots=True, kw_only=True)
class TextFile:
    """A text file as it was found. `decimal` is the decimal sign of most columns.

    mend        how lines are rewritten before they are cut, None where they are cut as they stand
    first_line  position of the first line of data in the file, from 0; that in `form` counts rewritten lines
    document    how its records of JSON stand; lines are then its records
    """

    name: str
    path: Path
    packing: str
    encoding: Encoding
    form: TextForm
    names: tuple[str, ...]
    decimal: str
    mend: Mend | None = None
    first_line: int = 0
    document: Document | None = None


def open_text(name: str, path: Path, packing: str, options: ReadOptions) -> tuple[TextFile, Head]:
    """What a text file is, and its first rows.

    Raises LogReadError where it holds no rows of values.
    """
    raw, whole = first_bytes(path, packing, options)
    encoding = find_encoding(raw, name)
    text = sound_utf8(b"".join(as_utf8(iter([raw]), encoding)))
    document = find_document(text, name, whole=whole)
    if document is not None:
        text = b"".join(record_lines(iter([text]), document))
    if not whole:
        text = text[: text.rfind(b"\n") + 1] or text
    cut = _cut_of(text, name)
    text, lines, form = cut.text, cut.lines, cut.form
    body = [line for line in lines[form.first_data :] if line.strip()]
    names, heading = titles(form, lines, _spread(body))
    if isinstance(cut.mend, Named | Nested | Keyed | Inserts) and len(cut.mend.names) == form.fields:
        names, heading = unique_names(cut.mend.names, form.fields), None
    if cut.mend is None:
        check_above(lines[: form.first_data - form.waiting], names, form.delimiter, name)
    near = whole or packing != "plain" or document is not None
    later = _later_lines(text) + ([] if near else _tail(path, encoding, cut.mend))
    samples = [split(line, form.delimiter, '"') for line in (*_spread(body), *later)]
    profiles = _profiles([s for s in samples if len(s) == form.fields], form.fields)
    profiles = padded_words(profiles, names, samples, form.preamble)
    profiles = mixed_profiles(profiles, names, [s for s in samples if len(s) == form.fields])
    decimal = _decimal(profiles)
    file = TextFile(
        name=name, path=path, packing=packing, encoding=encoding, form=form, names=names, decimal=decimal,
        mend=cut.mend, first_line=cut.first_line, document=document,
    )  # fmt: skip
    types = {n: _head_type(p, decimal) for n, p in zip(names, profiles, strict=True)}
    body_bytes = text[_offset(text, form.first_data) :]
    body_bytes = marked_foot(body_bytes, form) if whole and cut.mend is None else body_bytes
    rows = parse(prepared(body_bytes, form), shape_of(file, types), cut.first_line + form.waiting + 1)
    columns = with_legends(_columns(form, names, profiles, rows, samples), form.preamble)
    check_numbered(columns, form.preamble, name)
    facts = (*_facts(file), heading) if heading else _facts(file)
    preamble = read_preamble(form.preamble)
    total = rows.count if whole else _rows_about(path, packing, raw, rows.count)
    head = Head(
        name=name,
        columns=columns,
        rows=rows.count,
        whole=whole,
        preamble=preamble,
        total=total,
        restarts=tuple(np.unique(np.flatnonzero(np.diff(restarts_before(rows), prepend=0))).tolist()),
        assumptions=tuple(facts),
    )
    return file, head


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cut:
    """The first text, its first lines and how they are cut, after lines were rewritten where they had to be."""

    text: bytes
    lines: list[str]
    form: TextForm
    mend: Mend | None
    first_line: int


def _cut_of(text: bytes, name: str) -> _Cut:
    """How a text is cut. Raises LogReadError where it holds no rows of values."""
    lines = joined_header(_first_lines(text))
    filled = [line for line in lines if line.strip()]
    written = [line.strip() for line in filled]
    mend: Mend | None = find_nested(written) or find_flat(written)
    if mend is None:
        check_table(written, name)
        mend = (
            find_inserts(lines, name)
            or find_quoted_pairs(written)
            or find_formulas(filled)
            or find_marked(written)
            or find_records(filled)
            or find_repeated(filled)
            or find_named(filled)
            or find_keyed(written)
            or find_between(written)
        )
    form = sniff(lines[:_SNIFFED_LINES]) if mend is None else None
    if form is not None:
        mend = find_glued(lines, form, name)
    origin = None
    if mend is not None:
        text, origin = mended(text if text.endswith(b"\n") else text + b"\n", mend)
        lines = _first_lines(text)
        form = sniff(lines[:_SNIFFED_LINES])
    if form is None or _is_markup(lines):
        raise LogReadError(_no_rows(lines, name))
    first = form.first_data - form.waiting
    first = first if origin is None else int(origin[first])
    return _Cut(text=text, lines=lines, form=form, mend=mend, first_line=first)


def _first_lines(text: bytes) -> list[str]:
    start = text[:_FIRST_BYTES]
    start = start if len(start) == len(text) else start[: start.rfind(b"\n") + 1]
    return _lines(start.decode("utf-8", "replace"))


def _is_markup(lines: Sequence[str]) -> bool:
    """True where nearly every line begins like a record of JSON or an element of markup."""
    starts = "".join([line.lstrip()[:1] for line in lines])
    return starts.count("{") + starts.count("<") > 0.9 * len(starts)


def _no_rows(lines: Sequence[str], name: str) -> str:
    """What to say of a text that has no rows of values."""
    start = next((line.lstrip()[:1] for line in lines if line.strip()), "")
    kind = {"{": "records of JSON", "[": "records of JSON", "<": "a markup text"}.get(start, "no rows of values")
    todo = "Export the log with its samples." if kind.startswith("no") else "Export the log as CSV or Parquet."
    return message(name, kind, "columns of numbers", todo)


def _rows_about(path: Path, packing: str, raw: bytes, rows: int) -> int | None:
    """Rows of the whole file by the share of its bytes that was looked at, None where it is packed."""
    return round(size_of(path) / max(len(raw), 1) * rows) if packing == "plain" else None


def first_bytes(path: Path, packing: str, options: ReadOptions) -> tuple[bytes, bool]:
    """The start of a file, unpacked, and whether it is all of it."""
    pieces, size = [], 0
    for piece in unpacked(path, packing, options.block_bytes):
        pieces.append(piece)
        size += len(piece)
        if size >= options.head_bytes:
            return b"".join(pieces), False
    return b"".join(pieces), True


def _lines(text: str) -> list[str]:
    lines = text.split("\n")
    if "\r" in text:
        lines = [line.rstrip("\r") for line in lines]
    return lines[:-1] if lines and not lines[-1] else lines


def _later_lines(text: bytes) -> list[str]:
    """Some lines from further down in the first bytes, evenly spread."""
    found = []
    for place in range(_FIRST_BYTES, len(text), max((len(text) - _FIRST_BYTES) // _SPREAD_ROWS, 1)):
        start = text.find(b"\n", place) + 1
        line = text[start : text.find(b"\n", start)] if start else b""
        found.append(line.decode("utf-8", "replace").rstrip("\r"))
    return [line for line in found if line.strip()]


def _spread(body: Sequence[str]) -> list[str]:
    step = max(len(body) // _SPREAD_ROWS, 1)
    return [*body[:_FIRST_ROWS], *body[_FIRST_ROWS::step]]


def _tail(path: Path, encoding: Encoding, mend: Mend | None) -> list[str]:
    """Some of the last whole lines of a file, which show later dates and the ends of ranges."""
    found = last_lines(path, encoding, mend)
    return found[-1 :: -max(len(found) // _TAIL_ROWS, 1)][::-1]


def last_lines(path: Path, encoding: Encoding, mend: Mend | None) -> list[str]:
    """The last whole lines of a file."""
    with reading(path) as file:
        size = file.seek(0, 2)
        file.seek(max(size - _TAIL_BYTES, encoding.bom) // 4 * 4)
        raw = file.read()
    text = b"".join(as_utf8(iter([raw]), Encoding(name=encoding.name, bom=0, evidence="", confidence=1.0)))
    text = sound_utf8(text)
    if mend is not None:
        text = mended(text.replace(b"\r\n", b"\n") + b"\n", mend)[0]
    return [line for line in _lines(text.decode("utf-8", "replace").replace("\r", "\n"))[1:-1] if line.strip()]


def _profiles(samples: Sequence[Sequence[str]], fields: int) -> list[Profile]:
    if not samples:
        return [Profile(kind="empty")] * fields
    return [profile_cells(cells) for cells in zip(*samples, strict=True)]


def _decimal(profiles: Iterable[Profile]) -> str:
    """The decimal sign of most plain columns of numbers."""
    signs = [p.form.decimal for p in profiles if p.kind == "number" and p.form.plain and not p.whole]
    return "," if signs.count(",") > signs.count(".") else "."


def _head_type(profile: Profile, decimal: str) -> pa.DataType:
    if (
        profile.kind == "number"
        and not profile.mixed
        and profile.form.plain
        and (profile.whole or profile.form.decimal == decimal)
    ):
        return pa.float64()
    return WORDS if profile.kind in ("text", "level", "array") else pa.binary()


def shape_of(file: TextFile, types: Mapping[str, pa.DataType]) -> TextShape:
    """How the rows of a file are cut into columns of some types."""
    form = file.form
    return TextShape(
        names=file.names,
        types=types,
        delimiter=form.delimiter,
        quote=form.quote,
        multiline=form.multiline,
        decimal=file.decimal,
        units=form.header.units,
        file_name=file.name if file.mend is None or isinstance(file.mend, Formulas | Glued) else "",
    )


def _offset(text: bytes, lines: int) -> int:
    """Position of the first byte after so many lines."""
    place = 0
    for _ in range(lines):
        place = text.find(b"\n", place) + 1
    return place


def prepared(text: bytes, form: TextForm) -> bytes:
    """Runs of blanks as one blank, where they part the columns; a line end at the very end."""
    text = sound_utf8(text)
    if form.delimiter == " ":
        text = text.replace(b"\t", b" ")
        while b"  " in text:
            text = text.replace(b"  ", b" ")
        text = text.replace(b" \r", b"\r").replace(b" \n", b"\n").replace(b"\n ", b"\n").lstrip(b" ")
    return text if text.endswith(b"\n") else text + b"\n"


def _columns(
    form: TextForm, names: Sequence[str], profiles: Sequence[Profile], rows: Rows, samples: Sequence[Sequence[str]]
) -> tuple[Column, ...]:
    units = form.header.units or ("",) * form.fields
    result: list[Column] = []
    for place, (name, unit, profile) in enumerate(zip(names, units, profiles, strict=True)):
        texty = profile.kind in ("stamp", "text", "array")
        cells = [s[place] for s in samples if len(s) == form.fields] if texty else []
        result += item_columns(make_column(name, unit, profile, rows.columns[name], cells))
    return tuple(result)


def _facts(file: TextFile) -> list[Assumption]:
    encoding, form = file.encoding, file.form
    shown = {"\t": "tab", " ": "blanks", ";": "semicolon", ",": "comma", "|": "bar"}.get(form.delimiter, form.delimiter)
    line = form.first_data - form.waiting + 1
    where = f"header above line {line}" if form.header.names else f"rows from line {line}"
    reasons = [part.evidence for part in (file.document, file.mend) if part is not None]
    why = "; ".join(reasons)
    return [
        *([Assumption(what="lines", value="rewritten", evidence=why, confidence=0.9)] if why else []),
        Assumption(what="encoding", value=encoding.name, evidence=encoding.evidence, confidence=encoding.confidence),
        Assumption(
            what="columns", value=f"parted by {shown}, {where}", evidence=form.evidence, confidence=form.confidence
        ),
        Assumption(
            what="decimal sign",
            value="comma" if file.decimal == "," else "point",
            evidence="numbers of the first rows",
            confidence=0.99,
        ),
    ]


def text_rows(
    file: TextFile, types: Mapping[str, pa.DataType], options: ReadOptions, digest: Hash, damage: list[str]
) -> Iterator[Rows]:
    """All rows of a text file, some columns of it; `damage` takes notes on what could not be unpacked."""
    form = file.form
    mark = (form.delimiter.encode() + DAMAGE) * (form.fields + 1)
    packed = unpacked(file.path, file.packing, options.block_bytes, digest, damage)
    pieces = bounded(packed, size_of(file.path), file.name, options)
    text = as_utf8(pieces, file.encoding, mark)
    text = text if file.document is None else record_lines(text, file.document)
    whole = whole_lines(text, options.block_bytes, quoted=form.multiline)
    mend = file.mend
    body = _after(whole, file.first_line)
    body = without_foot(body, form) if mend is None else body
    body = guard_end(body, form, whole=isinstance(mend, Records))
    ready = (prepared(piece, form) for piece in body)
    rewrite = None if mend is None else lambda piece: mended(piece, mend)
    parsed = parse_ahead(ready, shape_of(file, types), file.first_line + 1, options, rewrite)
    return worth_reading(parsed, file.name, options)


def _after(pieces: Iterator[bytes], lines: int) -> Iterator[bytes]:
    """The pieces without their first lines."""
    for piece in pieces:
        text = piece
        while lines and text:
            text = text.partition(b"\n")[2]
            lines -= 1
        if text:
            yield text
