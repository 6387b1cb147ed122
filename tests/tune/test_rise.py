"""When vacuum reaches a level."""

import numpy as np
import pytest

from tests.tune import tuned_stations as stations
from tracekit.tune.rise import rise_of

TAU, DEEPEST = 0.1, 80.0


def test_recorded_and_carried_on():
    """Levels between recorded crossings and beyond the last one are reached when the simulator reaches them.

    The log of a station that cuts at 70 kPa tells when 60 is reached to 3 ms, and when 76 would be to 15 %.
    """
    data = stations.diagnosed(stations.HEALTHY).data
    rows = np.flatnonzero(data.cycles.where("outcome", "held"))
    rise = rise_of(data, rows)
    deep = stations.scenario(stations.spec(saving=None))
    truth = stations.diagnosed(deep).data
    other = rise_of(truth, np.flatnonzero(truth.cycles.where("outcome", "held")))
    levels = np.array([45.0, 60.0, 76.0])
    here, there = np.median(rise.at(levels), axis=0), np.median(other.at(levels), axis=0)
    assert here[:2] == pytest.approx(there[:2], abs=0.004)
    assert here[2] == pytest.approx(there[2], rel=0.15)


def test_beyond_the_ultimate_is_never():
    """A level beyond the ultimate vacuum is never reached, and the speed there is 0."""
    data = stations.diagnosed(stations.PLAIN).data
    rise = rise_of(data, np.arange(5))
    assert np.isinf(rise.at(np.array([99.0]))).all()
    assert (rise.speed(np.array([99.0])) == 0.0).all()


def test_times_rise_with_the_level():
    """A deeper level is never reached sooner."""
    data = stations.diagnosed(stations.PLAIN).data
    times = rise_of(data, np.arange(10)).at(np.linspace(5.0, 80.0, 40))
    assert (np.diff(times, axis=1) >= -1e-9).all()
