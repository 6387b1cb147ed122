"""Changes that several stations of one compressed-air line show at once: the line changed, not each station."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace

from tracekit.history.measures import MEASURES
from tracekit.model.trend import Alarm, CommonChange, LineChange, MeasureTrend, StationTrend, Step
from tracekit.options.history import TrendOptions

_DAY_US = 86_400_000_000
_ALARMS_LATER = 5.0  # charts take days to alarm, and not the same at each station
_Mark = tuple[int, str]


def find_common(stations: tuple[StationTrend, ...], options: TrendOptions) -> tuple[CommonChange, ...]:
    """Steps and alarms of one measure that most stations of a supply group have within a few days of one another."""
    groups: dict[str, list[StationTrend]] = defaultdict(list)
    for station in stations:
        if station.supply_group is not None:
            groups[station.supply_group].append(station)
    found: list[CommonChange] = []
    for group, members in sorted(groups.items()):
        if len(members) >= options.common_stations:
            found.extend(_of_group(group, members, options))
    return tuple(sorted(found, key=lambda c: (c.time_us, c.supply_group, c.measure)))


def _of_group(group: str, members: list[StationTrend], options: TrendOptions) -> Iterable[CommonChange]:
    marks: dict[tuple[str, str], list[_Mark]] = defaultdict(list)
    for member in members:
        for name, trend in member.measures.items():
            if not trend.measure.supply:
                continue
            for step in trend.steps:
                marks[name, "step up" if step.after > step.before else "step down"].append(
                    (step.time_us, member.station)
                )
            for alarm in trend.alarms:
                marks[name, "alarm up" if alarm.value > alarm.usual else "alarm down"].append(
                    (alarm.time_us, member.station)
                )
    for (name, kind), times in sorted(marks.items()):
        window = options.common_days * (1.0 if kind.startswith("step") else _ALARMS_LATER)
        for start, named in _clusters(sorted(times), window):
            if len(named) >= max(options.common_stations, options.common_share * len(members)):
                yield CommonChange(
                    supply_group=group, measure=name, kind=kind, time_us=start, stations=named, of=len(members)
                )


def line_changes(common: tuple[CommonChange, ...], options: TrendOptions) -> tuple[LineChange, ...]:
    """The common changes put together by supply group and time, the earliest first."""
    window_us = options.common_days * _ALARMS_LATER * _DAY_US
    found: list[list[CommonChange]] = []
    for change in sorted(common, key=lambda c: (c.supply_group, c.time_us)):
        last = found[-1] if found else None
        if last and last[0].supply_group == change.supply_group and change.time_us - last[0].time_us <= window_us:
            last.append(change)
        else:
            found.append([change])
    return tuple(sorted(map(_line_change, found), key=lambda c: (c.time_us, c.supply_group)))


def _line_change(changes: list[CommonChange]) -> LineChange:
    steps = [c.time_us for c in changes if c.kind.startswith("step")]
    titles = {m.name: m.title.split(":")[0] for m in MEASURES}
    return LineChange(
        supply_group=changes[0].supply_group, time_us=min(steps or [c.time_us for c in changes]),
        stations=tuple(sorted({s for c in changes for s in c.stations})), of=max(c.of for c in changes),
        ways={titles[c.measure]: c.kind.split()[-1] for c in sorted(changes, key=lambda c: c.measure)},
    )  # fmt: skip


def _clusters(times: list[_Mark], window_days: float) -> Iterable[tuple[int, tuple[str, ...]]]:
    """Runs of marks that lie within the window of their first one: its time, and the stations in it."""
    at = 0
    while at < len(times):
        first = times[at][0]
        stop = at
        while stop < len(times) and times[stop][0] - first <= window_days * _DAY_US:
            stop += 1
        yield first, tuple(sorted({station for _, station in times[at:stop]}))
        at = stop


def mark_common(
    stations: tuple[StationTrend, ...], common: tuple[CommonChange, ...], options: TrendOptions
) -> tuple[StationTrend, ...]:
    """The stations with every step and alarm that is part of a common change marked with its supply group."""
    if not common:
        return stations
    return tuple(_marked_station(station, common, options) for station in stations)


def _marked_station(station: StationTrend, common: tuple[CommonChange, ...], options: TrendOptions) -> StationTrend:
    mine = [c for c in common if station.station in c.stations]
    if not mine:
        return station
    measures = {
        name: _marked(trend, [c for c in mine if c.measure == name], options)
        for name, trend in station.measures.items()
    }
    return replace(station, measures=measures)


def _marked(trend: MeasureTrend, common: list[CommonChange], options: TrendOptions) -> MeasureTrend:
    if not common:
        return trend
    steps = tuple(_marked_step(step, common, options) for step in trend.steps)
    alarms = tuple(_marked_alarm(alarm, common, options) for alarm in trend.alarms)
    return replace(trend, steps=steps, alarms=alarms)


def _marked_step(step: Step, common: list[CommonChange], options: TrendOptions) -> Step:
    window = options.common_days * _DAY_US
    hit = [c for c in common if c.kind.startswith("step") and 0 <= step.time_us - c.time_us <= window]
    return replace(step, common=hit[0].supply_group) if hit else step


def _marked_alarm(alarm: Alarm, common: list[CommonChange], options: TrendOptions) -> Alarm:
    window = options.common_days * _ALARMS_LATER * _DAY_US
    hit = [c for c in common if 0 <= alarm.time_us - c.time_us <= window]
    return replace(alarm, common=hit[0].supply_group) if hit else alarm
