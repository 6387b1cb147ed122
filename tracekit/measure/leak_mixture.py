"""Mixtures of normal distributions of a rate that cannot be negative: quantiles, many at once."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from tracekit.frozen import dataclass
from tracekit.measure.leak_bins import Floats, Ints

GUARDED = (0.05, 0.10)
"""Probability of a label from which its own interval counts, and from which it counts in full."""
TAIL = 0.05
"""What a label's own interval leaves out on either side."""
_STEPS = 32
_CLOSE = 1e-5
"""Step in standard deviations below which a quantile is found."""
_TOGETHER = 1024
"""Mixtures worked on at once: what the bisection needs of each is many times what is kept of it."""
_TABLE_X = np.linspace(-7.0, 7.0, 2801)


def _table() -> Floats:
    """Normal distribution function on the table, by the trapezoidal rule."""
    density = np.exp(-0.5 * _TABLE_X**2) / np.sqrt(2.0 * np.pi)
    area = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * (_TABLE_X[1] - _TABLE_X[0]))])
    return np.asarray(area / area[-1])


_TABLE_Y = _table()
_RISE = np.diff(_TABLE_Y, append=_TABLE_Y[-1])
_PER_UNIT = (len(_TABLE_X) - 1) / float(_TABLE_X[-1] - _TABLE_X[0])


def normal_share(x: Floats) -> Floats:
    """Normal distribution function, good to 10⁻⁶; NaN stays NaN. Straight lines between the table's even steps."""
    place = np.clip((x - _TABLE_X[0]) * _PER_UNIT, 0.0, len(_TABLE_X) - 1.0)
    below = np.nan_to_num(place).astype(np.int64)
    return np.asarray(_TABLE_Y[below] + (place - below) * _RISE[below])


def positive_quantiles(
    middle: Floats, sd: Floats, weight: Floats, probabilities: tuple[float, ...]
) -> tuple[Floats, ...]:
    """Quantiles of the mixture given that the rate is not negative, each of shape (n,).

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
    low = np.maximum(np.minimum.reduce(middle, axis=0) - 6.0 * sd, 0.0)
    high = np.maximum(np.maximum.reduce(middle, axis=0) + 6.0 * sd, 4.0 * sd)
    per_unit = _PER_UNIT / sd
    box = _Mixture(weight=weight, sd=sd, per_unit=per_unit, offset=-_TABLE_X[0] * _PER_UNIT - middle * per_unit)
    mean = np.sum(weight * middle, axis=0)
    spread = np.sqrt(np.sum(weight * np.square(middle - mean), axis=0) + sd * sd)
    out = []
    for p in probabilities:
        target = at_zero + p * (1.0 - at_zero)
        start = mean + spread * np.interp(target, _TABLE_Y, _TABLE_X)
        out.append(_solve(box, target, np.minimum(np.maximum(start, low), high), low, high))
    return tuple(out)


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mixture:
    """Mixtures whose components' places in the table at a rate x are x·per_unit + offset.

    weight  (n_models, n) or (n_models, 1);  sd, per_unit  (n,);  offset  (n_models, n)
    """

    weight: Floats
    sd: Floats
    per_unit: Floats
    offset: Floats

    def at(self, x: Floats) -> tuple[Floats, Floats]:
        """Distribution function at one rate per mixture, shape (n,), and its slope, as the table has it."""
        place = x * self.per_unit + self.offset
        # a place that is not known is the first: what is found there is NaN by its ends
        np.fmin(np.fmax(place, 0.0, out=place), len(_TABLE_X) - 1.0, out=place)
        below = place.astype(np.int64)
        place -= below
        rise = _RISE.take(below)
        place *= rise
        place += _TABLE_Y.take(below)
        place *= self.weight
        rise *= self.weight
        return np.sum(place, axis=0), np.sum(rise, axis=0) * self.per_unit


def _solve(box: _Mixture, target: Floats, x: Floats, low: Floats, high: Floats) -> Floats:
    """Where the distribution function reaches `target`: Newton's steps from `x`, halving where they leave the ends.

    A quantile that is found stays as it is, so that it does not depend on those beside it.
    """
    found = np.zeros(len(x), np.bool_)
    for _ in range(_STEPS):
        share, slope = box.at(x)
        off = share - target
        low, high = np.where(off < 0.0, x, low), np.where(off < 0.0, high, x)
        with np.errstate(invalid="ignore", divide="ignore"):
            step = x - off / slope
        step = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        close = np.abs(step - x) <= _CLOSE * box.sd
        x = np.where(found, x, step)
        found |= close
        if found.all():
            break
    return x
