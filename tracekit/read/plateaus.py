"""The two levels of a signal among numbers that are not just 0 and 1."""

import numpy as np
from numpy.typing import NDArray

from tracekit.options.evidence import EVIDENCE
from tracekit.read.head import spread

_SEEN, _BINS, _BIN_REACH = 30_000, 64, 3


def two_plateaus(values: NDArray[np.float64], *, named: bool = False) -> tuple[float, float] | None:
    """Two levels near which nearly all values lie, as a coil's voltage does and a pressure does not; None without.

    The spike of a coil that is switched off lies beyond its levels, in a few samples of each pulse. Where the column is
    named like a valve, more may lie between: a coil's current rises slowly, and some recorders draw lines to an edge.
    """
    most = EVIDENCE.between_named if named else EVIDENCE.between_plateaus
    values = values[:: max(len(values) // _SEEN, 1)]
    for low, high in (spread(values), _fullest(values)):
        if not high > low:
            continue
        fifth = 0.2 * high - 0.2 * low
        above, below = values >= high - fifth, values <= low + fifth
        between = 1.0 - float((above | below).mean())
        crossings = float((np.diff((values > (low + high) / 2).astype(np.int8)) != 0).mean())
        if most > EVIDENCE.between_plateaus and crossings > EVIDENCE.crossings_named:
            continue  # the last figure of a reading that hardly moves
        if between < most and max(between, EVIDENCE.between_plateaus) < min(float(above.mean()), float(below.mean())):
            return low, high
    return None


def _fullest(values: NDArray[np.float64]) -> tuple[float, float]:
    """Lower and higher one of the two levels at which most values lie; two equal ones where a third rivals them."""
    counts, edges = np.histogram(values, _BINS)
    found, most = [], []
    for _ in range(3):
        place = int(counts.argmax())
        most.append(int(counts[place]))
        found.append(float(edges[place] + edges[place + 1]) / 2)
        counts[max(place - _BIN_REACH, 0) : place + _BIN_REACH + 1] = 0
    rivalled = most[1] < EVIDENCE.fuller_plateau * most[2]
    return (found[0], found[0]) if rivalled else (min(found[:2]), max(found[:2]))


def with_marks(values: NDArray[np.float64], states: NDArray[np.float64]) -> bool:
    """True for levels 0 and 1 with a few other numbers among them, each in a row of its own: marks of no reading."""
    odd = (values != 0.0) & (values != 1.0)
    alone = not (odd[1:] & odd[:-1]).any()
    return {0.0, 1.0} < set(states.tolist()) and alone and float(odd.mean()) < 1.0 - EVIDENCE.always
