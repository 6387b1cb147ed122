"""Small parts of a measured station: a log without a sample, columns that go together."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
from segment.made_traces import KNOWN, PLAIN, SAVING, data_of

from tracekit.measure.station import _cycles_table, _nothing_learned, _sensor


def test_what_is_known_of_a_log_without_samples():
    """No level, no threshold, nothing clipped, no stuck cycle."""
    nothing = _nothing_learned()
    levels = [getattr(nothing.reference, n) for n in ("set_point", "reset_point", "supply_off", "supply_on", "peak")]
    assert np.isnan(levels).all()
    sensor = _sensor(nothing, np.zeros(0), np.zeros(0), {})
    assert (sensor.clipped_low_share, sensor.clipped_high_share, sensor.stuck_cycles) == (0.0, 0.0, 0)
    assert (sensor.range_low_kpa, sensor.range_high_kpa, sensor.sample_interval_s) == (0.0, 0.0, 0.01)


def test_a_context_without_values():
    """A column of context of which the log holds no value is there, empty."""
    facts = SimpleNamespace(context_values={}, log_id="x")
    data = data_of(PLAIN * 2, settings=KNOWN)
    columns = dict(data.cycles.data)
    table = _cycles_table({**columns, "context_part": np.full(len(data.cycles), -1)}, facts, "a")
    assert table.texts("context_part") == [None] * len(data.cycles)


def test_periods_follow_one_another_and_make_the_counts():
    """Periods of a cycle join end to start; coasts and recharges among them are the cycle's, and make its switches."""
    data = data_of(SAVING * 6, settings=replace(KNOWN, supply_off_kpa=72.0, supply_on_kpa=64.0), noise=0.03)
    owner = data.periods.codes("cycle")
    start, end = data.periods.floats("start_s"), data.periods.floats("end_s")
    assert np.isfinite(start).all()
    assert (end > start).all()
    same = owner[1:] == owner[:-1]
    np.testing.assert_allclose(start[1:][same], end[:-1][same], atol=0.011)
    coasts = np.bincount(owner[data.periods.where("kind", "coast")], minlength=len(data.cycles))
    recharges = np.bincount(owner[data.periods.where("kind", "recharge")], minlength=len(data.cycles))
    assert coasts.sum() > 5
    np.testing.assert_array_equal(data.cycles.codes("coasts"), coasts)
    np.testing.assert_array_equal(data.cycles.codes("supply_switches"), coasts + recharges)
