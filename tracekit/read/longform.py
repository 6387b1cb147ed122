"""Logs with a row per reading: time, tag, value."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Literal

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.trace import Assumption
from tracekit.read.clock import Samples
from tracekit.read.columns import Column, Profile, fetch, make_column
from tracekit.read.convert import BITS, Missing, Portion, PressureReader, Rejected
from tracekit.read.digitals import LevelPlan, filled_cells
from tracekit.read.head import Head, joined
from tracekit.read.longfind import (
    MIXED_SHARE,
    MOST_TAGS,
    by_turns,
    holds_units,
    named_table,
    names_channels,
    shares_tags,
    tags_of,
    values_among,
    without_time,
)
from tracekit.read.longstation import parts_readings
from tracekit.read.onchange import held_between, hold_step
from tracekit.read.plan import LongPlan, Plan, StationPlan
from tracekit.read.quality import bad_rows, is_quality, plan_quality
from tracekit.read.rows import Rows, carried
from tracekit.read.timeplan import TimePlan, seconds_of
from tracekit.read.timeread import TimeReader
from tracekit.read.values import column_numbers, word_codes, word_levels


def find_long(head: Head) -> LongPlan | None:
    """Which columns hold tag and value, None where every channel has its own column."""
    texts = [c for c in head.columns if c.kind == "text" and 2 <= len(c.words) <= MOST_TAGS]
    tags = [c for c in texts if names_channels(c)] or named_table(head, texts)
    if len(tags) != 1:
        return None
    rest = [c for c in head.columns if c is not tags[0] and c.kind not in ("stamp", "moment", "empty")]
    rest = [c for c in rest if not holds_units(c)]
    marks = [c for c in rest if is_quality(c) and c.hints.weight("value") < 0.9]
    values = values_among([c for c in rest if c not in marks])
    if not values and len(marks) == 1:
        marks, values = [], values_among(marks)
    values = values if len(values) != 2 or by_turns(*values) else without_time(values)
    if not 1 <= len(values) <= 2 or any(c.hints.weight("pressure") >= 0.9 for c in values):
        return None
    quality = plan_quality(marks[0], sure=True) if marks else None
    values = sorted(values, key=lambda c: -c.levels)
    beside = values[1].name if len(values) == 2 else ""
    others = [c for c in rest if c not in values and c not in marks]
    times = [c for c in head.columns if c.kind in ("stamp", "moment") or c.hints.weight("time") >= 0.9]
    parting = [c for c in others if shares_tags(c, tags[0])] or [
        c for c in others if parts_readings(c, tags[0], times)
    ]
    station = parting[0].name if parting else ""
    return LongPlan(tag=tags[0].name, value=values[0].name, beside=beside, station=station, quality=quality)


def wide_head(head: Head, plan: LongPlan, time: TimePlan) -> Head:
    """The first rows with a column per tag, one row per reading of the tag that has most different values.

    Other tags hold their last value at the same stamp or before.
    """
    tag, value = head.column(plan.tag), head.column(plan.value)
    if tag is None or value is None:
        return head
    beside = head.column(plan.beside) if plan.beside else None
    station = head.column(plan.station) if plan.station else None
    codes, words = tags_of(tag.array, station.array if station is not None else None)
    order = np.arange(head.rows)
    numbers = column_numbers(value.array, value.profile.form)
    variety = [len(np.unique(numbers[codes == k][:5000])) for k in range(len(words))]
    base = order[codes == int(np.argmax(variety))]
    end = _group_ends(seconds_of(head, time))[base]
    units = _units_of_tags(head, codes, len(words))
    columns = []
    for k, word in enumerate(words):
        own = order[codes == k]
        place = np.searchsorted(own, end, side="right") - 1
        picked = np.where(place >= 0, own[np.maximum(place, 0)] if len(own) else -1, -1)
        columns.append(_tag_column(word, units[k], _holder(value, beside, own), picked))
    columns += [replace(c, array=c.array.take(_indices(base)), values=c.values[base] if len(c.values) else c.values)
                for c in head.columns if c.name in time.columns]  # fmt: skip
    fact = Assumption(
        what="layout",
        value=f'a row per reading: tag in "{plan.tag}", value in {joined(filter(None, (plan.value, plan.beside)))}',
        evidence=f"{len(words)} tags, among them a pressure",
        confidence=0.95,
    )
    return replace(head, columns=tuple(columns), rows=len(base), assumptions=(*head.assumptions, fact))


def _holder(value: Column, beside: Column | None, own: NDArray[np.int64]) -> Column:
    """That of two columns in which a tag, whose rows are given, has most of its values."""
    if beside is None or filled_cells(value.array)[own].sum() >= filled_cells(beside.array)[own].sum():
        return value
    return beside


def with_holding(
    head: Head, plan: LongPlan, time: TimePlan, pressure: str
) -> tuple[LongPlan, TimePlan, tuple[Assumption, ...]]:
    """The plans with the interval at which readings hold where only changes are written; `head` is a wide one."""
    column = head.column(pressure)
    step = hold_step(seconds_of(head, time), column.values) if column is not None and time.rounded_s == 0 else 0.0
    if step == 0.0:
        return plan, time, ()
    fact = Assumption(
        what="written on change", value=f"between readings the last one holds, every {step:.3g} s for a minute at most",
        evidence="no reading equals the one before, and their changes have a lowest size", confidence=0.9,
    )  # fmt: skip
    return replace(plan, hold_s=step), replace(time, typical_s=step), (fact,)


def _units_of_tags(head: Head, codes: NDArray[np.int64], count: int) -> list[str]:
    """Unit of each tag from a column of units, empty where there is none."""
    column = next((c for c in head.columns if holds_units(c)), None)
    if column is None:
        return [""] * count
    unit_codes, units = word_codes(column.array)
    first = [int(np.argmax(codes == k)) for k in range(count)]
    return [units[unit_codes[i]].strip() if unit_codes[i] >= 0 else "" for i in first]


def _indices(index: NDArray[np.int64]) -> pa.Array:
    mask = index < 0
    values = pa.Array.from_buffers(pa.int64(), len(index), [None, pa.py_buffer(np.maximum(index, 0).astype(np.int64))])
    if not mask.any():
        return values
    bits = np.packbits(~mask, bitorder="little")
    return pa.Array.from_buffers(pa.int64(), len(index), [pa.py_buffer(bits), values.buffers()[1]])


def _tag_column(name: str, unit: str, value: Column, picked: NDArray[np.int64]) -> Column:
    array = value.array.take(_indices(picked))
    numbers = column_numbers(array, value.profile.form)
    whole = bool((numbers[np.isfinite(numbers)] % 1 == 0).all())
    kind: Literal["number", "level", "text"] = "number"
    if np.isfinite(numbers).mean() <= MIXED_SHARE:
        filled = filled_cells(array)
        known = ((word_levels(array, {}) >= 0) | np.isfinite(numbers)) & filled
        kind = "level" if known.sum() >= MIXED_SHARE * filled.sum() else "text"  # words that say no level may show it
    return make_column(name, unit, Profile(kind=kind, form=value.profile.form, whole=whole), array)


def _group_ends(time_s: NDArray[np.float64]) -> NDArray[np.int64]:
    """Position of the last row with the stamp of each row, shape (n,)."""
    if len(time_s) == 0:
        return np.empty(0, np.int64)
    starts = np.nonzero(np.diff(time_s) != 0)[0] + 1
    ends = np.concatenate([starts, [len(time_s)]]) - 1
    sizes = np.diff(np.concatenate([[-1], ends]))
    return np.repeat(ends, sizes)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Readings:
    """Readings in order: tags as positions in a list of channels, -1 for tags that are not used; all shape (n,)."""

    time_s: NDArray[np.float64]
    lines: NDArray[np.int64]
    channel: NDArray[np.int64]
    value: NDArray[np.float64]

    def take(self, index: slice | NDArray[np.bool_]) -> "_Readings":
        """Some of the readings."""
        return _Readings(
            time_s=self.time_s[index], lines=self.lines[index], channel=self.channel[index], value=self.value[index]
        )


class LongDecoder:
    """Turns rows of time, tag and value into portions with a sample per reading of the pressure."""

    def __init__(self, plan: Plan) -> None:
        """Follow a plan."""
        if plan.long is None:
            raise AssertionError("no long layout")
        self._plan = plan
        self._long = plan.long
        self.time = TimeReader(plan.time, plan.columns)
        self._channels = list(dict.fromkeys(c for s in plan.stations for c in _channels(s)))
        self._digitals = {d.name: d for s in plan.stations for d in s.digitals.values()}
        self._pressures = {s.pressure.column: PressureReader(s.pressure) for s in plan.stations}
        self._last: dict[str, int] = {}
        self._before: dict[str, tuple[float, float]] = {}
        self._held: _Readings | None = None

    def portions(self, rows: Iterable[Rows]) -> Iterator[Portion]:
        """Portions of a whole file."""
        for piece in rows:
            yield self._decode(piece)
        if self._held is not None:
            missing: Missing = []
            stations = self._samples(self._held, missing)
            yield Portion(stations=stations, rows_read=0, missing=tuple(missing))

    def _decode(self, rows: Rows) -> Portion:
        rejected: Rejected = [(r.reason, np.array(r.first_lines, np.int64), r.rows) for r in rows.rejected]
        missing: Missing = []
        readings = self._readings(rows, rejected, missing)
        if self._held is not None:
            readings = _joined(self._held, readings)
        ends = _group_ends(readings.time_s)
        cut = int(np.searchsorted(ends, len(ends) - 1)) if len(ends) else 0
        cut = self._after_pressure(readings, ends, cut) if self._long.hold_s > 0 else cut
        self._held = readings.take(slice(cut, None)) if len(ends) else None
        stations = self._samples(readings.take(slice(0, cut)), missing)
        return Portion(
            stations=stations,
            rows_read=rows.count + sum(r.rows for r in rows.rejected),
            rejected=tuple(rejected),
            missing=tuple(missing),
        )

    def _after_pressure(self, readings: _Readings, ends: NDArray[np.int64], cut: int) -> int:
        """Position behind the last reading of the pressure before `cut`: what follows goes with the next reading."""
        own = [np.nonzero(readings.channel[:cut] == self._channels.index(name))[0] for name in self._pressures]
        return min((int(ends[places[-1]]) + 1 for places in own if len(places)), default=0)

    def _readings(self, rows: Rows, rejected: Rejected, missing: Missing) -> _Readings:
        lines = rows.lines if rows.lines is not None else np.arange(rows.first_line, rows.first_line + rows.count)
        columns = self._plan.columns
        time_s = self.time.read(rows)
        apart = self._long.station
        stations = fetch(rows.columns, columns[apart]) if apart else None
        codes, words = tags_of(fetch(rows.columns, columns[self._long.tag]), stations)
        place = {name: k for k, name in enumerate(self._channels)}
        channel = np.array([*(place.get(w, -1) for w in words), -1])[codes]
        value = self._values(rows, channel)
        if self._long.quality is not None:
            marks = fetch(rows.columns, columns[self._long.quality.column])
            bad = bad_rows(marks, self._long.quality) & (channel >= 0)
            if bad.any():
                missing.append(("marked as bad by its quality", lines[bad]))
                value = np.where(bad, np.nan, value)
        good = np.isfinite(time_s)
        if not good.all():
            rejected.append(("no time, or none that can be read", lines[~good], int((~good).sum())))
        nameless = good & (codes < 0)
        if nameless.any():
            rejected.append(("no tag", lines[nameless], int(nameless.sum())))
        return _Readings(time_s=time_s, lines=lines, channel=channel, value=value).take(good & (codes >= 0))

    def _values(self, rows: Rows, channel: NDArray[np.int64]) -> NDArray[np.float64]:
        """Readings as numbers, levels of digitals as 0 and 1 but packed words as they are, NaN where missing."""
        columns = self._plan.columns
        column = columns[self._long.value]
        value = self._values_in(fetch(rows.columns, column), column, channel)
        if self._long.beside:
            other = columns[self._long.beside]
            more = self._values_in(fetch(rows.columns, other), other, channel)
            value = np.where(np.isfinite(value), value, more)
        return value

    def _values_in(self, array: pa.Array, column: Column, channel: NDArray[np.int64]) -> NDArray[np.float64]:
        value = column_numbers(array, column.profile.form)
        for plan in self._digitals.values():
            here = channel == self._channels.index(plan.column)
            if here.any() and plan.kind != "bit":
                value = np.where(here, _levels(array, value, plan), value)
        return value

    def _samples(self, readings: _Readings, missing: Missing) -> tuple[Samples | None, ...]:
        """Samples of each station, levels of the same stamp or before."""
        ends = _group_ends(readings.time_s)
        levels = {name: self._level_at(readings, plan) for name, plan in self._digitals.items()}
        result: list[Samples | None] = []
        for station in self._plan.stations:
            here = np.nonzero(readings.channel == self._channels.index(station.pressure.column))[0]
            if len(here) == 0:
                result.append(None)
                continue
            lines = readings.lines[here]
            kpa = self._pressures[station.pressure.column].read(readings.value[here], lines, missing)
            time_s, at = readings.time_s[here], ends[here]
            if self._long.hold_s > 0:
                time_s, kpa, lines, at = self._filled(station.pressure.column, readings, here, kpa)
            digital = np.zeros(len(at), np.uint8)
            for role, plan in station.digitals.items():
                level = levels[plan.name][np.maximum(at, 0)]
                level = np.where(at < 0, np.int8(self._last.get(plan.name, 0)), level)
                digital |= level.view(np.uint8) * np.uint8(BITS[role])
            result.append(Samples(time_s=time_s, pressure_kpa=kpa, digital=digital, lines=lines))
        for name, level in levels.items():
            if len(level):
                self._last[name] = int(level[-1])
        return tuple(result)

    def _filled(
        self, name: str, readings: _Readings, here: NDArray[np.int64], kpa: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]:
        """Times, pressures, lines of a pressure's samples with held ones between, and the last row at each time."""
        before_s, before_kpa = self._before.get(name, (np.nan, np.nan))
        held = held_between(readings.time_s[here], before_s, self._long.hold_s)
        values = np.where(held.source < 0, before_kpa, kpa[np.maximum(held.source, 0)])
        at = np.searchsorted(np.maximum.accumulate(readings.time_s), held.time_s + 1e-9, side="right") - 1
        self._before[name] = (float(readings.time_s[here[-1]]), float(kpa[-1]))
        return held.time_s, values, readings.lines[here][np.maximum(held.source, 0)], at.astype(np.int64)

    def _level_at(self, readings: _Readings, plan: LevelPlan) -> NDArray[np.int8]:
        """Level of a digital at every row, shape (n,)."""
        own = (readings.channel == self._channels.index(plan.column)) & np.isfinite(readings.value)
        value = np.where(own, readings.value, 0.0)
        found = value.astype(np.int64) >> plan.bit & 1 if plan.kind == "bit" else value
        level = np.where(own, found, -1).astype(np.int8)
        return carried(level, level < 0, self._last.get(plan.name, 0))


def _channels(station: StationPlan) -> list[str]:
    return [station.pressure.column, *(d.column for d in station.digitals.values())]


def _levels(array: pa.Array, value: NDArray[np.float64], plan: LevelPlan) -> NDArray[np.float64]:
    if plan.kind == "word":
        found = word_levels(array, {word: level for level, word in enumerate(plan.words)}).astype(np.float64)
        return np.where(found < 0, np.nan, found)
    return np.where(np.isfinite(value), (value > plan.threshold).astype(np.float64), np.nan)


def _joined(first: _Readings, second: _Readings) -> _Readings:
    return _Readings(
        time_s=np.concatenate([first.time_s, second.time_s]),
        lines=np.concatenate([first.lines, second.lines]),
        channel=np.concatenate([first.channel, second.channel]),
        value=np.concatenate([first.value, second.value]),
    )


def long_columns(head: Head, plan: LongPlan, time: TimePlan) -> Mapping[str, Column]:
    """The columns that are read of a file with a row per reading."""
    marks = [plan.quality.column] if plan.quality else []
    wanted = {plan.tag, plan.value, plan.beside, plan.station, *time.columns, *marks}
    return {c.name: c for c in head.columns if c.name in wanted}
