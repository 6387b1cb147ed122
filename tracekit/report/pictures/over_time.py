"""A measure over the months: logs with intervals, the line of each stretch, repairs, steps, alarms, limit."""

from datetime import UTC, datetime, timedelta

import numpy as np

from tracekit.model.trend import EXACT, CrossingDate, Event, MeasureTrend
from tracekit.report.plot import (
    Axis,
    Cell,
    Column,
    Label,
    Picture,
    Plot,
    across,
    across_line,
    bars,
    dots,
    down_line,
    finish,
    line,
    uprights,
    upward,
)
from tracekit.report.text import clean
from tracekit.report.trend_words import day, finding, no_date, unit_of
from tracekit.report.view import Floats, spaced
from tracekit.report.words import Num, Text, count, join, say

_DAY_US = 86_400e6
_MOST_DRAWN, _MOST_NUMBERS, _MOST_NAMED = 500, 60, 4
_AHEAD = 0.25
_LINE_POINTS = 24


def over_time(
    trend: MeasureTrend, events: tuple[Event, ...], unit: str = "kPa", span: tuple[int, int] | None = None
) -> Picture:
    """The picture of one measure; `span` is the time axis that all panels of a station share [µs]."""
    series = trend.series
    plot = _plot(trend, events, span or (int(series.time_us[0]), int(series.time_us[-1])))
    columns = (Column(name="log started"), Column(name="value", unit=unit_of(trend)),
               Column(name="from", unit=unit_of(trend)), Column(name="to", unit=unit_of(trend)))  # fmt: skip
    rows = spaced(np.arange(len(series.time_us)), _MOST_NUMBERS)
    numbers = tuple(_row(trend, r) for r in rows.tolist())
    words = (finding(trend), _caption(trend))
    return finish(f"trend-{trend.measure.name}", words, plot, columns, numbers, len(series.time_us), unit)


def _row(trend: MeasureTrend, row: int) -> tuple[Cell, ...]:
    series = trend.series
    ends = [float(v[row]) if np.isfinite(v[row]) else None for v in (series.lower, series.upper)]
    return (day(int(series.time_us[row])), float(series.value[row]), *ends)


def _plot(trend: MeasureTrend, events: tuple[Event, ...], span: tuple[int, int]) -> Plot:
    series = trend.series
    first, last = (t / _DAY_US for t in span)
    ahead = max((last - first) * _AHEAD, 1.0) if isinstance(trend.crossing, CrossingDate) else 0.0
    x = Axis(low=first - 0.5, high=last + 0.5 + ahead, quiet=True)
    y = _y_axis(trend)
    days = series.time_us / _DAY_US
    marks, labels = _limit(trend, x, y)
    marks += _points(trend, days, x, y)
    marks += [_stretch(trend, n, x, y) for n in range(len(series.lines))]
    ruled, named = _rules(trend, events, x, y)
    labels += named + _date_labels(x, y)
    return Plot(x=x, y=y, marks=(*ruled, *marks), labels=tuple(labels))


def _y_axis(trend: MeasureTrend) -> Axis:
    """From zero for rates, times and shares; round the data for vacua and the zero of the sensor."""
    value = trend.series.value
    low, high = float(np.nanmin(value)), float(np.nanpercentile(value, 99))
    if trend.limit is not None:
        low, high = min(low, trend.limit.value), max(high, trend.limit.value)
    room = 0.12 * max(high - low, abs(high) * 0.02, 1e-6)
    bottom = low - room if trend.measure.scale == "linear" else 0.0
    top = max(high + room, bottom + 1e-6)
    return Axis(low=bottom, high=top, unit=unit_of(trend), name=_axis_name(trend))


def _axis_name(trend: MeasureTrend) -> str:
    name = trend.measure.title.split(":")[0]
    return f"{name}, {{}}" if unit_of(trend) else name


def _points(trend: MeasureTrend, days: Floats, x: Axis, y: Axis) -> list[str]:
    series = trend.series
    shown = spaced(np.arange(len(days)), _MOST_DRAWN)
    alarmed = np.isin(series.time_us, [a.time_us for a in trend.alarms])
    small = "" if len(shown) <= 120 else " small"
    value = np.clip(series.value, y.low, y.high)
    low, high = np.clip(series.lower, y.low, y.high), np.clip(series.upper, y.low, y.high)
    exact = shown[(series.bound[shown] == EXACT) & ~alarmed[shown]]
    bound = shown[(series.bound[shown] != EXACT) & ~alarmed[shown]]
    at = across(x, days)
    marks = [
        uprights(at[exact], upward(y, low)[exact], upward(y, high)[exact], "ci usual"),
        dots(at[exact], upward(y, value)[exact], f"dots usual{small}"),
        dots(at[bound], upward(y, value)[bound], "squares base small"),
        dots(at[alarmed], upward(y, value)[alarmed], "squares odd"),
    ]
    return [m for m in marks if m]


def _stretch(trend: MeasureTrend, number: int, x: Axis, y: Axis) -> str:
    """The line of one stretch, within its logs only."""
    drawn = trend.series.lines[number]
    start, stop, begin, end = drawn.start_us, drawn.stop_us, drawn.begin, drawn.end
    share = np.linspace(0.0, 1.0, _LINE_POINTS)
    level = begin + share * (end - begin)
    if drawn.by_factor and begin > 0 and end > 0:
        level = begin * (end / begin) ** share
    days = (start + share * (stop - start)) / _DAY_US
    return line(across(x, days), upward(y, np.clip(level, y.low, y.high)), "line ink")


def _limit(trend: MeasureTrend, x: Axis, y: Axis) -> tuple[list[str], list[Label]]:
    if trend.limit is None:
        return [], []
    at = float(upward(y, [trend.limit.value])[0])
    marks = [across_line(at, "limit")]
    labels = [Label(x=x.high, y=trend.limit.value, lines=("limit",), style="strong", dx=6)]
    if isinstance(trend.crossing, CrossingDate):
        ends = np.clip(np.array([trend.crossing.earliest_us, trend.crossing.latest_us]) / _DAY_US, x.low, x.high)
        start, stop = (across(x, [e]) for e in ends.tolist())
        marks.append(bars(start, stop, np.array([at]), "r8 odd"))
    return marks, labels


def _rules(trend: MeasureTrend, events: tuple[Event, ...], x: Axis, y: Axis) -> tuple[list[str], list[Label]]:
    """Upright rules: noted events and steps, the newest few named, each name on a line of its own."""
    found = [(e.time_us, clean(e.text, 28)) for e in events if e.source == "noted"]
    found += [(s.time_us, "step") for s in trend.steps if not s.event]
    inside = sorted((t, text) for t, text in found if x.low <= t / _DAY_US <= x.high)
    marks = [down_line(float(across(x, [t / _DAY_US])[0]), "limit") for t, _ in inside]
    labels = []
    for row, (t, text) in enumerate(inside[-_MOST_NAMED:]):
        late = (t / _DAY_US - x.low) / (x.high - x.low) > 0.6
        style, dx = ("strong end", -4) if late else ("strong", 4)
        labels.append(Label(x=t / _DAY_US, y=y.high, lines=(text,), style=style, dx=dx, dy=12 + 15 * row))
    return marks, labels


def _date_labels(x: Axis, y: Axis) -> list[Label]:
    """Dates below the axis: whole days, first of months or years, at most about five."""
    return [Label(x=at, y=y.low, lines=(text,), style="mid", dy=18) for at, text in date_ticks(x.low, x.high)]


def date_ticks(low: float, high: float, most: int = 5) -> list[tuple[float, str]]:
    """Round dates between two days since 1970, with what to call them."""
    span = high - low
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    if span < 40:
        step = next(s for s in (1, 2, 5, 7, 14) if span / s <= most or s == 14)
        first = int(np.ceil(low / step)) * step
        moments = [epoch + timedelta(days=d) for d in range(first, int(high) + 1, step)]
        return [((m - epoch) / timedelta(days=1), f"{m.day} {m:%b}") for m in moments]
    months = next(m for m in (1, 2, 3, 6, 12, 24, 60, 120) if span / (30.4 * m) <= most or m == 120)
    begin = epoch + timedelta(days=low)
    found: list[tuple[float, str]] = []
    for number in range(begin.year * 12, (begin.year + int(span / 365) + 2) * 12 + 1, months):
        moment = datetime(number // 12, number % 12 + 1, 1, tzinfo=UTC)
        at = (moment - epoch) / timedelta(days=1)
        if low <= at <= high:
            found.append((at, _month(moment, named=not found or moment.month == 1) if months < 12 else f"{moment:%Y}"))
    return found


def _month(moment: datetime, *, named: bool) -> str:
    """A month for the axis, short enough for a phone; the year stands at the first and at each January."""
    return f"{moment:%b} ’{moment:%y}" if named else f"{moment:%b}"


def _caption(trend: MeasureTrend) -> Text:
    parts: list[Text] = [("One dot is one log with its 95 % interval; lines are the stretches between steps.",)]
    if trend.alarms:
        parts.append(("Squares: alarms.",))
    if trend.bounds:
        parts.append((f"{count(trend.bounds)} logs give only a bound.",))
    if trend.taken_out:
        parts.append((f"Taken out for the lines: {', '.join(trend.taken_out)}.",))
    if isinstance(trend.crossing, CrossingDate):
        parts.append(("Bar on the limit: when it is crossed, 95 % interval.",))
    reason = no_date(trend)
    if reason:
        parts.append((reason,))
    last = trend.steps[-1] if trend.steps else None
    if last is not None:
        step = max(abs(last.before), abs(last.after)) / 200 or 0.01
        ends = [Num(value=v, unit=unit_of(trend), step=step) for v in (last.before, last.after)]
        parts.append(say(f"Last step {day(last.time_us)}: {{}} to {{}}.", *ends))
    return join(parts)
