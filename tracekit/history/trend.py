"""The trend of a whole history: every measure of every station, worst station first."""

import importlib.metadata
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from math import log
from pathlib import Path

from tracekit.history.charts import chart_limits
from tracekit.history.collect import StationHistory, collect
from tracekit.history.common import find_common, line_changes, mark_common
from tracekit.history.cost import leak_cost
from tracekit.history.events import read_events
from tracekit.history.measure_trend import measure_trend, sides_of
from tracekit.history.measures import MEASURES
from tracekit.history.place import open_place
from tracekit.history.prepare import Prepared, prepare
from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.station import Limit, Station
from tracekit.model.trend import (
    CrossingDate,
    Event,
    FleetTrend,
    LeakCost,
    LimitState,
    MeasureTrend,
    Repair,
    StationTrend,
    Step,
    TrendMeasure,
)
from tracekit.options.history import TrendOptions

_DAY_US = 86_400_000_000
_WEEK_US = 7 * _DAY_US
_ORDER = ("over", "may be over", "alarm", "worse", "growing", "line", "silent", "steady")
_SEVERITIES = ("critical", "major", "minor", "info", "")
ANEW = "new normal"
"""An event whose text begins so makes what comes after it the usual, whatever way it changed."""


def trend(
    history: str | Path,
    *,
    stations: Mapping[str, Station] | None = None,
    limits: Mapping[str, Limit] | None = None,
    as_of_us: int | None = None,
    only: Collection[str] | None = None,
    options: TrendOptions | None = None,
    heard: Callable[[int, int], None] | None = None,
) -> FleetTrend:
    """The trend of every station of a history.

    stations  station files by station name; their limits win over those kept in the history
    limits    limits by measure for stations that have none
    as_of_us  what "now" means [UTC microseconds since 1970]: what came later is left out; the newest log where absent
    only      stations that are asked for; those of their supply groups come with them, for common changes
    heard     told after each station how many are done, and how many there are

    Raises UsageError where there is no history, or a newer tracekit wrote it.
    """
    opts = options or TrendOptions()
    place = open_place(history)
    collected = collect(place, until_us=as_of_us)
    events = tuple(e for e in read_events(place) if as_of_us is None or e.time_us <= as_of_us)
    files = stations or {}
    trends = []
    for record in collected.histories(None if only is None else frozenset(only)):
        if len(record.start_us):
            mine = tuple(e for e in events if e.station.casefold() == record.station.casefold())
            trends.append(station_trend(record, mine, files.get(record.station), limits or {}, opts))
            if heard is not None:
                heard(len(trends), len(collected.stations))
    now = as_of_us if as_of_us is not None else max((t.last_us for t in trends), default=0)
    told = tuple(_told_silent(_told_past(t, now), now, opts) for t in trends)
    common = find_common(told, opts)
    marked = (replace(t, state=_state(t, t.silent, opts)) for t in mark_common(told, common, opts))
    ranked = tuple(sorted(marked, key=_badness))
    return FleetTrend(
        as_of_us=now, stations=ranked, common=common, lines=line_changes(common, opts),
        changed=_changed(ranked, now, opts), causes=_causes(ranked),
        false_alarms_week=opts.false_alarms_per_year * 7.0 / opts.logs_per_year * len(ranked),
        alarm_rule=chart_limits(_all_sides(MEASURES), opts).rule, damaged=collected.damaged, loose=collected.loose,
        logs=collected.logs, version=importlib.metadata.version("tracekit"),
    )  # fmt: skip


def station_trend(
    history: StationHistory,
    events: tuple[Event, ...],
    station_file: Station | None,
    limits: Mapping[str, Limit],
    options: TrendOptions,
) -> StationTrend:
    """The trend of one station."""
    spans = tuple((e.time_us, e.time_us + (_DAY_US if e.whole_day else 0)) for e in events)
    prepared = {m.name: p for m in MEASURES if (p := prepare(history, m, spans, options)) is not None}
    noted = tuple((first, last, event.text) for (first, last), event in zip(spans, events, strict=True))
    confirmed = _confirmed(prepared, noted)
    chart = chart_limits(_all_sides(p.measure for p in prepared.values()), options)
    measures = {
        name: measure_trend(
            p, noted, _restarts(p, confirmed), _limit(name, history, station_file, limits), chart, options
        )
        for name, p in prepared.items()
    }
    cost = leak_cost(history, measures.get("supply_on_time_s"), measures.get("supply_switches_per_hour"), options)
    return _assembled(history, events, measures, cost)


def _all_sides(measures: Iterable[TrendMeasure]) -> int:
    return sum(len(sides_of(m)) for m in measures)


def _confirmed(
    prepared: Mapping[str, Prepared], noted: tuple[tuple[int, int, str], ...]
) -> tuple[tuple[int, int, bool], ...]:
    """Spans of the noted events that show as a step for the better in some measure, or declare a new normal (True)."""
    shown = []
    for first, last, text in noted:
        anew = text.casefold().startswith(ANEW)
        if anew or any(_improved(p, first, last) for p in prepared.values()):
            shown.append((first, last, anew))
    return tuple(shown)


def _improved(prepared: Prepared, first_us: int, last_us: int) -> bool:
    """Whether the measure has a step for the better at the first or second log after the span begins."""
    for cut in prepared.cut.cuts:
        if not cut.is_step or cut.jump * prepared.measure.worse >= 0:
            continue
        before = int(prepared.time_us[max(cut.index - 2, 0)])
        if before < last_us + 1 and int(prepared.time_us[cut.index]) >= first_us:
            return True
    return False


def _restarts(
    prepared: Prepared, confirmed: tuple[tuple[int, int, bool], ...]
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """First logs after confirmed repairs and own steps for the better that nobody noted; those of a new normal."""
    steps = [c.index for c in prepared.cut.cuts if c.is_step]
    found = {c.index for c in prepared.cut.cuts if c.is_step and c.jump * prepared.measure.worse < 0}
    anew = set()
    for first, last, new in confirmed:
        index = int(prepared.time_us.searchsorted(first))
        near = [i for i in steps if abs(i - index) <= 1 + int(last > first)]
        found.add(near[0] if near else index)
        if new:
            anew.add(near[0] if near else index)
    return tuple(sorted(found)), tuple(sorted(anew))


def _limit(
    name: str, history: StationHistory, station_file: Station | None, limits: Mapping[str, Limit]
) -> LimitState | None:
    """The limit in force: of the station file given now, else kept in the history, else of the command line."""
    if station_file is not None and name in station_file.limits:
        return _limit_state(station_file.limits[name], "station file")
    for side, sign in (("max", 1), ("min", -1)):
        kept = history.number("limit", name, side)
        if kept is not None:
            severity = history.latest["limit", name, side][0] or "major"
            return LimitState(value=kept, side=sign, severity=severity, state="unknown", source="history")
    return _limit_state(limits[name], "command line") if name in limits else None


def _limit_state(limit: Limit, source: str) -> LimitState | None:
    value, side = (limit.max, 1) if limit.max is not None else (limit.min, -1)
    if value is None:
        return None
    return LimitState(value=value, side=side, severity=limit.severity, state="unknown", source=source)


def _assembled(
    history: StationHistory, events: tuple[Event, ...], measures: Mapping[str, MeasureTrend], cost: LeakCost | None
) -> StationTrend:
    last = int(history.start_us[-1])
    found = _found_events(history.station, measures)
    newest = [f for f in history.findings if f[0] == last]
    newest.sort(key=lambda f: (_SEVERITIES.index(f[2]) if f[2] in _SEVERITIES else len(_SEVERITIES), -f[3]))
    return StationTrend(
        station=history.station, supply_group=history.text("fact", "supply_group"),
        first_us=int(history.start_us[0]), last_us=last, logs=len(history.start_us),
        cycles=_total(history, "cycles"), dropped=_total(history, "dropped"), measures=measures,
        events=tuple(sorted((*events, *found), key=lambda e: e.time_us)), repair=_repair(events, measures, last),
        cost=cost, silent=False, state="steady", first_step=history.text("fact", "first_step") or "" if newest else "",
        finding=newest[0][1] if newest else "", severity=newest[0][2] if newest else "",
    )  # fmt: skip


def _total(history: StationHistory, name: str) -> int:
    fact = history.followed.get(name)
    return 0 if fact is None else int(fact.value[fact.value == fact.value].sum())


def _found_events(station: str, measures: Mapping[str, MeasureTrend]) -> tuple[Event, ...]:
    """Steps that nobody noted, one event per measure and step."""
    return tuple(
        Event(
            time_us=step.time_us, station=station, source="found",
            text=f"{trend.measure.title}: {step.before:.3g} to {step.after:.3g} {trend.measure.unit}",
        )
        for trend in measures.values()
        for step in trend.steps
        if not step.event and trend.measure.alarm
    )  # fmt: skip


def _repair(events: tuple[Event, ...], measures: Mapping[str, MeasureTrend], last_us: int) -> Repair | None:
    """The last repair: noted, or a step for the better of a measure that is watched."""
    better = [s.time_us for t in measures.values() if t.measure.alarm for s in t.steps if s.better]
    noted = [e.time_us for e in events if e.time_us <= last_us]
    times = [*better, *noted]
    if not times:
        return None
    at = max(times)
    near = [e for e in events if abs(e.time_us - at) <= 1.5 * _DAY_US]
    begun = min((e.time_us for e in near), default=at - 5 * _DAY_US // 2)
    effects = {
        name: (step.before, step.after)
        for name, t in measures.items()
        for step in t.steps
        if begun <= step.time_us <= at + 2.5 * _DAY_US and _is_after(step, near)
    }
    text = "; ".join(e.text for e in near) or "found as a step for the better"
    source = "noted" if near else "found"
    return Repair(time_us=at, text=text, source=source, days_since=(last_us - at) / _DAY_US, effects=effects)


def _is_after(step: Step, noted: list[Event]) -> bool:
    """Whether a step is surely no earlier than the repair: one for the worse on a day noted without a time may be."""
    return step.better is not False or not any(
        e.whole_day and e.time_us <= step.time_us < e.time_us + _DAY_US for e in noted
    )


def _told_past(station: StationTrend, now_us: int) -> StationTrend:
    """The station with every date of crossing that has gone by marked so."""
    measures = dict(station.measures)
    for name, t in station.measures.items():
        if isinstance(t.crossing, CrossingDate) and t.crossing.date_us <= now_us:
            measures[name] = replace(t, crossing=replace(t.crossing, past=True))
    return replace(station, measures=measures)


def _told_silent(station: StationTrend, now_us: int, options: TrendOptions) -> StationTrend:
    """The station with its silence and its worst state."""
    silent = now_us > _silent_from(station, options)
    return replace(station, silent=silent, state=_state(station, silent, options))


def _silent_from(station: StationTrend, options: TrendOptions) -> int:
    """From when on a station that sends no further log is silent [µs]."""
    usual = station.days / max(station.logs - 1, 1)
    return station.last_us + round(max(options.silent_factor * usual, options.silent_days) * _DAY_US)


def _state(station: StationTrend, silent: bool, options: TrendOptions) -> str:
    trends = station.measures.values()
    states = {t.limit.state for t in trends if t.limit is not None}
    for state in ("over", "may be over"):
        if state in states:
            return state
    standing = [t.alarms[-1].common for t in trends if t.in_alarm and t.alarms]
    if not all(standing):
        return "alarm"
    if any(stepped_worse(t, options) is not None for t in trends):
        return "worse"
    if any(_grows(t, options) for t in trends):
        return "growing"
    if standing:
        return "line"
    return "silent" if silent else "steady"


def _grows(trend_of: MeasureTrend, options: TrendOptions) -> bool:
    """Whether an established slope for the worse crosses its limit within the horizon, or may do so.

    Where only the day is known before which it does not, growth must be beyond doubt: there is no interval to see.
    """
    if not isinstance(trend_of.slope, Estimate) or trend_of.p_value is None:
        return False
    if trend_of.limit is None:
        return grows_fast(trend_of, options)
    dated = not isinstance(trend_of.crossing, Withheld)
    return trend_of.p_value < (options.growth_p if dated else options.undated_growth_p) and (
        dated or trend_of.not_before_us is not None
    )


def grows_fast(trend_of: MeasureTrend, options: TrendOptions) -> bool:
    """Without a limit: whether the measure surely got worse by a multiple, or so fast that a week of it matters.

    The latter not before some logs: of all measures of a new station one easily rises five times in a row by chance.
    """
    if _surely_multiplied(trend_of, options):
        return True
    rate = trend_of.relative
    if not isinstance(rate, Estimate) or rate.n < options.fast_shortest_logs:
        return False
    if trend_of.p_value is None or trend_of.p_value >= options.growth_p:
        return False
    least = rate.lower if trend_of.measure.worse > 0 else -rate.upper
    return 7.0 * least > options.fast_week_share


def _surely_multiplied(trend_of: MeasureTrend, options: TrendOptions) -> bool:
    """Whether even the least growth has multiplied the level within the days of the present stretch."""
    slope, present, worse = trend_of.slope, trend_of.present, trend_of.measure.worse
    if (
        trend_of.measure.scale != "log"
        or worse <= 0
        or trend_of.p_value is None
        or trend_of.p_value >= options.growth_p
    ):
        return False
    if not isinstance(slope, Estimate) or not isinstance(present, Estimate):
        return False
    line, rate = trend_of.series.lines[-1], trend_of.relative
    days = float(line.stop_us - line.start_us) / _DAY_US
    if isinstance(rate, Estimate) and trend_of.by_factors:
        return rate.lower * days > log(options.young_factor)
    return slope.lower * days > present.value * (1.0 - 1.0 / options.young_factor)


def stepped_worse(trend_of: MeasureTrend, options: TrendOptions) -> Step | None:
    """The step that multiplied a level for the worse and stands, in a series too young for an alarm; else None."""
    measure, steps = trend_of.measure, trend_of.steps
    if (
        len(trend_of.series.time_us) >= options.baseline_logs
        or not steps
        or not measure.alarm
        or measure.scale != "log"
    ):
        return None
    last = steps[-1]
    if last.better is not False or last.common or last.event.casefold().startswith(ANEW):
        return None
    factor = max(last.after, 1e-12) / max(last.before, 1e-12)
    return last if factor**measure.worse >= options.young_factor else None


def _badness(station: StationTrend) -> tuple[int, int, float, str]:
    """Sort key: worst first; among equals the earlier crossing, then the larger finding, then the name."""
    dates = [
        t.not_before_us if isinstance(t.crossing, Withheld) else t.crossing.date_us for t in station.measures.values()
    ]
    earliest = float(min((d for d in dates if d is not None), default=1 << 62))
    severity = _SEVERITIES.index(station.severity) if station.severity in _SEVERITIES else len(_SEVERITIES)
    return (_ORDER.index(station.state), severity, earliest, station.station)


def _changed(
    stations: tuple[StationTrend, ...], now_us: int, options: TrendOptions
) -> tuple[tuple[int, str, str], ...]:
    """What happened in the last seven days: (time, station, one line), the newest first."""
    lines = []
    for station in stations:
        for t in station.measures.values():
            lines += [(a.time_us, station.station, f"alarm, {t.measure.title}") for a in t.alarms if not a.common]
            lines += [
                (
                    s.time_us,
                    station.station,
                    f"step, {t.measure.title}: {s.before:.3g} to {s.after:.3g} {t.measure.unit}",
                )
                for s in t.steps
                if not s.common
            ]
        if station.silent:
            since = datetime.fromtimestamp(station.last_us / 1e6, UTC).date().isoformat()
            lines.append((_silent_from(station, options), station.station, f"silent, last log {since}"))
    recent = [line for line in lines if now_us - _WEEK_US < line[0] <= now_us]
    return tuple(sorted(recent, key=lambda line: (-line[0], line[1], line[2])))


def _causes(stations: tuple[StationTrend, ...]) -> tuple[tuple[str, int, float], ...]:
    """First findings of the stations' newest logs, counted: the commonest first."""
    counts = Counter(s.finding for s in stations if s.finding)
    return tuple((code, count, count / len(stations)) for code, count in counts.most_common())
