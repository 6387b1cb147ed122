"""Order statistics of long arrays without ordering them.

A thin sample brackets the wanted rank, one pass counts what lies below the bracket, and only what lies inside is
ordered. The result is exact; where the bracket misses the rank the whole array is ordered.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_SAMPLE = 2048  # values that tell the bracket
_SLACK = 96  # ranks of the sample on either side: over four standard deviations of a sampled rank
_SHORT = 16 * _SAMPLE  # shorter arrays are ordered at once


def _neighbours(values: Floats, rank: int) -> tuple[float, float]:
    """The values of a rank, counted from 0, and of the next one (or the same at the end)."""
    count = len(values)
    after = min(rank + 1, count - 1)
    if count >= _SHORT:
        sample = np.sort(values[:: count // _SAMPLE])
        place = rank * len(sample) // count
        low, high = sample[max(place - _SLACK, 0)], sample[min(place + _SLACK, len(sample) - 1)]
        under = values < low
        below = int(np.count_nonzero(under))
        inside = values[np.logical_or(under, values > high, out=under) == 0]
        if below <= rank and after < below + len(inside):
            values, rank, after = inside, rank - below, after - below
    ordered = np.partition(values, (rank, after))
    return float(ordered[rank]), float(ordered[after])


def quantile(values: Floats, share: float) -> float:
    """Quantile of finite values, by a straight line between the two neighbouring ranks; as `numpy.quantile` to the bit.

    Raises ValueError where there are no values.
    """
    if not len(values):
        raise ValueError("no values")
    place = share * (len(values) - 1)
    rank = int(place)
    low, high = _neighbours(values, rank)
    part = place - rank
    return low + (high - low) * part if part < 0.5 else high - (high - low) * (1.0 - part)


def median(values: Floats) -> float:
    """Median of finite values, as `numpy.median` to the bit. Raises ValueError where there are none."""
    if not len(values):
        raise ValueError("no values")
    low, high = _neighbours(values, (len(values) - 1) // 2)
    return low if len(values) % 2 else (low + high) / 2
