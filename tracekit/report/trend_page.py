"""The pages of a trend: the fleet, worst first, and a page with a panel per measure for each station."""

import math
from dataclasses import replace

import numpy as np

from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.trend import FleetTrend, LeakCost, MeasureTrend, Repair, StationTrend
from tracekit.report.frame import Block, asset, frame, render
from tracekit.report.page import safe_name
from tracekit.report.pictures.over_time import over_time
from tracekit.report.pictures.spark import spark
from tracekit.report.sections import cautions, evidence, lead_picture
from tracekit.report.text import clean
from tracekit.report.trend_shares import in_per_cent
from tracekit.report.trend_words import (
    STATE_WORDS,
    counts_line,
    day,
    finding,
    headline,
    logs_of,
    main_measure,
    no_date,
    present,
    shown,
    since,
    stations_of,
    unit_of,
)
from tracekit.report.words import Num, Text, count, html, say

FOLDER = "stations"
_MOST_PAGES, _MOST_LINES, _MOST_PANELS = 5000, 60, 9
_SHORT_LIST, _SHOWN_ROWS, _FEW_ROWS, _LEAST_DRAWN = 12, 200, 6, 2
_WEEKS = 52.0  # of a year


def trend_pages(fleet: FleetTrend, unit: str = "kPa") -> dict[str, str]:
    """HTML by relative path: `report.html`, and `stations/<name>.html` for the worst 5000 stations."""
    names = _names(fleet)
    pages = {"report.html": fleet_page(fleet, names, unit)}
    by_name = {s.station: s for s in fleet.stations}
    for station, path in names.items():
        pages[path] = station_page(by_name[station], fleet, unit)
    return pages


def _names(fleet: FleetTrend) -> dict[str, str]:
    """The page of each station, in names that every system accepts and no two share."""
    taken: set[str] = set()
    found = {}
    for station in fleet.stations[:_MOST_PAGES]:
        stem = safe_name(station.station)
        name, n = stem, 1
        while name.casefold() in taken:
            n += 1
            name = f"{stem}-{n}"
        taken.add(name.casefold())
        found[station.station] = f"{FOLDER}/{name}.html"
    return found


def fleet_page(fleet: FleetTrend, names: dict[str, str], unit: str = "kPa") -> str:
    """The page of all stations."""
    fleet = replace(fleet, stations=tuple(in_per_cent(station) for station in fleet.stations))
    rows = [_row(s, names.get(s.station, ""), unit) for s in fleet.stations]
    answer = _answer(headline(fleet), _fleet_lead(fleet, unit), _how_to_read(fleet))
    states = [state for state in STATE_WORDS if any(s.state == state for s in fleet.stations)]
    shown_as = {"rows": rows, "states": states, "words": STATE_WORDS, "shown": _SHOWN_ROWS, "few": _FEW_ROWS}
    table = render("trend_fleet.html", {**shown_as, "steps": any(r["step"] for r in rows)}, unit)
    blocks = [
        Block("answer", "", answer, page_one=True),
        *_news(fleet),
        Block("stations", "Stations, worst first", table, "Stations"),
        *_rest(fleet),
        Block("rules", "When an alarm is raised", _lines([_alarms_line(fleet)]), "Rules"),
    ]
    return frame(
        headline(fleet), blocks, identity=("Trend", stations_of(len(fleet.stations)), _as_of(fleet)),
        provenance=_provenance(fleet), unit=unit, scripts=(asset("trend_fleet.js"),),
    )  # fmt: skip


def _answer(head: str, lead: str, urgency: str, back: str = "") -> str:
    """The first block; `lead` is finished HTML, `back` the page of all stations."""
    return render("trend_answer.html", {"headline": head, "lead": lead, "urgency": urgency, "back": back})


def _fleet_lead(fleet: FleetTrend, unit: str) -> str:
    """How many stations are in each state, and what the worst one does, in figures."""
    counts = html((counts_line(fleet),), unit)
    first = fleet.stations[0] if fleet.stations else None
    trend = main_measure(first) if first is not None and first.state not in ("steady", "silent") else None
    if first is None or trend is None:
        return counts
    start: Text = (f"{clean(first.station, 40)}: now ",) if len(fleet.stations) > 1 else ("Now ",)
    worst = html((*start, *present(trend), ". ", *_after_name(finding(trend))), unit)
    return f"{counts} {worst}".strip()


def _range(trend: MeasureTrend, unit: str) -> str:
    """Between which values the small picture goes; empty without one."""
    value = trend.series.value[np.isfinite(trend.series.value)]
    if len(value) < _LEAST_DRAWN:
        return ""
    step = max(float(np.ptp(value)) / 10.0, 1e-3)
    low, high = float(value.min()), float(value.max())
    ends = Num(value=low, unit=unit_of(trend), step=step, bare=True), Num(value=high, unit=unit_of(trend), step=step)
    return html(say("{} to {}", *ends), unit)


def _how_to_read(fleet: FleetTrend) -> str:
    first = fleet.stations[0].station if fleet.stations else ""
    return f"Begin with {clean(first, 60)}." if first and fleet.stations[0].state != "steady" else ""


def _row(station: StationTrend, href: str, unit: str) -> dict[str, object]:
    trend = main_measure(station)
    return {
        "name": clean(station.station, 60), "href": href, "state": station.state, "word": STATE_WORDS[station.state],
        "measure": "" if trend is None else trend.measure.title.split(":")[0],
        "now": "" if trend is None else html(present(trend), unit),
        "said": "" if trend is None else html((*_apart(station), *_after_name(finding(trend))), unit),
        "spark": spark(trend) if trend is not None else "", "range": _range(trend, unit) if trend is not None else "",
        "step": clean(station.first_step, 90), "last": day(station.last_us), "when": station.last_us // 1_000_000,
        "silent": station.silent, "group": clean(station.supply_group or "", 40),
    }  # fmt: skip


def _apart(station: StationTrend) -> Text:
    """What is to be known before a row's growth is read: its silence, or that its air line changed."""
    if station.silent:
        return (f"No log since {day(station.last_us)}. ",)
    group = clean(station.supply_group or "", 40)
    return (f"As all of {group}: look at the line first. ",) if station.state == "line" else ()


def _after_name(text: Text) -> Text:
    """A finding without its measure's name, which has a column of its own."""
    first, *rest = text[1:] or ("",)
    return (first[:1].upper() + first[1:] if isinstance(first, str) else first, *rest)


def _news(fleet: FleetTrend) -> list[Block]:
    """What must be known before a single station is looked at: what many have in common, and what is new."""
    common = [f"{day(c.time_us)}, {clean(c.text, 400)}" for c in fleet.lines[::-1]]
    changed = [f"{day(t)}, {clean(s, 60)}: {clean(what, 120)}" for t, s, what in fleet.changed]
    parts = (
        ("common", "Changed at many stations of one line at once", common, "Common"),
        ("week", "Changed in the last seven days", changed, "News"),
    )
    return [
        Block(name, title, _lines(lines, _SHORT_LIST), margin, page_one=True)
        for name, title, lines, margin in parts
        if lines
    ]


def _rest(fleet: FleetTrend) -> list[Block]:
    """Who is silent, which causes, what could not be read."""
    silent = [f"{clean(s.station, 60)}: last log {day(s.last_us)}" for s in fleet.stations if s.silent]
    damaged = [f"{clean(d.name, 200)}: {clean(d.reason, 120)}" for d in fleet.damaged]
    parts = (
        ("silent", "Stations that sent no log of late", silent, "Silent"),
        ("causes", "What the newest logs found first, the commonest first", _pareto(fleet), "Causes"),
        ("damaged", "Files that could not be read", damaged, "Files"),
    )
    return [Block(name, title, _lines(lines), margin) for name, title, lines, margin in parts if lines]


def _pareto(fleet: FleetTrend) -> list[str]:
    """One line per cause: stations, and how much of all findings it and those before it make up."""
    total = sum(stations for _, stations, _ in fleet.causes)
    lines, so_far = [], 0
    for code, stations, _ in fleet.causes:
        so_far += stations
        many = f"{count(stations)} station{'s' if stations > 1 else ''}"
        lines.append(f"{code}: {many}; with those above {100 * so_far / total:.0f} % of all")
    if lines:
        lines.append(f"What one means and how to test it: tracekit explain {fleet.causes[0][0]}")
    return lines


def _lines(lines: list[str], most: int = _MOST_LINES) -> str:
    more = [f"… and {count(len(lines) - most)} more in trend.json."] if len(lines) > most else []
    return render("sheet_lines.html", {"text": "", "lines": [*lines[:most], *more]})


def _alarms_line(fleet: FleetTrend) -> str:
    a_year = fleet.false_alarms_week * _WEEKS
    often = f"{fleet.false_alarms_week:.2g} a week" if a_year > _WEEKS else f"{a_year:.2g} a year"
    return f"False alarms to expect at these limits, over all stations: about {often}."


def _as_of(fleet: FleetTrend) -> str:
    """The day that counts as now; of an empty history there is none."""
    return day(fleet.as_of_us) if fleet.as_of_us else "no log yet"


def _provenance(fleet: FleetTrend) -> list[tuple[str, str]]:
    return [
        ("Logs", count(fleet.logs)), ("As of", _as_of(fleet)), ("Program", f"tracekit {fleet.version}"),
        ("Alarm rule", fleet.alarm_rule),
        ("Slopes", "Theil–Sen with intervals that allow for serial correlation; present stretch"),
    ]  # fmt: skip


def station_page(station: StationTrend, fleet: FleetTrend, unit: str = "kPa") -> str:
    """The page of one station: its main measure first, then a panel per measure, then all numbers."""
    station = in_per_cent(station)
    trends = sorted(station.measures.values(), key=lambda t: _panel_order(t, station))
    span = (station.first_us, station.last_us)
    drawn = [t for n, t in enumerate(trends) if len(t.series.time_us) > 1 and (n == 0 or _tells(t))][:_MOST_PANELS]
    pictures = [over_time(t, station.events, unit, span) for t in drawn]
    lead = html(_station_lead(trends), unit)
    answer = _answer(_station_headline(station), lead, clean(station.first_step, 200), "../report.html")
    beside = lead_picture(pictures[0], unit) if pictures else ""
    table = render("trend_measures.html", {"rows": [_measure_row(t, unit) for t in trends]}, unit)
    blocks = [
        Block("answer", "", answer, beside=beside, page_one=True),
        Block("measures", "Every measure", table, "Measures"),
    ]
    if pictures[1:]:
        blocks.append(Block("panels", "The months behind it", evidence(tuple(pictures[1:]), unit), "Panels"))
    events = _events(station)
    blocks += [Block("events", "Repairs and steps", _lines(events), "Events")] if events else []
    if station.cost is not None:
        blocks.append(Block("cost", "What the leak costs", _cost(station.cost, unit), "Cost"))
    blocks.append(Block("cautions", "Before you act", cautions(), "Cautions"))
    identity = (clean(station.station, 40), logs_of(station.logs), f"to {day(station.last_us)}")
    title = f"{station.station}: {_station_headline(station)}"
    return frame(title, blocks, identity=identity, provenance=_provenance(fleet), unit=unit)


def _tells(trend: MeasureTrend) -> bool:
    """Whether a measure has something to show: a step, an alarm, a limit, established growth."""
    grows = trend.p_value is not None and trend.p_value < 0.001
    return bool(trend.steps or trend.alarms or trend.limit is not None or grows)


def _panel_order(trend: MeasureTrend, station: StationTrend) -> tuple[bool, bool, bool, list[str]]:
    main = main_measure(station)
    order = list(station.measures)
    return (trend is not main, not trend.in_alarm, not trend.steps, [f"{order.index(trend.measure.name):03d}"])


def _station_headline(station: StationTrend) -> str:
    trend, word = main_measure(station), STATE_WORDS[station.state]
    if trend is not None and station.state not in ("steady", "silent"):
        word = f"{trend.measure.title.split(':')[0]} {word}{since(station)}"
    return f"{word[:1].upper()}{word[1:]}" + (", and silent" if station.silent and station.state != "silent" else "")


def _station_lead(trends: list[MeasureTrend]) -> Text:
    return finding(trends[0]) if trends else ("No measure was kept.",)


def _measure_row(trend: MeasureTrend, unit: str) -> dict[str, str]:
    slope = trend.slope
    p = "" if trend.p_value is None else f"{trend.p_value:.2g}" if trend.p_value >= 1e-4 else "below 0.0001"
    return {
        "name": trend.measure.title, "now": html(present(trend), unit),
        "slope": html((shown(slope),), unit) if isinstance(slope, Estimate) else clean(slope.reason, 80),
        "p": p, "steps": count(len(trend.steps)), "alarms": count(len(trend.alarms)),
        "limit": "" if trend.limit is None else html((_limit_num(trend),), unit),
        "when": "" if trend.limit is None else _when(trend),
    }  # fmt: skip


def _limit_num(trend: MeasureTrend) -> Num:
    value = trend.limit.value if trend.limit is not None else 0.0
    return Num(value=value, unit=unit_of(trend), step=abs(value) / 50 or 0.1)


def _when(trend: MeasureTrend) -> str:
    c = trend.crossing
    if isinstance(c, Withheld):
        return no_date(trend)
    return f"{day(c.date_us)} ({day(c.earliest_us)} to {day(c.latest_us)})"


def _events(station: StationTrend) -> list[str]:
    lines = [f"{day(e.time_us)}, {e.source}: {clean(e.text, 160)}" for e in station.events[::-1]]
    repair = station.repair
    if repair is not None:
        lines.insert(0, f"{count(round(repair.days_since))} days since the last repair: {clean(repair.text, 120)}")
        lines[1:1] = [f"It brought {line}." for line in _effects(station, repair)]
    return lines


def _effects(station: StationTrend, repair: Repair) -> list[str]:
    """What the last repair changed, one line per measure."""
    shown_of = ((station.measures[name].measure, levels) for name, levels in repair.effects.items())
    return [
        f"{m.title.split(':')[0]} from {before:.3g} to {after:.3g} {m.unit}".removesuffix(" 1")
        for m, (before, after) in shown_of
    ]


def _cost(cost: LeakCost, unit: str) -> str:
    """What the longer supply time costs, with what was assumed."""
    named = (
        ("Energy", cost.energy_kwh), ("Money, in the currency of price_per_kwh", cost.money),
        ("Valve operations", cost.switches),
    )  # fmt: skip
    lines = [
        f"{name}: {clean(q.reason, 100)}" if isinstance(q, Withheld) else f"{name}: {_plain(q)}" for name, q in named
    ]
    lines.append(f"Against the best five logs in a row, at {cost.hours:g} running hours a month.")
    return render("sheet_lines.html", {"text": "", "lines": lines}, unit)


def _plain(quantity: Estimate) -> str:
    """An estimate with as many digits as its interval allows, never in powers of ten."""
    half = max(quantity.upper - quantity.lower, 1e-9) / 2.0
    digits = max(0, 1 - math.floor(math.log10(half)))
    value, lower, upper = (f"{v:.{min(digits, 4)}f}" for v in (quantity.value, quantity.lower, quantity.upper))
    unit = {"1/month": "a month", "kWh/month": "kWh a month"}.get(quantity.unit, quantity.unit)
    return f"{value} ({lower} to {upper}) {unit}"
