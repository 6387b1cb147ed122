"""Small parts of cutting and measuring, each against what is plain by hand."""

from types import SimpleNamespace

import numpy as np
import pytest

from tracekit.model.station import Settings
from tracekit.segment.learn import _saves_air
from tracekit.segment.sawtooth import _turn
from tracekit.segment.thresholds import bracket
from tracekit.segment.wiring import _release_level


@pytest.mark.parametrize("level", [np.zeros(50, bool), np.ones(50, bool)])
def test_a_release_that_never_changes(level):
    """A command that is always the same tells nothing of its polarity."""
    assert _release_level(np.linspace(60.0, 0.0, 50), level) == (None, "never changes")


def test_the_bracket_of_a_fast_log():
    """Where samples come faster than a switch answers, a threshold lies at most one step beyond the two samples."""
    samples = SimpleNamespace(interval=1e-4, vacuum=np.array([10.0, 9.0, 5.0, 5.0]))
    down = bracket(samples, np.array([2]), upward=False)
    assert (down.low.tolist(), down.high.tolist()) == ([5.0], [10.0])
    samples.vacuum = samples.vacuum[::-1].copy()
    up = bracket(samples, np.array([3]), upward=True)
    assert (up.low.tolist(), up.high.tolist()) == ([5.0], [10.0])


def test_the_turn_of_a_rise():
    """The last sample at the top before the fall; none in an empty stretch or where nothing falls."""
    values = np.array([0.0, 5.0, 9.0, 9.0, 4.0, 1.0])
    assert _turn(values, np.array([0]), np.array([6]), 2.0, 3.0).tolist() == [3]
    assert _turn(values, np.array([2]), np.array([2]), 2.0, 3.0).tolist() == [-1]
    assert _turn(values, np.array([0]), np.array([3]), 2.0, 3.0).tolist() == [-1]


def saves(level_of_cuts) -> bool:
    """Whether ten holds that are cut once each, at these levels, save air."""
    smooth = np.tile(np.r_[np.zeros(10), np.full(90, 70.0)], 10)
    cuts = np.arange(10) * 100 + 50
    vacuum = smooth.copy()
    vacuum[cuts] = level_of_cuts
    samples = SimpleNamespace(smooth=smooth, vacuum=vacuum, noise=0.05, has_release=True, supply_fall=cuts)
    spans = SimpleNamespace(start=np.arange(10) * 100, end=np.arange(1, 11) * 100)
    edges = SimpleNamespace(supply_on=np.zeros(0, int), supply_off=cuts)
    return _saves_air(samples, spans, edges, 70.0, Settings())


def test_air_is_saved_where_suction_is_cut_at_one_vacuum():
    """Cuts at one level are a threshold; cuts anywhere are the ends of holds."""
    assert saves(np.full(10, 68.0))
    assert not saves(np.linspace(40.0, 70.0, 10))
