"""Which columns tell the time, and how."""

import re
from dataclasses import replace
from typing import Literal

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.model.station import Channel
from tracekit.options.evidence import EVIDENCE
from tracekit.read.clockcolumns import (
    below_second,
    clock_columns,
    counted_otherwise,
    counts_time,
    date_of_columns,
    days_rise,
    is_date,
    is_millis,
    may_be_time,
)
from tracekit.read.columns import Column
from tracekit.read.cyclelength import cycles_fit, may_be_interval, unit_by_cycles
from tracekit.read.head import Head, Question, finite
from tracekit.read.restarting import unreadable, usual_step, which_time, which_unit
from tracekit.read.rising import check_order, distinct, ends_early, numbers_pieces, over_restarts, rises, tells_times
from tracekit.read.stamp_values import moment_ns, stamp_ns, within_reach
from tracekit.read.values import column_numbers
from tracekit.units import TIME_UNITS, time_unit

TimeKind = Literal["number", "stamp", "moment", "row"]

_SINCE_YEAR_1_S = -62_135_596_800.0
_EPOCHS = (
    (1e9, 2.2e9, 1.0, 0.0), (1e12, 2.2e12, 1e-3, 0.0), (1e15, 2.2e15, 1e-6, 0.0), (1e18, 2.2e18, 1e-9, 0.0),
    (1.26e17, 1.6e17, 1e-7, -11_644_473_600.0), (6.3e17, 6.7e17, 1e-7, _SINCE_YEAR_1_S),
)  # fmt: skip
"""Lowest and highest count, size of a count [s], Unix time of count zero [s]: since 1970; since 1601 and since year 1
in steps of 100 ns (from memory, not verified; a test computes them with the calendar)."""
_SERIAL_DAYS = (36526.0, 73050.0)  # 2000 to 2099 in days since the end of 1899
_SERIAL_ORIGIN_S = -2209161600.0
_SAYS_TIME = 1.0  # whole counts of a column whose name does not say time may be ticks of any length


@dataclass(frozen=True, slots=True, kw_only=True)
class TimePlan:
    """How time is read.

    columns     date, clock and milliseconds, or the single column; empty where rows are counted
    unit_s      size of one count [s]; for rows the interval
    origin_s    Unix time of count zero, None where numbers have no date [s]
    dated       the stamps hold a date
    date_open   day and month could be exchanged, so that the date is withheld
    zoned       the stamps tell their zone
    wraps       numbers are whole counts that may start again at a power of two
    rounded_s   resolution of stamps that several rows share, 0 where each row has its own [s]
    first_rows  rows that share the first such stamp
    typical_s   usual interval between rows of one station [s]
    start_us    Unix time of the first row from another column or the lines above the header, None without one [µs]
    start_local  that time is one without a zone
    doubts      what the reader of a page must know about the times
    """

    kind: TimeKind
    columns: tuple[str, ...]
    unit_s: float = 1.0
    origin_s: float | None = None
    dated: bool = False
    date_open: bool = False
    zoned: bool = False
    wraps: bool = False
    rounded_s: float = 0.0
    first_rows: int = 0
    typical_s: float = 0.0
    start_us: int | None = None
    start_local: bool = False
    evidence: str = ""
    confidence: float = 1.0
    doubts: tuple[str, ...] = ()

    @property
    def lead_s(self) -> float:
        """How long after its rounded stamp the first row was, by the rows that the stamp lacks [s]."""
        if self.rounded_s <= 0 or self.typical_s <= 0:
            return 0.0
        lacking = max(round(self.rounded_s / self.typical_s) - self.first_rows, 0)
        return min(lacking * self.typical_s, self.rounded_s - self.typical_s / 2)


def plan_time(head: Head, given: Channel | None) -> tuple[TimePlan | None, list[Question]]:
    """How time is read, or what to ask."""
    if given is not None and given.interval_s is not None:
        return _by_interval(head, given, given.interval_s), []
    if given is not None and given.column is not None:
        column = head.column(given.column)
        plans = [] if column is None else _plans_of(head, column, given.unit)
        if column is None or not plans:
            return None, [unreadable(head, given.column)]
        check_order(head.name, column, seconds_of(head, plans[0]))
        if plans[0].confidence > 0:
            return _with_parts(head, plans[0]), []
        return None, [_unit_of(plans[0], head)]
    apart = clock_columns(head.columns)
    if apart:
        return _of_parts(head, apart), []
    plans = [p for c in head.columns if may_be_time(c) for p in _plans_of(head, c, None)]
    plans = [
        _with_parts(head, p)
        for p in plans
        if rises(over_restarts(seconds_of(head, p), head.restarts), wraps=_may_wrap(head, p))
    ]
    plans = [p for p in plans if tells_times(seconds_of(head, p))]
    parts = {name for p in plans if len(p.columns) > 1 for name in p.columns}
    plans = [p for p in plans if len(p.columns) != 1 or p.columns[0] not in parts]
    sure = [p for p in plans if p.confidence > 0]
    if sure:
        best = max(sure, key=lambda p: (distinct(seconds_of(head, p)) > 0.6, p.confidence))
        _check_own_times(head, best, sure)
        dated = [p for p in sure if p.dated and not p.date_open and p.zoned]
        return (best if best.dated or not dated else _started(head, best, dated[0])), []
    if head.preamble.interval_s is not None and cycles_fit(head, head.preamble.interval_s):
        line = head.preamble.interval_line
        return TimePlan(kind="row", columns=(), unit_s=head.preamble.interval_s, evidence=line, confidence=0.9), []
    plans = [p for p in plans if not numbers_pieces(p.columns, head, seconds_of(head, p))]
    if plans:
        return None, [_unit_of(plans[0], head)]
    _check_order(head)
    return None, [which_time(head)]


def _check_order(head: Head) -> None:
    """Raise LogReadError where a column holds times that are in no order: no interval mends that."""
    for column in head.columns:
        timely = column.kind in ("stamp", "moment") or column.hints.weight("time") >= _SAYS_TIME
        for plan in _plans_of(head, column, None)[:1] if timely and may_be_time(column) else []:
            check_order(head.name, column, seconds_of(head, plan))


def _of_parts(head: Head, names: tuple[str, ...]) -> TimePlan:
    """A clock whose hours, minutes, seconds and parts of them stand in columns of their own."""
    date = next((c.name for c in head.columns if is_date(c)), None)
    open_date = date is not None and (d := head.column(date)) is not None and _is_open(d)
    low, high, _, _ = _EPOCHS[0]
    first = head.column(names[0])
    since_1970 = first is not None and low <= finite(first.values).min() and finite(first.values).max() < high
    plan = TimePlan(
        kind="stamp",
        columns=(*([date] if date and not since_1970 else []), *names),
        dated=date is not None or since_1970,
        date_open=open_date and not since_1970,
        zoned=since_1970,
        evidence="names and ranges of the columns",
        confidence=0.9,
    )
    midnight_us = None if plan.dated else date_of_columns(head.columns)
    if midnight_us is None:
        return plan
    origin = raw_seconds([(c.array, c) for c in head.columns if c.name in names], plan)[1]
    return replace(plan, start_us=midnight_us + origin[0] // 1000, start_local=True)


def _check_own_times(head: Head, best: TimePlan, plans: list[TimePlan]) -> None:
    """Raise LogReadError where channels have times of their own that differ: a row then is no sample."""
    name = best.columns[0]
    rivals = [p for p in plans if re.sub(r" \(\d+\)$", "", p.columns[0]) == re.sub(r" \(\d+\)$", "", name)]
    own = seconds_of(head, best)
    timed = [(rival, seconds_of(head, rival)) for rival in rivals]
    timed += [(rival, other) for rival, other in times_of(head, None) if ends_early(other, own)]
    for rival, other in timed:
        with np.errstate(over="ignore", invalid="ignore"):  # times beyond measure
            apart = bool((np.abs(other - own) > 1e-6).any())
        if rival.columns != best.columns and apart:
            found = f'"{name}" and "{rival.columns[0]}" tell different times in the same rows'
            todo = "Export all channels with one column of time, or a row per reading."
            raise LogReadError(message(head.name, found, "one time per row", todo))


def times_of(head: Head, given: Channel | None) -> list[tuple[TimePlan, NDArray[np.float64]]]:
    """Ways to tell the time of each row, by stamps or by a name that says so, and their seconds, shape (n,)."""
    wanted = given.column if given is not None else None
    columns = [c for c in head.columns if (c.name == wanted if wanted else may_be_time(c))]
    found = []
    for column in columns:
        timely = column.hints.weight("time") >= _SAYS_TIME and not column.hints.sample_number
        plans = _plans_of(head, column, None) if column.kind != "number" or timely or wanted else []
        found += [(plan, seconds_of(head, plan)) for plan in plans[:1]]
    return found


def _is_open(column: Column) -> bool:
    stamp = column.profile.stamp
    return stamp is not None and stamp.ambiguous


def _by_interval(head: Head, given: Channel, interval_s: float) -> TimePlan:
    """Rows, or the numbers of samples in a column, times the interval that the station file gives."""
    column = head.column(given.column or "")
    step = abs(usual_step(column.values)) if column is not None else 0.0
    if column is None or step == 0.0:
        return TimePlan(kind="row", columns=(), unit_s=interval_s, evidence="interval in the station file")
    evidence = "numbers of samples, interval in the station file"
    return TimePlan(kind="number", columns=(column.name,), unit_s=interval_s / step, wraps=True, evidence=evidence)


def _unit_of(plan: TimePlan, head: Head) -> Question:
    return which_unit(plan.columns[0], head, stamps=plan.kind == "stamp", whole=plan.wraps)


def _started(head: Head, plan: TimePlan, dated: TimePlan) -> TimePlan:
    """The plan with the date of its first row from another column."""
    columns = [c for c in (head.column(name) for name in dated.columns) if c is not None]
    seconds, origin = raw_seconds([(c.array, c) for c in columns], dated)
    first = int(np.argmax(np.isfinite(seconds_of(head, plan))))
    if not np.isfinite(seconds[first]):
        return plan
    return replace(plan, start_us=start_us(dated, origin) + round(float(seconds[first]) * 1e6))


def start_us(plan: TimePlan, origin: tuple[int, float]) -> int:
    """Unix time of the origin of a plan with a date [µs]."""
    if plan.kind == "number":
        return round(((plan.origin_s or 0.0) + origin[1] * plan.unit_s) * 1e6)
    return origin[0] // 1000


def _plans_of(head: Head, column: Column, unit: str | None) -> list[TimePlan]:
    """Ways to read one column as time; confidence 0 where the unit is open."""
    if column.kind == "moment":
        if is_date(column):
            return []
        whole = pa.types.is_timestamp(column.array.type)
        zoned = whole and column.array.type.tz is not None
        name = f'type of "{column.name}"'
        return [TimePlan(kind="moment", columns=(column.name,), dated=whole, zoned=zoned, evidence=name)]
    stamp = column.profile.stamp
    if column.kind == "stamp" and stamp is not None and (stamp.has_clock or "packed" in stamp.fields):
        dated = stamp.has_date and stamp.has_year
        return [
            TimePlan(
                kind="stamp", columns=(column.name,), dated=dated, date_open=stamp.ambiguous, zoned=bool(stamp.zone),
                evidence=f'"{column.cells[0].strip()}": {stamp.evidence or "time of day or elapsed"}',
                confidence=0.0 if stamp.counted else 0.9 if column.hints.weight("time") else 0.8,
            )
        ]  # fmt: skip
    if column.kind == "number" and len(finite(column.values)):
        return [_number_plan(head, column, unit)]
    return []


def _number_plan(head: Head, column: Column, unit: str | None) -> TimePlan:
    known = finite(column.values)
    base = TimePlan(kind="number", columns=(column.name,), wraps=bool((known[:1000] == np.rint(known[:1000])).all()))
    if unit is not None:
        size = time_unit(unit).seconds
        origin = next((start for low, high, f, start in _EPOCHS if low <= known[0] < high and f == size), None)
        zoned = origin is not None and origin > _SINCE_YEAR_1_S
        return replace(
            base, unit_s=size, origin_s=origin, dated=origin is not None, zoned=zoned, evidence="station file"
        )
    for low, high, factor, start in _EPOCHS:
        timely = column.hints.weight("time") or (factor < 1.0 and not start)  # nothing else counts so far
        if low <= known.min() and known.max() < high and timely:
            evidence = f"numbers from {known[0]:.0f} are seconds since 1970" if factor == 1.0 else "counts since 1970"
            if start:
                evidence = "steps of 100 ns since 1601" if known[0] < 2e17 else "steps of 100 ns since the year 1"
            zoned = start > _SINCE_YEAR_1_S
            return replace(
                base, unit_s=factor, origin_s=start, dated=True, zoned=zoned, evidence=evidence, confidence=0.97
            )
    if _SERIAL_DAYS[0] <= known.min() and known.max() < _SERIAL_DAYS[1] and days_rise(column, known):
        evidence = "numbers of days since 1899"
        return replace(
            base, unit_s=86400.0, origin_s=_SERIAL_ORIGIN_S, dated=True, wraps=False, evidence=evidence, confidence=0.9
        )
    return _named_unit(head, column, base)


def _named_unit(head: Head, column: Column, base: TimePlan) -> TimePlan:
    """Unit by name, by the preamble's interval, or by the length of cycles."""
    said = column.hints.time_unit
    if said is None and counted_otherwise(column):
        return replace(base, confidence=0.0)
    timely = column.hints.weight("time")
    step = abs(usual_step(column.values))
    named = timely or counts_time(column)
    if said is not None and named and (said.symbol not in ("d", "h") or timely >= _SAYS_TIME):
        evidence = f'unit {said.symbol} with the name "{column.name}"'
        usual = step or float(np.ptp(finite(column.values))) / len(column.values)
        sure = 0.99 if may_be_interval(head, usual * said.seconds) else 0.0
        return replace(base, unit_s=said.seconds, evidence=evidence, confidence=sure)
    interval = head.preamble.interval_s
    if interval is not None and not cycles_fit(head, interval):
        interval = None
    if interval is not None and step > 0 and (timely or column.kind == "number"):
        if column.hints.sample_number or abs(step - 1) < 1e-9:
            evidence = f"row numbers, {head.preamble.interval_line}"
            return replace(base, unit_s=interval / step, evidence=evidence, confidence=0.9)
        fits = [u for u in TIME_UNITS if abs(u.seconds * step / interval - 1) < 0.05]
        if len(fits) == 1:
            return replace(base, unit_s=fits[0].seconds, evidence=head.preamble.interval_line, confidence=0.95)
    counted = base.wraps and timely < _SAYS_TIME
    if column.hints.sample_number or step <= 0 or counted or (abs(step - 1) < 1e-9 and not timely):
        return replace(base, confidence=0.0)
    return _unit_by_cycles(head, column, base, step)


def _unit_by_cycles(head: Head, column: Column, base: TimePlan, step: float) -> TimePlan:
    found = unit_by_cycles(head, column, step)
    if found is None:
        return replace(base, confidence=0.0)
    confidence = 0.85 if column.hints.weight("time") else 0.7
    return replace(base, unit_s=found[0], evidence=found[1], confidence=confidence)


def _with_parts(head: Head, plan: TimePlan) -> TimePlan:
    """Join a clock with the column of its date and that of its milliseconds, where there are such."""
    column = head.column(plan.columns[0]) if plan.columns else None
    if plan.kind not in ("stamp", "moment") or plan.dated or column is None:
        return plan
    date = next((c for c in head.columns if is_date(c)), None)
    extra = next((c for c in head.columns if is_millis(c)), None)
    has_fraction = (stamp := column.profile.stamp) is not None and "fraction" in stamp.fields
    columns = (column.name, *([extra.name] if extra and not has_fraction else []))
    open_date = date is not None and _is_open(date)
    if date is not None and date.array.null_count > (1 - EVIDENCE.filled_share) * len(date.array):
        return _dated_once(head, replace(plan, columns=columns), date, open_date=open_date)
    columns = (*([date.name] if date else []), *columns)
    return replace(plan, columns=columns, dated=date is not None, date_open=open_date)


def _dated_once(head: Head, plan: TimePlan, date: Column, *, open_date: bool) -> TimePlan:
    """A clock with the date that stands in a few rows alone: that of the first row, and days are counted from there."""
    columns = [c for c in (head.column(name) for name in plan.columns) if c is not None]
    _, origin = raw_seconds([(c.array, c) for c in columns], plan)
    ns, sound = _part_ns(date.array, date)
    if open_date or not len(sound) or not sound[0]:
        return plan
    evidence = f'{plan.evidence}; the date stands in "{date.name}" once'
    return replace(plan, start_us=(int(ns[0]) + origin[0]) // 1000, start_local=True, evidence=evidence)


def seconds_of(head: Head, plan: TimePlan) -> NDArray[np.float64]:
    """Time of the first rows [s], NaN where there is none; neither wraps nor roundings are mended, shape (n,)."""
    columns = [c for c in (head.column(name) for name in plan.columns) if c is not None]
    return raw_seconds([(c.array, c) for c in columns], plan)[0]


def raw_seconds(
    parts: list[tuple[pa.Array, Column]], plan: TimePlan, origin: tuple[int, float] | None = None
) -> tuple[NDArray[np.float64], tuple[int, float]]:
    """Seconds of some rows from an origin, which is that of the first sound row where none is given.

    The origin is (nanoseconds, counts); one of them is in use.
    """
    if plan.kind == "number":
        counts = column_numbers(parts[0][0], parts[0][1].profile.form)
        if origin is None:
            known = finite(counts)
            origin = (0, float(known[0]) if len(known) else 0.0)
        with np.errstate(over="ignore", invalid="ignore"):  # a count beyond measure is no time: not finite
            seconds = counts - origin[1]
            if plan.unit_s != 1.0:
                seconds *= plan.unit_s
            return within_reach(seconds), origin
    ns, sound = _part_ns(*parts[0])
    for array, column in parts[1:]:
        more, good = _part_ns(array, column)
        ns, sound = ns + more, sound & good
    if origin is None:
        origin = (int(ns[np.argmax(sound)]) if sound.any() else 0, 0.0)
    return np.where(sound, (ns - origin[0]) / 1e9, np.nan), origin


def _part_ns(array: pa.Array, column: Column) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Nanoseconds of one column of a stamp: date, clock, or milliseconds."""
    if column.profile.stamp is not None:
        return stamp_ns(array, column.profile.stamp)
    if column.kind == "moment":
        return moment_ns(array)
    values = column_numbers(array, column.profile.form)
    unit = column.hints.time_unit
    size = round(unit.seconds * 1e9) if unit is not None else 1_000_000
    sound = np.abs(values) < (1 << 62) / size  # more nanoseconds than whole numbers hold are no time
    if is_millis(column):
        sound &= below_second(values)
    return np.rint(np.where(sound, values, 0.0) * size).astype(np.int64), sound


def _may_wrap(head: Head, plan: TimePlan) -> bool:
    """A clock starts again at midnight, a counter at a power of two."""
    column = head.column(plan.columns[0])
    if plan.kind != "number" or column is None:
        return True
    return plan.wraps and float(np.abs(finite(column.values)).max()) > 32000
