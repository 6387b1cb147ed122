"""When a station changed inside its log: the step that most measures share, by robust sums and by ranks."""

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.features import Features
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]

_RANK_LEAST = 18.0
"""Squared significance in ranks: the largest of many splits and measures exceeds it about once in a hundred logs.

Where few cycles cannot reach it, all but complete separation is asked for instead.
"""


def _rank_scores(values: Floats, k: NDArray[np.int64]) -> Floats:
    """Squared significance of a step at each split by ranks, which single odd cycles cannot make."""
    n = len(values)
    rank = np.empty(n)
    rank[np.argsort(values, kind="stable")] = np.arange(n)
    same = np.unique(values, return_inverse=True)[1]
    rank = (np.bincount(same, weights=rank) / np.bincount(same))[same]
    total = np.cumsum(rank)[:-1]
    mean = (n - 1) / 2.0
    variance = max(float(rank.var()), 1e-9)
    return np.asarray((total - k * mean) ** 2 / (variance * k * (n - k) / n))


def _scores(values: Floats, floor: float, least: int) -> Floats:
    """Squared significance of a step at each split, shape (n_cycles,); 0 where a side is too short.

    A split at k puts cycles 0 … k - 1 before it. Values are winsorised so that single cycles make no step.
    """
    n = len(values)
    score = np.zeros(n)
    seen = np.flatnonzero(np.isfinite(values))
    if len(seen) < 2 * least:
        return score
    x = values[seen]
    jump = np.diff(x)
    noise = max(1.4826 * float(np.median(np.abs(jump - np.median(jump)))) / np.sqrt(2.0), floor)
    low, high = np.quantile(x, 0.02), np.quantile(x, 0.98)
    x = np.clip(x, low, high)
    total = np.cumsum(x)
    k = np.arange(1, len(x))
    ordered = _rank_scores(x, k)
    step = total[:-1] / k - (total[-1] - total[:-1]) / (len(x) - k)
    inside = np.where((k >= least) & (len(x) - k >= least), step**2 * k * (len(x) - k) / len(x) / noise**2, 0.0)
    parted = ordered > np.minimum(_RANK_LEAST, 0.9 * 3.0 * k * (len(x) - k) / (len(x) + 1))
    size = np.where((np.abs(step) > 2.5 * floor) & parted, inside, 0.0)
    score[seen[1:]] = size
    return score


ONSET_MEASURES = ("decay", "rise", "open", "ultimate", "peak", "blow", "residual", "over", "idle", "release", "noise")


_MOST = 400.0
"""What a measure counts at most: one that steps by very much does not outvote all others."""


def find_onset(features: Features, options: JudgeOptions) -> int | None:
    """The cycle at which the station changed, by the step that most measures share; None where there is none."""
    scores = [
        _at_most(
            _scores(np.where(features.held, features.values[m], np.nan), features.floor[m], options.onset_least), _MOST
        )
        for m in ONSET_MEASURES
    ]
    total = np.max(scores, axis=0) + 0.2 * np.sum(scores, axis=0)
    if not len(total) or float(np.max(scores)) < options.onset_score:
        return None
    return int(np.argmax(total))


def _at_most(scores: Floats, most: float) -> Floats:
    """Scores of every place scaled down so that none is more: where they are highest stays where it is."""
    return scores * min(1.0, most / max(float(np.max(scores, initial=0.0)), most))
