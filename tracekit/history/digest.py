"""The weekly digest: what a reader of mail or chat must know, worst first, in plain text."""

import math
import re
import textwrap
from collections.abc import Iterator

from tracekit.history.events import iso
from tracekit.history.trend import grows_fast, stepped_worse
from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.trend import FleetTrend, MeasureTrend, StationTrend
from tracekit.options.history import TrendOptions

_ALIKE = 3
_ROWS = 20
_HEAD = 3
_WIDTH = 80
_WEEK_US = 7 * 86_400_000_000


def digest_text(fleet: FleetTrend, rows: int = _ROWS) -> str:
    """The digest: headline, stations that need someone, what changed, what is common, what stayed silent."""
    lines = [_headline(fleet), _as_of(fleet), ""]
    lines += [*_common(fleet)]
    lines += [""] if len(lines) > _HEAD else []
    bad = _bad(fleet)
    lines += [line for station in bad[:rows] for line in _station(station)]
    if len(bad) > rows:
        lines.append(f"… and {len(bad) - rows} more stations.")
    lines += _section("Changed in the last seven days:", (f"{iso(t)[:10]} {s}: {w}" for t, s, w in fleet.changed), rows)
    lines += _section(
        "Silent:", (f"{s.station}, last log {iso(s.last_us)[:10]}" for s in fleet.stations if s.silent), rows
    )
    lines += _section("Files that cannot be read:", (f"{d.name}: {d.reason}" for d in fleet.damaged), rows)
    if (one := _perhaps_one(fleet)) is not None:
        lines += ["", f"{one} If they are one station, diagnose them with --station FILE, which holds its name."]
    lines += ["", f"At the present limits expect {fleet.false_alarms_week:.1g} false alarms a week over all stations."]
    lines = [part for line in lines for part in _wrapped(line)]
    return "\n".join(lines).replace("\n\n\n", "\n\n") + "\n"


def _wrapped(line: str) -> list[str]:
    """The line, broken between words where it is longer than a mail shows; what follows is set in."""
    inset = " " * (len(line) - len(line.lstrip()) + 2)
    return textwrap.wrap(
        line, _WIDTH, subsequent_indent=inset, break_long_words=False, break_on_hyphens=False
    ) or [""]  # fmt: skip


def _as_of(fleet: FleetTrend) -> str:
    """The day that counts as now, and how many logs."""
    if not fleet.logs:
        before = f" by {iso(fleet.as_of_us)[:10]}" if fleet.as_of_us else ""
        return f"The history has no logs{before}: add them with tracekit diagnose LOG --history DIR."
    return f"As of {iso(fleet.as_of_us)[:10]}, {fleet.logs} log{'s' if fleet.logs != 1 else ''}."


def _perhaps_one(fleet: FleetTrend) -> str | None:
    """Stations of one log each whose names differ by a number alone: files of one station named by themselves."""
    alike: dict[str, int] = {}
    for station in fleet.stations:
        bare = re.sub(r"\d+", "#", station.station)
        if station.logs == 1 and bare != station.station:
            alike[bare] = alike.get(bare, 0) + 1
    most = max(alike.values(), default=0)
    return f"{most} stations of one log each differ by a number alone in their names." if most >= _ALIKE else None


def _bad(fleet: FleetTrend) -> list[StationTrend]:
    """Stations that need someone themselves: those that only changed with their air line stand under that."""
    return [s for s in fleet.stations if s.state not in ("steady", "silent", "line")]


def _headline(fleet: FleetTrend) -> str:
    counts = {
        state: sum(s.state == state for s in fleet.stations)
        for state in ("over", "may be over", "alarm", "worse", "growing", "line")
    }
    total = len(fleet.stations)
    if not any(counts.values()):
        return _nothing_new(fleet)
    limited = any(t.limit is not None for s in fleet.stations for t in s.measures.values())
    many = f"of {total} station{'s' if total != 1 else ''}"
    parts = [f"{counts['over']} {many} over the limit"] if limited else []
    wording = (
        ("may be over", "may be over"), ("alarm", "in alarm"), ("worse", "worse"), ("growing", "growing"),
        ("line", "changed with their air line"),
    )  # fmt: skip
    parts += [f"{counts[state]} {words}" for state, words in wording if counts[state]]
    if not limited:
        first, _, words = parts[0].partition(" ")
        parts[0] = f"{first} {many} {words}"
    return ", ".join(parts) + "."


def _nothing_new(fleet: FleetTrend) -> str:
    """What is said where no station needs anyone: that all is as it was, or that nobody can tell yet."""
    total, options = len(fleet.stations), TrendOptions()
    few = [s.logs for s in fleet.stations if s.logs < options.shortest_logs]
    needed = f"{options.shortest_logs} for a slope, {options.baseline_logs} for an alarm"
    if total == 0:
        return "No logs yet."
    if len(few) == total:
        return f"Too few logs to judge ({max(few)}; {needed})."
    also = f"; {len(few)} with too few logs to judge ({needed})" if few else ""
    return f"Nothing new on {total} station{'s' if total != 1 else ''}{also}."


def _section(title: str, lines: Iterator[str], rows: int) -> list[str]:
    listed = list(lines)
    if not listed:
        return []
    more = [f"  … and {len(listed) - rows} more."] if len(listed) > rows else []
    return ["", title, *(f"  {line}" for line in listed[:rows]), *more]


def _common(fleet: FleetTrend) -> Iterator[str]:
    """Air lines that changed this week, or whose stations are in alarm by it."""
    standing = {s.supply_group for s in fleet.stations if s.state == "line"}
    for change in fleet.lines:
        if change.supply_group in standing or fleet.as_of_us - change.time_us < _WEEK_US:
            yield f"{iso(change.time_us)[:10]} {change.text}"


def _station(station: StationTrend) -> list[str]:
    stepped = [s for t in station.measures.values() if (s := stepped_worse(t, TrendOptions())) is not None]
    since = f" since {iso(stepped[0].time_us)[:10]}" if station.state == "worse" and stepped else ""
    lines = [f"{station.station}: {station.state}{since}"]
    for trend in sorted(station.measures.values(), key=_urgency)[:3]:
        line = _measure(trend)
        if line:
            lines.append(f"  {line}")
    if station.first_step:
        lines.append(f"  first: {station.first_step}")
    return lines


def _urgency(trend: MeasureTrend) -> tuple[int, int, str]:
    state = trend.limit.state if trend.limit else ""
    order = {"over": 0, "may be over": 1}.get(state, 2)
    dated = 0 if not isinstance(trend.crossing, Withheld) or trend.not_before_us is not None else 1
    own = trend.in_alarm and not (trend.alarms and trend.alarms[-1].common)
    return (order, dated - 2 * own, trend.measure.name)


def _measure(trend: MeasureTrend) -> str:
    """What is wrong with a measure, in one line; "" where nothing is."""
    parts = []
    if isinstance(trend.present, Estimate):
        e = trend.present
        factor, unit = (100.0, "%") if trend.measure.scale == "share" else (1.0, e.unit)
        value, lower, upper = (factor * v for v in (e.value, e.lower, e.upper))
        parts.append(f"now {_with_interval(value, lower, upper)} {unit}".removesuffix(" 1"))
    if trend.limit is not None and trend.limit.state in ("over", "may be over"):
        parts.append(f"{trend.limit.state} the limit {trend.limit.value:g}")
    elif not isinstance(trend.crossing, Withheld):
        c = trend.crossing
        verb = "by these logs reached" if c.past else "reaches"
        parts.append(f"{verb} {trend.limit.value if trend.limit else 0:g} on {iso(c.date_us)[:10]}")
        parts.append(f"between {iso(c.earliest_us)[:10]} and {iso(c.latest_us)[:10]}")
    elif trend.limit is not None and trend.not_before_us is not None:
        parts.append(f"growing, reaches {trend.limit.value:g} not before {iso(trend.not_before_us)[:10]}")
    elif trend.in_alarm and trend.alarms:
        parts.append(f"in alarm since {iso(trend.alarms[-1].time_us)[:10]}")
    elif trend.limit is None and isinstance(trend.relative, Estimate) and grows_fast(trend, TrendOptions()):
        parts.append(f"changing by {_a_day(trend)} a day, no limit given: with --limit its date is told")
    elif (step := stepped_worse(trend, TrendOptions())) is not None:
        parts.append(f"worse since the step from {step.before:.3g} to {step.after:.3g} on {iso(step.time_us)[:10]}")
    else:
        return ""
    return f"{trend.measure.title}: {', '.join(parts)}"


def _with_interval(value: float, lower: float, upper: float) -> str:
    """As in "4.0 (2.1 to 7.8)": down to the first digit of half the interval, its bounds rounded outward."""
    half = (upper - lower) / 2.0
    if not math.isfinite(half) or half <= 0.0:
        return f"{value:.3g}"
    place = math.floor(math.log10(half))
    step, shown = 10.0**place, max(0, -place)
    low, high = math.floor(lower / step + 1e-9) * step, math.ceil(upper / step - 1e-9) * step
    told = round(value / step) * step + 0.0
    return f"{told:.{shown}f} ({low + 0.0:.{shown}f} to {high + 0.0:.{shown}f})"


def _a_day(trend: MeasureTrend) -> str:
    """Growth of a day in the form that the logs tell better, with its interval."""
    if trend.by_factors and isinstance(trend.relative, Estimate):
        r = trend.relative
        first, _, interval = _with_interval(*(100.0 * v for v in (r.value, r.lower, r.upper))).partition(" ")
        return f"{first} % {interval}"
    assert isinstance(trend.slope, Estimate)
    s = trend.slope
    return f"{_with_interval(s.value, s.lower, s.upper)} {s.unit.removesuffix('/d')}"


def digest_json(fleet: FleetTrend, rows: int = _ROWS) -> dict[str, object]:
    """The digest as JSON: the same content as the text, for a chat or a mail program to lay out."""
    bad = _bad(fleet)
    return {
        "schema": "tracekit.digest/1",
        "as_of": iso(fleet.as_of_us),
        "headline": _headline(fleet),
        "stations": [
            {"station": s.station, "state": s.state, "lines": [line.strip() for line in _station(s)[1:]]}
            for s in bad[:rows]
        ],
        "more_stations": max(len(bad) - rows, 0),
        "changed_last_week": [{"time": iso(t), "station": s, "what": w} for t, s, w in fleet.changed[:rows]],
        "common_changes": list(_common(fleet)),
        "silent": [s.station for s in fleet.stations if s.silent],
        "damaged": [d.name for d in fleet.damaged],
        "false_alarms_per_week": fleet.false_alarms_week,
    }
