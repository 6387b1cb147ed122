"""Two faults that are both there: told together, what drops the parts, and figures of a blow-off and of a dip."""

from dataclasses import replace

import numpy as np
import stories
from plays import Play

from tracekit.model.finding import CauseChance, Evidence
from tracekit.options.report import ReportOptions
from tracekit.report.entries import why_leave
from tracekit.report.pictures.dip import dip
from tracekit.report.sections import steps_in_full
from tracekit.report.terminal import first_screen
from tracekit.report.todo import steps, to_record
from tracekit.report.verdict import verdict
from tracekit.report.why import why_this_cause
from tracekit.report.words import plain


def test_two_found_beside_each_other_are_told_as_both():
    """Not "either … or" of the first and its rival: the second is above info too, and its own rival has a step."""
    result = stories.perhaps_two().stations[0]
    said = verdict(result)
    assert said.headline == "Perhaps both weak blow-off and low air pressure"
    assert "Second: low air pressure or silencer." in said.reasons
    acts = [step.act for step in steps(result)]
    assert any(act.startswith("Perhaps a second fault, low compressed-air pressure") for act in acts)
    assert any(act.startswith("Or a clogged silencer or nozzle") for act in acts)
    assert "Perhaps both: 1. Weak or late blow-off" in first_screen(stories.record(result), None)


def test_many_steps_stand_in_full_on_the_second_sheet():
    """The first sheet keeps acts and cautions; what each outcome means follows."""
    assert steps_in_full(stories.perhaps_two().stations[0], "kPa").count("<li") == len(steps(stories.perhaps_two().stations[0])) >= 5
    assert not steps_in_full(stories.torn_cup().stations[0], "kPa")


def test_the_fault_whose_cycles_are_the_dropped_ones_drops_the_parts():
    """A fault of every cycle may help; the other one is named."""
    play = Play(cycles=40, dropped=(3, 9, 20))
    first = stories.finding("flow_restricted", severity="critical", confidence=0.96, explains=("part_dropped",), cycles=tuple(range(40)))
    torn = stories.finding("collision_or_peel", severity="critical", confidence=0.83, explains=("part_dropped",), cycles=(3, 9, 20))
    result = stories.result(play, findings=(first, torn))
    assert verdict(result).reasons == "3 parts dropped by the second: parts torn off."
    assert any(step.act.startswith("Second fault, parts torn off in motion, which drops the parts") for step in steps(result))
    everywhere = replace(torn, cycles=tuple(range(40)))
    assert "by the second" not in verdict(replace(result, findings=(first, everywhere))).reasons


def test_a_blow_off_that_is_on_too_short_says_how_long():
    """How long the command lasts and how long the release takes."""
    left = Evidence(measure="residual_vacuum_kpa", value=30.0, unit="kPa", lower=27.0, upper=32.0, cycles=40)
    result = stories.result(Play(cycles=40), findings=(stories.finding("release_weak", evidence=(left,)),))
    timing = {**result.data.timing, "release_s": np.zeros(40), "release_end_s": np.full(40, 0.05)}
    lead = plain(verdict(replace(result, data=replace(result.data, timing=timing))).lead).replace("\u00a0", " ")
    assert lead.endswith("It is on for 0.050 s, needs 0.070 s.")
    assert "It is on for" not in plain(verdict(result).lead)


def _dipped(data):
    """The same station with a fall by 3 kPa from 0.5 to 0.6 s after part present, gone at 0.9 s."""
    since = data.bins.time_s - data.cycles.floats("hold_start_s")[data.bins.cycle]
    deep = 3.0 * np.interp(since, [0.5, 0.6, 0.8, 0.9], [0.0, 1.0, 1.0, 0.0], left=0.0, right=0.0)
    return replace(data, bins=replace(data.bins, pressure_kpa=data.bins.pressure_kpa + deep))


def test_a_dip_is_drawn_with_its_time():
    """Where the fall begins after part present; no picture without one."""
    sound = stories.result(Play(cycles=40), base=Play(cycles=40, seed=2))
    assert dip(sound) is None
    shown = dip(replace(sound, data=_dipped(sound.data)))
    assert shown is not None
    said = plain(shown.heading).replace("\u00a0", " ")
    assert said in ("Vacuum dips 0.48 s after part present. In the baseline it does not.",
                    "Vacuum dips 0.50 s after part present. In the baseline it does not.")  # fmt: skip


def test_a_dip_of_some_cycles_is_drawn_of_those():
    """Where a finding names a part of the cycles, their dip is drawn, not the median of all, which may have none."""
    whole = stories.result(Play(cycles=40), base=Play(cycles=40, seed=2))
    some = tuple(range(26, 40))
    deep, plainly = _dipped(whole.data), whole.data
    both = np.where(plainly.bins.cycle >= 26, deep.bins.pressure_kpa, plainly.bins.pressure_kpa)
    found = stories.finding("motion_dips", cycles=some, share=len(some) / 40)
    mixed = replace(whole, data=replace(plainly, bins=replace(plainly.bins, pressure_kpa=both)), findings=(found,))
    shown = dip(mixed)
    assert shown is not None
    assert plain(shown.heading).replace("\u00a0", " ").startswith(("Vacuum dips 0.48 s", "Vacuum dips 0.50 s"))
    assert "the 14 cycles with the fault" in plain(shown.caption)
    assert dip(replace(mixed, findings=())) is None


def test_a_figure_in_a_sentence_of_the_terminal_is_rounded_once():
    """In another unit it comes from the unrounded value: 17.649 kPa are 2.56 psi, while 17.6 would be 2.55."""
    fact = Evidence(measure="open_cup_vacuum_kpa", value=17.649, unit="kPa", lower=17.3, upper=18.0, cycles=40)
    test = replace(stories.BLANK, do="Look. The gauge reads 17.6 kPa now.")
    found = stories.finding("flow_restricted", steps=(test,), evidence=(fact,))
    text = first_screen(stories.record(stories.result(Play(cycles=40), findings=(found,))), None, options=ReportOptions(unit="psi"))
    assert "The gauge reads 2.56 psi now." in text


def test_the_volume_is_asked_for_only_where_it_is_what_lacks():
    """Without a rate no volume gives a flow."""
    asked = "Put the volume under vacuum into the station file: tracekit volume measures it."
    withheld = stories.withheld().stations[0]
    assert asked not in to_record(withheld)
    assert asked in to_record(stories.torn_cup().stations[0])


def test_a_sound_log_has_its_answer_first_among_the_chances():
    """The largest chance heads the table."""
    causes = (CauseChance(code="leak_steady", chance=0.04, reason="seen"), CauseChance(code="none", chance=0.96, reason="as ever"))
    html = why_this_cause(replace(stories.healthy().stations[0], causes=causes), "kPa")
    assert html.index("Nothing wrong") < html.index("Leak at the cup")


def test_a_leak_beside_the_first_fault_has_its_figure():
    """Both faults are told with what was measured, and both are to be repaired before a setting is changed."""
    overlap = Evidence(measure="overlap_s", value=31.0, unit="cycles", text="Supply and release are on together.")
    first = stories.finding("valves_overlap", kind="setting", confidence=0.95, share=31 / 40, cycles=tuple(range(31)), evidence=(overlap,))
    leak = stories.finding("leak_steady", confidence=0.95)
    result = stories.result(Play(cycles=40, rate=25.0), findings=(first, leak), base=stories.HEALTHY)
    said = verdict(result)
    told = plain(said.lead).replace("\u00a0", " ")
    assert told.startswith("Supply and release are on together on 31 of 40 cycles. Vacuum falls 2")
    assert "; baseline 0.5." in told or "; baseline 0.4." in told
    assert said.action == "Plan both repairs."
    waiting = replace(result, suggestion=replace(stories.suggestion(), settings=(), withheld="repair the leak first"))
    assert why_leave(waiting) == "Repair both faults first."


def test_a_cause_that_is_not_named_is_not_tested_first():
    """A test for a rival that stands in no row comes after the finding's own, as what is left when that changes nothing."""
    bag = replace(stories.BLANK, do="Hang a light bag over the open cup.", expect_if="It fills: the release valve.", expect_else="It stays flat: not the valve.")
    own = stories.cause("leak_steady", 0.6)
    fix = replace(stories.PINCH, do="Change the cup.", expect_if="The test above finds no fault any more: record again.", expect_else="No change: release valve next.")
    found = stories.finding("leak_steady", alternatives=("release_valve_leak",), steps=(bag, fix, stories.AGAIN))
    rare = stories.result(Play(cycles=40, rate=9.0), findings=(found,), causes=(own, stories.cause("release_valve_leak", 0.02)))
    acts = [step.act for step in steps(rare)]
    assert acts[0].startswith("Pick a clean flat plate")
    assert acts[1].startswith("If the test finds a leak at the cup, hose or a fitting: change the cup")
    assert acts[2].startswith("If that changes nothing: hang a light bag")
    near = replace(rare, causes=(own, stories.cause("release_valve_leak", 0.3)))
    assert steps(near)[0].act.startswith("Hang a light bag")


def test_a_lead_without_room_for_the_share_says_since_when():
    """An evacuation with its interval and baseline leaves no room for how many cycles: from which on stands there."""
    slow = Evidence(measure="evacuation between two levels", value=0.0897, unit="s", lower=0.0852, upper=0.0945, reference=0.0683, reference_source="baseline", cycles=6)
    found = stories.finding("supply_pressure_low", evidence=(slow,), share=6 / 40, cycles=tuple(range(34, 40)))
    result = stories.result(Play(cycles=40), findings=(replace(found, onset_cycle=34),), base=Play(cycles=40, seed=2))
    told = plain(verdict(result).lead).replace("\u00a0", " ")
    assert "since cycle 34" in told
    assert told.endswith("Baseline: 0.068.")


def test_the_terminal_leaves_recording_to_the_page():
    """How a test is logged would fill the screen and be cut in mid-sentence."""
    test = replace(stories.BLANK, do="Pick a plate. Look at the gauge. To log it: Files plate.csv and so on.")
    text = first_screen(stories.record(stories.result(Play(cycles=40), findings=(stories.finding("leak_steady", steps=(test,)),))), None)
    assert "Look at the gauge." in text
    assert "To log it" not in text


def test_the_log_s_own_overlap_is_told():
    """The test asks how long both commands are on: what this log has of it stands beside the question."""
    found = stories.finding("valves_overlap", kind="setting", cycles=(1, 2, 3))
    result = stories.result(Play(cycles=10), findings=(found,))
    both = np.zeros(10)
    both[1:4] = 0.06
    told = steps(replace(result, data=replace(result.data, timing={**result.data.timing, "overlap_s": both})))[0]
    assert told.how.startswith("This log has both on for 60 ms (median of 3 cycles).")
    assert "This log has both" not in steps(result)[0].how
