"""Levels that settings must respect."""

from dataclasses import replace

import numpy as np

from tests.tune import tuned_stations as stations
from tracekit.tune.facts import closed_picks


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
