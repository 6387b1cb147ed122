"""A picture's heading tells what the finding rests on, of the cycles that it is about."""

from dataclasses import replace

import numpy as np
import stories
from stories import Play

from tracekit.model.finding import Evidence
from tracekit.model.result import LeakGroup
from tracekit.report.levels import EVACUATION
from tracekit.report.pictures.blowoff import blowoff
from tracekit.report.pictures.choose import choose
from tracekit.report.pictures.fall import fall
from tracekit.report.pictures.pulldown import pulldown
from tracekit.report.words import plain


def fact(measure, value, reference, unit):
    """A measure now against the baseline."""
    return Evidence(measure=measure, value=value, unit=unit, lower=0.95 * value, upper=1.05 * value, reference=reference, reference_source="baseline", cycles=20)


def heading(picture):
    """Its words with plain blanks."""
    return plain(picture.heading).replace("\u00a0", " ")


SLOW, OPEN = fact(EVACUATION, 0.145, 0.075, "s"), fact("open_cup_vacuum_kpa", 25.2, 7.2, "kPa")


def test_a_slow_evacuation_heads_its_picture():
    """Not the time to the set point, in which the wait for the part may hide it."""
    found = stories.finding("supply_pressure_low", evidence=(SLOW,))
    result = stories.result(Play(cycles=40), findings=(found,), base=Play(cycles=40, seed=2))
    told = heading(pulldown(result))
    assert told.startswith("Evacuation from ")
    assert told.endswith(" takes 0.145 s; in the baseline 0.075 s.")
    assert "not by the time to the set point" not in plain(pulldown(result).caption)


def test_a_blocked_line_leads_with_the_open_cup():
    """Where the gauge reads vacuum before the part closes the cup, that picture comes first and says so."""
    result = stories.result(Play(cycles=40), findings=(stories.finding("flow_restricted", evidence=(SLOW, OPEN)),), base=Play(cycles=40, seed=2))
    first, _ = choose(result, ())
    assert heading(first) == "Before the part closes the cup the gauge reads 25 kPa; in the baseline 7 kPa."
    alone = stories.result(Play(cycles=40), findings=(stories.finding("flow_restricted", evidence=(SLOW,)),), base=Play(cycles=40, seed=2))
    assert not heading(choose(alone, ())[0]).startswith("Before the part")


def test_against_earlier_cycles_the_picture_says_what_the_verdict_rests_on():
    """Not "suction as in the other cycles" beneath a verdict of slow suction: the level before the onset is told."""
    facts = (replace(SLOW, reference_source="earlier cycles"), replace(OPEN, reference_source="earlier cycles"))
    found = stories.finding("flow_restricted", evidence=facts, cycles=tuple(range(13, 40)), onset_cycle=13)
    first, _ = choose(stories.result(Play(cycles=40), findings=(found,)), ())
    assert heading(first) == "Before the part closes the cup the gauge reads 25 kPa; before cycle 13: 7 kPa."


def test_two_rates_are_drawn_as_two_falls():
    """The median of all would lie between two groups and be the fall of no cycle."""
    some = tuple(range(0, 40, 2))
    found = stories.finding("check_valve_leak")
    result = stories.result(Play(cycles=40, rate=0.5, slow=some), findings=(found,))
    rest = tuple(range(1, 40, 2))
    groups = tuple(
        LeakGroup(by="rate", label=label, share=0.5, cycles=rows, decay_rate_kpa_s=result.leak.decay_rate)
        for label, rows in (("larger leak", some), ("smaller leak", rest))
    )
    shown = fall(replace(result, leak=replace(result.leak, groups=groups)))
    assert "20 cycles" in heading(shown)
    assert "on the others" in heading(shown)
    assert "Line: median fall of the 20 cycles that fall faster." in plain(shown.caption)


def test_a_release_in_parts_is_drawn_from_its_command():
    """Where a release comes in two parts, as beside a supply that is still on, they are one curve from the first on."""
    whole = stories.result(Play(cycles=40))
    periods = whole.data.periods
    kinds = periods.codes("kind").copy()
    kinds[periods.where("kind", "idle")] = kinds[periods.where("kind", "release")][0]
    split = replace(whole, data=replace(whole.data, periods=periods.with_columns(kind=kinds)))
    one, two = blowoff(whole).rows, blowoff(split).rows
    assert abs(two[0][1] - np.interp(two[0][0], [r[0] for r in one], [r[1] for r in one])) < 0.5
    assert two[-1][0] > one[-1][0] + 0.5
