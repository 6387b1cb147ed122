"""Robust slope and test of a trend when neighbouring logs resemble one another.

The slope is the median of all slopes between pairs of logs [1, 2]; its interval takes the pairs' order statistics that
the variance of Kendall's S allows [2]. Where logs are correlated that variance is too small: it is multiplied by the
ratio in which the correlation found in the residuals, α·φ^lag, raises the variance of a least-squares slope at the same
times, and Student's t with the effective number of logs replaces the normal quantile.

[1] H. Theil, Proc. Kon. Ned. Akad. Wetensch. A 53 (1950) 386–392.
[2] P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379–1389.
[3] R. O. Gilbert, Statistical Methods for Environmental Pollution Monitoring (1987), chapter 16.
"""

from functools import lru_cache
from math import erfc, sqrt

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass

_EXACT_UP_TO = 10
_MOST_LOGS = 220
_LAGS = 6
_PRIOR_LOGS, _PRIOR_LAG1 = 8.0, 0.15
_LARGEST_LAG1 = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Correlation:
    """How logs resemble earlier ones: share · lag1^k at a distance of k logs."""

    share: float
    lag1: float

    def at(self, lags: NDArray[np.int64]) -> NDArray[np.float64]:
        """Correlation at distances in logs, 1 at zero."""
        return np.where(lags == 0, 1.0, self.share * self.lag1 ** lags.astype(np.float64))

    @property
    def long_run(self) -> float:
        """By how much the variance of a long mean exceeds that of independent logs."""
        return 1.0 + 2.0 * self.share * self.lag1 / (1.0 - self.lag1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """A robust slope per unit of time with its interval; `p_value` is two-sided, `value_at(t)` the line.

    se    standard error, from the interval's half-width
    df    effective degrees of freedom
    """

    slope: float
    lower: float
    upper: float
    intercept: float
    p_value: float
    se: float
    df: float
    n: int
    correlation: Correlation

    def value_at(self, time: float) -> float:
        """The line at a time."""
        return self.intercept + self.slope * time


def middle_of(values: NDArray[np.float64]) -> float:
    """The median of a short array without missing values; NumPy's own spends most of its time on checks."""
    ordered, half = np.sort(values), len(values) // 2
    return float(ordered[half]) if len(values) % 2 else float(ordered[half - 1] + ordered[half]) / 2.0


def robust_sigma(values: NDArray[np.float64]) -> float:
    """1.4826 times the median distance from the median: the standard deviation of normal values."""
    return 1.4826 * middle_of(np.abs(values - middle_of(values)))


def pair_slopes(
    time: NDArray[np.float64], value: NDArray[np.float64], segment: NDArray[np.int64] | None = None
) -> NDArray[np.float64]:
    """Slopes between all pairs of different times, within segments only; any shape (n,) gives up to n(n−1)/2."""
    first, second = _pairs(len(time))
    run = time[second] - time[first]
    use = run != 0
    if segment is not None:
        use &= segment[first] == segment[second]
    if use.all():
        return np.asarray((value[second] - value[first]) / run, np.float64)
    return np.asarray((value[second] - value[first])[use] / run[use], np.float64)


@lru_cache(maxsize=64)
def _pairs(n: int) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Indices of the first and the second of every pair of n logs."""
    first, second = np.triu_indices(n, 1)
    return first.astype(np.int32), second.astype(np.int32)


def kendall_s(value: NDArray[np.float64], segment: NDArray[np.int64] | None = None) -> tuple[float, float]:
    """Kendall's S of values in order of time and its variance with ties [3], summed over segments."""
    if segment is not None:
        parts = [kendall_s(value[segment == s]) for s in np.unique(segment)]
        return float(sum(s for s, _ in parts)), float(sum(v for _, v in parts))
    first, second = _pairs(len(value))
    s = float(np.sign(value[second] - value[first]).sum())
    n = len(value)
    _, ties = np.unique(value, return_counts=True)
    tied = (ties * (ties - 1) * (2 * ties + 5)).sum()
    return s, float(n * (n - 1) * (2 * n + 5) - tied) / 18.0


def kendall_p(value: NDArray[np.float64]) -> tuple[float, float, float]:
    """S, Z with continuity correction, and the two-sided p value of independent values.

    Up to 10 values without ties p is exact, from the number of orders with each S.
    """
    s, variance = kendall_s(value)
    z = (s - np.sign(s)) / sqrt(variance) if variance > 0 else 0.0
    if len(value) <= _EXACT_UP_TO and len(np.unique(value)) == len(value):
        return s, float(z), min(1.0, 2.0 * exact_tail(len(value), int(abs(s)))) if s else 1.0
    return s, float(z), float(erfc(abs(z) / sqrt(2.0)))


@lru_cache(maxsize=256)
def exact_tail(n: int, s: int) -> float:
    """P(S ≥ s) of n independent values without ties, from the generating function of inversions."""
    counts = np.ones(1)
    for size in range(2, n + 1):
        counts = np.convolve(counts, np.ones(size))
    scores = n * (n - 1) // 2 - 2 * np.arange(len(counts))
    return float(counts[scores >= s].sum() / counts.sum())


def sen_slope(
    time: NDArray[np.float64], value: NDArray[np.float64], level: float = 0.95
) -> tuple[float, float, float, float]:
    """Slope, its interval and the intercept median(y) − slope·median(t) of independent values [2]."""
    slopes = pair_slopes(time, value)
    slope = middle_of(slopes)
    _, variance = kendall_s(value)
    lower, upper = _ranked(slopes, _normal_quantile(level) * sqrt(variance))
    return slope, lower, upper, middle_of(value) - slope * middle_of(time)


def robust_slope(
    time: NDArray[np.float64],
    value: NDArray[np.float64],
    segment: NDArray[np.int64] | None = None,
    level: float = 0.95,
) -> Slope | None:
    """Slope of a series with serially correlated scatter, pooled over segments; None where no pair has two times.

    time, value   shape (n_logs,), in rising time
    segment       number of the segment of each log; slopes are taken within segments only, levels may differ
    """
    labels, logs = np.zeros(len(time), np.int64) if segment is None else segment, len(time)
    time, value, labels = _thinned(time, value, labels)
    slopes = pair_slopes(time, value, None if labels[0] == labels[-1] else labels)
    if slopes.size == 0:
        return None
    slope = middle_of(slopes)
    intercepts = {s: middle_of(value[labels == s] - slope * time[labels == s]) for s in np.unique(labels).tolist()}
    residual = value - slope * time - np.array([intercepts[s] for s in labels.tolist()])
    correlation = find_correlation(residual, labels)
    inflation = variance_ratio(time, labels, correlation)
    df = max(len(time) / inflation - 1.0 - len(intercepts), 3.0)
    s, variance = kendall_s(value, labels)
    spread = sqrt(variance * inflation)
    lower, upper = _interval(slopes, slope, spread, _t_quantile(level, df), residual, time, labels, inflation)
    se = (upper - lower) / (2.0 * _t_quantile(level, df))
    z = (abs(s) - 1.0) / spread if spread > 0 and s else 0.0
    if _t_quantile(level, df) * spread >= slopes.size:  # so few logs that no order of them is rare enough
        z = abs(slope) / max(se, 1e-300)
    return Slope(
        slope=slope, lower=lower, upper=upper, intercept=intercepts[int(labels[-1])], p_value=_t_tail(max(z, 0.0), df),
        se=se, df=df, n=logs, correlation=correlation,
    )  # fmt: skip


def mean_slope(time: NDArray[np.float64], value: NDArray[np.float64], smallest_sigma: float) -> Slope | None:
    """Least-squares slope of rare events, whose median slope would be zero whatever happens; None as for the other.

    `smallest_sigma` is the scatter that counting alone gives a log.
    """
    centred = time - time.mean()
    square = float(centred @ centred)
    if square == 0.0:
        return None
    slope = float(centred @ value) / square
    residual = value - value.mean() - slope * centred
    labels = np.zeros(len(time), np.int64)
    correlation = find_correlation(residual)
    inflation = variance_ratio(time, labels, correlation)
    df = max(len(time) / inflation - 2.0, 3.0)
    sigma = max(sqrt(float(residual @ residual) / max(len(time) - 2, 1)), smallest_sigma)
    se = sigma * sqrt(inflation / square)
    half = _t_quantile(0.95, df) * se
    intercept = float(value.mean()) - slope * float(time.mean())
    return Slope(
        slope=slope, lower=slope - half, upper=slope + half, intercept=intercept, p_value=_t_tail(abs(slope) / se, df),
        se=se, df=df, n=len(time), correlation=correlation,
    )  # fmt: skip


def _interval(
    slopes: NDArray[np.float64],
    slope: float,
    spread: float,
    quantile: float,
    residual: NDArray[np.float64],
    time: NDArray[np.float64],
    labels: NDArray[np.int64],
    inflation: float,
) -> tuple[float, float]:
    """The order statistics of the pair slopes; where there are too few of them, the normal form, if wider."""
    reach = quantile * spread
    lower, upper = _ranked(slopes, reach)
    if reach < slopes.size:
        return lower, upper
    sigma = robust_sigma(residual)
    half = quantile * sigma * sqrt(inflation / max(_centred_square(time, labels), 1e-300))
    return min(lower, slope - half), max(upper, slope + half)


def _ranked(slopes: NDArray[np.float64], reach: float) -> tuple[float, float]:
    count = slopes.size
    low = int(np.clip(round((count - reach) / 2.0), 1, count)) - 1
    high = int(np.clip(round((count + reach) / 2.0) + 1, 1, count)) - 1
    ordered = np.partition(slopes, (low, high))
    return float(ordered[low]), float(ordered[high])


def _thinned(
    time: NDArray[np.float64], value: NDArray[np.float64], labels: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """Long series by means of neighbours within a segment, so that the number of pairs stays bounded."""
    group = -(-len(time) // _MOST_LOGS)
    if group <= 1:
        return time, value, labels
    place = np.arange(len(time)) // group
    starts = np.flatnonzero((np.diff(place, prepend=-1) != 0) | (np.diff(labels, prepend=labels[0]) != 0))
    count = np.diff(np.append(starts, len(time)))
    return np.add.reduceat(time, starts) / count, np.add.reduceat(value, starts) / count, labels[starts]


def find_correlation(residual: NDArray[np.float64], labels: NDArray[np.int64] | None = None) -> Correlation:
    """Correlation of residuals with earlier ones, corrected for what removing a line takes away, never negative.

    A few logs cannot tell: then the estimate is drawn towards a small correlation that is usual.
    """
    n = len(residual)
    scale = robust_sigma(residual)
    if n < 4 or scale == 0.0:
        return Correlation(share=1.0, lag1=_PRIOR_LAG1)
    clipped = np.clip(residual, -3.0 * scale, 3.0 * scale)
    found = _lag_correlations(clipped, labels, max(1, min(_LAGS, n // 6)))
    segments = 1 if labels is None else len(set(labels.tolist()))
    raised = found + 0.2 / sqrt(n) + (1.0 + 3.0 * np.maximum(found, 0.0) + segments) / n
    lag1 = float(np.clip((n * raised[0] + _PRIOR_LOGS * _PRIOR_LAG1) / (n + _PRIOR_LOGS), 0.0, _LARGEST_LAG1))
    if len(raised) < _LAGS or raised[0] <= 0.05:
        return Correlation(share=1.0, lag1=lag1)
    return _fitted(np.concatenate([[lag1], raised[1:]]))


def _lag_correlations(
    residual: NDArray[np.float64], labels: NDArray[np.int64] | None, lags: int
) -> NDArray[np.float64]:
    """Correlations with the 1st, 2nd, … log before, of pairs within one segment, shape (lags,)."""
    square = float(residual @ residual) / len(residual)
    found = np.zeros(lags)
    for lag in range(1, lags + 1):
        late, early = residual[lag:], residual[:-lag]
        if labels is not None:
            same = labels[lag:] == labels[:-lag]
            late, early = late[same], early[same]
        if len(late) and square > 0.0:
            found[lag - 1] = float(late @ early) / len(late) / square
    return found


def _fitted(found: NDArray[np.float64]) -> Correlation:
    """share·lag1^k nearest to the correlations found at lags 1, 2, …: slow wandering under independent scatter."""
    lags = np.arange(1, len(found) + 1)
    lag1 = np.linspace(0.05, _LARGEST_LAG1, 46)[:, None]
    shape = lag1**lags
    share = np.clip((shape * found).sum(1) / (shape**2).sum(1), 0.0, 1.0)
    miss = ((found - share[:, None] * shape) ** 2).sum(1)
    best = int(np.argmin(miss))
    return Correlation(share=float(share[best]), lag1=float(lag1[best, 0]))


def variance_ratio(time: NDArray[np.float64], labels: NDArray[np.int64], correlation: Correlation) -> float:
    """Variance of a least-squares slope under the correlation over that of independent logs, at least 1."""
    centred = _centred(time, labels)
    square = float((centred**2).sum())
    if square == 0.0:
        return 1.0
    own = np.correlate(centred, centred, "full")[len(centred) - 1 :]
    weights = correlation.at(np.arange(len(centred)))
    return max(1.0, float(own[0] + 2.0 * (own[1:] * weights[1:]).sum()) / square)


def _centred(time: NDArray[np.float64], labels: NDArray[np.int64]) -> NDArray[np.float64]:
    centred = time.astype(np.float64, copy=True)
    for label in np.unique(labels):
        centred[labels == label] -= centred[labels == label].mean()
    return centred


def _centred_square(time: NDArray[np.float64], labels: NDArray[np.int64]) -> float:
    return float((_centred(time, labels) ** 2).sum())


@lru_cache(maxsize=8)
def _normal_quantile(level: float) -> float:
    from statistics import NormalDist

    return NormalDist().inv_cdf(0.5 + level / 2.0)


@lru_cache(maxsize=4096)
def _t_quantile_cached(level: float, df: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(df, 0.5 + level / 2.0))


def _t_quantile(level: float, df: float) -> float:
    """Student's quantile for a two-sided interval."""
    return _t_quantile_cached(level, round(df, 1))


def _t_tail(z: float, df: float) -> float:
    """Two-sided tail of Student's t."""
    from scipy.special import stdtr

    return float(2.0 * stdtr(df, -z))
