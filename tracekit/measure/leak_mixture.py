"""Mixtures of normal distributions of a rate that cannot be negative: quantiles, many at once."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from tracekit.measure.leak_bins import Floats, Ints

GUARDED = (0.05, 0.10)
"""Probability of a label from which its own interval counts, and from which it counts in full."""
TAIL = 0.05
"""What a label's own interval leaves out on either side."""
_STEPS = 16
_TOGETHER = 1024
"""Mixtures worked on at once: what the bisection needs of each is many times what is kept of it."""
_TABLE_X = np.linspace(-7.0, 7.0, 2801)


def _table() -> Floats:
    """Normal distribution function on the table, by the trapezoidal rule."""
    density = np.exp(-0.5 * _TABLE_X**2) / np.sqrt(2.0 * np.pi)
    area = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * (_TABLE_X[1] - _TABLE_X[0]))])
    return np.asarray(area / area[-1])


_TABLE_Y = _table()
_RISE = np.diff(_TABLE_Y)
_PER_UNIT = (len(_TABLE_X) - 1) / float(_TABLE_X[-1] - _TABLE_X[0])


def normal_share(x: Floats) -> Floats:
    """Normal distribution function, good to 10⁻⁶; NaN stays NaN. Straight lines between the table's even steps."""
    place = np.clip((x - _TABLE_X[0]) * _PER_UNIT, 0.0, len(_TABLE_X) - 1.0)
    below = np.minimum(np.nan_to_num(place).astype(np.int64), len(_TABLE_X) - 2)
    return np.asarray(_TABLE_Y[below] + (place - below) * _RISE[below])


def positive_quantiles(
    middle: Floats, sd: Floats, weight: Floats, probabilities: tuple[float, ...]
) -> tuple[Floats, ...]:
    """Quantiles of the mixture given that the rate is not negative, each of shape (n,), by bisection.

    middle  (n_models, n) means of the components; sd (n,) their standard deviation; weight (n_models, n) or
    (n_models, 1), adding up to one.
    """
    found = np.empty((len(probabilities), middle.shape[1]))
    for some in _groups(middle.shape[1]):
        found[:, some] = _quantiles(middle[:, some], sd[some], _of(weight, some), probabilities)
    return tuple(found)


def _groups(count: int) -> Iterator[slice]:
    """Columns in groups; the last is no single one, whose sum over the models would be rounded in another order."""
    bounds = [*range(0, max(count - 1, 1), _TOGETHER), count]
    return (slice(first, last) for first, last in pairwise(bounds))


def _of(weight: Floats, some: slice) -> Floats:
    """Weights of some columns, where they differ from column to column."""
    return weight if weight.shape[1] == 1 else weight[:, some]


def _quantiles(middle: Floats, sd: Floats, weight: Floats, probabilities: tuple[float, ...]) -> tuple[Floats, ...]:
    """The same for a group of columns."""
    at_zero = np.minimum(_share_below(middle, sd, weight), 1.0 - 1e-4)
    low = np.minimum.reduce(middle, axis=0) - 6.0 * sd
    high = np.maximum(np.maximum.reduce(middle, axis=0) + 6.0 * sd, 4.0 * sd)
    return tuple(
        _bisect(middle, sd, weight, at_zero + p * (1.0 - at_zero), np.maximum(low, 0.0), high) for p in probabilities
    )


def guarded_ends(
    middle: Floats, sd: Floats, weight: Floats, label: Ints, probabilities: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Ends of an interval that is to hold whichever of a few labels is true, each of shape (n,).

    label  (n_models,) of the components; weight  (n_models, 1) as in `positive_quantiles`. The ends of the mixture, or
    those of a label's own components where these lie farther out: of one that has but a tenth of the probability
    the mixture's interval would hold three quarters. Its own ends are its median at GUARDED[0], TAIL from GUARDED[1].
    """
    low, high = positive_quantiles(middle, sd, weight, probabilities)
    for one in np.unique(label):
        own = label == one
        share = float(weight[own].sum())
        if not GUARDED[0] < share < 1.0 - GUARDED[0]:
            continue
        tail = float(np.interp(share, GUARDED, (0.5, TAIL)))
        ends = positive_quantiles(middle[own], sd, weight[own] / share, (tail, 1.0 - tail))
        low, high = np.minimum(low, ends[0]), np.maximum(high, ends[1])
    return low, high


def share_negative(middle: Floats, sd: Floats, weight: Floats) -> Floats:
    """Probability that the mixture puts below zero, shape (n,); arguments as in `positive_quantiles`."""
    found = np.empty(middle.shape[1])
    for some in _groups(len(found)):
        found[some] = _share_below(middle[:, some], sd[some], _of(weight, some))
    return found


def _share_below(middle: Floats, sd: Floats, weight: Floats) -> Floats:
    """Probability below zero for a group of columns."""
    return np.asarray(np.sum(weight * normal_share(-middle / sd), axis=0))


def log_share_positive(rate: Floats, soft: float) -> Floats:
    """Log-probability that a rate found is that of a leak, which cannot be negative, up to errors of size `soft`."""
    return np.asarray(np.log(np.maximum(normal_share(rate / soft), 1e-12)))


def _bisect(middle: Floats, sd: Floats, weight: Floats, target: Floats, low: Floats, high: Floats) -> Floats:
    """Where the mixture's distribution function reaches `target`."""
    for _ in range(_STEPS):
        half = 0.5 * (low + high)
        below = np.sum(weight * normal_share((half - middle) / sd), axis=0) < target
        low, high = np.where(below, half, low), np.where(below, high, half)
    return np.asarray(0.5 * (low + high))
