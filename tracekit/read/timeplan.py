"""Which columns tell the time, and how."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.model.station import Channel
from tracekit.model.trace import Assumption
from tracekit.read.columns import Column
from tracekit.read.head import Head, Question, cycle_rows, finite
from tracekit.read.rows import valid
from tracekit.read.stamp_values import stamp_ns
from tracekit.read.values import column_numbers
from tracekit.units import TIME_UNITS, time_unit

TimeKind = Literal["number", "stamp", "moment", "row"]

_EPOCHS = ((1e9, 2.2e9, 1.0), (1e12, 2.2e12, 1e-3), (1e15, 2.2e15, 1e-6), (1e18, 2.2e18, 1e-9))
_SERIAL_DAYS = (36526.0, 73050.0)  # 2000 to 2099 in days since the end of 1899
_SERIAL_ORIGIN_S = -2209161600.0
_SHARED = 0.2  # so many rows with the stamp of the row before are no duplicates but rounding
_PERIOD_S = (0.4, 200.0)
"""Pick cycles shorter or longer than this are not expected (common practice, no source); less than a factor of 1000."""


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
    start_us    Unix time of the first row from another column that has a date, None where there is none [µs]
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
    evidence: str = ""
    confidence: float = 1.0


def plan_time(head: Head, given: Channel | None) -> tuple[TimePlan | None, list[Question]]:
    """How time is read, or what to ask."""
    if given is not None and given.column is not None:
        column = head.column(given.column)
        plans = [] if column is None else _plans_of(head, column, given.unit)
        if not plans:
            return None, [_unreadable(head, given.column)]
        if plans[0].confidence > 0:
            return _with_parts(head, plans[0]), []
        return None, [_which_unit(plans[0])]
    plans = [p for c in head.columns if _may_be_time(c) for p in _plans_of(head, c, None)]
    plans = [_with_parts(head, p) for p in plans if _rises(seconds_of(head, p), wraps=_may_wrap(head, p))]
    sure = [p for p in plans if p.confidence > 0]
    if sure:
        best = max(sure, key=lambda p: (_distinct(seconds_of(head, p)) > 0.6, p.confidence))
        dated = [p for p in sure if p.dated and not p.date_open and p.zoned]
        return (best if best.dated or not dated else _started(head, best, dated[0])), []
    if head.preamble.interval_s is not None:
        line = head.preamble.interval_line
        return TimePlan(kind="row", columns=(), unit_s=head.preamble.interval_s, evidence=line, confidence=0.9), []
    if plans:
        return None, [_which_unit(plans[0])]
    return None, [Question(found="no column rises like time", line='time = { column = "...", unit = "s" }')]


def _which_unit(plan: TimePlan) -> Question:
    name = plan.columns[0]
    found = f'the unit of time in "{name}" does not show'
    return Question(found=found, line=f'time = {{ column = "{name}", unit = "ms" }}   # or s, us, ns, min')


def _may_be_time(column: Column) -> bool:
    """False for a column whose name says that it is something else."""
    known = column.hints
    other = known.weight("pressure") >= 0.9 or known.pressure_unit is not None or known.weight("other") > 1
    return not other or known.weight("time") >= 1.0


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


def _unreadable(head: Head, name: str) -> Question:
    names = ", ".join(c.name for c in head.columns)
    if head.column(name) is None:
        return Question(found=f'no column "{name}" (there are: {names})', line='time = "..."')
    return Question(found=f'the column "{name}" holds no times', line='time = "..."')


def _plans_of(head: Head, column: Column, unit: str | None) -> list[TimePlan]:
    """Ways to read one column as time; confidence 0 where the unit is open."""
    if column.kind == "moment":
        whole = pa.types.is_timestamp(column.array.type)
        zoned = whole and column.array.type.tz is not None
        name = f'type of "{column.name}"'
        return [TimePlan(kind="moment", columns=(column.name,), dated=whole, zoned=zoned, evidence=name)]
    stamp = column.profile.stamp
    if column.kind == "stamp" and stamp is not None and (stamp.has_clock or "packed" in stamp.fields):
        dated = (stamp.has_date and "year" in stamp.fields) or "packed" in stamp.fields
        return [
            TimePlan(
                kind="stamp", columns=(column.name,), dated=dated, date_open=stamp.ambiguous, zoned=bool(stamp.zone),
                evidence=f'"{column.cells[0].strip()}": {stamp.evidence or "time of day or elapsed"}',
                confidence=0.9 if column.hints.weight("time") else 0.8,
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
        epoch = next((f for low, high, f in _EPOCHS if low <= known[0] < high and f == size), None)
        origin = None if epoch is None else 0.0
        return replace(base, unit_s=size, origin_s=origin, dated=origin is not None, evidence="station file")
    for low, high, factor in _EPOCHS:
        if low <= known.min() and known.max() < high and column.hints.weight("time"):
            evidence = f"numbers from {known[0]:.0f} are seconds since 1970" if factor == 1.0 else "counts since 1970"
            return replace(
                base, unit_s=factor, origin_s=0.0, dated=True, zoned=True, evidence=evidence, confidence=0.97
            )
    if _SERIAL_DAYS[0] <= known.min() and known.max() < _SERIAL_DAYS[1] and 0 < _usual_step(known) < 0.01:
        evidence = "numbers of days since 1899"
        return replace(
            base, unit_s=86400.0, origin_s=_SERIAL_ORIGIN_S, dated=True, wraps=False, evidence=evidence, confidence=0.9
        )
    return _named_unit(head, column, base)


def _usual_step(values: NDArray[np.float64]) -> float:
    """Median step from row to row, 0 for fewer than two rows."""
    steps = np.diff(finite(values))
    return float(np.median(steps)) if len(steps) else 0.0


def _named_unit(head: Head, column: Column, base: TimePlan) -> TimePlan:
    """Unit by name, by the preamble's interval, or by the length of cycles."""
    said = column.hints.time_unit
    timely = column.hints.weight("time")
    if said is not None and timely and said.symbol not in ("d", "h"):
        return replace(
            base, unit_s=said.seconds, evidence=f'unit {said.symbol} with the name "{column.name}"', confidence=0.99
        )
    step = abs(_usual_step(column.values))
    interval = head.preamble.interval_s
    if interval is not None and step > 0 and (timely or column.kind == "number"):
        if column.hints.sample_number or abs(step - 1) < 1e-9:
            evidence = f"row numbers, {head.preamble.interval_line}"
            return replace(base, unit_s=interval / step, evidence=evidence, confidence=0.9)
        fits = [u for u in TIME_UNITS if abs(u.seconds * step / interval - 1) < 0.05]
        if len(fits) == 1:
            return replace(base, unit_s=fits[0].seconds, evidence=head.preamble.interval_line, confidence=0.95)
    if column.hints.sample_number or step <= 0 or (abs(step - 1) < 1e-9 and not timely):
        return replace(base, confidence=0.0)
    return _unit_by_cycles(head, column, base, step)


def _unit_by_cycles(head: Head, column: Column, base: TimePlan, step: float) -> TimePlan:
    lengths = [cycle_rows(c.values) for c in head.columns if c is not column and c.kind == "number" and c.levels > 8]
    periods = [step * n for n in lengths if n is not None]
    fits = [u for u in TIME_UNITS[:4] if periods and _PERIOD_S[0] <= max(periods) * u.seconds <= _PERIOD_S[1]]
    if len(fits) != 1:
        return replace(base, confidence=0.0)
    seconds = max(periods) * fits[0].seconds
    evidence = f"cycles then last {seconds:.2g} s; no other unit gives a length between 0.4 and 200 s"
    confidence = 0.85 if column.hints.weight("time") else 0.7
    return replace(base, unit_s=fits[0].seconds, evidence=evidence, confidence=confidence)


def _with_parts(head: Head, plan: TimePlan) -> TimePlan:
    """Join a clock with the column of its date and that of its milliseconds, where there are such."""
    column = head.column(plan.columns[0]) if plan.columns else None
    if plan.kind not in ("stamp", "moment") or plan.dated or column is None:
        return plan
    date = next((c for c in head.columns if _is_date(c)), None)
    extra = next((c for c in head.columns if _is_millis(c)), None)
    stamp = column.profile.stamp
    has_fraction = stamp is not None and "fraction" in stamp.fields
    columns = (*([date.name] if date else []), column.name, *([extra.name] if extra and not has_fraction else []))
    open_date = date is not None and date.profile.stamp is not None and date.profile.stamp.ambiguous
    return replace(plan, columns=columns, dated=date is not None, date_open=open_date)


def _is_date(column: Column) -> bool:
    stamp = column.profile.stamp
    if column.kind == "moment":
        return bool(pa.types.is_date(column.array.type))
    return column.kind == "stamp" and stamp is not None and stamp.has_date and not stamp.has_clock


def _is_millis(column: Column) -> bool:
    unit = column.hints.time_unit
    known = finite(column.values)
    named = unit is not None and unit.symbol == "ms"
    return named and column.kind == "number" and len(known) > 0 and known.min() >= 0 and bool(known.max() < 1000)


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
        counts = _counts(*parts[0])
        if origin is None:
            known = finite(counts)
            origin = (0, float(known[0]) if len(known) else 0.0)
        return (counts - origin[1]) * plan.unit_s, origin
    ns, sound = _part_ns(*parts[0])
    for array, column in parts[1:]:
        more, good = _part_ns(array, column)
        ns, sound = ns + more, sound & good
    if origin is None:
        origin = (int(ns[np.argmax(sound)]) if sound.any() else 0, 0.0)
    return np.where(sound, (ns - origin[0]) / 1e9, np.nan), origin


def _counts(array: pa.Array, column: Column) -> NDArray[np.float64]:
    return column_numbers(array, column.profile.form)


def _part_ns(array: pa.Array, column: Column) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Nanoseconds of one column of a stamp: date, clock, or milliseconds."""
    if column.profile.stamp is not None:
        return stamp_ns(array, column.profile.stamp)
    if column.kind == "moment":
        return _moment_ns(array)
    values = _counts(array, column)
    sound = np.isfinite(values)
    return (np.where(sound, values, 0.0) * 1e6).astype(np.int64), sound


def _moment_ns(array: pa.Array) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    kind = array.type
    if pa.types.is_date(kind):
        array = array.cast(pa.timestamp("ms"))
        kind = array.type
    factor = {"s": 10**9, "ms": 10**6, "us": 10**3, "ns": 1}[kind.unit]
    whole = array.cast(pa.int64() if kind.bit_width == 64 else pa.int32()).cast(pa.int64())
    values = np.frombuffer(whole.buffers()[1], np.int64)[whole.offset : whole.offset + len(whole)]
    return values * factor, valid(array)


def _rises(seconds: NDArray[np.float64], *, wraps: bool) -> bool:
    """True for values that go on as time does, apart from a few that do not; with `wraps` they may start again."""
    known = finite(seconds)
    if len(known) < 2:
        return len(known) == 1
    steps = np.diff(known)
    rises, falls = int((steps > 0).sum()), int((steps < 0).sum())
    if rises == 0 or falls > 1 + 0.1 * rises:
        return False
    small = -float(steps[steps < 0].sum()) <= 0.05 * float(steps[steps > 0].sum())
    return falls <= 3 or small or (wraps and falls <= 0.01 * rises)


def _may_wrap(head: Head, plan: TimePlan) -> bool:
    """A clock starts again at midnight, a counter at a power of two."""
    column = head.column(plan.columns[0])
    if plan.kind != "number" or column is None:
        return True
    return plan.wraps and float(np.abs(finite(column.values)).max()) > 32000


def _distinct(seconds: NDArray[np.float64]) -> float:
    known = finite(seconds)
    return float((np.diff(known) != 0).mean()) if len(known) > 1 else 1.0


def with_rounding(head: Head, plan: TimePlan) -> TimePlan:
    """The plan with its usual interval, and with the resolution of stamps that several rows share."""
    known = finite(seconds_of(head, plan)) if plan.kind != "row" else np.arange(head.rows) * plan.unit_s
    steps = np.diff(known)
    rising = steps[steps > 0]
    if len(rising) == 0:
        return plan
    if float((steps == 0).mean()) < _SHARED:
        return replace(plan, typical_s=float(np.median(rising)))
    starts = np.concatenate([[0], np.nonzero(steps != 0)[0] + 1, [len(known)]])
    sizes = np.diff(starts)
    rounded = float(np.quantile(rising, 0.2))
    inner = sizes[1:-1] if len(sizes) > 2 else sizes
    typical = rounded / max(float(np.mean(inner)), 1.0)
    evidence = f"{plan.evidence}; {np.mean(inner):.3g} rows share a stamp, they are spread evenly over it"
    return replace(
        plan, typical_s=typical, rounded_s=rounded, first_rows=int(sizes[0]), evidence=evidence,
        confidence=min(plan.confidence, 0.8),
    )  # fmt: skip


def assumption(plan: TimePlan) -> Assumption:
    """What was decided about time, for the layout."""
    names = " + ".join(plan.columns) or "row number"
    if plan.kind == "number":
        value = f"{names}, one count is {plan.unit_s:g} s" + (", counted from 1970" if plan.origin_s == 0 else "")
    elif plan.kind == "row":
        value = f"{names} times {plan.unit_s:g} s"
    else:
        value = names + (", with a date" if plan.dated else ", without a date")
    return Assumption(what="time", value=value, evidence=plan.evidence or "name", confidence=plan.confidence)
