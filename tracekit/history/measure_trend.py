"""The trend of one measure of one station: slope, steps, alarms, forecast."""

from dataclasses import replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from tracekit.history.charts import ChartAlarm, Charted, Limits, run_charts
from tracekit.history.forecast import Lines, NotBefore, crossing, find_lines, find_mean_lines, share_of_amounts
from tracekit.history.hidden import allow_for_hidden_step
from tracekit.history.prepare import Prepared, indices_after
from tracekit.history.present import present_level
from tracekit.history.slope import Slope, robust_slope
from tracekit.history.steps import Segment
from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.trend import (
    EXACT,
    LOWER_BOUND,
    UPPER_BOUND,
    Alarm,
    CrossingDate,
    LimitState,
    MeasureTrend,
    Series,
    Step,
    StretchLine,
    TrendMeasure,
)
from tracekit.options.history import TrendOptions

_DAY_US = 86_400_000_000
_OWN_STRETCH_LOGS = 10
_LINE_LOGS = 5
_OWN_STRETCH_DAYS = 7.0
TEST = "Mann-Kendall with ties and serial correlation, two-sided"


def measure_trend(
    prepared: Prepared,
    events: tuple[tuple[int, int, str], ...],
    restarts: tuple[tuple[int, ...], tuple[int, ...]],
    limit: LimitState | None,
    chart_limits: Limits,
    options: TrendOptions,
) -> MeasureTrend:
    """The trend of a prepared measure.

    events    (from, to, text) of noted events, microseconds
    restarts  indices of the first log after each confirmed repair, and those of them that are a new normal
    """
    measure = prepared.measure
    stretch, labels = _stretch(prepared)
    rows = np.flatnonzero(prepared.use)[stretch]
    extra = sqrt(prepared.adjusted.slope_variance(prepared.days[stretch], rows))
    single = labels is None
    rare = measure.scale in ("share", "count")
    pooled = None if single or rare else robust_slope(prepared.days, prepared.value, labels)
    lines = _lines(prepared, stretch, extra, options)
    slope, relative, p_value = _slopes(prepared, lines, pooled, labels, options)
    present = present_level(prepared, lines, stretch, options)
    charted = _charted(prepared, restarts, chart_limits, options)
    state = _limit_state(limit, present, prepared)
    crossed, not_before_us = _crossing(prepared, lines, state, options)
    return MeasureTrend(
        measure=measure, slope=slope, relative=relative, present=present, p_value=p_value, test=TEST,
        steps=_steps(prepared, events), alarms=_alarms(prepared, charted, chart_limits), in_alarm=charted.in_alarm,
        limit=state, crossing=crossed, taken_out=prepared.adjusted.taken_out,
        bounds=int((prepared.followed.bound != EXACT).sum()), series=_series(prepared, lines, options),
        not_before_us=not_before_us,
    )  # fmt: skip


def _lines(prepared: Prepared, stretch: NDArray[np.bool_], extra_se: float, options: TrendOptions) -> Lines | None:
    """The lines through the present stretch; of rare events by least squares."""
    days, value = prepared.days[stretch], prepared.value[stretch]
    if prepared.measure.scale in ("share", "count"):
        return find_mean_lines(days, value, _counting_sigma(prepared, stretch))
    lines = find_lines(days, value, prepared.measure.scale == "log", extra_se)
    if lines is None or lines.factors is None:
        return lines
    return replace(
        lines, amounts=allow_for_hidden_step(days, value, lines.amounts, options),
        factors=allow_for_hidden_step(days, np.log(value), lines.factors, options),
    )  # fmt: skip


def _counting_sigma(prepared: Prepared, stretch: NDArray[np.bool_]) -> float:
    """Standard deviation of one log's share or count that counting alone gives."""
    cycles = np.maximum(prepared.followed.n[prepared.use][stretch], 1.0)
    events = float((prepared.value[stretch] * cycles).sum())
    rate = (events + 0.5) / float(cycles.sum() + 1.0)
    return sqrt(rate / float(np.median(cycles)))


def _stretch(prepared: Prepared) -> tuple[NDArray[np.bool_], NDArray[np.int64] | None]:
    """Logs of the present stretch; where it is short, also the labels of all segments for a pooled slope."""
    labels = prepared.cut.labels()
    stretch = labels == labels[-1]
    span = float(np.ptp(prepared.days[stretch]))
    long_enough = int(stretch.sum()) >= _OWN_STRETCH_LOGS and span >= _OWN_STRETCH_DAYS
    return stretch, None if long_enough or labels[-1] == 0 else labels


def _slopes(
    prepared: Prepared,
    lines: Lines | None,
    pooled: Slope | None,
    labels: NDArray[np.int64] | None,
    options: TrendOptions,
) -> tuple[Estimate | Withheld, Estimate | Withheld | None, float | None]:
    """Slope per day in the unit, as a share of the level, and the p value."""
    n = len(prepared.days)
    relative_wanted = prepared.measure.scale == "log"
    if lines is None or n < options.shortest_logs:
        few = n if n < options.shortest_logs or labels is None else int((labels == labels[-1]).sum())
        since = "" if few == n else " since the last step"
        gone = Withheld(f"{few} log{'s' if few != 1 else ''}{since}; {options.shortest_logs} are needed for a slope")
        return gone, gone if relative_wanted else None, None
    amounts = pooled or lines.amounts
    kind = "least squares" if prepared.measure.scale in ("share", "count") else "Theil–Sen"
    how = f"{kind}, serial correlation, {'in the present stretch' if pooled is None else 'pooled over stretches'}"
    slope = _estimate(amounts, f"{prepared.measure.unit}/d", how, options.level)
    if not relative_wanted:
        return slope, None, _p_of_level(prepared, labels, amounts)
    factors = lines.factors if pooled is None else robust_slope(prepared.days, prepared.level, labels)
    if factors is None:
        return slope, Withheld("values at or below zero"), amounts.p_value
    by_amounts = pooled is None and share_of_amounts(lines) >= 0.5
    p_value = amounts.p_value if by_amounts else factors.p_value
    return slope, _estimate(factors, "1/d", f"{how}, of the logarithms", options.level), p_value


def _p_of_level(prepared: Prepared, labels: NDArray[np.int64] | None, amounts: Slope) -> float:
    """Shares and counts are tested on the scale where their scatter is even."""
    if prepared.measure.scale == "linear":
        return amounts.p_value
    stretch, _ = _stretch(prepared)
    here = stretch if labels is None else np.ones(len(stretch), np.bool_)
    line = robust_slope(prepared.days[here], prepared.level[here], None if labels is None else labels)
    return amounts.p_value if line is None else line.p_value


def _estimate(line: Slope, unit: str, how: str, level: float) -> Estimate:
    return Estimate(value=line.slope, lower=line.lower, upper=line.upper, unit=unit, n=line.n, method=how, level=level)


def _charted(
    prepared: Prepared, restarts: tuple[tuple[int, ...], tuple[int, ...]], limits: Limits, options: TrendOptions
) -> Charted:
    sides = sides_of(prepared.measure)
    if not sides:
        nothing = np.empty(0)
        return Charted(alarms=(), centre=nothing, sigma=nothing, in_alarm=False)
    return run_charts(
        prepared.days, prepared.level, sides, (prepared.floor, prepared.adjusted.season), limits, options, *restarts
    )


def sides_of(measure: TrendMeasure) -> tuple[int, ...]:
    """The one-sided charts that a measure needs."""
    if not measure.alarm:
        return ()
    return (1, -1) if measure.worse == 0 else (measure.worse,)


def _steps(prepared: Prepared, events: tuple[tuple[int, int, str], ...]) -> tuple[Step, ...]:
    return tuple(_step(prepared, at, events) for at, cut in enumerate(prepared.cut.cuts) if cut.is_step)


def _step(prepared: Prepared, at: int, events: tuple[tuple[int, int, str], ...]) -> Step:
    cut, worse = prepared.cut.cuts[at], prepared.measure.worse
    after = _back(prepared.measure, _level_after(prepared, at))
    before = _back(prepared.measure, cut.before)
    texts = [text for first, last, text in events if cut.index in indices_after(prepared.time_us, (first, last))]
    return Step(
        time_us=int(prepared.time_us[cut.index]), before=before, after=after,
        better=None if worse == 0 else cut.jump * worse < 0, event="; ".join(texts),
    )  # fmt: skip


def _level_after(prepared: Prepared, at: int) -> float:
    """The level that a step led to: its line at the step, or where too few logs make a line, their median."""
    cut, segment = prepared.cut.cuts[at], prepared.cut.segments[at + 1]
    few = segment.stop - segment.start < _LINE_LOGS
    return float(np.median(prepared.level[segment.start : segment.stop])) if few else cut.after


def _back(measure: TrendMeasure, level: float) -> float:
    """A level of the scale in the measure's unit."""
    if measure.scale == "log":
        return float(np.exp(level))
    if measure.scale == "share":
        return float(np.sin(np.clip(level, 0.0, np.pi) / 2.0) ** 2)
    return (level / 2.0) ** 2 if measure.scale == "count" else level


def _alarms(prepared: Prepared, charted: Charted, limits: Limits) -> tuple[Alarm, ...]:
    return tuple(_alarm(prepared, charted, alarm, limits) for alarm in charted.alarms)


def _alarm(prepared: Prepared, charted: Charted, alarm: ChartAlarm, limits: Limits) -> Alarm:
    side = "above" if alarm.side > 0 else "below"
    usual = _back(prepared.measure, float(charted.centre[alarm.index]))
    name = {"cusum": "CUSUM", "ewma": "EWMA"}[alarm.kind]
    rule = (
        f"{name}: {abs(alarm.deviation):.1f} standard deviations {side} usual; run length {limits.run_length:.0f} logs"
    )
    return Alarm(
        time_us=int(prepared.time_us[alarm.index]), kind=alarm.kind, rule=rule,
        value=float(prepared.value[alarm.index]), usual=usual,
    )  # fmt: skip


def _limit_state(limit: LimitState | None, present: Estimate | Withheld, prepared: Prepared) -> LimitState | None:
    """The limit with where the measure stands; a newest log that is known to be beyond it is beyond it."""
    if limit is None:
        return None
    row = int(np.flatnonzero(prepared.use)[-1])
    bar, newest = limit.value * limit.side, float(prepared.followed.value[row]) * limit.side
    bound = {LOWER_BOUND: 1, UPPER_BOUND: -1}.get(int(prepared.followed.bound[row]), 0)
    if bound == limit.side and newest > bar:
        return replace(limit, state="over")
    if isinstance(present, Withheld):
        return limit
    low, high = sorted((present.lower * limit.side, present.upper * limit.side))
    return replace(limit, state="over" if low > bar else "may be over" if high > bar else "within")


def _crossing(
    prepared: Prepared, lines: Lines | None, limit: LimitState | None, options: TrendOptions
) -> tuple[CrossingDate | Withheld, int | None]:
    """The date of crossing; where there is none, also the day before which it is not, if growth is established."""
    if limit is None:
        return Withheld("no limit given"), None
    if lines is None:
        return Withheld("the logs of this stretch have no two different times"), None
    found = crossing(lines, limit.value, limit.side, options)
    if isinstance(found, NotBefore):
        return Withheld(found.reason), _dated(prepared, found.earliest)
    if isinstance(found, Withheld):
        return found, None
    date, earliest, latest = (_dated(prepared, day) for day in (found.date, found.earliest, found.latest))
    return CrossingDate(date_us=date, earliest_us=earliest, latest_us=latest, past=found.past, form=found.form), None


def _dated(prepared: Prepared, day: float) -> int:
    """A day of the series' own time axis in UTC microseconds since 1970."""
    return int(prepared.time_us[0]) + round((day - float(prepared.days[0])) * _DAY_US)


def _series(prepared: Prepared, lines: Lines | None, options: TrendOptions) -> Series:
    use, followed = prepared.use, prepared.followed
    drawn = [_drawn(prepared, segment) for segment in prepared.cut.segments]
    if lines is not None and len(lines.time) >= options.shortest_logs and prepared.measure.scale in ("log", "linear"):
        drawn[-1] = _drawn_present(drawn[-1], lines)
    return Series(
        time_us=prepared.time_us, value=followed.value[use], lower=followed.lower[use], upper=followed.upper[use],
        bound=followed.bound[use], lines=tuple(drawn),
    )  # fmt: skip


def _drawn(prepared: Prepared, segment: Segment) -> StretchLine:
    """The line of one stretch as the search for steps has it."""
    first, last = segment.start, segment.stop - 1
    begin, end = (_back(prepared.measure, segment.value_at(float(prepared.days[i]))) for i in (first, last))
    start_us, stop_us = int(prepared.time_us[first]), int(prepared.time_us[last])
    by_factor = prepared.measure.scale == "log"
    return StretchLine(start_us=start_us, stop_us=stop_us, begin=begin, end=end, by_factor=by_factor)


def _drawn_present(line: StretchLine, lines: Lines) -> StretchLine:
    """The present stretch has the robust line that slope and forecast speak of, in the form that fits better."""
    by_factor = share_of_amounts(lines) < 0.5
    chosen = lines.factors if by_factor and lines.factors is not None else lines.amounts
    begin, end = (chosen.value_at(float(t)) for t in (lines.time[0], lines.time[-1]))
    if by_factor:
        begin, end = float(np.exp(begin)), float(np.exp(end))
    return replace(line, begin=begin, end=end, by_factor=by_factor)
