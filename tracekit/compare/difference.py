"""The difference of two medians: interval, one-sided tests, equivalence, cycles needed.

The two bands are joined by the rule of Zou and Donner [1] (each end of the difference from the near ends of the two
medians), which keeps them lopsided where the data are. How many standard deviations an interval takes follows from
the weighted set of standard deviations of both sides, so doubt about serial correlation widens it. Equivalence is
shown by two one-sided tests [2].

Sources
[1] Zou, Donner: Construction of confidence limits about effect measures, Statistics in Medicine 27 (2008) 1693–1702.
[2] Schuirmann: A comparison of the two one-sided tests procedure, J. Pharmacokinetics Biopharm. 15 (1987) 657–680.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from tracekit.compare.median import MedianFit
from tracekit.frozen import dataclass

Floats = NDArray[np.float64]

_MOST_Z = 60.0
_HALVINGS = 50
_MOST_RATIOS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """After minus before. `ratio`: possible standard deviations over the typical one, with their `weight`."""

    before: MedianFit
    after: MedianFit
    weight: Floats
    ratio: Floats
    deviation: float

    @property
    def value(self) -> float:
        """Difference of the medians."""
        return self.after.median - self.before.median


def difference_of(before: MedianFit, after: MedianFit) -> Difference:
    """Two sides joined. Independent of one another; errors common to both are counted in each, which is cautious."""
    sides = (before, after)
    per_share = [s.sampling / s.serial.typical for s in sides]
    scatter = [np.square(a * s.serial.deviation) for a, s in zip(per_share, sides, strict=True)]
    weight = np.outer(before.serial.weight, after.serial.weight).ravel()
    common = before.common**2 + after.common**2
    variance = np.add.outer(scatter[0], scatter[1]).ravel() + common
    typical = float(np.sqrt(np.sum(weight * variance)))
    if typical == 0.0:
        variance = np.add.outer(*[np.square(s.serial.deviation / s.serial.typical) for s in sides]).ravel()
        ratio = np.sqrt(variance / np.sum(weight * variance))
    else:
        ratio = np.sqrt(variance) / typical
    weight, ratio = _fewer(weight, ratio)
    return Difference(before=before, after=after, weight=weight, ratio=ratio, deviation=typical)


def bounds(difference: Difference, one_sided: float) -> tuple[float, float]:
    """Lower and upper end of the interval that errs with probability `one_sided` on each side."""
    z = _root(lambda x: _tail(difference, x) - one_sided)
    return _lower(difference, z), _upper(difference, z)


def p_above(difference: Difference, limit: float) -> float:
    """One-sided p value against "the difference is at most `limit`"."""
    if difference.value < limit:
        return 1.0 - p_below(difference, limit)
    return _tail(difference, _root(lambda z: _lower(difference, z) - limit))


def p_below(difference: Difference, limit: float) -> float:
    """One-sided p value against "the difference is at least `limit`"."""
    if difference.value > limit:
        return 1.0 - p_above(difference, limit)
    return _tail(difference, _root(lambda z: limit - _upper(difference, z)))


def p_equivalent(difference: Difference, margin: float) -> float:
    """P value against "the difference is `margin` or more, either way": the larger of two one-sided tests."""
    return max(p_above(difference, -margin), p_below(difference, margin))


def _fewer(weight: Floats, ratio: Floats) -> tuple[Floats, Floats]:
    """Neighbouring ratios joined (weights added, squares averaged), at most `_MOST_RATIOS` of them."""
    edges = np.linspace(np.log(ratio.min()), np.log(ratio.max()) + 1e-9, _MOST_RATIOS + 1)
    group = np.searchsorted(edges, np.log(ratio), "right") - 1
    total = np.bincount(group, weight, _MOST_RATIOS)
    square = np.bincount(group, weight * ratio**2, _MOST_RATIOS)
    used = total > 0.0
    return np.asarray(total[used], np.float64), np.asarray(np.sqrt(square[used] / total[used]), np.float64)


def p_equivalent_share(difference: Difference, share: float) -> float:
    """The same against a margin that is a share of the median before, and as uncertain as that median is."""
    before, after = difference.before, difference.after
    less, more = (before.scaled(1.0 - share), before.scaled(1.0 + share))
    low, high = (less, more) if before.median > 0.0 else (more, less)
    return max(p_above(difference_of(low, after), 0.0), p_below(difference_of(high, after), 0.0))


def _lower(difference: Difference, z: float) -> float:
    before, after = difference.before, difference.after
    return difference.value - float(np.hypot(after.median - after.band(z)[0], before.band(z)[1] - before.median))


def _upper(difference: Difference, z: float) -> float:
    before, after = difference.before, difference.after
    return difference.value + float(np.hypot(after.band(z)[1] - after.median, before.median - before.band(z)[0]))


def _tail(difference: Difference, z: float) -> float:
    """Chance that a standardised difference exceeds z, over the possible standard deviations."""
    from scipy.special import ndtr

    return float(np.sum(difference.weight * ndtr(-z / difference.ratio)))


def _root(falling: Callable[[float], float]) -> float:
    """Where a falling function of z ≥ 0 crosses zero, 0 where it starts below, the end where it never does."""
    low, high = 0.0, _MOST_Z
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if falling(middle) > 0.0 else (low, middle)
    return 0.5 * (low + high)
