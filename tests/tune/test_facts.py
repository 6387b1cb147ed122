"""Levels that settings must respect."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tune import tuned_stations as stations
from tracekit.options.tune import TuneOptions
from tracekit.tune.facts import _reach_low, closed_picks, peaks


def with_column(data, name, values):
    """The station with one column of its cycles replaced."""
    return replace(data, cycles=replace(data.cycles, data={**data.cycles.data, name: values}))


def test_holds_cut_short_are_no_healthy_picks():
    """A hold of a tenth of the usual length is left out; the others stay."""
    data = stations.diagnosed(stations.NARROW, stations.LOAD).data
    end = data.cycles.floats("hold_end_s").copy()
    start = data.cycles.floats("hold_start_s")
    end[3] = start[3] + 0.1 * (end[3] - start[3])
    usual, cut = closed_picks(data), closed_picks(with_column(data, "hold_end_s", end))
    assert usual[3]
    assert np.flatnonzero(usual & ~cut).tolist() == [3]


def test_holds_without_an_end():
    """Where no hold has a known length nothing can be cut short, and nothing is left out."""
    data = stations.diagnosed(stations.NARROW, stations.LOAD).data
    unknown = with_column(data, "hold_end_s", np.full(len(data.cycles), np.nan))
    assert closed_picks(unknown).sum() == data.cycles.where("outcome", "held").sum()


def test_a_far_extrapolated_end_moves_the_weakest_reach_little():
    """An end far past what was recorded leaves supply_off, kept a margin under the weakest reach, within the record."""
    case = stations.diagnosed(stations.NARROW, stations.LOAD).data
    reached = peaks(case)
    far, near = (replace(case, timing={**case.timing, "tends_to_kpa": reached + past}) for past in (25.0, 2.0))
    options = TuneOptions()
    assert _reach_low(far, case.cycles.where("outcome", "held"), options) - options.margin_reach_kpa <= reached.max()
    moved = [_reach_low(one, case.cycles.where("outcome", "held"), options) for one in (far, near)]
    assert moved[0] - moved[1] == pytest.approx(0.5 * (options.beyond_most_kpa - 2.0), abs=0.05)
