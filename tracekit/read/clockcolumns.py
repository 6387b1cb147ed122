"""A clock in columns of its own, hours, minutes, seconds, parts of a second; and one whose figures stand together."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.read.columns import Column
from tracekit.read.head import Head, finite
from tracekit.read.restarting import usual_step
from tracekit.read.stampform import Field, StampForm
from tracekit.read.timemultiples import doubtful_factors

_ORDER = ("h", "min", "s", "ms", "us", "ns")
_SPELLED = frozenset({"hhmmss", "hmmss", "hhmmssfff", "hhmmsszzz", "hhmmssms", "hhmmsss"})
_DAY, _FEWEST, _FIRST_YEAR = 240_000, 100, 19_700_101_000_000
_STAMPS: tuple[tuple[float, tuple[Field, ...]], ...] = ((1.0, ("packed",)), (1e3, ("packed_ms",)))
_LIMITS = {"h": 24, "min": 60, "ms": 1000, "us": 1_000_000, "ns": 1_000_000_000}

_DAY_STEP = 0.01  # days from row to row at most
_WITHIN = 0.99  # of the milliseconds beside a clock are below a second; others are damaged cells


def is_date(column: Column) -> bool:
    """True for dates without a time of day."""
    stamp = column.profile.stamp
    if column.kind == "moment":
        return bool(pa.types.is_date(column.array.type))
    return column.kind == "stamp" and stamp is not None and stamp.has_date and not stamp.has_clock


def is_millis(column: Column) -> bool:
    """True for the milliseconds of a clock, a damaged cell aside."""
    unit = column.hints.time_unit
    known = finite(column.values)
    named = unit is not None and unit.symbol == "ms"
    return named and column.kind == "number" and len(known) > 0 and bool(below_second(known).mean() > _WITHIN)


def below_second(counts: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Where milliseconds are parts of a second, shape (n,)."""
    return np.asarray((counts >= 0) & (counts < _LIMITS["ms"]), np.bool_)


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


def with_packed_clocks(head: Head) -> Head:
    """The first rows with numbers that hold hours, minutes and seconds side by side read as clocks.

    They are told by a name that says time and by minutes and seconds that end at 59, where they pass a minute; or by a
    column of packed dates beside them, or by a name that spells the figures.
    """
    beside = any(c.kind == "stamp" and c.profile.stamp is not None and c.profile.stamp.fields == ("packed",)
                 and len({cell.strip()[:8] for cell in c.cells}) <= 2 for c in head.columns)  # fmt: skip
    return replace(head, columns=tuple(_as_clock(c, beside=beside) for c in head.columns))


def _as_clock(column: Column, *, beside: bool) -> Column:
    known = finite(column.values)
    if column.kind != "number" or column.hints.weight("time") < 1.0 or len(known) == 0 or known.min() < 0:
        return column
    if pa.types.is_integer(column.array.type) and float(known.min()) >= _FIRST_YEAR:
        return _typed_stamp(column, known)
    spelled = not _SPELLED.isdisjoint(column.hints.tokens)
    sizes: tuple[tuple[float, Field], ...] = ((1.0, "clock"), (1e3, "clock_ms"))
    for size, field in sizes:
        count = np.floor(known / size)
        most = float(count.max())
        if not _FEWEST <= most < _DAY or not _ends_at_59(count) or (size > 1.0 and (known != np.rint(known)).any()):
            continue
        turns = bool(((count[:-1] % 100 == 59) & (count[1:] - count[:-1] == 41)).any())
        if most - float(count.min()) > 100 or turns or beside or spelled:
            return _read_as(column, field, fraction=size == 1.0 and bool((known != np.rint(known)).any()))
    return column


def _ends_at_59(count: NDArray[np.float64]) -> bool:
    """True where minutes and seconds of hours, minutes and seconds side by side can be such."""
    return bool((count % 100 < 60).all()) and bool((count // 100 % 100 < 60).all())


def _typed_stamp(column: Column, known: NDArray[np.float64]) -> Column:
    """A column of whole numbers such as 20240326101714 as stamps; as it is where they are no dates."""
    for size, fields in _STAMPS:
        whole = np.floor(known / size)
        date, clock = np.floor(whole / 1e6), whole % 1e6
        real = (date >= 19_700_101) & (date < 22_000_101) & (date // 100 % 100 <= 12) & (date % 100 <= 31)
        if bool((real & (clock < _DAY) & (clock // 100 % 100 < 60) & (clock % 100 < 60)).all()):
            form = StampForm(fields=fields, evidence="date and clock in a number")
            profile = replace(column.profile, kind="stamp", stamp=form)
            return replace(column, profile=profile, values=np.empty(0), cells=(f"{known[0]:.0f}",))
    return column


def _read_as(column: Column, field: Field, *, fraction: bool) -> Column:
    """The column with its numbers written out, so that they are taken as figures."""
    fields: tuple[Field, ...] = (field, "fraction") if fraction else (field,)
    form = StampForm(fields=fields, evidence="minutes and seconds end at 59: hours, minutes and seconds in one number")
    cells = np.char.mod("%.6f" if fraction else "%.0f", column.values).tolist()
    return replace(
        column,
        profile=replace(column.profile, kind="stamp", stamp=form),
        array=pa.array(cells, pa.string()),
        values=np.empty(0),
        cells=tuple(cells[:300]),
    )


def counts_time(column: Column) -> bool:
    """True for whole numbers of a counter whose name tells their unit of time."""
    counter = any(token.startswith("count") for token in column.hints.tokens)
    return counter and column.profile.whole and column.hints.time_unit is not None


def days_rise(column: Column, known: NDArray[np.float64]) -> bool:
    """True for days whose rows follow closely; several may share a rounded one where the name says time."""
    step = usual_step(known)
    if step == 0.0 and column.hints.weight("time") >= 1.0:
        step = usual_step(np.unique(known))
    return 0 < step < _DAY_STEP


def counted_otherwise(column: Column) -> bool:
    """True where a factor stands beside the unit of time that is not understood, or may be meant either way round."""
    return len(doubtful_factors(f"{column.name}; {column.unit}")) > 0
