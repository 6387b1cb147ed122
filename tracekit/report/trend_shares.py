"""Shares as a person reads them: in per cent, everywhere on a page at once."""

from dataclasses import replace

from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.trend import MeasureTrend, Repair, StationTrend

SHARE = "share"
PER_CENT = "%"


def in_per_cent(station: StationTrend) -> StationTrend:
    """The station with the measures that are shares told in per cent; their title says of what."""
    measures = {name: _told(trend) for name, trend in station.measures.items()}
    return replace(station, measures=measures, repair=_repair(station.repair, station) if station.repair else None)


def _is_share(trend: MeasureTrend) -> bool:
    return trend.measure.scale == SHARE and trend.measure.unit != PER_CENT


def _told(trend: MeasureTrend) -> MeasureTrend:
    if not _is_share(trend):
        return trend
    series, limit = trend.series, trend.limit
    lines = tuple(replace(line, begin=100.0 * line.begin, end=100.0 * line.end) for line in series.lines)
    return replace(
        trend,
        measure=replace(trend.measure, unit=PER_CENT),
        slope=_times_hundred(trend.slope, f"{PER_CENT}/d"),
        present=_times_hundred(trend.present, PER_CENT),
        steps=tuple(replace(s, before=100.0 * s.before, after=100.0 * s.after) for s in trend.steps),
        alarms=tuple(replace(a, value=100.0 * a.value, usual=100.0 * a.usual) for a in trend.alarms),
        limit=None if limit is None else replace(limit, value=100.0 * limit.value),
        series=replace(
            series, value=100.0 * series.value, lower=100.0 * series.lower, upper=100.0 * series.upper, lines=lines
        ),
    )


def _times_hundred(quantity: Estimate | Withheld, unit: str) -> Estimate | Withheld:
    if isinstance(quantity, Withheld):
        return quantity
    value, lower, upper = (100.0 * v for v in (quantity.value, quantity.lower, quantity.upper))
    return replace(quantity, value=value, lower=lower, upper=upper, unit=unit)


def _repair(repair: Repair, station: StationTrend) -> Repair:
    effects = {
        name: (100.0 * before, 100.0 * after) if _is_share(station.measures[name]) else (before, after)
        for name, (before, after) in repair.effects.items()
    }
    return replace(repair, effects=effects)
