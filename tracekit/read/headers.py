"""Header rows: names, units, addresses, groups."""

import re
import unicodedata
from collections.abc import Callable, Sequence

from tracekit.errors import UsageError
from tracekit.frozen import dataclass
from tracekit.read.cells import cell_kind
from tracekit.read.multiples import find_multiple, find_spelled
from tracekit.read.timemultiples import find_time_multiple
from tracekit.units import find_pressure_unit, time_unit

Splitter = Callable[[str], list[str]]

_MAX_ROWS = 3
_NAMES = frozenset({"a", "c", "d", "h", "k", "m", "n", "v", "1", "date", "state", "count", "digital", "unit", "units"})
"""Units and types that may as well be the name of a column."""
_HEADER_LINES = 60
_REMARKS = "#%;*!"
_RULER = re.compile(r"(?=.*-{2}|.*={2})[\s|+:=-]+")
_ADDRESS = re.compile(
    r"%?[IQMEA][XBWD]?\d+(\.\d+)*|P?[IQEA][IQEA]?[XBWD]\d+|DB\d+[.,].*"
    r"|(AI|AO|DI|DO|CH|IN|OUT|X|Y|K|D)[ _]?\d+([._]\d+)?"
    r"|0x[0-9a-f]+|\d{3,6}|ns=\d+;.*",
    re.IGNORECASE,
)
_FORM = re.compile(
    r"(?=[^:/.-]{1,4}[:/.-])[hmsdyjtaf]{1,4}(?:[:/. ,-]{1,2}[hmsdyjtafz]{1,6}){1,8}|%\s?[a-z]{1,8}", re.IGNORECASE
)
"""How stamps are written, "h:mm:ss,fff", and shares of something, "% vac"."""
_OTHER_UNITS = frozenset({
    "°c", "c", "degc", "°f", "k", "v", "mv", "a", "ma", "bool", "boolean", "real", "int", "dint", "uint", "word",
    "float", "-", "–", "1", "%", "0/1", "on/off", "l/min", "n", "mm", "m", "hz", "-/-", "none", "unit", "units",
    "einheit", "unité", "unite", "unidad", "unità", "eenheid", "hh:mm:ss", "hh:mm:ss.fff", "yyyy-mm-dd", "dd.mm.yyyy",
    "hh:mm:ss,fff", "date", "datetime", "string", "byte", "state", "digital", "count", "counts", "adc", "#",
})  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """What stands above the columns. Every tuple has one text per column, or is empty where there is none.

    left  the name behind those that have a column, where there is one too many
    """

    names: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    addresses: tuple[str, ...] = ()
    fields: int = 0
    line: str = ""
    left: str = ""


def _is_pressure_unit(text: str) -> bool:
    return any(find(text) is not None for find in (find_pressure_unit, find_multiple, find_spelled))


def is_unit(cell: str) -> bool:
    """True for a cell of a row of units: a unit, in brackets or not, or a type."""
    text = cell.strip()
    bare = unicodedata.normalize("NFKC", text.strip("[](){}<>")).strip()
    if (
        bare.casefold() in _OTHER_UNITS
        or _FORM.fullmatch(bare)
        or _is_pressure_unit(bare)
        or find_time_multiple(bare) is not None
    ):
        return True
    try:
        time_unit(bare)
    except UsageError:
        return len(text) > 2 and text[0] + text[-1] in ("[]", "()", "<>")
    return True


def find_header(lines: Sequence[str], first_data: int, fields: int, cut: Splitter) -> tuple[Header, int]:
    """The header above the first row of data and the position of its top line (`first_data` where there is none)."""
    rows: list[tuple[int, str, list[str]]] = []
    named = False
    position = first_data - 1
    while position >= 0 and len(rows) < _MAX_ROWS:
        text = lines[position]
        if is_ruler(text):
            position -= 1
            continue
        if not text.strip() or _remark(text, fields, cut):
            if rows or position < first_data - 2:
                break
            position -= 1
            continue
        cells = _cut_to(text, fields, cut)
        kind = _kind(cells) if cells else ""
        if not cells or not kind or (named and kind == "name" and not _groups(cells, rows)):
            break
        named = named or kind == "name"
        rows.append((position, kind, cells))
        position -= 1
    if not rows:
        return Header(), first_data
    return _combine(rows, fields, lines[rows[-1][0]]), rows[-1][0]


def is_ruler(text: str) -> bool:
    """True for a line that is drawn below a header: "|---:|:-:|", "-----+-----", "=====  ====="."""
    return _RULER.fullmatch(text) is not None


def _remark(text: str, fields: int, cut: Splitter) -> bool:
    """True for a line that has as many cells as a row and holds text in its first alone."""
    cells = [c.strip() for c in cut(text)]
    return len(cells) >= max(fields - 1, 3) and _is_word(cells[0]) and not any(cells[1:])


def _cut_to(text: str, fields: int, cut: Splitter) -> list[str]:
    """Cells of a header line; other delimiters are tried where the data's does not give as many fields."""
    if text.lstrip()[:1] in _REMARKS and len(cut(text)) != fields:
        text = text.lstrip().lstrip(_REMARKS).strip()
    ways = [
        rejoined(cut(text), fields),
        *(text.split(mark) for mark in ("\t", ";", ",", "|")),
        re.split(r"\s{2,}|\t", text.strip()),
    ]
    for cells in ways:
        if abs(len(cells) - fields) <= 1 and len(cells) > (fields > 1):
            return [c.strip().strip('"') for c in cells]
    first = ways[0]
    if len(first) > 1 and sum(map(_is_word, first)) == len([c for c in first if c.strip()]) > 1:
        return [c.strip().strip('"') for c in first]
    return []


def rejoined(cells: Sequence[str], fields: int) -> list[str]:
    """Cells of a header whose names hold unquoted marks, "Pressure, kPa", put together again where that is plain.

    The parts to put together are those behind a mark and a blank, or else units of pressure or time, and must be as
    many as there are cells too many.
    """
    excess = len(cells) - fields
    if excess < 1:
        return list(cells)
    blank = [k for k, cell in enumerate(cells) if k and cell[:1].isspace() and cell.strip()]
    units = [k for k, cell in enumerate(cells) if k and cell.strip().casefold() not in _NAMES and is_unit(cell)]
    for parts in (blank, units):
        if len(parts) == excess and not all(k in parts for k in range(1, len(cells))):
            found: list[str] = []
            for place, cell in enumerate(cells):
                found[len(found) - (place in parts) :] = [f"{found[-1]},{cell}" if place in parts else cell]
            return found
    return list(cells)


def _is_word(cell: str) -> bool:
    return any(c.isalpha() for c in cell)


def _kind(cells: list[str]) -> str:
    """unit, address or name; empty for a line that is no header row."""
    filled = [c for c in cells if c]
    if not filled:
        return ""
    if sum(map(is_unit, filled)) > 0.7 * len(filled):
        return "unit"
    if all(_ADDRESS.fullmatch(c) for c in filled):
        return "address"
    words = sum(map(_is_word, filled))
    return "name" if words >= 0.5 * len(filled) and len(filled) >= 0.5 * len(cells) else _sparse(cells, words)


def _sparse(cells: list[str], words: int) -> str:
    """A row of group names over several columns each is sparse."""
    return "name" if words and len(cells) > 2 else ""


def _groups(cells: list[str], rows: list[tuple[int, str, list[str]]]) -> bool:
    """True where a row above the names parts columns of the same name."""
    names = next(c for _, kind, c in rows if kind == "name")
    filled = [n for n in names if n]
    return len(set(filled)) < len(filled) and sum(1 for c in cells if c) >= 2


def _combine(rows: list[tuple[int, str, list[str]]], fields: int, line: str) -> Header:
    named = [cells for _, kind, cells in rows if kind == "name"]
    units = [cells for _, kind, cells in rows if kind == "unit"]
    addresses = [cells for _, kind, cells in rows if kind == "address"]
    if not named:
        named = addresses[:1] or units[:1]
        addresses, units = addresses[1:], units[1:] if named == units[:1] else units
    names = _padded(named[0], fields) if named else ()
    if len(named) > 1:
        group = ""
        prefixes = []
        for cell in _padded(named[1], fields):
            group = cell or group
            prefixes.append(group)
        names = tuple(f"{g} {n}".strip() if n else n for g, n in zip(prefixes, names, strict=True))
    return Header(
        names=names,
        units=_padded(units[0], fields) if units else (),
        addresses=_padded(addresses[0], fields) if addresses else (),
        fields=len(named[0]) if named else 0,
        line=line,
        left=named[0][fields] if named and len(named[0]) == fields + 1 else "",
    )


def _padded(cells: list[str], fields: int) -> tuple[str, ...]:
    return tuple((cells + [""] * fields)[:fields])


def unique_names(names: Sequence[str], fields: int) -> tuple[str, ...]:
    """A name for every column, none twice; columns without one are "column 1", "column 2" …"""
    given = [names[i].strip() if i < len(names) else "" for i in range(fields)]
    result: list[str] = []
    for place, name in enumerate(given, 1):
        wanted = name or f"column {place}"
        count = 2
        unique = wanted
        while unique in result:
            unique = f"{wanted} ({count})"
            count += 1
        result.append(unique)
    return tuple(result)


def joined_header(lines: Sequence[str]) -> list[str]:
    """Lines of which those at the top that a quoted name with line ends parts are one, at the place of the last.

    The others become blank, so that places stay. Lines stay as they are where quotes are open further down too.
    """
    odd = [k for k, line in enumerate(lines[:_HEADER_LINES]) if line.count('"') % 2]
    if len(odd) < 2 or len(odd) % 2 or any(line.count('"') % 2 for line in lines[_HEADER_LINES:]):
        return list(lines)
    first, last = odd[0], odd[-1]
    whole = " ".join(line.strip() for line in lines[first : last + 1])
    cells = [cell.strip().strip('"') for line in lines[first : last + 1] for cell in re.split(r"[;,\t|]", line)]
    if len(re.findall(r'"[^"]*"', whole)) < 2 or any(cell_kind(cell) in ("number", "time") for cell in cells):
        return list(lines)
    return [*lines[:first], *[""] * (last - first), whole, *lines[last + 1 :]]
