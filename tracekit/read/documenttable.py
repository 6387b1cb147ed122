"""Documents of JSON that hold a list per channel, or rows and the names of their columns, wherever in them: as a table.

What stands beside the lists, an interval, a start, units, is told as lines such as others have above their header.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import pyarrow as pa

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.options.evidence import EVIDENCE

Path = tuple[str | int, ...]

_NAMES = ("name", "label", "channel", "signal", "tag", "title", "id")
_UNITS = ("unit", "units", "uom", "einheit", "unite", "unidad")
_VALUES = frozenset({"values", "value", "data", "samples", "y", "v", "points", "readings"})
_DEEPEST, _MOST_LINES = 8, 400


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentTable:
    """The channels of a document, and its other members as lines "name: value"."""

    table: pa.Table
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Member:
    """A list or a single value of a document, the way to it, and the object that holds it."""

    path: Path
    value: Any
    holder: Mapping[str, Any]


def document_table(text: bytes, name: str) -> DocumentTable:
    """The table of a document with a list per channel, or with rows and the names of their columns.

    Raises LogReadError where it is neither.
    """
    try:
        found = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _no_table(name, "a damaged document of JSON") from error
    members = list(_members(found, (), {}, 0))
    rows = next((m for m in members if _are_rows(m.value)), None)
    if rows is not None:
        columns = _by_names(rows, members, name)
    else:
        lists = [m for m in members if isinstance(m.value, list)]
        length = max((len(m.value) for m in lists), default=0)
        columns = {_named(m): m.value for m in lists if len(m.value) == length}
    if len(columns) < EVIDENCE.document_columns or len(next(iter(columns.values()))) < EVIDENCE.document_rows:
        raise _no_table(name, "a document of JSON with neither records nor lists of channels")
    units = _units(members, list(columns))
    try:
        table = pa.table({f"{k} [{units[k]}]" if units.get(k) else k: v for k, v in columns.items()})
    except (pa.ArrowException, OverflowError) as error:
        raise _no_table(name, "lists of JSON whose values are of several kinds") from error
    lines = [f"{m.path[-1]}: {m.value}" for m in members if isinstance(m.value, str | int | float) and m.path]
    return DocumentTable(table=table, lines=tuple(lines[:_MOST_LINES]))


def _members(found: object, path: Path, holder: Mapping[str, Any], depth: int) -> Iterator[_Member]:
    """All lists of single values, lists of rows, and single values of a document, in their order."""
    if isinstance(found, dict) and depth < _DEEPEST:
        for key, value in found.items():
            yield from _members(value, (*path, key), found, depth + 1)
    elif isinstance(found, list) and not _are_rows(found) and any(isinstance(one, dict | list) for one in found):
        for place, value in enumerate(found if depth < _DEEPEST else ()):
            yield from _members(value, (*path, place), holder, depth + 1)
    elif found is not None and not isinstance(found, dict):
        yield _Member(path, found, holder)


def _named(member: _Member) -> str:
    """The name of a channel: that which stands beside its list, else the last word of the way that tells something."""
    told = next((member.holder[k] for k in _NAMES if isinstance(member.holder.get(k), str)), "")
    last = next((p for p in reversed(member.path) if isinstance(p, str)), "")
    if told and last.casefold() in _VALUES:
        name = told
    else:
        name = next((p for p in reversed(member.path) if isinstance(p, str) and p.casefold() not in _VALUES), last)
    unit = next((member.holder[k] for k in _UNITS if isinstance(member.holder.get(k), str)), "")
    alone = last.casefold() in _VALUES
    return f"{name} [{unit}]" if unit.strip() and alone else name


def _units(members: Sequence[_Member], columns: Sequence[str]) -> dict[str, str]:
    """Units that an object of units, or a list of as many, tells of the columns."""
    found: dict[str, str] = {}
    for member in members:
        inner, last = (["", ""] + [str(p).casefold() for p in member.path])[-2:]
        if inner in _UNITS and isinstance(member.value, str):
            found[str(member.path[-1])] = member.value
        if isinstance(member.value, list) and last in _UNITS and len(member.value) == len(columns):
            found |= {c: u for c, u in zip(columns, member.value, strict=True) if isinstance(u, str)}
    return {c: u for c, u in found.items() if u.strip()}


def _by_names(rows: _Member, members: Sequence[_Member], name: str) -> dict[str, list[Any]]:
    """The columns of some rows, by the names that stand in the first of them or in a list beside them."""
    body: list[list[Any]] = rows.value
    width = len(body[-1])
    listed = [m.value for m in members if not (m.path and str(m.path[-1]).casefold() in _UNITS)]
    names = next((v for v in [*listed, body[0]] if _are_names(v, width)), None)
    body = body[1:] if names is body[0] else body
    if names is None or any(len(row) != width for row in body):
        raise _no_table(name, "rows of JSON without a name for each column")
    return {title: [row[k] for row in body] for k, title in enumerate(names)}


def _are_rows(found: object) -> bool:
    return isinstance(found, list) and len(found) > 1 and all(isinstance(row, list) for row in found)


def _are_names(found: object, width: int) -> bool:
    return isinstance(found, list) and len(found) == width and all(isinstance(n, str) for n in found)


def _no_table(name: str, found: str) -> LogReadError:
    todo = 'Export an array of records, such as [{"time_s": 0.01, "pressure_kpa": -57.3}, ...], or CSV.'
    return LogReadError(message(name, found, "a record per sample", todo))
