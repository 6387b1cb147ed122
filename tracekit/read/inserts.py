"""Rows written as statements that put them into a table of a database: what stands between the brackets."""

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.options.evidence import EVIDENCE

_INSERT = re.compile(
    r"\s*(?:INSERT|REPLACE)\s+(?:\w+\s+)?INTO\s+(?P<table>[^\s(]+)\s*(?:\((?P<names>[^)]*)\))?\s*VALUES\b",
    re.IGNORECASE,
)
_HEAD = re.compile(
    rb"(?im)^[ \t]*(?:INSERT|REPLACE)\s+(?:\w+\s+)?INTO\s+([^\s(]+)[ \t]*(?:\(([^)\n]*)\))?\s*VALUES\b[ \t]*"
)
_CREATE = re.compile(r"CREATE\s+TABLE\s+(?:IF\s+NOT\s+EXISTS\s+)?(?P<table>[^\s(]+)\s*\((?P<columns>.*?)\)\s*[^,()]*;",
                     re.IGNORECASE | re.DOTALL)  # fmt: skip
_NO_COLUMN = re.compile(r"\s*(?:PRIMARY|UNIQUE|KEY|INDEX|CONSTRAINT|FOREIGN|CHECK)\b", re.IGNORECASE)
_BETWEEN, _FRONT, _BACK = (
    re.compile(rb"\)[ \t]*,[ \t]*\("),
    re.compile(rb"(?m)^[ \t]*\("),
    re.compile(rb"(?m)\)[ \t]*[,;]?[ \t]*\r?$"),
)
_MARKS = "`\"[]'"


@dataclass(frozen=True, slots=True, kw_only=True)
class Inserts:
    """Statements that put rows into one table; `names` of its columns, empty where none are told."""

    table: str
    names: tuple[str, ...]
    name: str
    evidence: str


def find_inserts(lines: Sequence[str], name: str) -> Inserts | None:
    """How lines put rows into a table, None where they do not.

    Raises LogReadError where they fill several tables, or tell their columns in different orders.
    """
    found = [m for m in map(_INSERT.match, lines) if m is not None]
    if not found:
        return None
    tables = {_bare(m["table"]) for m in found}
    if len(tables) > 1:
        raise _several(name, sorted(tables))
    orders = [_order(m["names"]) for m in found]
    odd = next((k for k, order in enumerate(orders) if order != orders[0]), None)
    if odd is not None:
        at = [place for place, line in enumerate(lines) if _INSERT.match(line)][odd]
        raise _other_order(name, found[0]["names"], found[odd]["names"], f" in line {at + 1}")
    written = sum(1 for line in lines if line.lstrip()[:1] == "(" or _INSERT.match(line))
    if written < EVIDENCE.last_share * sum(1 for line in lines if line.strip()):
        return None
    names = tuple(_bare(n) for n in (found[0]["names"] or "").split(",") if n.strip()) or _created("\n".join(lines))
    evidence = f'statements that put rows into "{_bare(found[0]["table"])}": the values between the brackets'
    return Inserts(table=tables.pop(), names=names, name=name, evidence=evidence)


def _order(names: str | None) -> tuple[str, ...]:
    """Names of columns in the order in which a statement tells its values; empty where it tells none."""
    return tuple(_bare(n).casefold() for n in (names or "").split(",") if n.strip())


def _other_order(name: str, first: str | None, other: str | None, where: str) -> LogReadError:
    found = f"statements whose values stand in different orders: ({first or ''}), then{where} ({other or ''})"
    return LogReadError(message(name, found, "the same columns in all statements", "Export the table as CSV."))


def _bare(name: str) -> str:
    return name.strip().strip(_MARKS).strip()


def _created(text: str) -> tuple[str, ...]:
    """Names of the columns where the lines say how the table is made."""
    made = _CREATE.search(text)
    if made is None:
        return ()
    parts = re.sub(r"\([^()]*\)", "", made["columns"]).split(",")
    return tuple(_bare(part.split()[0]) for part in parts if part.strip() and not _NO_COLUMN.match(part))


def _several(name: str, tables: Sequence[str]) -> LogReadError:
    found = "statements that put rows into several tables: " + ", ".join(f'"{t}"' for t in tables)
    return LogReadError(message(name, found, "rows of one table", "Export the table of the samples alone, or as CSV."))


def without_statements(text: bytes, inserts: Inserts) -> tuple[bytes, NDArray[np.int64]]:
    """A line for each row, its values between commas, and the position of the line that each comes from.

    Raises LogReadError where a statement fills another table, or tells other columns.
    """
    heads = {m.groups() for m in _HEAD.finditer(text)}
    others = {_bare(table.decode("utf-8", "replace")) for table, _ in heads} - {inserts.table}
    if others:
        raise _several(inserts.name, [inserts.table, *sorted(others)])
    told = {names.decode("utf-8", "replace") for _, names in heads if names is not None}
    odd = next((names for names in sorted(told) if _order(names) != _order(",".join(inserts.names))), None)
    if odd is not None:
        raise _other_order(inserts.name, ", ".join(inserts.names), odd, "")
    parted = _BETWEEN.sub(b"\x05", _HEAD.sub(b"", text))
    data = np.frombuffer(parted, np.uint8)
    ends = np.flatnonzero(data == 10)
    more = np.bincount(np.searchsorted(ends, np.flatnonzero(data == 5)), minlength=len(ends))[: len(ends)]
    rows = _BACK.sub(b"", _FRONT.sub(b"", parted.replace(b"\x05", b"\n")))
    return rows.replace(b"'", b'"'), np.repeat(np.arange(len(ends)), more + 1)
