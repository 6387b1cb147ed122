"""A clock in columns of its own, hours, minutes, seconds, parts of a second; and one whose figures stand together."""

import datetime as dt
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
_DAY, _FEWEST, _FIRST_YEAR, _FIRST_LOOK = 240_000, 100, 19_700_101_000_000, 1000
_STAMPS: tuple[tuple[float, tuple[Field, ...]], ...] = ((1.0, ("packed",)), (1e3, ("packed_ms",)))
_FIRST_SHORT, _BEYOND_SHORT, _FEWEST_SECONDS = 10_101_000_000, 690_000_000_000, 5
"""Dates and clocks in one number whose year has two figures, 2001 to 2068, and how many seconds must differ."""
_DATE_WORDS = {
    "year": frozenset({"year", "jahr", "annee", "ano", "anno", "jaar", "ar", "rok"}),
    "month": frozenset({"month", "monat", "mois", "mes", "mese", "maand", "manad", "miesiac", "mesic"}),
    "day": frozenset({"day", "tag", "jour", "dia", "giorno", "dag", "dzien", "den"}),
}
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
        whole = bool((known == np.rint(known)).all())
        of_minute = unit.symbol == "s" and bool(known.max() < _LIMITS["min"])  # seconds with their fraction
        fits = (whole or of_minute) and known.min() >= 0 and bool(known.max() < most)
        if unit.symbol in _ORDER and fits and unit.symbol not in found:
            found[unit.symbol] = column
    fraction = "s" in found and bool((finite(found["s"].values) % 1.0 != 0).any())
    if fraction and not {"h", "min"} <= found.keys():
        return ()  # time that has passed
    parts = [found[symbol] for symbol in _ORDER if symbol in found]
    starts_again = "min" in found or any(_starts_again(found[s]) for s in ("ms", "us", "ns") if s in found)
    return tuple(c.name for c in parts) if "s" in found and len(parts) > 1 and starts_again else ()


def date_of_columns(columns: Sequence[Column]) -> int | None:
    """Unix time of midnight of the date that columns of year, month and day hold in the first row [µs]; None without.

    A date that is written once for all rows counts; over midnight the clock goes on by itself.
    """
    parts: dict[str, float] = {}
    for column in columns:
        known = finite(column.values) if column.kind == "number" else np.empty(0)
        for part, words in _DATE_WORDS.items():
            if len(known) and not words.isdisjoint(column.hints.tokens) and (known == np.rint(known)).all():
                parts.setdefault(part, float(known[0]))
    if parts.keys() != _DATE_WORDS.keys():
        return None
    year, month, day = (int(parts[p]) for p in _DATE_WORDS)
    try:
        date = dt.datetime(year + 2000 if year < 70 else year, month, day, tzinfo=dt.UTC)
    except (ValueError, OverflowError):
        return None
    return round(date.timestamp()) * 1_000_000


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
    short = _short_stamp(column, known)
    if short is not None:
        return short
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
    few = count[:: max(len(count) // _FIRST_LOOK, 1)]  # numbers that are no clock show it there
    return all(bool((c % 100 < 60).all()) and bool((c // 100 % 100 < 60).all()) for c in (few, count))


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


def _short_stamp(column: Column, known: NDArray[np.float64]) -> Column | None:
    """A column of numbers such as 260326101714.005 as stamps, whose year has two figures; None where it is none.

    In a count the figures of minutes and seconds soon pass 59.
    """
    sizes: tuple[tuple[float, tuple[Field, ...]], ...] = ((1.0, ("packed_short",)), (1e3, ("packed_short_ms",)))
    for size, fields in sizes:
        whole = np.floor(known / size)
        if not (whole.min() >= _FIRST_SHORT and whole.max() < _BEYOND_SHORT) or len(np.unique(whole)) < _FEWEST_SECONDS:
            continue
        fraction = bool((known != np.rint(known)).any())
        month, day, hour = whole // 1e8 % 100, whole // 1e6 % 100, whole // 1e4 % 100
        real = (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31) & (hour < 24)
        if real.all() and _ends_at_59(whole) and not (fraction and size > 1.0):
            own: tuple[Field, ...] = (*fields, "fraction") if fraction else fields
            form = StampForm(fields=own, evidence="date, its year of two figures, and clock in a number")
            profile = replace(column.profile, kind="stamp", stamp=form)
            cell = f"{known[0]:.3f}" if fraction else f"{known[0]:.0f}"
            return replace(column, profile=profile, values=np.empty(0), cells=(cell,))
    return None


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


def may_be_time(column: Column) -> bool:
    """False for a column whose name says that it is something else."""
    known = column.hints
    other = known.weight("pressure") >= 0.9 or known.pressure_unit is not None or known.weight("other") > 1
    return not other or known.weight("time") >= 1.0 or counts_time(column)
