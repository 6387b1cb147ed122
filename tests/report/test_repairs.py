"""Which repair comes after which outcome, and one name for one fault."""

from dataclasses import replace

import pytest
import stories
from stories import Play

from tracekit.judge import handbook
from tracekit.model.finding import CauseChance, NextStep
from tracekit.report.entries import leave_words, why_leave
from tracekit.report.phrases import cause_name, phrase
from tracekit.report.sections import what_to_do
from tracekit.report.todo import steps
from tracekit.report.why import why_this_cause

LOCK = "Lock out, dump the air, vent the vacuum and prove zero energy first. Receivers store energy."
TEST = NextStep(do="Plug at cup and hose end.", expect_if="Less than 20 %: outside.", expect_else="More: a valve.", minutes=20, caution=f"{LOCK} No soap.")
PROOF = NextStep(do="Record again.", expect_if="Expect: it is back.", expect_else="Not reached: look into the next likely cause.", minutes=30, caution="")
SHOWS = "the leak with the supply off changed by +5.1 kPa/s against the baseline"


def repair(code):
    """The repair of a code as the judgement lists it."""
    return NextStep(
        do=handbook.entry(code).repair.do, expect_if="The test above finds no fault any more: record again.",
        expect_else="No change: look into the next likely cause.", minutes=5, caution=f"{LOCK} Fit the same size.",
    )  # fmt: skip


def leaking(*causes):
    """A leak at the cup with a test, its repair and the proof."""
    found = stories.finding("leak_steady", confidence=0.7, steps=(TEST, repair("leak_steady"), PROOF))
    return stories.result(Play(cycles=30, rate=7.0), findings=(found,), causes=causes, base=stories.HEALTHY)


THREE = (
    CauseChance(code="leak_steady", chance=0.7, reason=SHOWS),
    CauseChance(code="release_valve_leak", chance=0.2, reason=f"not excluded: it would show so too ({SHOWS})", repair=repair("release_valve_leak")),
    CauseChance(code="check_valve_leak", chance=0.1, reason=f"not excluded: it would show so too ({SHOWS})", repair=repair("check_valve_leak")),
)


def test_a_repair_says_after_which_outcome_it_comes():
    """The repair stands behind "if the test finds", and the causes that the test may find instead have theirs."""
    told = steps(leaking(*THREE))
    assert told[1].act.startswith("If the test finds a leak at the cup, hose or a fitting: change the cup")
    others = dict(told[1].more)
    assert list(others) == ["Seeping release valve instead", "Leaking check valve instead"]
    assert others["Leaking check valve instead"].startswith("clean the check valve or fit a new one (")


def test_what_comes_next_is_named():
    """No outcome sends to "the next likely cause" without its name; where none is left, the new page tells."""
    assert dict(steps(leaking(*THREE))[1].results)["No change"] == "release valve next"
    alone = steps(leaking(CauseChance(code="leak_steady", chance=0.98, reason=SHOWS)))
    assert dict(alone[1].results)["No change"] == "record again: the new page tells what is left"
    assert alone[1].more == ()


def test_the_lock_out_is_said_once_in_full():
    """Later steps point to the first that says it, and keep what is their own."""
    first, second, *_ = steps(leaking(*THREE))
    assert first.caution == f"{LOCK} No soap."
    assert second.caution == "Lock out, vent and prove zero energy as in step 1. Fit the same size."


def test_causes_that_show_alike_are_said_to():
    """Where one sign is all that speaks for three causes, the page says so and what parts them."""
    html = why_this_cause(leaking(*THREE), "kPa")
    assert "This log looks the same under leak at the cup, hose or a fitting, seeping release valve and leaking check valve." in html
    other = (THREE[0], replace(THREE[1], reason="against it: the blow-off is unchanged"))
    assert "looks the same" not in why_this_cause(leaking(*other), "kPa")


def test_a_row_that_says_nothing_is_left_out():
    """A cause for which nothing speaks stands in no row beside one that is probable."""
    silent = CauseChance(code="supply_valve_slow", chance=0.01, reason="not excluded, but nothing speaks for it")
    assert cause_name("supply_valve_slow") not in why_this_cause(leaking(THREE[0], silent), "kPa")


def test_a_sign_on_the_cycles_of_the_verdict_comes_from_it():
    """Missed picks that are those of a set point do not come from a leak that is only listed beside."""
    cycles = (3, 7, 11)
    point = stories.finding("set_point_too_high", kind="setting", cycles=cycles, share=0.1)
    leak = stories.finding("leak_steady", severity="info", confidence=0.2, explains=("part_missed",))
    sign = stories.finding("part_missed", kind="symptom", cycles=cycles, share=0.1, title="Picks without a grip")
    html = why_this_cause(stories.result(Play(cycles=30), findings=(point, leak, sign)), "kPa")
    assert "Comes from: set point that is too high." in html
    assert "<dt>Missed picks</dt>" in html


@pytest.mark.parametrize("code", ["collision_or_peel", "release_weak", "flow_restricted"])
def test_a_fault_has_one_name(code):
    """Short names are cut from the long one, and "also found" calls it as the verdict does."""
    words = phrase(code)
    assert set(words.short.split()) <= {*words.noun.replace(",", "").split(), "or"} or code == "flow_restricted"
    main = stories.finding("leak_steady")
    beside = stories.finding(code, title="Another title", severity="info")
    html = why_this_cause(stories.result(Play(cycles=30), findings=(main, beside)), "kPa")
    assert "Another title" not in html
    assert f"<dt>{cause_name(code)}</dt>" in html


def test_a_setting_to_come_down_is_named_with_its_direction():
    """Without a load the advice says which setting, from where, and what decides how far."""
    point = stories.finding("set_point_too_high", kind="setting")
    away = replace(stories.suggestion(), withheld="A setting would have to come down: put [load] into the station file")
    said = why_leave(stories.result(Play(cycles=30), findings=(point,), suggestion=away)).replace("\u00a0", " ")
    assert said == "Lower the set point (now 60.0 kPa), as far as the load allows: give it under [load], run again."


def test_the_time_of_a_blow_off_is_no_vacuum_setting():
    """Its repair may lengthen the blow-off, so only the vacuum settings are left."""
    weak = stories.finding("release_weak")
    away = replace(stories.suggestion(), withheld="Restore the supply pressure first")
    result = stories.result(Play(cycles=30), findings=(weak,), suggestion=away)
    assert leave_words(result) == "Vacuum settings: leave them."
    assert why_leave(result) == "Repair the blow-off first. How long it lasts is set in the controller."


def test_no_help_is_said_shortly():
    """The reason is not the distance between two levels."""
    away = replace(stories.suggestion(), withheld="Leave them: no change clearly helps; the supply resumes 7.6 kPa above the reset point")
    said = why_leave(stories.result(Play(cycles=30), findings=(), suggestion=away))
    assert said == "No change clearly helps."


def test_what_the_engineer_records_stands_behind_what_the_technician_does():
    """File names follow outcome and caution, in a paragraph of their own."""
    test = replace(TEST, do="Plug at cup and hose end. Note the place. To log it: File plug.csv.")
    found = stories.finding("leak_steady", steps=(test, repair("leak_steady"), PROOF))
    html = what_to_do(stories.result(Play(cycles=30, rate=7.0), findings=(found,)), "kPa")
    order = [html.index(words) for words in ("Note the place.", "Less than 20", "No soap.", "To log it: File plug.csv.")]
    assert order == sorted(order)


@pytest.mark.parametrize("also", [(), ("part_dropped",)])
def test_what_drops_the_parts_is_said_where_the_first_fault_does_not(also):
    """A blocked filter drops nothing: the step of the second fault says that it is the one that does."""
    lost = (1, 4, 7)
    filter_ = stories.finding("flow_restricted", steps=(TEST, PROOF), explains=also)
    torn = stories.finding("collision_or_peel", severity="critical", confidence=0.9, steps=(TEST, PROOF), explains=("part_dropped",))
    drop = stories.finding("part_dropped", kind="symptom", severity="critical", cycles=lost, steps=())
    result = stories.result(Play(cycles=40, dropped=lost), findings=(filter_, torn, drop), base=stories.HEALTHY)
    second = next(step.act for step in steps(result) if step.act.startswith("Second fault"))
    assert second.startswith("Second fault, parts torn off in motion: " if also else "Second fault, parts torn off in motion, which drops the parts: ")
