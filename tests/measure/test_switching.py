"""What a hold's switching comes to: edges of the output, chatter and its frequency."""

import numpy as np
import pytest
from segment.made_traces import KNOWN, PLAIN, Piece, blow_off, data_of, evacuate, hold, idle


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
