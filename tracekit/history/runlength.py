"""Average run lengths of one-sided CUSUM and EWMA charts, and the limits that a wanted run length needs.

The chart's value is cut into small states and its run length solved as the absorption time of a Markov chain [1].
Values are standard normal, cut off at `clip` standard deviations as the charts do it.

[1] D. Brook, D. A. Evans, Biometrika 59 (1972) 539–549.
[2] D. C. Montgomery, Introduction to Statistical Quality Control, chapter 9.
"""

from collections.abc import Callable
from functools import lru_cache
from math import erf, inf, sqrt

import numpy as np
from numpy.typing import NDArray

_STATES = 151
_EWMA_BOTTOM = 6.0


def cusum_run_length(
    allowance: float, limit: float, shift: float = 0.0, clip: float = inf, states: int = _STATES
) -> float:
    """Logs until C = max(0, C + z − allowance) exceeds `limit`, on average, starting at 0."""
    width = 2.0 * limit / (2 * states - 1)
    places = np.arange(states) * width
    edges = np.concatenate([[-inf], places + width / 2.0])
    need = edges[None, :] - places[:, None] + allowance
    return _absorption(need, shift, clip, 0)


def ewma_run_length(weight: float, limit: float, shift: float = 0.0, clip: float = inf, states: int = _STATES) -> float:
    """Logs until E = (1 − w)E + w·z exceeds `limit` long-run standard deviations of E, on average, starting at 0."""
    sigma = sqrt(weight / (2.0 - weight))
    edges = np.linspace(-_EWMA_BOTTOM * sigma, limit * sigma, states + 1)
    places = (edges[:-1] + edges[1:]) / 2.0
    need = (np.concatenate([[-inf], edges[1:]])[None, :] - (1.0 - weight) * places[:, None]) / weight
    return _absorption(need, shift, clip, int(np.argmin(np.abs(places))))


def _absorption(need: NDArray[np.float64], shift: float, clip: float, start: int) -> float:
    """Mean absorption time; `need[i, j]` are the values z between which state i passes to state j."""
    reached = np.vectorize(_normal_cdf)(need - shift)
    reached = np.where(need >= clip, 1.0, np.where(need < -clip, 0.0, reached))
    moves = np.diff(reached, axis=1)
    times = np.linalg.solve(np.eye(len(moves)) - moves, np.ones(len(moves)))
    return float(times[start])


def _normal_cdf(x: float) -> float:
    return 0.5 * (1.0 + erf(x / sqrt(2.0)))


@lru_cache(maxsize=64)
def cusum_limit(run_length: float, allowance: float, clip: float) -> float:
    """The limit whose average run length in control is `run_length` logs."""
    return _solved(lambda limit: cusum_run_length(allowance, limit, 0.0, clip, 81), run_length, 1.0, 20.0)


@lru_cache(maxsize=64)
def ewma_limit(run_length: float, weight: float, clip: float) -> float:
    """The limit, in long-run standard deviations, whose average run length in control is `run_length` logs."""
    return _solved(lambda limit: ewma_run_length(weight, limit, 0.0, clip, 81), run_length, 0.5, 5.5)


def _solved(run_length: Callable[[float], float], wanted: float, low: float, high: float) -> float:
    for _ in range(20):
        middle = (low + high) / 2.0
        low, high = (middle, high) if run_length(middle) < wanted else (low, middle)
    return (low + high) / 2.0
