"""What a hold's switching comes to: edges, chatter and its frequency, air time, and how far thresholds are passed."""

import numpy as np
import pytest
from segment.made_traces import KNOWN, PLAIN, SAVING, Piece, blow_off, data_of, evacuate, hold, idle

from tracekit.options.tune import TuneOptions
from tracekit.tune.facts import _beyond


def chattering(times: int, seconds: float):
    """A pick whose output goes off and on again so many times, each state as long."""
    blinks = [Piece(seconds=seconds, to=75.0, supply=1, present=p) for _ in range(times) for p in (0, 1)]
    return (idle(), evacuate(0.6), hold(0.5), *blinks, hold(0.5), blow_off())


@pytest.mark.parametrize(("times", "seconds"), [(2, 0.1), (4, 0.05), (3, 0.2)])
def test_frequency_of_chatter(times, seconds):
    """An output that goes off and on every 2·t chatters at 1/(2·t) Hz; every edge beyond one on and one off counts."""
    data = data_of(chattering(times, seconds) * 5, settings=KNOWN)
    cycles = data.cycles
    assert cycles.codes("chatter_edges").tolist() == [2 * times] * 5
    assert cycles.codes("output_edges").tolist() == [2 * times + 2] * 5
    found = cycles.floats("chatter_frequency_hz")
    assert np.isfinite(found).all()
    assert ((0.4 / (2 * seconds) < found) & (found < 1.6 / (2 * seconds))).all()


def test_a_quiet_output_has_no_frequency():
    """A pick with one edge on and one off, and one that blinks once, show no frequency of chatter."""
    for pieces in (PLAIN, chattering(1, 0.1)):
        assert np.isnan(data_of(pieces * 4, settings=KNOWN).cycles.floats("chatter_frequency_hz")).all()


def test_how_far_thresholds_are_passed():
    """Coasts that end at 63 kPa, where supply comes on, pass that threshold by nothing; peaks at 72 pass 70 by two."""
    data = data_of(SAVING * 10, settings=KNOWN)
    held = data.cycles.where("outcome", "held")
    on, off = (data.settings[n].value_kpa for n in ("supply_on", "supply_off"))
    assert on == pytest.approx(63.0, abs=1.0)
    assert off == pytest.approx(70.0, abs=2.5)
    assert 0.0 <= _beyond(data, held, "recharge", TuneOptions()) < 1.0
    assert 0.0 <= _beyond(data, held, "coast", TuneOptions()) < 4.0
