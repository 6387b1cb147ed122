"""Low and high quantiles with a one-sided 95 % confidence bound, free of any distribution.

The bound of a quantile is an order statistic (Conover, Practical Nonparametric Statistics; from memory, not verified).
With few values it lies beyond the extreme one: then the range is carried on by a share of its upper half.
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

_CONFIDENCE, _ONE_SIDED = 0.95, 1.645
_MANY = 400  # from here on the normal approximation of the binomial


def low_bound(values: ArrayLike, share: float) -> float:
    """Value that lies below the `share` quantile of the population with 95 % confidence; NaN without values."""
    sorted_values = np.sort(np.asarray(values, np.float64))
    n = len(sorted_values)
    if not n:
        return float("nan")
    rank = _rank(n, share)
    if rank >= 0:
        return float(sorted_values[rank])
    return float(sorted_values[0] - _beyond(n, share) * _spread(sorted_values))


def high_bound(values: ArrayLike, share: float) -> float:
    """Value that lies above the `1 - share` quantile of the population with 95 % confidence; NaN without values."""
    return -low_bound(-np.asarray(values, np.float64), share)


def _rank(n: int, share: float) -> int:
    """Highest rank r (from 0) with P(at most r values below the quantile) <= 5 %, -1 where none."""
    if n > _MANY:
        return int(n * share - _ONE_SIDED * math.sqrt(n * share * (1.0 - share)))
    total, rank = 0.0, -1
    for k in range(n):
        total += math.comb(n, k) * share**k * (1.0 - share) ** (n - k)
        if total > 1.0 - _CONFIDENCE:
            break
        rank = k
    return rank


def _beyond(n: int, share: float) -> float:
    """How many spreads beyond the lowest of n values the quantile may lie: grows as values are fewer."""
    needed = math.log(1.0 - _CONFIDENCE) / math.log(1.0 - share)
    return 0.5 * math.log(max(needed / n, 1.0))


def _spread(sorted_values: NDArray[np.float64]) -> float:
    """Scale of the lower tail: median minus lowest, a third of it."""
    return float(np.median(sorted_values) - sorted_values[0]) / 3.0
