"""What a page says in one place agrees with what it shows or says in another."""

import re
from dataclasses import replace

import numpy as np
import stories
from stories import Play

from tracekit.judge import handbook
from tracekit.model.finding import CauseChance, Detectable, Evidence, NextStep
from tracekit.model.result import BudgetLine
from tracekit.model.trace import LogFacts
from tracekit.report import sections, why
from tracekit.report.doubt import since
from tracekit.report.entries import leave_words, why_leave
from tracekit.report.pictures.blowoff import blowoff
from tracekit.report.pictures.budget import budget
from tracekit.report.pictures.chatter import chatter
from tracekit.report.pictures.choose import choose
from tracekit.report.pictures.hold_rows import hold_rows
from tracekit.report.pictures.overlay import _plot, overlay
from tracekit.report.pictures.pulldown import _heading, pulldown
from tracekit.report.pictures.strip import strip
from tracekit.report.ruled import causes_map
from tracekit.report.todo import steps
from tracekit.report.verdict import verdict
from tracekit.report.view import is_list
from tracekit.report.words import plain

LOGS: tuple[LogFacts, ...] = (stories.FACTS,)


def said(picture):
    """Heading and caption with plain spaces."""
    return f"{plain(picture.heading)} {plain(picture.caption)}".replace("\u00a0", " ").replace("\u202f", " ")


def with_cycles(result, **columns):
    """The result with some columns of its cycles replaced."""
    return replace(result, data=replace(result.data, cycles=result.data.cycles.with_columns(**columns)))


def test_a_line_below_the_peak_it_is_headed_with_says_why():
    """Cycles that peak at different times leave their median below the usual peak; where it reaches it nothing is said."""
    plain_result = stories.torn_cup().stations[0]
    top = max(row[1] for row in overlay(plain_result).rows if row[1] is not None)
    n = len(plain_result.data.cycles)
    above = with_cycles(plain_result, peak_vacuum_kpa=np.full(n, top + 1.0))
    level = with_cycles(plain_result, peak_vacuum_kpa=np.full(n, top))
    assert "Cycles peak at different times, so the line stays below." in said(overlay(above))
    assert "different times" not in said(overlay(level))


def test_numbers_of_lines_that_end_together_are_not_printed_over_each_other():
    """Of lines that end close together only the numbers with room are printed; lines far apart keep all of theirs.

    In a bundle a number would belong to no line: there is none.
    """
    data = stories.result(Play(cycles=12)).data
    grid = np.linspace(0.0, 3.0, 20)
    usual = (np.full(20, 69.0), np.full(20, 70.0), np.full(20, 71.0))
    early = {c: (np.linspace(0.0, 0.3, 10), np.linspace(0.0, 40.0 + 0.1 * c, 10)) for c in (1, 4, 7, 9)}
    late = {c: (np.linspace(0.0, 3.0, 10), np.linspace(0.0, 7.0 * c, 10)) for c in (1, 4, 7, 9)}
    bundle = {c: (np.linspace(0.0, 3.0, 10), np.linspace(0.0, 40.0 + 0.1 * c, 10)) for c in (1, 4, 7, 9)}

    def numbers(named):
        return [label for label in _plot(data, grid, usual, named).labels if "t-odd" in label.style]

    assert len(numbers(early)) <= 1
    assert len(numbers(late)) == 4
    assert numbers(bundle) == []


def test_thresholds_without_a_gap_are_not_a_negative_gap():
    """A reset point at or above the set point is told as such, and its name stands above the other's."""
    result = stories.chattering().stations[0]
    settings = {**result.data.settings, "reset_point": replace(result.data.settings["reset_point"], value_kpa=60.3)}
    picture = chatter(replace(result, data=replace(result.data, settings=settings)))
    assert "no gap shows, so the output flips." in said(picture)
    assert "apart" not in said(picture)
    labels = re.findall(r'y="([\d.]+)%" dx="6" dy="(-?\d+)">(reset|set) ', picture.html)
    height = {name: float(y) * 2.4 + int(dy) for y, dy, name in labels}
    assert height["set"] - height["reset"] >= 16.0


def test_the_last_cycle_is_no_longer_than_the_others():
    """A log that runs on after the last cycle says so, and the last mark does not cover it."""
    result = stories.result(Play(cycles=20))
    strip_of = result.data.strip
    ends = result.data.cycles.floats("end_s").copy()
    ends[-1] += 100.0
    time = strip_of.time_s.copy()
    time[-1] = ends[-1]
    long = with_cycles(result, end_s=ends)
    long = replace(long, data=replace(long.data, strip=replace(strip_of, time_s=time)))
    assert re.search(r"The log runs on for (99|100|101) s after the last cycle\.", said(strip(long, LOGS)))
    assert "No cycle in the last" not in said(strip(result, LOGS))
    tick = re.search(r'class="r5 tick" d="([^"]+)"', strip(long, LOGS).html)
    start, stop = (float(v) for v in re.findall(r"M([\d.]+) [\d.]+H([\d.]+)", tick[1])[-1])
    assert stop - start < 1000.0 * 2.0 * 3.6 / time[-1]


def test_bars_of_lost_parts_are_no_refills_of_a_hold():
    """Dropped cycles show the supply coming on again; the heading counts held ones alone, so the caption says it."""
    result = stories.result(Play(cycles=30, dropped=(7, 19), rate=8.0))
    text = said(hold_rows(result))
    drawn = {row[0] for row in hold_rows(result).rows} & {7, 19}
    assert drawn
    assert "where the part was dropped, count as no refills." in text
    assert "where the part was dropped" not in said(hold_rows(stories.result(Play(cycles=30, rate=8.0))))


def test_red_bars_are_explained():
    """Refills are red where the finding is about them, and then the caption says what red means."""
    assert "(red: the finding is about them)" in said(hold_rows(stories.torn_cup().stations[0]))
    assert "red" not in said(hold_rows(stories.healthy().stations[0]))


def test_a_time_limit_is_told_with_the_times_that_it_stands_between():
    """When picks are given up and what 95 % of the good ones need stand in the first step."""
    missed = (3, 9, 14)
    found = stories.finding("timeout_too_short", cycles=missed, share=0.1, kind="setting")
    result = stories.result(Play(cycles=30, missed=missed), findings=(found,))
    edges, starts = result.data.edges, result.data.cycles.floats("start_s")
    off = [
        float(edges.floats("time_s")[k] - starts[edges.codes("cycle")[k]])
        for k in range(len(edges))
        if edges.texts("signal")[k] == "release" and edges.codes("value")[k] == 1 and edges.codes("cycle")[k] in missed
    ]
    need = float(np.nanquantile(result.data.cycles.floats("evacuation_time_s"), 0.95))
    how = steps(result)[0].how
    assert f"given up after {np.median(off):.3g} s" in how
    assert f"need at most {need:.3g} s. 1.5 times that is {1.5 * need:.3g} s." in how


def test_nothing_found_is_not_headed_as_a_danger():
    """Where no cause is left, the row that completes the sum says that there is no fault."""
    result = replace(stories.healthy().stations[0], causes=())
    told = why.why_this_cause(result, "kPa")
    assert "Nothing wrong" in told
    assert "Something else" not in told
    assert "Something else, or nothing" in why.why_this_cause(stories.torn_cup().stations[0], "kPa")


def test_a_symptom_names_every_cause_it_may_come_from():
    """Lost parts beside a leak and a second cause that explains them too come from either."""
    leak = stories.finding("leak_steady", explains=("part_dropped",), confidence=0.7)
    torn = stories.finding("collision_or_peel", explains=("part_dropped",), confidence=0.3, severity="info")
    lost = stories.finding("part_dropped", kind="symptom", cycles=(3,), share=0.03)
    result = stories.result(Play(cycles=30, dropped=(3,)), findings=(leak, torn, lost))
    told = why.why_this_cause(result, "kPa")
    assert "Comes from: leak at the cup, hose or a fitting, or parts torn off in motion." in told


def test_a_cause_of_the_motion_leaves_the_vacuum_settings_alone():
    """Accelerations and timers are settings too: only those of the vacuum are to be left."""
    timer = stories.result(Play(cycles=30), findings=(stories.finding("timeout_too_short", kind="setting"),))
    assert leave_words(timer) == "Vacuum settings: leave them."
    assert why_leave(timer) == "The time-out is set in the controller, as the steps say."
    found = stories.finding("collision_or_peel")
    assert leave_words(stories.result(Play(cycles=30), findings=(found,))) == "Vacuum settings: leave them."


def test_a_long_reason_is_not_cut_in_its_middle():
    """A reason of three sentences is told whole."""
    reason = "One measure has changed with another. " * 9 + "Then do this and that."
    result = replace(stories.withheld().stations[0])
    result = replace(result, leak=replace(result.leak, decay_rate=replace(result.leak.decay_rate, reason=reason)))
    told = sections.limits(result, "kPa")
    assert "Then do this and that." in told
    assert "…" not in told


def test_a_late_valve_is_pictured_by_its_delay():
    """Curves that are aligned hide a delay, so the heading tells it, as the verdict does."""
    fact = Evidence(measure="response_delay_s", value=0.116, unit="s", reference=0.021, reference_source="baseline")
    found = stories.finding("supply_valve_slow", evidence=(fact,))
    result = stories.result(Play(cycles=30), findings=(found,), base=Play(cycles=30, seed=4))
    assert said(pulldown(result)).startswith("Vacuum starts 0.116 s after the command, in the baseline 0.021 s;")
    other = stories.result(
        Play(cycles=30), findings=(stories.finding("leak_steady", evidence=(fact,)),), base=Play(cycles=30, seed=4)
    )
    assert "Vacuum starts" not in said(pulldown(other))


def test_picks_that_never_reach_the_set_point_are_told_with_both_levels():
    """How far they came and the set point stand in the heading."""
    missed = (3, 9, 14, 20)
    found = stories.finding("timeout_too_short", cycles=missed, share=0.13, kind="setting")
    result = stories.result(Play(cycles=30, missed=missed), findings=(found,))
    top = float(np.median(result.data.cycles.floats("peak_vacuum_kpa")[list(missed)]))
    level = result.data.settings["set_point"].value_kpa
    part = np.isin(np.arange(30), missed)
    told = plain(_heading(result, part, False)[0]).replace("\u00a0", " ")
    assert told == f"Vacuum comes to {top:.1f} kPa; the set point is {level:.1f} kPa."


def test_a_second_fault_is_repaired_and_pictured_too():
    """Its test, its repair with what it comes to, and its picture stand on the page."""
    leak = stories.finding("leak_steady", confidence=0.97)
    fix = NextStep(
        do="Open the throttle. Go slowly.", expect_if="Better: record.", expect_else="", minutes=10, caution=""
    )
    proof = NextStep(
        do="Record again.", expect_if="Expect: none. Here: vacuum left at most 2.0 kPa, now 13.8 kPa.", expect_else="",
        minutes=30, caution="",
    )  # fmt: skip
    weak = stories.finding("release_weak", confidence=0.95, steps=(stories.PINCH, fix, proof))
    result = stories.result(Play(cycles=30, rate=7.0), findings=(leak, weak), base=Play(cycles=30, seed=4))
    told = steps(result)
    acts = [s.act for s in told]
    at = acts.index("Its repair: open the throttle")
    assert acts[at - 1].startswith("Second fault, weak or late blow-off: ")
    assert ("Goal", "vacuum left at most 2.0 kPa, now 13.8 kPa") in told[at].more
    assert "blowoff" in [p.id for p in choose(result, LOGS)[1]]
    alone = replace(result, findings=(leak,))
    assert not any(a.startswith("Its repair") for a in [s.act for s in steps(alone)])


def test_a_finding_that_lasts_to_the_end_says_since_when():
    """From its onset on, where all cycles from there show it."""
    found = stories.finding("sensor_zero_shift", cycles=tuple(range(20, 30)), share=1 / 3, onset_cycle=20)
    assert since(found, 30) == " since cycle 20"
    assert since(replace(found, cycles=(20, 24)), 30) == ""
    assert since(replace(found, onset_cycle=None), 30) == ""
    fact = Evidence(measure="idle_vacuum_kpa", value=4.5, unit="kPa", reference=0.1, reference_source="baseline")
    result = stories.result(Play(cycles=30), findings=(replace(found, evidence=(fact,)),), base=Play(cycles=30, seed=4))
    assert "on 10 of 30 cycles since cycle 20." in plain(verdict(result).lead).replace("\u00a0", " ")


def test_what_the_log_leaves_open_is_listed_before_what_it_rules_out():
    """Beside a likely cause the rows name the ones that would show so too, then those ruled out."""
    causes = (
        CauseChance(code="leak_steady", chance=0.95, reason="r"),
        CauseChance(code="supply_valve_slow", chance=0.02, reason="no late answers"),
        CauseChance(code="check_valve_leak", chance=0.001, reason="not excluded: it would show so too"),
        CauseChance(code="release_valve_leak", chance=0.001, reason="not excluded: it would show so too"),
    )
    result = replace(stories.torn_cup().stations[0], causes=causes)
    told = why.why_this_cause(result, "kPa")
    assert "Leaking check valve" in told
    assert "Seeping release valve" in told
    assert "Slow supply valve" not in told


def test_an_unseen_cause_has_the_same_reason_in_both_places():
    """Where the log does not show a cause's measure, the map says that and not that nothing speaks for it."""
    causes = (
        CauseChance(code="leak_steady", chance=0.95, reason="r"),
        CauseChance(code="check_valve_leak", chance=0.01, reason="not excluded, but nothing speaks for it"),
    )
    unseen = Detectable(
        code="check_valve_leak", measure="m", smallest=None, unit="kPa/s", why="the log does not show this measure"
    )
    result = replace(stories.torn_cup().stations[0], causes=causes, detectable=(unseen,))
    told = causes_map(result, "kPa")[1]
    assert "The log does not show this measure." in told
    assert "Nothing speaks for it" not in told


def test_small_uncertainties_are_not_all_zero():
    """The table of the budget has the digits that its bars have."""
    lines = tuple(BudgetLine(source=s, u_kpa_s=u, common=True) for s, u in (("noise", 0.0088), ("sensor gain", 0.0041)))
    result = stories.torn_cup().stations[0]
    picture = budget(replace(result, leak=replace(result.leak, budget=lines)))
    assert re.findall(r">0\.00\d+<", sections.shown(picture, "kPa").rows[0][1])


def test_lists_of_cycles_have_one_last_and():
    """Two cycles in a row are told one by one."""
    assert is_list([0, 19, 23, 24, 33]) == "0, 19, 23, 24 and 33"
    assert is_list([1, 2, 3, 7]) == "1 to 3 and 7"
    assert is_list([4, 5]) == "4 and 5"


def test_a_shifted_zero_is_pictured_by_the_reading_with_nothing_on():
    """The lead shows the idle reading of every cycle, not the refills nor the release; the release names it too."""
    fact = Evidence(measure="idle_vacuum_kpa", value=4.5, unit="kPa", reference=0.1, reference_source="baseline")
    found = stories.finding("sensor_zero_shift", evidence=(fact,))
    result = stories.result(Play(cycles=30), findings=(found,), base=Play(cycles=30, seed=4))
    lead, _ = choose(result, LOGS)
    assert lead.id == "at-rest"
    assert said(blowoff(result)).startswith(
        "The release is shifted: with nothing on the reading is 4.5 kPa; in the baseline 0.1 kPa."
    )
    leak = replace(result, findings=(stories.finding("leak_steady", evidence=(fact,)),))
    assert "is shifted" not in said(blowoff(leak))


def test_a_sound_zero_is_explained_on_the_side_it_was_read():
    """What a zero shown with the port open means follows the sign of the reading: below zero it was no vacuum."""
    test = handbook.entry("sensor_zero_shift").test
    told = {}
    for value in (-2.5, 4.5):
        fact = Evidence(measure="idle_vacuum_kpa", value=value, unit="kPa", reference=0.0, reference_source="baseline")
        step = NextStep(do="Open the port.", expect_if=test.expect_if, expect_else=test.expect_else, minutes=3, caution="")
        found = stories.finding("sensor_zero_shift", evidence=(fact,), steps=(step, stories.AGAIN))
        result = stories.result(Play(cycles=30), findings=(found,), base=Play(cycles=30, seed=4))
        told[value] = dict(steps(result)[0].results)["Within 0.5 kPa of zero with the port open"]
    assert told[-2.5].startswith("over-pressure was left")
    assert told[4.5].startswith("vacuum was left")
