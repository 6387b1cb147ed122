"""A goal tells the measure that the finding rests on, once, and in no figure of another measure."""

from dataclasses import replace

import stories
from stories import Play

from tracekit.model.finding import Evidence
from tracekit.report.levels import EVACUATION
from tracekit.report.steps_told import GOAL
from tracekit.report.todo import steps

SLOW = Evidence(measure=EVACUATION, value=0.0897, unit="s", lower=0.085, upper=0.0945, reference=0.068, reference_source="baseline", cycles=6)
TAU = "Expect: evacuation is as quick as in the baseline. Here: time constant of the evacuation 0.083 to 0.092 s, now 0.099 s."


def goals(code, expected, *evidence, base=stories.HEALTHY):
    """Goal and expectation of the last step of a finding."""
    proof = replace(stories.AGAIN, expect_if=expected, expect_else="")
    found = stories.finding(code, steps=(stories.BLANK, proof), evidence=evidence)
    last = steps(stories.result(Play(cycles=40), findings=(found,), base=base))[-1]
    return dict((*last.results, *last.more))


def test_a_slow_evacuation_has_its_own_goal():
    """The time between the levels of the headline, not a time constant that nobody has read."""
    told = goals("supply_pressure_low", TAU, SLOW)[GOAL].replace("\u00a0", " ")
    assert told.startswith("evacuation from ")
    assert told.endswith("at most 0.072 s, now 0.090 s")


def test_a_figure_of_another_measure_is_none_of_the_goal():
    """0.099 s of one measure is not told as the 0.090 s of another that lies near it."""
    near = replace(SLOW, reference=None, reference_source="")
    assert goals("supply_pressure_low", TAU, near)[GOAL] == "time constant of the evacuation 0.083 to 0.092 s, now 0.099 s"


def test_half_of_what_it_was_is_no_second_goal():
    """Where a goal says how much the fall may be, nothing else does; what is said beside it stays."""
    half = "Expect: the fall with the supply off is less than half of what it was."
    both = goals("leak_steady", f"{half} Here: fall of a tight station at most 2.3 kPa/s, now 15.2 kPa/s.")
    assert both == {GOAL: "fall of a tight station at most 2.3 kPa/s, now 15.2 kPa/s"}
    assert "less than half" in goals("leak_steady", half)["Expect"]
    more = goals("check_valve_leak", f"{half} The ultimate vacuum is unchanged. Here: fall of a tight station at most 1.5 kPa/s, now 9.4 kPa/s.")
    assert more["Expect"] == "The ultimate vacuum is unchanged"


def back(code, expected, now, reference, source, *, base=stories.HEALTHY, onset=None):
    """The goal of a finding that rests on one measure, of a play whose reference cycles show 6 and 6.5 kPa by turns."""
    fact = Evidence(measure="open_cup_vacuum_kpa", value=now, unit="kPa", lower=now - 0.2, upper=now + 0.2, reference=reference,
                    reference_source=source, cycles=12)  # fmt: skip
    proof = replace(stories.AGAIN, expect_if=expected, expect_else="")
    found = stories.finding(code, steps=(stories.BLANK, proof), evidence=(fact,), onset_cycle=onset)
    last = steps(stories.result(Play(cycles=40), findings=(found,), base=base))[-1]
    return dict((*last.results, *last.more)).get(GOAL, "").replace("\u00a0", " ")


def most(told):
    assert told.startswith("open-cup vacuum at most "), told
    return float(told.split()[4])


def test_a_goal_is_what_the_reference_had():
    """Neither "now less 3 kPa" nor a figure that the healthy station itself would miss."""
    wanted = "Expect: open-cup vacuum as before. Here: open-cup vacuum at most 17.4 kPa, now 20.4 kPa."
    for source, base, onset in (("baseline", stories.HEALTHY, None), ("earlier cycles", None, 20)):
        told = back("flow_restricted", wanted, 20.4, 6.4, source, base=base, onset=onset)
        assert 6.4 <= most(told) <= 13.4, told
        assert told.endswith("now 20.4 kPa"), told


def test_a_goal_near_the_reference_is_not_met_already():
    """However much the reference scatters: half the way at most."""
    told = back("flow_restricted", "Expect: open-cup vacuum as before.", 3.7, 2.6, "baseline")
    assert 2.6 <= most(told) <= 3.2, told


def test_without_a_reference_there_is_no_figure():
    """Nothing says what an open cup of this station draws when it is sound."""
    assert back("flow_restricted", "Expect: open-cup vacuum falls.", 20.4, None, "", base=None) == ""
