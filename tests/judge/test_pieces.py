"""What goes through all bins in pieces finds the same to the bit whatever the pieces, in bounded memory."""

import tracemalloc
from functools import partial

import numpy as np
import pytest

from tests.measure.one_volume import Plant, station
from tracekit.judge import falls, features, motion, ripple
from tracekit.model.cycle import StationData
from tracekit.options.tune import TuneOptions
from tracekit.signal.pieces import whole_runs
from tracekit.tune import coasts, facts


@pytest.fixture(scope="module")
def data() -> StationData:
    """Forty cycles with coasts and recharges."""
    return station(Plant(rates=(4.0, 9.0) * 20, noise_kpa=0.2))


def found(data: StationData) -> list[bytes]:
    """Everything that goes through all bins in pieces."""
    held = np.ones(len(data.cycles), np.bool_)
    rows = np.flatnonzero(data.periods.where("kind", "coast"))
    bends = ripple._bends(data, ("recharge", "coast"))
    return [
        motion.late_fall_kpa(data).tobytes(),
        bends.size_kpa.tobytes(),
        bytes(f"{bends.pairs} {bends.turned}", "ascii"),
        facts.settled(data, held).tobytes(),
        np.float64(facts.deepest_dip(data, held, TuneOptions())).tobytes(),
        *(turns.tobytes() for turns in coasts._turns(data, rows, highest=True)),
    ]


@pytest.mark.parametrize("least", [1, 100, 1000])
def test_pieces_change_no_bit(data: StationData, monkeypatch: pytest.MonkeyPatch, least: int) -> None:
    """Few bins at a time or all at once."""
    whole, dips = found(data), features.deepest_dip(data)
    assert int(whole[2].split()[0]) > 100
    for module in (features, motion, ripple, facts, coasts):
        monkeypatch.setattr(module, "whole_runs", partial(whole_runs, least=least))
    assert found(data) == whole
    # stretches are set apart by their number while the highest reading is looked for, and rounded as far as that goes
    np.testing.assert_allclose(features.deepest_dip(data), dips, rtol=0.0, atol=1e-9)


def test_memory_of_pieces(data: StationData, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is worked out of a few bins at a time takes less than two columns of the bins."""
    for module in (features, motion, ripple, facts, coasts):
        monkeypatch.setattr(module, "whole_runs", partial(whole_runs, least=100))
    for act in (features.deepest_dip, motion.late_fall_kpa, partial(facts.settled, held=np.ones(len(data.cycles), bool))):
        tracemalloc.start()
        try:
            act(data)
            peak = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()
        assert peak < 2 * data.bins.time_s.nbytes


def test_falls_of_very_many_holds_are_looked_for_in_some(data: StationData, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten of forty holds, spread over the log, stand for all; the same falls are found in those."""
    every, cell_s = falls._beyond_the_leak(data)
    monkeypatch.setattr(falls, "_MOST", 10)
    some, same_s = falls._beyond_the_leak(data)
    assert len(every) == 40
    assert len(some) == 10
    assert same_s == cell_s
    np.testing.assert_array_equal(some, every[::4, : some.shape[1]])
