"""What a page says of levels out of reach, and which picture leads."""

from dataclasses import replace

import numpy as np
import pytest
import stories
from stories import Play

from tracekit.report.coast_dips import dips_between
from tracekit.report.phrases import phrase
from tracekit.report.pictures.choose import choose
from tracekit.report.pictures.fall import Fall
from tracekit.report.todo import steps


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


def test_what_lies_above_its_surroundings_is_no_dip():
    """A moment that differs from the median, but not from what is about it, is not told as a dip of less than nothing."""
    time_s = np.arange(40.0) * 0.05
    mid = 0.1 * np.arange(40.0)
    mid[20] -= 3.0
    fall = Fall(time_s=time_s, low=mid - 0.1, mid=mid, high=0.1 * np.arange(40.0) + 0.2, bare=False)
    assert all(dip.depth_kpa >= 0.5 for dip in dips_between(fall, None))
