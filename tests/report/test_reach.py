"""What a page says of levels out of reach, and which picture leads."""

from dataclasses import replace

import numpy as np
import pytest
import stories
from stories import Play

from tracekit.model.finding import Evidence
from tracekit.report.coast_dips import dips_between
from tracekit.report.phrases import phrase
from tracekit.report.pictures.choose import choose
from tracekit.report.pictures.fall import Fall
from tracekit.report.pictures.overlay import overlay
from tracekit.report.pictures.strip import strip
from tracekit.report.todo import steps
from tracekit.report.verdict import verdict
from tracekit.report.words import plain


@pytest.mark.parametrize(("below_kpa", "said"), [(1.2, "is only 1.2 kPa above the set point"), (-2.0, "ends 2.0 kPa below the set point")])
def test_a_high_set_point_says_what_picks_reach(below_kpa, said):
    """The first step says how far above the set point picks get; far above it says nothing."""
    made = stories.result(Play(cycles=20), findings=(stories.finding("set_point_too_high", kind="setting"),))
    peak = float(np.nanmedian(made.data.cycles.floats("peak_vacuum_kpa")))

    def at(level):
        point = replace(made.data.settings["set_point"], value_kpa=level)
        return replace(made, data=replace(made.data, settings={**made.data.settings, "set_point": point}))

    assert said in steps(at(peak - below_kpa))[0].how
    assert "set point (median)" not in steps(at(peak - 9.0))[0].how


def test_the_cut_off_is_told_by_what_the_machine_does():
    """Not "else supply off", which sounds like an order."""
    assert phrase("supply_off_unreachable").rival == "supply stays on"


def test_a_picture_of_something_else_never_leads():
    """A sensor's zero is pictured by the reading at rest although drops are drawn too."""
    found = stories.finding("leak_steady", cycles=tuple(range(30)))
    lead, _ = choose(stories.result(Play(cycles=30, rate=6.0, dropped=(3, 9, 20)), findings=(found,)), ())
    assert lead.id in {"holds", "fall", "rates"}


def test_cycles_of_a_reading_that_stands_still_are_not_drawn_as_healthy():
    """Neither a grey bar in the strip nor a curve among the usual ones: both pictures name them as not measured."""
    made = stories.result(Play(cycles=20))
    moved = np.full(20, 70.0)
    moved[14:] = 0.0
    late = replace(made, data=replace(made.data, reading_range_kpa=moved))
    whole, usual = strip(late, (stories.FACTS,)), overlay(late)
    assert "Not measured, since the reading stands still: 14 to 19." in plain(whole.caption)
    assert whole.html.count("×<") == 6
    assert "Not measured, so not drawn: 14 to 19." in plain(usual.caption)
    assert "median of 14 other cycles" in plain(usual.caption) or "median of 14 cycles" in plain(usual.caption)
    assert "×<" not in strip(made, (stories.FACTS,)).html


def test_a_stuck_sensor_is_led_by_the_whole_recording():
    """There it shows from when on the reading stands still."""
    found = stories.finding("sensor_stuck", kind="sensor")
    assert choose(stories.result(Play(cycles=20), findings=(found,)), (stories.FACTS,))[0].id == "strip"


def test_what_lies_above_its_surroundings_is_no_dip():
    """A moment that differs from the median, but not from what is about it, is not told as a dip of less than nothing."""
    time_s = np.arange(40.0) * 0.05
    mid = 0.1 * np.arange(40.0)
    mid[20] -= 3.0
    fall = Fall(time_s=time_s, low=mid - 0.1, mid=mid, high=0.1 * np.arange(40.0) + 0.2, bare=False)
    assert all(dip.depth_kpa >= 0.5 for dip in dips_between(fall, None))


def test_a_text_that_counts_cycles_is_told_once():
    """Not "does not move for 14 cycles on 14 of 25 cycles"."""
    still = Evidence(measure="reading_range_kpa", value=0.0, unit="kPa", cycles=14, text="the reading does not move for 14 cycles")
    found = stories.finding("sensor_stuck", kind="sensor", share=0.56, cycles=tuple(range(11, 25)), evidence=(still,))
    said = verdict(stories.result(Play(cycles=25), findings=(found,)))
    assert plain(said.lead) == "The reading does not move for 14 cycles."
