"""A reading that stands still: it moves by no more than the recorder's step through a whole cycle."""

import numpy as np
from numpy.typing import NDArray

_LEAST_KPA = 0.02
"""A reading with its valves at work that moves by less than this stands still, however fine the recorder is."""


def standing(range_kpa: NDArray[np.float64], quantisation_kpa: float) -> NDArray[np.bool_]:
    """Whether a cycle's readings, whose highest is `range_kpa` over the lowest, stand still, shape (n_cycles,)."""
    return np.asarray(range_kpa <= max(2.0 * quantisation_kpa, _LEAST_KPA), np.bool_)
