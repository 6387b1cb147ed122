"""Words of the trend pages: dates, growth, crossing, alarms, in sentences with honest digits."""

from dataclasses import replace
from datetime import UTC, datetime

from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.trend import CrossingDate, FleetTrend, MeasureTrend, StationTrend
from tracekit.options.history import TrendOptions
from tracekit.report.text import NBSP, clean
from tracekit.report.words import Num, Text, count, join, of_estimate, say

STATE_WORDS = {
    "over": "over the limit",
    "may be over": "may be over the limit",
    "alarm": "in alarm",
    "worse": "worse",
    "growing": "growing",
    "line": "changed with its air line",
    "silent": "silent",
    "steady": "steady",
}


def day(time_us: int) -> str:
    """A date, without the year's ambiguity: 3 Mar 2025."""
    moment = datetime.fromtimestamp(time_us / 1e6, UTC)
    return f"{moment.day}{NBSP}{moment:%b}{NBSP}{moment.year}"


def unit_of(trend: MeasureTrend) -> str:
    """The unit as shown: none for plain numbers."""
    return "" if trend.measure.unit == "1" else trend.measure.unit


def shown(estimate: Estimate) -> Num:
    """An estimate as a number for the page; plain numbers have no unit."""
    number = of_estimate(estimate)
    unit = {"1": "", "1/d": "", "1/h": "per\u00a0hour", "1/h/d": "per\u00a0hour"}.get(number.unit, number.unit)
    return replace(number, unit=unit.removesuffix("/d") if unit.endswith("/d") else unit)


def headline(fleet: FleetTrend) -> str:
    """How many stations are over their limit, or the next worst thing that is true of any."""
    total = len(fleet.stations)
    for state in ("over", "may be over", "alarm", "worse", "growing", "line"):
        found = sum(s.state == state for s in fleet.stations)
        if found:
            words = STATE_WORDS[state].replace("its", "their")
            return f"{count(found)} of {stations_of(total)} {words}" if total > 1 else _alone(fleet.stations[0])
    few = too_few(fleet)
    if total == 0 or few:
        return f"{few}" if few else "No logs yet"
    return f"Nothing new on {stations_of(total)}"


def too_few(fleet: FleetTrend) -> str:
    """That no station has the logs to judge, "" where any has them."""
    options, most = TrendOptions(), max((s.logs for s in fleet.stations), default=0)
    if not 0 < most < options.shortest_logs:
        return ""
    return f"Too few logs to judge ({most}; {options.shortest_logs} for a slope, {options.baseline_logs} for an alarm)"


def logs_of(n: int) -> str:
    """A number of logs, as in "1 log", "12 logs"."""
    return f"{count(n)} log{'s' if n != 1 else ''}"


def _alone(station: StationTrend) -> str:
    """As in "Kiln feeder: leak growing"."""
    trend = main_measure(station)
    measure = "" if trend is None else f"{trend.measure.title.split(':')[0]} "
    return clean(f"{clean(station.station, 24)}: {measure}{STATE_WORDS[station.state]}{since(station)}", 60)


def since(station: StationTrend) -> str:
    """Since when a station is worse: the day of its step; "" in other states."""
    trend = main_measure(station)
    return f" since {day(trend.steps[-1].time_us)}" if station.state == "worse" and trend and trend.steps else ""


def stations_of(n: int) -> str:
    """A number of stations, as in "1 station", "12 stations"."""
    return f"{count(n)} station{'s' if n != 1 else ''}"


def counts_line(fleet: FleetTrend) -> str:
    """How many stations are in each of the other states."""
    parts = []
    for state, words in STATE_WORDS.items():
        found = sum(s.state == state for s in fleet.stations)
        if found:
            parts.append(f"{count(found)} {words if found == 1 else words.replace('its', 'their')}")
    silent = sum(s.silent for s in fleet.stations if s.state != "silent")
    also = f"{count(silent)} of those sent no log of late." if silent else ""
    # where all are in one state the headline has said so
    told = f"{', '.join(parts).capitalize()}." if len(parts) > 1 or headline(fleet).startswith("Nothing") else ""
    return f"{told} {also}".strip()


def main_measure(station: StationTrend) -> MeasureTrend | None:
    """The measure that makes the station's state, else the leak, else the first."""
    trends = list(station.measures.values())
    if not trends:
        return None
    if station.state == "worse":
        return min(trends, key=_worsened)
    return min(trends, key=_weight)


def _worsened(trend: MeasureTrend) -> tuple[bool, bool, tuple[int, int, int]]:
    """Sort key: a watched measure whose last step is for the worse first."""
    return (not trend.steps or trend.steps[-1].better is not False, not trend.measure.alarm, _weight(trend))


def _weight(trend: MeasureTrend) -> tuple[int, int, int]:
    state = trend.limit.state if trend.limit is not None else ""
    limits = {"over": 0, "may be over": 1}.get(state, 2)
    dated = int(isinstance(trend.crossing, Withheld) and trend.not_before_us is None)
    leak = int(trend.measure.name != "decay_rate_kpa_s")
    common = bool(trend.alarms and trend.alarms[-1].common)
    return (limits, dated - (2 if not common else 1) * int(trend.in_alarm), leak)


def finding(trend: MeasureTrend) -> Text:
    """The heading of a measure's picture: what it does, in one sentence."""
    name = trend.measure.title.split(":")[0]
    opening = f"{name[:1].upper()}{name[1:]}: "
    parts = [part for part in (_growth(trend), _reaching(trend), _alarmed(trend)) if part]
    return (opening, *join(parts, " "))


def _growth(trend: MeasureTrend) -> Text:
    """Growth per day where it is established."""
    slope = trend.slope
    if isinstance(slope, Withheld):
        return (f"no slope yet, {slope.reason}.",)
    if trend.p_value is None or trend.p_value > 0.05 or slope.lower * slope.upper <= 0:
        return _steady(trend)
    way = "rises" if slope.value > 0 else "falls"
    if isinstance(trend.relative, Estimate) and trend.by_factors and trend.relative.lower * trend.relative.upper > 0:
        return say("{} {} of itself a day.", way, _per_cent(trend.relative))
    return say("{} {} a day.", way, _size(slope))


def _steady(trend: MeasureTrend) -> Text:
    """No growth is established: since when, and what was before."""
    if not trend.steps:
        return ("no growth established.",)
    step = trend.steps[-1]
    resolution = abs(step.after - step.before) / 20 or None
    before, after = (Num(value=v, unit=unit_of(trend), step=resolution) for v in (step.before, step.after))
    return say("no growth since the step from {} to {} on {}.", replace(before, bare=True), after, day(step.time_us))


def _per_cent(estimate: Estimate) -> Num:
    low, high = sorted((abs(estimate.lower) * 100, abs(estimate.upper) * 100))
    return Num(value=abs(estimate.value) * 100, unit="%", lower=low, upper=high)


def _size(estimate: Estimate) -> Num:
    low, high = sorted((abs(estimate.lower), abs(estimate.upper)))
    return Num(value=abs(estimate.value), unit=shown(estimate).unit, lower=low, upper=high)


def _reaching(trend: MeasureTrend) -> Text:
    """Where it stands against its limit, and when it crosses it."""
    if trend.limit is None:
        return ("No limit is set: with one its date is told.",) if _worsens(trend) else ()
    limit = Num(value=trend.limit.value, unit=unit_of(trend), step=abs(trend.limit.value) / 50 or 0.1)
    if trend.limit.state == "over":
        return say("Over the limit {}.", limit)
    if trend.limit.state == "may be over":
        return say("May be over the limit {}.", limit)
    if isinstance(trend.crossing, CrossingDate):
        if trend.crossing.past:
            return say("By these logs it reached {} on {} ({} to {}).", limit, *_dates(trend.crossing))
        return say("Reaches {} on {} ({} to {}).", limit, *_dates(trend.crossing))
    if trend.not_before_us is not None:
        return say("Reaches {} not before {}.", limit, day(trend.not_before_us))
    return ()


def _worsens(trend: MeasureTrend) -> bool:
    """Whether growth for the worse is established."""
    slope, worse = trend.slope, trend.measure.worse
    if not isinstance(slope, Estimate) or trend.p_value is None or trend.p_value > 0.05:
        return False
    return min(slope.lower * worse, slope.upper * worse) > 0


def _dates(crossing: CrossingDate) -> tuple[str, str, str]:
    return day(crossing.date_us), day(crossing.earliest_us), day(crossing.latest_us)


def _alarmed(trend: MeasureTrend) -> Text:
    return (f"In alarm since {day(trend.alarms[-1].time_us)}.",) if trend.in_alarm and trend.alarms else ()


def no_date(trend: MeasureTrend) -> str:
    """Why no date of crossing is given, "" where one is or no limit is set."""
    if trend.limit is None or not isinstance(trend.crossing, Withheld) or trend.limit.state == "over":
        return ""
    return f"No date for the limit: {clean(trend.crossing.reason, 200)}."


def present(trend: MeasureTrend) -> Text:
    """The level now with its interval, or why there is none."""
    if isinstance(trend.present, Withheld):
        return (clean(trend.present.reason, 120),)
    return (shown(trend.present),)
