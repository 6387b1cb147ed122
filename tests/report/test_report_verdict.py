"""The answer in words, its limits of length and its tested clauses."""

import re
from dataclasses import replace

import numpy as np
import pytest
import stories
from stories import Play

from tracekit.model.estimate import Bound
from tracekit.model.finding import CODES, CauseChance, Evidence
from tracekit.report.fitting import HEADLINE_MOST, LEAD_MOST
from tracekit.report.page import station_page
from tracekit.report.phrases import cause_name, phrase, without_article
from tracekit.report.pictures.fall import fall
from tracekit.report.pictures.rates import rates
from tracekit.report.second import both_told, second_fault
from tracekit.report.steps_told import step_of
from tracekit.report.terminal import first_screen
from tracekit.report.todo import lasting, steps, to_record
from tracekit.report.verdict import URGENCY_MOST, verdict
from tracekit.report.words import plain

PLAY = Play(cycles=12)


@pytest.fixture(scope="module")
def plain_result():
    """A small result without findings."""
    return stories.result(PLAY)


def lead(result):
    """The lead as plain text with plain spaces."""
    return plain(verdict(result).lead).replace("\u00a0", " ")


@pytest.mark.parametrize("code", sorted(CODES))
def test_every_code_fits_its_place(code, plain_result):
    """For every code and strength the headline, lead and urgency keep to their length and name no code."""
    kind = CODES[code]
    assert phrase(code).noun
    assert len(phrase(code).noun) <= 37
    assert len(phrase(code).short) <= 24
    assert len(phrase(code).rival) <= 15
    for confidence, rivals in ((0.97, ()), (0.85, ()), (0.65, ()), (0.55, ("check_valve_leak",)), (0.9, ("flow_restricted",))):
        found = stories.finding(code, kind=kind, confidence=confidence, alternatives=rivals, title="Title of the finding")
        causes = (CauseChance(code=code, chance=0.5, reason="r"), *(CauseChance(code=r, chance=0.4, reason="r") for r in rivals))
        said = verdict(replace(plain_result, findings=(found,), causes=causes))
        assert 5 < len(said.headline) <= HEADLINE_MOST
        assert len(plain(said.lead)) <= LEAD_MOST
        assert len(f"{said.action} {said.reasons}") <= URGENCY_MOST
        assert "_" not in said.headline + plain(said.lead) + said.reasons


def test_strength_stands_before_the_cause(plain_result):
    """Confidence chooses flat, very likely or probably."""
    heads = [
        verdict(replace(plain_result, findings=(stories.finding("release_weak", confidence=c),), causes=())).headline
        for c in (0.96, 0.85, 0.7)
    ]
    assert heads == ["A weak or late blow-off", "Very likely a weak or late blow-off", "Probably a weak or late blow-off"]


def test_a_restriction_leads_with_the_evacuation(plain_result):
    """Of several measures that speak for a blocked filter the evacuation stands in the verdict, not the blow-off."""
    facts = tuple(
        Evidence(measure=name, value=now, unit="s", reference=before, reference_source="baseline")
        for name, now, before in (("blow-off between two levels", 0.019, 0.03), ("evacuation between two levels", 0.19, 0.13))
    )
    found = replace(stories.finding("flow_restricted"), evidence=facts)
    assert lead(replace(plain_result, findings=(found,))).startswith("Evacuation from 25 to 55 kPa takes 0.19 s")


def test_a_close_rival_is_named():
    """A rival within a factor of two makes it "either … or"; one beyond does not."""
    close = stories.no_baseline().stations[0]
    assert verdict(close).headline == "Either a cup-side leak or a leaking check valve"
    far = (CauseChance(code="leak_steady", chance=0.9, reason=""), CauseChance(code="check_valve_leak", chance=0.1, reason=""))
    sure = replace(close, causes=far, findings=(replace(close.findings[0], confidence=0.9),))
    assert verdict(sure).headline == "Very likely a leak at the cup, hose or a fitting"
    assert verdict(sure).reasons.endswith("Cause: 9 in 10 likely; else check valve.")


def test_leak_lead_holds_rate_share_and_baseline():
    """The lead of a leak has its interval, its cycles and the baseline, the last only where there is one."""
    result = stories.torn_cup().stations[0]
    assert lead(result).startswith("Vacuum falls ")
    assert "on all 95 cycles. Baseline: " in lead(result)
    assert "Baseline" not in lead(replace(result, baseline=None, baseline_leak=None))
    bound = Bound(status="lower_bound", limit=9.0, unit="kPa/s", n=3, method="m")
    worst = replace(result, leak=replace(result.leak, decay_rate=bound))
    assert "at least 9.0 kPa/s" in lead(worst) or "Vacuum falls" in lead(worst)


def test_picks_given_up_are_counted_as_the_missed_ones_are():
    """The lead counts every pick that was given up at the level, not the latest of them beside the number of all."""
    lost = tuple(range(0, 33, 3))
    result = stories.result(Play(cycles=36, missed=lost))
    peak = result.data.cycles.floats("peak_vacuum_kpa").copy()
    peak[list(lost)] = 86.1
    data = replace(result.data, cycles=result.data.cycles.with_columns(peak_vacuum_kpa=peak))
    fact = Evidence(measure="peak_vacuum_kpa", value=86.1, unit="kPa", reference=86.3, reference_source="set point", cycles=2,
                    text="2 picks were given up with 86.1 kPa in the cup")  # fmt: skip
    found = stories.finding("set_point_too_high", kind="setting", evidence=(fact,), cycles=lost, share=11 / 36)
    told = replace(result, data=data, findings=(found,), causes=())
    assert lead(told) == "11 of 36 picks were given up at 86.1 kPa; the set point is 86.3 kPa."
    assert verdict(told).reasons.startswith("11 picks missed.")
    held = replace(found, cycles=(1, 2))
    assert lead(replace(result, data=data, findings=(held,), causes=())).startswith("2 picks were given up")


def test_two_rates_are_told_as_two():
    """A leak that jumps between two rates has both in its lead and its pictures; a median of neither stands anywhere."""
    story = stories.by_part().stations[0]
    alike = tuple(replace(group, by="rate") for group in story.leak.groups)
    found = stories.finding("check_valve_leak", cycles=tuple(range(62)), share=1.0)
    result = replace(story, leak=replace(story.leak, groups=alike), findings=(found,), causes=())
    told = lead(result)
    assert told.startswith("15 of 62 cycles lose 10.")
    assert "; the other 47 lose 0." in told
    assert "15 of 62 cycles lose 10." in plain(rates(result).heading)
    assert "10.5\u00a0kPa/s with the supply closed on 15 cycles; on the others 0.5" in plain(fall(result).heading)
    proof = replace(stories.AGAIN, expect_if="Expect: it is back. Here: fall with the supply off at most 0.9 kPa/s, now 5.6 kPa/s.")
    asked = replace(result, findings=(replace(found, next_steps=(stories.BLANK, proof)),))
    assert re.search(r"now 10\.\d kPa/s", str(steps(asked)[-1].more))
    one = replace(result, leak=replace(result.leak, groups=alike[:1]))
    assert lead(one).startswith("Vacuum falls")


def test_evidence_becomes_the_lead(plain_result):
    """A measured fact is told with interval, share and reference."""
    fact = Evidence(measure="evacuation_time_s", value=0.162, lower=0.16, upper=0.165, unit="s", reference=0.118,
                    reference_source="baseline")  # fmt: skip
    found = stories.finding("exhaust_restricted", evidence=(fact,), share=1.0)
    text = lead(replace(plain_result, findings=(found,)))
    assert text == "The set point takes 0.162 s (0.160 to 0.165), on all 12 cycles. Baseline: 0.118."
    limit = replace(fact, reference_source="limit")
    assert "Limit: 0.118" in lead(replace(plain_result, findings=(replace(found, evidence=(limit,)),)))


def test_a_figure_of_the_last_cycles_says_so(plain_result):
    """Where a fault grows through the log its figure holds at the end: it is not told of all the cycles it touches."""
    usual = float(np.nanmedian(plain_result.data.cycles.floats("evacuation_time_s")))
    fact = Evidence(measure="evacuation_time_s", value=3.0 * usual, lower=2.9 * usual, upper=3.1 * usual, unit="s",
                    reference=usual, reference_source="baseline", cycles=4)  # fmt: skip
    found = stories.finding("exhaust_restricted", evidence=(fact,), cycles=tuple(range(10)), share=10 / 12)
    assert " in the last 4 of 12 cycles." in lead(replace(plain_result, findings=(found,)))
    steady = replace(fact, value=usual, lower=0.9 * usual, upper=1.1 * usual)
    assert ", on 10 of 12 cycles." in lead(replace(plain_result, findings=(replace(found, evidence=(steady,)),)))


def test_healthy_says_what_would_have_shown():
    """Without a finding the lead names the smallest rise of the leak that would have shown, or that it cannot."""
    assert "A rise by 1.5 kPa/s would have shown." in lead(stories.healthy().stations[0])
    unmeasured = replace(stories.withheld().stations[0], detectable=stories.DETECTABLE[1:])
    assert lead(unmeasured) == "The supply is never closed in a hold, so how fast vacuum falls does not show."
    assert verdict(unmeasured).headline == "No fault found, but a leak would not show"
    assert verdict(unmeasured).action == "Record again."
    rise = replace(unmeasured, detectable=stories.DETECTABLE)
    assert lead(rise) == "A leak that grew by 1.5 kPa/s would have shown; a smaller one may be there."
    assert verdict(stories.healthy().stations[0]).headline == "No fault found in 71 cycles"
    unknown = replace(stories.healthy().stations[0], detectable=(), baseline=None, baseline_leak=None)
    assert lead(unknown).endswith(" with the supply closed. No baseline says whether that is usual.")


def test_a_log_that_cannot_answer_says_what_to_record():
    """Without a cycle the headline says so, and the first step is to record, with what is missing."""
    result = stories.unmeasurable().stations[0]
    assert verdict(result).headline == "This recording cannot answer"
    assert verdict(result).action == "Record again."
    first = steps(result)[0]
    assert first.act == "Record again"
    assert "Log the command of the supply valve." in first.how
    assert "supply by hand" in " ".join(to_record(result))


def test_a_missing_signal_is_part_of_the_headline():
    """A fault of the log alone does not read as a clean bill."""
    said = verdict(stories.no_digitals().stations[0])
    assert said.headline == "No fault in 30 cycles, but a signal is missing"
    assert said.action == "Record again."


def test_losses_are_counted(plain_result):
    """Dropped and missed are counted, in the singular too."""
    assert verdict(stories.dropping().stations[0]).reasons.startswith("5 dropped, 1 missed.")
    one = stories.result(Play(cycles=12, dropped=(3,)))
    assert verdict(one).reasons.startswith("1 part dropped.")
    assert verdict(plain_result).reasons.startswith("No drop seen.")


def test_the_worst_finding_sets_the_urgency(plain_result):
    """A minor cause with a critical symptom stops the line."""
    cause = stories.finding("leak_steady", severity="minor")
    drop = stories.finding("part_dropped", kind="symptom", severity="critical", steps=())
    assert verdict(replace(plain_result, findings=(cause, drop))).action == "Stop. Do not run parts."


def test_steps_end_with_a_recording(plain_result):
    """The last step proves the repair; none is added where the finding brings it."""
    own = replace(plain_result, findings=(stories.finding("leak_steady"),))
    assert [s.act for s in steps(own)] == [
        "Blank the cup with a flat plate", "Pinch off the hose at the cup", "Record 30 cycles after the repair",
    ]  # fmt: skip
    short = replace(plain_result, findings=(stories.finding("leak_steady", steps=(stories.BLANK,)),))
    assert steps(short)[-1].act == "Record again after the repair"
    assert steps(plain_result)[0].act == "If the station runs well, keep this log as the baseline"


def test_step_is_split_into_act_and_results():
    """The first sentence is the act; every "seen: meaning" is a pair of its own."""
    step = step_of(replace(stories.BLANK, expect_if="A new cup halves it: the cup leaks. No change: plug back. Here: below 3.7 kPa/s."))
    assert step.act == "Blank the cup with a flat plate"
    assert step.how.startswith("Stop safely")
    assert step.results == (("A new cup halves it", "the cup leaks"), ("Still near 7 kPa/s", "go to step 2"))
    assert step.more == (("No change", "plug back"), ("Goal", "below 3.7 kPa/s"))


def test_cause_names_have_no_article():
    """A table cell starts with the thing itself."""
    assert cause_name("check_valve_leak") == "Leaking check valve"
    assert cause_name("none") == "Something else, or nothing"
    assert cause_name("new_code_of_tomorrow") == "New code of tomorrow"


def test_a_change_inside_the_log_is_told_as_now_and_before(plain_result):
    """A figure of the last cycles is told as now, against the cycles before the change, without a share of cycles."""
    fact = Evidence(measure="decay_rate_kpa_s", value=5.3, lower=4.4, upper=6.2, unit="kPa/s", reference=1.3,
                    reference_source="earlier cycles")  # fmt: skip
    found = stories.finding("leak_steady", evidence=(fact,), cycles=tuple(range(5, 12)), share=7 / 12, onset_cycle=5)
    text = lead(replace(plain_result, findings=(found,)))
    assert text == "Now vacuum falls 5.3 kPa/s (4.4 to 6.2) with the supply closed; before cycle 5: 1.3."


def test_strength_is_never_above_the_chance_beside_it(plain_result):
    """Confidence that a cause is there does not read as more than the chance that is told; a second sure fault shares it."""
    found = stories.finding("release_weak", confidence=0.97)
    causes = (CauseChance(code="release_weak", chance=0.7, reason="r"),)
    assert (
        verdict(replace(plain_result, findings=(found,), causes=causes)).headline == "Probably a weak or late blow-off"
    )
    second = stories.finding("sensor_noisy", kind="sensor", confidence=0.6)
    both = verdict(replace(plain_result, findings=(found, second), causes=causes))
    assert both.headline == "A weak or late blow-off"
    assert both.reasons.endswith("Probably also noisy sensor, 6 in 10 likely.")


@pytest.mark.parametrize("first", [c for c, kind in CODES.items() if kind in ("cause", "setting", "sensor")])
def test_two_sure_faults_stand_in_the_headline(first, plain_result):
    """Two faults that are sure are told as two, whatever they are called; the second stands in the urgency too."""
    for code in (c for c, kind in CODES.items() if kind in ("cause", "setting", "sensor") and c != first):
        for confidence, start in ((0.96, "Two faults"), (0.85, "Very likely ")):
            pair = (stories.finding(c, kind=CODES[c], confidence=confidence) for c in (first, code))
            causes = (CauseChance(code=first, chance=0.5, reason="r"), CauseChance(code=code, chance=0.45, reason="r"))
            said = verdict(replace(plain_result, findings=tuple(pair), causes=causes))
            assert said.headline.startswith(start)
            assert not said.headline.endswith("…")
            assert "two faults" in said.headline.lower() or " and " in said.headline
            assert len(f"{said.action} {said.reasons}") <= URGENCY_MOST
            assert said.reasons.partition("Second: ")[2].startswith(without_article(phrase(code).short))


def test_a_second_fault_has_its_test_and_its_chance(plain_result):
    """Its first test and its repair come before the last recording; page and screen say how sure both are and what the table means."""
    pair = (
        stories.finding("release_weak", confidence=0.96),
        stories.finding("sensor_noisy", kind="sensor", confidence=0.85),
    )
    result = replace(plain_result, findings=pair)
    acts = [s.act for s in steps(result)]
    assert acts[-3] == "Second fault, noisy sensor or cable: blank the cup with a flat plate"
    assert acts[-2] == "Its repair: pinch off the hose at the cup"
    assert acts[-1].startswith("Record")
    assert both_told(result) == (
        "Two faults are there: weak or late blow-off, chance 19 in 20; and noisy sensor or cable, chance 9 in 10. "
        "The chances in the table add up to one: they tell which to repair first, not whether it is there."
    )
    assert both_told(result) in station_page(stories.record(result), 0)
    screen = " ".join(first_screen(stories.record(result), None).split())
    assert "To repair: 1. Weak or late blow-off, chance 19 in 20; 2. Noisy sensor or cable, chance 9 in 10." in screen


def test_a_rival_or_a_doubtful_finding_is_no_second_fault(plain_result):
    """What the evidence cannot tell from the first, and what is for information, is not there beside it."""
    first = stories.finding("leak_steady", confidence=0.9, alternatives=("check_valve_leak",))
    for other in (stories.finding("check_valve_leak"), stories.finding("sensor_noisy", kind="sensor", severity="info")):
        result = replace(plain_result, findings=(first, other))
        assert second_fault(result, first) is None
        assert both_told(result) == ""
        assert "wo faults" not in verdict(result).headline
        assert not any("econd fault" in s.act for s in steps(result))


def test_a_second_leak_of_unknown_place_is_called_a_leak(plain_result):
    """Beside a setting a leak that two causes compete for is told as a leak."""
    band = stories.finding("supply_band_too_narrow", kind="setting", confidence=0.97)
    leak = stories.finding("leak_steady", confidence=0.47, alternatives=("check_valve_leak",))
    said = verdict(replace(plain_result, findings=(band, leak)))
    assert said.headline == "A supply band that is too narrow"
    assert said.reasons.endswith("Perhaps also a leak, place open, 5 in 10 likely.")


def test_settings_at_fault_say_what_the_output_does():
    """The lead of a setting that flips the output says how often it does."""
    result = stories.chattering().stations[0]
    fact = Evidence(measure="supply_on_kpa", value=59.5, unit="kPa", text="supply_on stands 6.2 kPa below the reset point")
    found = stories.finding("supply_on_below_reset", kind="setting", evidence=(fact,))
    assert lead(replace(result, findings=(found,))) == (
        "Supply on stands 6.2 kPa below the reset point. The output goes off in the hold on 40 of 80 cycles."
    )


def test_a_caution_says_nothing_twice():
    """A sentence that a caution holds twice is told once."""
    step = step_of(replace(stories.BLANK, caution="Valves move on command. Wear goggles. Valves move on command."))
    assert step.caution == "Valves move on command. Wear goggles."


def test_minutes_inside_an_act_are_not_doubled():
    """A step whose act names minutes tells its whole time as that."""
    assert lasting(step_of(stories.BLANK)) == " (5 min)"
    assert lasting(step_of(replace(stories.BLANK, do="Let the station rest for 30 min.", minutes=40))) == ", 40 min in all"
    assert lasting(step_of(replace(stories.BLANK, minutes=0))) == ""
