"""What a log leaves open is said as open: a leak without a baseline, a leak beside another cause, a late onset."""

import re
from dataclasses import replace
from html import unescape

import numpy as np
import pytest
import stories
from stories import Play

from tracekit.model.finding import CauseChance, Detectable, Evidence
from tracekit.report.doubt import others_differ, untold_leak
from tracekit.report.folder_page import folder_page
from tracekit.report.page import index_page, station_page, write_pages
from tracekit.report.pictures.blowoff import blowoff
from tracekit.report.pictures.fall import _apart, fall
from tracekit.report.pictures.overlay import overlay
from tracekit.report.pictures.pulldown import pulldown
from tracekit.report.pictures.rates import rates
from tracekit.report.plot import Axis, Label
from tracekit.report.steps_told import step_of
from tracekit.report.todo import lasting, steps
from tracekit.report.verdict import verdict
from tracekit.report.view import is_list
from tracekit.report.why import why_this_cause
from tracekit.report.words import number, of_quantity, plain


def words_of(page):
    """The words of a page's main part."""
    main = re.search(r"<main.*?</main>", page, re.DOTALL).group(0)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", main)).replace("\u00a0", " ").split())


def quiet(rate, **more):
    """A station without a finding and without a baseline that loses `rate` kPa/s."""
    causes = (CauseChance(code="none", chance=0.95, reason="nothing in this log points to a fault"),)
    return stories.result(Play(cycles=40, rate=rate), causes=causes, detectable=(), **more)


def both_causes():
    """A filter and a release valve that compete, while every cycle leaks far more than the baseline."""
    found = stories.finding("flow_restricted", confidence=0.42, alternatives=("release_valve_leak",), cycles=tuple(range(40)))
    causes = (CauseChance(code="flow_restricted", chance=0.42, reason="r"), CauseChance(code="release_valve_leak", chance=0.3, reason="r"))
    unseen = tuple(
        Detectable(code=c, measure="decay_rate_kpa_s", smallest=None, unit="kPa/s", why="the log does not show this measure")
        for c in ("flow_restricted", "release_valve_leak", "supply_pulsation")
    )
    play = Play(cycles=40, rate=5.5)
    return stories.result(play, findings=(found,), causes=causes, detectable=unseen, base=stories.HEALTHY)


def test_a_measured_leak_beside_another_cause_is_a_fact():
    """Where one of two that compete lets air in and the leak has risen, "either … or" is not said."""
    result = both_causes()
    said = verdict(result)
    assert said.headline == "A leak, place open; perhaps a blocked filter too"
    lead = plain(said.lead).replace("\u00a0", " ")
    assert re.match(r"Vacuum falls 5\.\d+ kPa/s .* with the supply closed\. Baseline: 0\.\d", lead)
    assert "Filter or hose: 4 in 10 likely." in said.reasons
    assert "else" not in said.reasons
    sure = stories.finding("release_valve_leak", confidence=0.85)
    assert "Also" not in verdict(replace(result, findings=(*result.findings, sure))).reasons
    unrisen = replace(result, leak=replace(result.leak, decay_rate=result.baseline_leak.decay_rate))
    assert verdict(unrisen).headline.startswith("Either")
    alike = (CauseChance(code="leak_steady", chance=0.5, reason="r"), CauseChance(code="check_valve_leak", chance=0.4, reason="r"))
    leaks = (stories.finding("leak_steady", confidence=0.5, alternatives=("check_valve_leak",)),)
    assert verdict(replace(result, findings=leaks, causes=alike)).headline.startswith("Either a cup-side leak")


def test_limits_do_not_name_what_the_verdict_names():
    """A cause that the page names, or one that is likely, is not listed as one that the log cannot show."""
    page = station_page(stories.record(both_causes()), 0)
    limits = words_of("<main>" + page.split('id="limits"')[1].split('id="assumptions"')[0] + "</main>")
    assert "Pulsing compressed-air feed" in limits
    assert not re.search("Blocked filter|Seeping release valve", limits)


@pytest.mark.parametrize(("rate", "told"), [(0.3, False), (1.0, False), (2.0, True), (3.8, True)])
def test_a_leak_without_a_baseline_is_no_clean_bill(rate, told):
    """More than healthy stations usually leak is not called healthy: the plate test comes before the log is kept."""
    result = quiet(rate)
    assert untold_leak(result) == told
    said = verdict(result)
    assert said.headline.startswith("Nothing wrong shows; the leak cannot be judged yet" if told else "No fault found")
    assert ("Only a healthy log tells if that is usual." in plain(said.lead)) == told
    assert said.action == ("Do the plate test first." if told else "Nothing found to repair.")
    assert steps(result)[0].act.startswith("Pick a flat plate") == told
    assert steps(result)[-1].act.startswith("If the plate test shows no leak" if told else "If the station runs well")
    causes = " ".join(why_this_cause(result, "kPa").split())
    assert ("cannot be judged: plate test first" in causes) == told
    assert ("Nothing wrong" in causes) != told
    long_holds = stories.result(Play(cycles=40, rate=0.6, hold_s=30.0), causes=(), detectable=())
    assert not untold_leak(long_holds)
    assert not untold_leak(replace(result, baseline=result.data, baseline_leak=result.leak))


def test_an_index_sorts_what_cannot_be_judged_by_its_leak(tmp_path):
    """Stations that cannot be judged are counted apart and stand before those without a fault, the largest leak first."""
    named = [
        replace(r, data=replace(r.data, station=name))
        for name, r in (("Alpha", quiet(0.3)), ("Beta", quiet(3.8)), ("Gamma", quiet(5.0)), ("Delta", stories.torn_cup().stations[0]))
    ]
    page = index_page(stories.record(*named))
    assert re.findall(r'<a class="go"[^>]*><bdi>(\w+)', page) == ["Delta", "Gamma", "Beta", "Alpha"]
    assert words_of(page).startswith("1 of 4 stations needs work, 2 cannot be judged")
    for r in named[:3]:
        write_pages(stories.record(r), tmp_path / r.data.station)
    page = folder_page(tmp_path)
    assert re.findall(r'<a class="go"[^>]*><bdi>(\w+)', page) == ["Gamma", "Beta", "Alpha"]
    assert words_of(page).startswith("2 of 3 recordings cannot be judged")


def test_cycles_that_differ_from_the_baseline_too_are_not_called_usual():
    """Where the cycles that a finding does not name have moved as well, lead and picture say so."""
    fact = Evidence(measure="evacuation_time_s", value=0.19, lower=0.18, upper=0.2, unit="s", reference=0.118, reference_source="baseline")  # fmt: skip
    found = stories.finding("exhaust_restricted", evidence=(fact,), cycles=tuple(range(10, 20)), share=0.5)
    slow = stories.result(Play(cycles=20, tau=0.12), findings=(found,), base=stories.HEALTHY)
    usual = stories.result(replace(stories.HEALTHY, cycles=20), findings=(found,), base=stories.HEALTHY)
    assert others_differ(slow, found)
    assert not others_differ(usual, found)
    assert "clearest on 10 of 20 cycles" in plain(verdict(slow).lead)
    assert "clearest" not in plain(verdict(usual).lead)
    drawn = overlay(slow)
    text = plain(drawn.heading) if isinstance(drawn.heading, tuple) else drawn.heading
    assert text.startswith("The other cycles peak at")
    assert "The other cycles differ from the baseline too." in plain(drawn.caption)


def test_a_test_on_a_stopped_station_does_not_contradict_the_stop():
    """Where the first step runs the machine, the stop is one of production and the caution allows that test alone."""
    result = stories.dropping().stations[0]
    running = replace(stories.BLANK, caution="Machine running: stay outside the guards.")
    main = replace(result.findings[0], next_steps=(running,))
    told = replace(result, findings=(main, *result.findings[1:]))
    assert verdict(told).action == "Stop production."
    assert steps(told)[0].caution.startswith("Run for this test only, area clear. Machine running")
    assert verdict(result).action == "Stop. Do not run parts."


def test_named_cycles_are_listed_and_chances_fill_their_boxes():
    """Cycles of a finding stand in words; 1 in 20 is half a box."""
    result = stories.by_part().stations[0]
    causes = (*result.causes[:1], CauseChance(code="leak_steady", chance=0.06, reason="r"))
    text = words_of(station_page(stories.record(replace(result, causes=causes)), 0))
    assert "Seen on cycles 2, 6 and so on to 58, every 4th: leak on some picks only." in text
    assert "◧□□□□□□□□□ 1 in 20" in text


def test_minutes_told_in_an_act_are_not_told_again():
    """An act that ends with its own minutes gets no second figure."""
    assert lasting(step_of(replace(stories.BLANK, do="Change the filter element (5 to 10 min). Clear the hose (10 min)."))) == ""


def test_pressures_inside_the_words_of_the_first_screen_follow_the_unit():
    """A margin in the lead and in the reason for leaving the settings is marked for the unit switch."""
    fact = Evidence(measure="supply_on_kpa", value=59.5, unit="kPa", text="The supply resumes 2.0 kPa below the reset point")
    found = stories.finding("supply_on_below_reset", kind="setting", evidence=(fact,))
    result = stories.result(Play(cycles=12), findings=(found,), suggestion=stories.suggestion("The supply resumes 12.0 kPa above the reset point"))
    page = station_page(stories.record(result), 0)
    screen = page.split('class="lead"')[1].split('id="steps"')[0]
    assert re.search(r'data-v="2"[^>]*>2\.0', screen)
    assert re.search(r'data-v="12"[^>]*>12\.0', screen)


def test_a_release_that_ends_beyond_its_picture_says_so():
    """A told release time that the drawn command does not reach is marked and explained; one within it is not."""
    result = stories.result(Play(cycles=12))
    assert "square" not in plain(blowoff(result).caption)
    assert "squares" not in blowoff(result).html
    cycles = result.data.cycles
    late = {**cycles.data, "release_time_s": np.full(len(cycles), 0.9)}
    slow = replace(result, data=replace(result.data, cycles=replace(cycles, data=late)))
    assert "The line ends with the release command; the square is the release time." in plain(blowoff(slow).caption)
    html = blowoff(slow).html
    assert "squares odd" in html
    assert re.search(r">0\.900.s<", html)


def test_pictures_tell_the_rate_and_the_time_of_the_verdict():
    """The fall is headed by the rate and says at which vacuum; suction is drawn from the command on, by its own time."""
    result = stories.torn_cup().stations[0]
    fallen = fall(result)
    rate = number(of_quantity(result.leak.decay_rate))
    assert plain(fallen.heading).startswith(f"Vacuum falls {rate} with the supply closed; in the baseline ")
    assert "Rates hold at 60" in plain(fallen.caption)
    slow = stories.slow_suction().stations[0]
    drawn = pulldown(slow)
    assert "from the command to the set point" in plain(drawn.heading).lower()
    assert "judged by the evacuation from 25 to 55 kPa, not by the time to the set point" in plain(drawn.caption).replace("\u00a0", " ")
    for place, data in ((1, slow.data), (2, slow.baseline)):
        reached = next(row[0] for row in drawn.rows if row[place] is not None and row[place] >= stories.SET)
        assert reached == pytest.approx(float(np.nanmedian(data.cycles.floats("evacuation_time_s"))), abs=0.02)
    assert min(t for t, _, _ in drawn.rows) >= 0.0


def test_a_name_does_not_lie_on_the_line_that_goes_on():
    """Where one fall ends well before the other, its name stands above both lines."""
    y = Axis(low=0.0, high=2.0, unit="kPa", name="{}", down=True)
    early = Label(x=0.8, y=0.5, lines=("18 cycles",), style="", dy=4)
    late = Label(x=1.1, y=0.8, lines=("baseline", "0.3"), style="", dy=4)
    named = _apart([late, early], y)
    assert {item.lines[0]: item.dy for item in named} == {"18 cycles": -18, "baseline": 4}
    assert {item.dy for item in _apart([late, replace(early, x=1.1)], y)} != {-18, 4}


def test_rates_that_do_not_step_get_no_onset():
    """Cycles that a finding names since another measure stepped are no squares, and no rule parts rates that are alike."""
    found = stories.finding("leak_steady", cycles=tuple(range(30, 40)), onset_cycle=30)
    level = stories.result(Play(cycles=40, rate=6.0), findings=(found,))
    assert "from cycle 30" not in rates(level).html
    assert "squares odd" not in rates(level).html
    leak = level.leak
    risen = np.where(np.arange(40) < 30, leak.rate, leak.rate + 9.0)
    step = replace(level, leak=replace(leak, rate=risen, rate_lower=risen - 1.0, rate_upper=risen + 1.0))
    assert "from cycle 30" in rates(step).html
    assert "squares odd" in rates(step).html


def test_a_list_of_cycles_never_ends_with_one_more():
    """The last one is named instead of counted; of two or more the count is told."""
    apart = (1, 5, 9, 13, 17, 21, 25, 29)
    assert is_list(apart[:7]) == "1, 5, 9, 13, 17, 21 and 25"
    assert is_list((*apart[:-1], 30)) == "1, 5, 9, 13, 17, 21 and 2 more"
    assert is_list(apart) == "1, 5 and so on to 29, every 4th"
    assert is_list(tuple(range(3, 92, 11))) == "3, 14 and so on to 91, every 11th"
