"""The trend pages: what they say is what the trend found, and hostile names stay text."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from history.made_up_records import DAY_US, JAN_US, cycles_table, facts_of, log_id_of, record_of, station_result

from tracekit.history.add import add_record
from tracekit.history.trend import trend
from tracekit.model.estimate import Estimate
from tracekit.model.station import Limit, Station, StationFacts
from tracekit.model.trend import FleetTrend, LeakCost, LineChange, Step, TrendMeasure
from tracekit.report.pictures.over_time import date_ticks, over_time
from tracekit.report.text import NBSP
from tracekit.report.trend_page import fleet_page, station_page, trend_pages
from tracekit.report.trend_shares import in_per_cent
from tracekit.report.trend_words import counts_line, day, finding, headline, main_measure, present
from tracekit.report.words import plain

HOSTILE = '<script>alert(1)</script>" \u202eevil'
LEAK = "decay_rate_kpa_s"


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> FleetTrend:
    """Three stations over 60 days: one grows to its limit, one is repaired on day 30, one with a hostile name is steady."""
    folder = tmp_path_factory.mktemp("fleet")
    rng = np.random.default_rng(3)
    names = ("Glaze 1", "Glaze 2", HOSTILE)
    file = Station(limits={LEAK: Limit(max=5.0)}, station=StationFacts(supply_group="north main"))
    for number in range(60):
        levels = (1.5 * 1.015**number, 3.0 if number < 30 else 1.2, 1.5)
        results = [
            station_result(cycles_table(log_id_of(number), name, decay=level * float(np.exp(0.03 * rng.normal()))))
            for name, level in zip(names, levels, strict=True)
        ]
        record = record_of(*results, facts=facts_of(log_id_of(number), JAN_US + number * DAY_US))
        add_record(folder, record, stations=dict.fromkeys(names, file))
    return trend(folder)


def test_one_page_per_station_and_one_for_all(fleet: FleetTrend) -> None:
    """Every station has a page under a name that any system accepts, linked from the fleet's page."""
    pages = trend_pages(fleet)
    assert len(pages) == 4
    for name in pages:
        assert re.fullmatch(r"(report|stations/[A-Za-z0-9-]+)\.html", name)
    for name in pages:
        assert name == "report.html" or f'href="{name}"' in pages["report.html"]


def test_hostile_names_stay_text(fleet: FleetTrend) -> None:
    """A station named like a script appears as text in every page, without its direction mark."""
    pages = trend_pages(fleet)
    whole = "".join(pages.values())
    assert "<script>alert" not in whole
    assert "\u202e" not in whole
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in pages["report.html"]


def test_the_headline_counts_what_is_true(fleet: FleetTrend) -> None:
    """The headline names the worst state that any station is in, with the right number."""
    states = [s.state for s in fleet.stations]
    worst = states[0]
    found = headline(fleet)
    assert found.startswith(f"{states.count(worst)} of 3 stations")
    assert sum(int(n) for n in re.findall(r"\b(\d+) (?:over|may|in|grow|steady|silent)", counts_line(fleet))) == 3
    nothing = replace(fleet, stations=tuple(s for s in fleet.stations if s.state == "steady"))
    assert headline(nothing).startswith("Nothing new")


def test_a_finding_says_growth_and_date(fleet: FleetTrend) -> None:
    """The growing station's sentence has its growth per day with interval and the date of the limit."""
    first = fleet.stations[0]
    assert first.station == "Glaze 1"
    trend_of = main_measure(first)
    assert trend_of is not None
    assert trend_of.measure.name == LEAK
    text = plain(finding(trend_of))
    assert "rises 1.5" in text
    assert "% (" in text
    assert "Reaches 5.0" in text


def test_growth_is_told_in_the_form_that_is_better_known(fleet: FleetTrend) -> None:
    """By amounts where these scatter less for their size than factors do, else by factors."""
    grown = main_measure(fleet.stations[0])
    assert grown is not None
    slope = Estimate(value=0.256, lower=0.25, upper=0.268, unit="kPa/s/d", n=6, method="", level=0.95)
    loose = replace(slope, value=0.1, lower=0.001, upper=0.5, unit="1/d")
    by_amounts = replace(grown, slope=slope, relative=loose, p_value=0.001)
    assert "rises 0.256\u00a0kPa/s (0.250\u00a0to\u00a00.268) a day" in plain(finding(by_amounts))
    by_factors = replace(by_amounts, relative=replace(loose, lower=0.098, upper=0.102))
    assert "rises 10.0\u00a0% (9.8\u00a0to\u00a010.2) of itself a day" in plain(finding(by_factors))


def test_the_repair_is_in_picture_and_words(fleet: FleetTrend) -> None:
    """The repaired station's picture rules the step, and its caption says from where to where."""
    station = next(s for s in fleet.stations if s.station == "Glaze 2")
    picture = over_time(station.measures[LEAK], station.events)
    assert ">step</" in picture.html
    assert f"Last step {day(JAN_US + 30 * DAY_US)}" in plain(picture.caption)
    assert len(picture.rows) == 60
    assert picture.html.count('class="line ink"') == 2


def test_no_line_runs_beyond_the_logs(fleet: FleetTrend) -> None:
    """Lines end with the last log; only the bar of the crossing lies beyond."""
    station = fleet.stations[0]
    trend_of = station.measures[LEAK]
    for drawn in trend_of.series.lines:
        assert station.first_us <= drawn.start_us <= drawn.stop_us <= station.last_us
    assert 'class="r8 odd"' in over_time(trend_of, station.events).html


def test_pages_are_small_and_need_nothing(fleet: FleetTrend) -> None:
    """A page is under 200 kB, names no address to load from, and has its policy."""
    for page in trend_pages(fleet).values():
        assert len(page.encode()) < 200_000
        assert "://" not in page
        assert "default-src &#39;none&#39;" in page
        assert 'style="' not in page


def test_a_page_of_hundreds_shows_a_part_at_first(fleet: FleetTrend) -> None:
    """Every station has its row, its small picture and its page; the page says how many are shown before they are asked for."""
    many = replace(fleet, stations=tuple(replace(fleet.stations[0], station=f"Press {n}") for n in range(250)))
    names = {station.station: f"stations/{n}.html" for n, station in enumerate(many.stations)}
    page = fleet_page(many, names)
    assert page.count("data-state=") == page.count('aria-label="leak over time"') == page.count('href="stations/') == 250
    assert 'data-fleet="200"' in page


def test_what_many_have_in_common_stands_before_the_stations(fleet: FleetTrend) -> None:
    """A change of a whole air line and the news of the week come before the table, causes with their running share after it."""
    change = LineChange(
        supply_group="north main", time_us=JAN_US, stations=("Glaze 1", "Glaze 2"), of=3, ways={"leak": "up"}
    )
    news = ((fleet.as_of_us, "Glaze 1", "alarm, leak"),)
    told = replace(fleet, lines=(change,), changed=news, causes=(("leak_steady", 6, 0.6), ("clogged_filter", 2, 0.2)))
    page = fleet_page(told, {})
    common = "2 of 3 stations changed at once (leak up). Look at the compressed-air line first."
    causes = ("leak_steady: 6 stations", "clogged_filter: 2 stations")
    places = [page.index(text) for text in (common, "Glaze 1: alarm, leak", 'id="fleet"', *causes)]
    assert places == sorted(places)
    assert "with those above 75\u00a0%" in page
    assert "with those above 100\u00a0%" in page


def test_a_row_says_step_silence_and_air_line(fleet: FleetTrend) -> None:
    """A row names the step that nothing grew since, that no log came, and that the air line is to be looked at first."""
    repaired = next(s for s in fleet.stations if s.station == "Glaze 2")
    still = replace(repaired, measures={LEAK: replace(repaired.measures[LEAK], p_value=0.8)})
    page = fleet_page(replace(fleet, stations=(still,)), {})
    assert re.search(r"No growth since the step from 3\.0\d* to 1\.2\d*.kPa/s on 31.Jan.2025\.", re.sub(r"<[^>]+>", "", page))
    silent = fleet_page(replace(fleet, stations=(replace(still, silent=True, state="silent"),)), {})
    assert f"No log since {day(still.last_us)}." in silent
    assert "1 silent." in silent
    assert "of those sent no log" not in silent
    lines = fleet_page(replace(fleet, stations=(replace(still, state="line"), replace(still, state="line"))), {})
    assert "As all of north main: look at the line first." in lines
    assert "2 of 2 stations changed with their air line" in lines


def test_the_last_repair_says_what_it_did(fleet: FleetTrend) -> None:
    """The page of a repaired station gives the days since, and the leak before and after."""
    repaired = next(s for s in fleet.stations if s.station == "Glaze 2")
    text = re.sub(r"<[^>]+>", "", station_page(repaired, fleet))
    assert "29 days since the last repair" in text
    assert re.search(r"It brought leak from 3\.?\d* to 1\.\d+.kPa/s\.", text)


def test_tables_have_the_whole_width_of_the_paper(fleet: FleetTrend) -> None:
    """In the print the wide tables stand outside the two columns of page one, and without the controls of the screen."""
    page = fleet_page(fleet, {})
    assert page.index('id="stations"') > page.index("</div>", page.index('class="page-one"'))
    head = page[page.index('class="page-one"') : page.index('id="stations"')]
    assert head.count("<div") < head.count("</div") + 2
    many = replace(fleet, stations=tuple(replace(fleet.stations[0], station=f"Glaze {k}") for k in range(7)))
    assert 'class="tools control"' in fleet_page(many, {})


def test_a_cost_is_written_without_powers_of_ten(fleet: FleetTrend) -> None:
    """Energy, money and valve operations a month have plain digits, as many as the interval allows, and name the currency."""

    def about(value: float, unit: str) -> Estimate:
        return Estimate(value=value, lower=0.5 * value, upper=1.5 * value, unit=unit, n=9, method="made up")

    cost = LeakCost(energy_kwh=about(0.258, "kWh/month"), money=about(12.345, "1/month"), switches=about(24512.0, "1/month"), hours=480.0)
    page = station_page(replace(fleet.stations[0], cost=cost), fleet)
    assert "Energy: 0.26 (0.13 to 0.39) kWh a month" in page
    assert "Money, in the currency of price_per_kwh: 12.3 (6.2 to 18.5) a month" in page
    assert "Valve operations: 24512 (12256 to 36768) a month" in page


def test_another_unit_changes_numbers_not_facts(fleet: FleetTrend) -> None:
    """In mbar the same pages carry ten times the numbers."""
    assert "mbar/s" in trend_pages(fleet, "mbar")["report.html"]


def test_a_day_of_many_scales_has_round_dates() -> None:
    """Dates under the axis are few, inside, rising and round, from days to decades."""
    for span in (3, 12, 35, 80, 200, 500, 2000, 9000):
        ticks = date_ticks(20000.3, 20000.3 + span)
        at = [t for t, _ in ticks]
        assert 1 <= len(ticks) <= 7
        assert at == sorted(set(at))
        assert at[0] >= 20000.3
        assert at[-1] <= 20000.3 + span
        assert all(t == int(t) for t in at)
    names = [name for _, name in date_ticks(20200.0, 20340.0)]
    assert names == ["May ’25", "Jun", "Jul", "Aug", "Sep"]
    assert "Jan ’26" in [name for _, name in date_ticks(20400.0, 20500.0)]


def test_cells_of_a_phone_say_what_they_are(fleet: FleetTrend) -> None:
    """Where the table of measures is stacked, slope, p value, steps and limit have their names beside them."""
    page = station_page(fleet.stations[0], fleet)
    assert page.count('data-name="slope a day"') == len(fleet.stations[0].measures)
    for name in ("now", "p", "steps, alarms", "limit"):
        assert f'data-name="{name}"' in page


def test_pages_of_the_fleet_say_what_changed(fleet: FleetTrend, tmp_path: Path) -> None:
    """News of the week, silence and the alarm rule stand on the fleet's page."""
    later = replace(fleet, changed=((fleet.as_of_us, "Glaze 1", "alarm, leak"),), damaged=())
    page = trend_pages(later)["report.html"]
    (tmp_path / "report.html").write_text(page, encoding="utf-8")
    assert "Changed in the last seven days" in page
    assert "Glaze 1: alarm, leak" in page
    assert "Bonferroni" in page
    assert re.search(r"False alarms to expect at these limits, over all stations: about \d\S* a year\.", page)
    often = fleet_page(replace(fleet, false_alarms_week=1.23), {})
    assert "over all stations: about 1.2 a week." in often


def test_one_station_is_told_by_its_name(fleet: FleetTrend) -> None:
    """A history of one station counts no stations: the headline names it, nothing repeats it, no column is empty."""
    alone = replace(fleet, stations=(replace(fleet.stations[0], first_step="", silent=False),))
    assert headline(alone).startswith("Glaze 1: leak ")
    assert counts_line(alone) == ""
    page = fleet_page(alone, {})
    assert "1 station<" in page
    assert "1 stations" not in page
    assert "First step" not in page
    assert "First step" in fleet_page(replace(alone, stations=(replace(alone.stations[0], first_step="Blank it."),)), {})


def test_shares_are_told_in_per_cent(fleet: FleetTrend) -> None:
    """A share is told in per cent of what its title names, as level, slope, limit, step and in the picture's numbers."""
    station = fleet.stations[0]
    measure = TrendMeasure(
        name="drop_share", title="share of parts dropped", unit="1", scale="share", worse=1, floor=0.01, held=False,
        supply=False, alarm=True,
    )  # fmt: skip
    model = station.measures[LEAK]
    n = len(model.series.time_us)
    limit = replace(model.limit, value=0.05) if model.limit is not None else None
    of = {"n": 30, "method": "made up", "level": 0.95}
    share = replace(
        model, measure=measure, present=Estimate(value=0.021, lower=0.012, upper=0.034, unit="1", **of), limit=limit,
        slope=Estimate(value=0.0011, lower=0.0008, upper=0.0014, unit="1/d", **of), relative=None,
        steps=(Step(time_us=JAN_US, before=0.01, after=0.03, better=False),),
        series=replace(model.series, value=np.full(n, 0.021), lower=np.full(n, 0.012), upper=np.full(n, 0.034), lines=()),
    )  # fmt: skip
    told = replace(station, measures={"drop_share": share}, repair=None)
    assert plain(present(in_per_cent(told).measures["drop_share"])).replace(NBSP, " ") == "2.1 % (1.2 to 3.4)"
    page = station_page(told, fleet).replace(NBSP, " ")
    assert "rises 0.11 % (0.08 to 0.14) a day" in page
    assert "0.021" not in re.sub(r' d="[^"]*"', "", page)
    assert in_per_cent(in_per_cent(told)).measures["drop_share"].present == in_per_cent(told).measures["drop_share"].present
    assert in_per_cent(station).measures[LEAK] is model


def test_the_first_screen_of_a_fleet_has_the_worst_figure(fleet: FleetTrend) -> None:
    """Now, with its interval, and what it does stand under the headline; few stations need no search."""
    page = fleet_page(fleet, {})
    answer = re.sub(r"<[^>]*>", "", page[page.index("<h1>") : page.index("Stations, worst first")]).replace(NBSP, " ")
    worst = fleet.stations[0]
    main = main_measure(worst)
    assert main is not None
    assert f"{worst.station}: now {plain(present(main))}.".replace(NBSP, " ") in answer
    assert 'id="find"' not in page
    many = replace(fleet, stations=tuple(replace(worst, station=f"Glaze {k}") for k in range(7)))
    assert 'id="find"' in fleet_page(many, {})


def test_a_small_picture_has_its_scale(fleet: FleetTrend) -> None:
    """Between which values the line goes stands beneath it."""
    trend_now = main_measure(fleet.stations[0])
    assert trend_now is not None
    low, high = float(np.nanmin(trend_now.series.value)), float(np.nanmax(trend_now.series.value))
    cell = re.search(r'<td class="over">.*?</td>', fleet_page(fleet, {}), re.DOTALL)
    assert cell is not None
    found = re.sub(r"<[^>]*>", " ", cell[0]).replace(NBSP, " ")
    told = re.search(r"([0-9.]+) to +([0-9.]+) kPa/s", " ".join(found.split()))
    assert told is not None
    assert abs(float(told[1]) - low) < 0.3
    assert abs(float(told[2]) - high) < 0.3


def test_the_rule_of_alarms_is_no_reading_for_a_technician(fleet: FleetTrend) -> None:
    """How often an alarm is false stands in a sentence; charts and their limits stand with where the page comes from."""
    page = fleet_page(fleet, {})
    told = page[page.index('id="rules"') : page.index('id="file"')]
    assert "False alarms to expect" in told
    assert "CUSUM" not in told
    assert "CUSUM" in page[page.index('id="file"') :]
