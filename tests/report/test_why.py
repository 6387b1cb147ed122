"""What the page says of causes, drops and tightness: which way, on which cycles, up to which figure."""

from dataclasses import replace

import pytest
import stories
from stories import Play

from tracekit.model.estimate import Bound, Withheld
from tracekit.model.finding import CauseChance, Evidence, NextStep
from tracekit.report.entries import why_leave
from tracekit.report.levels import EVACUATION, note, sentence, timed
from tracekit.report.pictures.groups import groups
from tracekit.report.pictures.hold_rows import hold_rows
from tracekit.report.pictures.rates import rates
from tracekit.report.sections import limits
from tracekit.report.steps_told import GOAL
from tracekit.report.todo import steps
from tracekit.report.verdict import verdict
from tracekit.report.why import why_this_cause
from tracekit.report.words import Num, plain
from tracekit.signal.bands import choose_bands

HALVE = NextStep(
    do="Halve the accelerations and run at least 60 picks.", expect_if="The drops stop: path or acceleration.",
    expect_else="They go on: pick a flat plate next.", minutes=10, caution="Machine running: stay outside the guards.",
)  # fmt: skip
PLATE = NextStep(
    do="Pick a clean flat plate.", expect_if="A new cup halves the fall: the cup leaks.",
    expect_else="Tight on the plate with the old cup: the parts leak.", minutes=10, caution="Plate, never a hand.",
)  # fmt: skip
PROOF = NextStep(
    do="Record again, at least 200 picks.", minutes=30, caution="",
    expect_if="Expect: the fall is back. Here: fall with the supply off at most 0.93 kPa/s, now 6.8 kPa/s.",
    expect_else="Not reached: look into the next likely cause.",
)  # fmt: skip


def words(text):
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def dropping_leak(**knock):
    """A leak that explains drops, with a second suspect for them."""
    lost = (1, 4, 7)
    leak = stories.finding("leak_steady", severity="critical", steps=(PLATE, stories.PINCH, PROOF), explains=("part_dropped",))
    knocked = stories.finding(
        "collision_or_peel", severity="info", confidence=0.3, steps=(HALVE,), explains=("part_dropped",), **knock
    )  # fmt: skip
    drop = stories.finding("part_dropped", kind="symptom", severity="critical", cycles=lost, steps=())
    causes = (CauseChance(code="leak_steady", chance=0.7, reason="r"), CauseChance(code="collision_or_peel", chance=0.3, reason="seen"))
    return stories.result(Play(cycles=40, rate=7.0, dropped=lost), findings=(leak, knocked, drop), causes=causes, base=stories.HEALTHY)


def test_drops_that_a_second_suspect_may_explain_have_a_step():
    """The test of what else may have lost the parts stands after the repair and before the proof, as a test."""
    acts = [step.act for step in steps(dropping_leak())]
    assert acts[-2] == "For the drops, perhaps parts torn off in motion: halve the accelerations and run at least 60 picks"
    assert acts[-1].startswith("Record again")
    assert steps(dropping_leak())[-2].caution.startswith("Run for this test only, area clear. Machine running")


def test_no_step_for_drops_that_did_not_happen_or_that_nothing_else_explains():
    """Without a dropped part, or without another cause of drops, the steps are those of the finding alone."""
    whole = dropping_leak()
    leak, knocked, drop = whole.findings
    unexplained = replace(whole, findings=(leak, replace(knocked, explains=()), drop))
    faint = tuple(replace(c, chance=0.03) if c.code == "collision_or_peel" else c for c in whole.causes)
    assert all("For the drops" not in s.act for s in steps(replace(whole, causes=faint)))
    held = replace(whole, data=stories.data_of(Play(cycles=40, rate=7.0)))
    assert [s.act for s in steps(unexplained)] == [s.act for s in steps(held)]
    assert all("For the drops" not in s.act for s in steps(held))


def test_tight_is_told_with_the_fall_that_the_proof_asks_for():
    """One figure decides what is tight: in the test and in the proof of the repair."""
    told = steps(dropping_leak())
    assert ("Tight (at most 0.93 kPa/s) on the plate with the old cup", "the parts leak") in told[0].results
    assert "at most 0.93 kPa/s" in dict((*told[-1].results, *told[-1].more))[GOAL]
    without = replace(PROOF, expect_if="Expect: the fall is back.")
    found = stories.finding("leak_steady", steps=(PLATE, stories.PINCH, without))
    open_end = steps(stories.result(Play(cycles=12), findings=(found,)))
    assert ("Tight on the plate with the old cup", "the parts leak") in open_end[0].results


@pytest.mark.parametrize(("idle", "told"), [
    (4.5, "Set the zero first. True vacuum is about 4.5 kPa lower than shown: the grip is weaker."),
    (-3.0, "Set the zero first. True vacuum is about 3.0 kPa higher than shown."),
])  # fmt: skip
def test_a_shifted_zero_says_which_way_true_vacuum_differs(idle, told):
    """In plain words and by how much, with the digits that the interval leaves."""
    fact = Evidence(measure="idle_vacuum_kpa", value=idle, lower=idle - 0.4, upper=idle + 0.4, unit="kPa", reference=0.1)
    found = stories.finding("sensor_zero_shift", kind="sensor", evidence=(fact,))
    assert words(why_leave(stories.result(Play(cycles=12), findings=(found,)))) == told


def test_symptoms_say_on_which_cycles():
    """Few cycles one by one, many by their number."""
    whole = dropping_leak()
    often = stories.finding("supply_short_cycling", kind="symptom", cycles=tuple(c for c in range(40) if c % 3), steps=())
    told = words(why_this_cause(replace(whole, findings=(*whole.findings, often)), "kPa"))
    assert "On cycles 1, 4 and 7. Comes from: leak at the cup" in told
    assert "On 26 of 40 cycles." in told


def test_what_speaks_against_a_cause_is_told_as_such():
    """A reason in the table of causes is for a probable cause, else against it."""
    causes = (
        CauseChance(code="exhaust_restricted", chance=0.8, reason="the evacuation between two levels changed by +182 %"),
        CauseChance(code="supply_pressure_low", chance=0.1, reason="the blow-off time is unchanged"),
        CauseChance(code="leak_steady", chance=0.06, reason="not excluded: it would show so too"),
        CauseChance(code="hysteresis_too_small", chance=0.09, reason="the output toggles in 41 of 41 holds"),
    )
    result = replace(stories.slow_suction().stations[0], causes=causes)
    told = words(why_this_cause(result, "kPa"))
    assert ">Against it: the blow-off time is unchanged." in told
    assert ">The evacuation between two levels changed" in told
    assert ">Not excluded: it would" in told
    assert ">The output toggles in 41 of 41 holds." in told
    rival = tuple(replace(c, chance=0.2) if c.code == "supply_pressure_low" else c for c in causes)
    assert ">The blow-off time is unchanged." in words(why_this_cause(replace(result, causes=rival), "kPa"))


def test_a_long_goal_is_told_whole():
    """What a proof expects is not cut in its middle."""
    long = "Expect: open-cup vacuum at the generator is back at its baseline. " + "Evacuation is as quick as before. " * 5
    proof = replace(PROOF, expect_if=f"{long}Here: over-pressure of the blow-off at most 7.7 kPa, now 32.0 kPa.")
    told = steps(stories.result(Play(cycles=12), findings=(stories.finding("flow_restricted", steps=(PLATE, stories.PINCH, proof)),)))
    assert (GOAL, "over-pressure of the blow-off at most 7.7 kPa, now 32.0 kPa") in told[-1].more


def test_levels_are_those_of_the_judgement():
    """The note names the levels by which both logs were judged, only where a reason speaks of them."""
    result = stories.slow_suction().stations[0]
    own = choose_bands((result.data, result.baseline))
    assert words(plain(timed(EVACUATION, result))) == f"evacuation from {own.rise_low:.0f} to {own.rise_high:.0f} kPa"
    said = words(plain(note(result, ("the blow-off time is unchanged",))))
    assert f"evacuation from {own.rise_low:.0f} to {own.rise_high:.0f} kPa" in said
    assert f"blow-off from {own.fall_high:.0f} to {own.fall_low:.0f} kPa" in said
    assert "levels that usual cycles pass" in said
    assert note(result, ("no dips in the hold",)) == ()
    assert sentence("idle_vacuum_kpa", result, Num(value=1.0)) is None


def test_some_picks_leak_and_the_test_decides_between_part_and_nest():
    """The headline says what is known; the lead names the column that parts the groups, and that the test decides."""
    whole = stories.by_part().stations[0]
    said = verdict(whole)
    assert said.headline == "A leak on some picks only"
    told = words(plain(said.lead))
    assert ", all with part tile 30; the others 0.5 kPa/s. Part or nest: step 1 tells." in told
    unnamed = tuple(replace(g, by="rate", label="larger leak") for g in whole.leak.groups)
    found = replace(whole, leak=replace(whole.leak, groups=unnamed))
    assert "all with" not in plain(verdict(found).lead)
    assert "Groups as found in the rates." in plain(groups(found).caption)
    assert "Grouped by part." in plain(groups(whole).caption)


def test_a_way_to_a_decay_is_told_once_and_what_shares_a_reason_together():
    """Three withheld figures do not repeat the same recipe."""
    recipe = "To get a decay on purpose: close the supply with a part held."
    never = f"The supply is never cut in a hold. {recipe}"
    whole = stories.result(Play(cycles=12), leak=stories.leak_of(stories.data_of(Play(cycles=12)), withheld=never))
    found = replace(whole, leak_rate_l_min_anr=Withheld(never), leak_change=Withheld(f"Supply may be behind it. {recipe}"))
    told = words(limits(found, "kPa"))
    assert told.count("To get a decay on purpose") == 1
    assert "<dt>Fall of vacuum with the supply closed, leak in litres per minute</dt>" in told
    assert "<dd>Supply may be behind it.</dd>" in told


def test_rates_below_their_bound_say_what_they_may_share():
    """Where the log gives a bound alone, the picture of the cycles' rates says how it goes with them."""
    whole = stories.torn_cup().stations[0]
    below = Bound(limit=0.55, status="upper_bound", unit="kPa/s", n=95, method="pooled")
    drawn = rates(replace(whole, leak=replace(whole.leak, decay_rate=below)))
    assert words(plain(drawn.caption)).endswith("All may share an error: with it the leak is less than 0.55 kPa/s.")
    assert "All may share" not in plain(rates(whole).caption)


def test_motion_dips_lead_with_the_dip():
    """Of several measures of dips in motion the dip itself stands in the verdict."""
    facts = tuple(
        Evidence(measure=name, value=now, lower=now - 0.8, upper=now + 0.8, unit="kPa", reference=before, reference_source="baseline")
        for name, now, before in (("fall just after the cut", 4.0, 2.0), ("deepest dip of the hold", 2.5, 0.6))
    )
    found = stories.finding("motion_dips", evidence=facts, cycles=tuple(range(26)), share=0.5)
    told = words(plain(verdict(stories.result(Play(cycles=52), findings=(found,))).lead))
    assert told == "Vacuum dips by 2.5 kPa (1.7 to 3.3) in the hold, on 26 of 52 cycles. Baseline: 0.6."


def test_a_second_fault_whose_test_runs_the_machine_says_that_it_is_for_the_test():
    """Where parts fall, every step that runs the machine is marked, not the first alone."""
    leak = stories.finding("leak_steady", severity="critical", steps=(PLATE, stories.PINCH, PROOF))
    knocked = stories.finding("collision_or_peel", severity="critical", confidence=0.9, steps=(HALVE, stories.PINCH, PROOF))
    told = steps(stories.result(Play(cycles=40, dropped=(3, 4, 5)), findings=(leak, knocked)))
    second = next(step for step in told if step.act.startswith("Second fault"))
    assert second.caution.startswith("Run for this test only, area clear. Machine running")


def test_groups_without_a_column_are_named_by_their_leak_beside_the_rows():
    """The margin of the holds says of what a group has less or more."""
    whole = stories.by_part().stations[0]
    labels = ("smaller leak", "larger leak")
    parted = tuple(replace(g, by="rate", label=label) for g, label in zip(whole.leak.groups, labels, strict=True))
    drawn = hold_rows(replace(whole, leak=replace(whole.leak, groups=parted))).html
    assert ">small leak<" in drawn
    assert ">large leak<" in drawn


def test_the_code_of_a_finding_leads_to_the_handbook():
    """A page says how to ask for all about its first finding, and the handbook calls it as the page does."""
    html = why_this_cause(stories.torn_cup().stations[0], "kPa")
    assert "tracekit explain leak_steady" in html
    assert "tracekit explain" not in why_this_cause(stories.healthy().stations[0], "kPa")
