"""Rank statistics of two sides: how often a cycle of one beats a cycle of the other, and by how much.

They assume independent cycles and stand beside the interval of the medians, which does not.

Sources
[1] Mann, Whitney: On a test of whether one of two random variables is stochastically larger,
    Ann. Math. Stat. 18 (1947) 50–60.
[2] Hodges, Lehmann: Estimates of location based on rank tests, Ann. Math. Stat. 34 (1963); Moses' interval,
    Hollander, Wolfe: Nonparametric Statistical Methods.
[3] Schuirmann: A comparison of the two one-sided tests procedure, J. Pharmacokinetics Biopharm. 15 (1987) 657–680.
"""

import math

import numpy as np
from numpy.typing import NDArray

from tracekit.model.comparison import Direction, RankFigures

Floats = NDArray[np.float64]

_MOST_EXACT = 60
_MOST_PAIRS = 250_000


def rank_figures(before: Floats, after: Floats, better: Direction, margin: float) -> RankFigures:
    """What ranks say of two sides, as if their cycles were independent."""
    best, rest = (after, before) if better == "higher" else (before, after)
    return RankFigures(
        pairs_better=pairs_above(best, rest) / (len(before) * len(after)),
        shift=shift(after, before),
        p_better=p_pairs_above(best, rest),
        p_equal_means=p_equal_means(after, before, margin) if np.ptp(before) + np.ptp(after) > 0.0 else 0.0,
    )


def pairs_above(first: Floats, second: Floats) -> float:
    """Mann-Whitney's U: pairs in which a value of `first` exceeds one of `second`, ties counted half [1]."""
    ranked = np.sort(second)
    below = np.searchsorted(ranked, first, "left") + np.searchsorted(ranked, first, "right")
    return float(below.sum()) / 2.0


def p_pairs_above(first: Floats, second: Floats) -> float:
    """One-sided p value that `first` exceeds `second` by chance [1].

    Exact without ties and up to 60 values in all, else normal with corrections for ties and continuity.
    """
    count, n, m = pairs_above(first, second), len(first), len(second)
    values, repeats = np.unique(np.concatenate([first, second]), return_counts=True)
    if len(values) == n + m and n + m <= _MOST_EXACT:
        ways = _ways(n, m)
        return float(ways[round(count) :].sum() / ways.sum())
    total = n + m
    ties = float(np.sum(repeats.astype(np.float64) ** 3 - repeats)) / (total * (total - 1.0))
    deviation = math.sqrt(max(n * m / 12.0 * (total + 1.0 - ties), 1e-300))
    return 0.5 * math.erfc((count - n * m / 2.0 - 0.5) / deviation / math.sqrt(2.0))


def shift(first: Floats, second: Floats) -> float:
    """Hodges and Lehmann's shift: median of all differences first − second [2]. Large sets are thinned evenly."""
    return float(np.median(_differences(first, second)))


def shift_limits(first: Floats, second: Floats, one_sided: float) -> tuple[float, float]:
    """Moses' exact limits of the shift, each wrong with at most probability `one_sided` [2]. For small sets."""
    ways = _ways(len(first), len(second))
    tail = np.cumsum(ways) / ways.sum()
    rank = int(np.searchsorted(tail, one_sided, "right"))
    ordered = np.sort(_differences(first, second))
    if rank == 0:
        return -math.inf, math.inf
    return float(ordered[rank - 1]), float(ordered[len(ordered) - rank])


def p_equal_means(first: Floats, second: Floats, margin: float) -> float:
    """Two one-sided t tests with pooled variance [3], for normal data: p value against means `margin` or more apart."""
    from scipy.special import stdtr

    n, m = len(first), len(second)
    pooled = (np.var(first, ddof=1) * (n - 1) + np.var(second, ddof=1) * (m - 1)) / (n + m - 2)
    error = math.sqrt(float(pooled) * (1.0 / n + 1.0 / m))
    apart = float(np.mean(first) - np.mean(second))
    return float(max(stdtr(n + m - 2, -(apart + margin) / error), stdtr(n + m - 2, (apart - margin) / error)))


def _differences(first: Floats, second: Floats) -> Floats:
    step = max(1, math.ceil(math.sqrt(len(first) * len(second) / _MOST_PAIRS)))
    return np.subtract.outer(first[::step], second[::step]).ravel()


def _ways(n: int, m: int) -> Floats:
    """In how many orders of n + m values U takes each value 0 … n·m, by the recursion of Mann and Whitney [1]."""
    table = np.zeros((n + 1, n * m + 1))
    table[0, 0] = 1.0
    for larger in range(1, n + m + 1):
        for taken in range(min(larger, n), 0, -1):
            moved = larger - taken
            if moved <= m:
                table[taken, moved:] += table[taken - 1, : n * m + 1 - moved]
    return np.asarray(table[n], np.float64)
