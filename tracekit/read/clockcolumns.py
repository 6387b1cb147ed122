"""A clock in columns of its own, hours, minutes, seconds, parts of a second; and one whose figures stand together."""

from collections.abc import Sequence

import numpy as np

from tracekit.errors import LogReadError, message
from tracekit.read.columns import Column
from tracekit.read.head import finite

_ORDER = ("h", "min", "s", "ms", "us", "ns")
_LIMITS = {"h": 24, "min": 60, "ms": 1000, "us": 1_000_000, "ns": 1_000_000_000}


def clock_columns(columns: Sequence[Column]) -> tuple[str, ...]:
    """Names of columns of whole numbers that make a time together, hours first; empty where there are none such.

    There must be seconds, and with them minutes or parts of a second that stay below the next larger unit.
    """
    found: dict[str, Column] = {}
    for column in columns:
        unit = column.hints.time_unit
        known = finite(column.values)
        if unit is None or column.kind != "number" or len(known) == 0 or column.hints.weight("pressure") >= 0.9:
            continue
        most = _LIMITS.get(unit.symbol, np.inf)
        fits = bool((known == np.rint(known)).all()) and known.min() >= 0 and bool(known.max() < most)
        if unit.symbol in _ORDER and fits and unit.symbol not in found:
            found[unit.symbol] = column
    parts = [found[symbol] for symbol in _ORDER if symbol in found]
    starts_again = "min" in found or any(_starts_again(found[s]) for s in ("ms", "us", "ns") if s in found)
    return tuple(c.name for c in parts) if "s" in found and len(parts) > 1 and starts_again else ()


def _starts_again(column: Column) -> bool:
    """True for parts of a second: unlike a counter they start again with every second."""
    known = finite(column.values)
    return bool((np.diff(known) < 0).any()) or len(np.unique(known)) == 1


def check_packed_clock(column: Column, log: str) -> None:
    """Raise LogReadError for a clock in one number, hours, minutes and seconds side by side: minutes end at 59."""
    known = finite(column.values)
    for size in (1.0, 1e3):
        count = np.floor(known / size)
        spans = len(count) > 0 and float(count.max() - count.min()) > 100 and float(count.max()) < 240_000
        if spans and bool((count % 100 < 60).all()) and bool((count // 100 % 100 < 60).all()) and count.min() >= 0:
            found = f'"{column.name}" holds hours, minutes and seconds in one number'
            todo = "Export the time as hh:mm:ss, or as seconds."
            raise LogReadError(message(log, found, "a time that counts evenly", todo))
