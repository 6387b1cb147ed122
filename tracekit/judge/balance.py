"""How much a leak slows the evacuation, as a share of the leak: at the cup by all of it, behind the check valve not.

Between two logs the weather and the supply move the speed of an evacuation too; within one log, where a leak came in
the middle of it or changes from pick to pick, hardly anything else does.
"""

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.effects import Comparison, Effect, robust_spread
from tracekit.judge.features import Features

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_FEWEST, _BLOCKS, _TRIMMED = 16, 8, 4.0
"""Cycles that tell a slope, parts of a log of which each is left out in turn, and spreads from where on one is odd."""
_LEAST_SPREAD_KPA_S, _OF_THE_LEAK, _OF_MEDIAN = 0.5, 0.75, 0.5
"""Least scatter of rates that tells, what of its square must be beyond that of the sound station, and what share of
the leak it must be where no sound one is known: what varies is then the leak, not the parts (no source)."""
_KNOWN = 0.9
"""Of the square of that scatter that is no noise of the rates: noise flattens a slope."""
QUICKEST = 3.0
"""Samples between two levels, from where on straight lines between them tell their time (no source)."""
_DRIFT = 0.004
"""Of the speed of an evacuation, by which the supply wanders over a log: half of what it does from day to day."""


def group_balance(features: Features, upper: Bools) -> Effect | None:
    """The balance between two groups of cycles of one log: no weather, no drift of the supply lies between them."""
    rate, top = features.values["decay"], features.values["top"]
    seen = features.held & np.isfinite(rate) & np.isfinite(top)
    high, low = seen & upper, seen & ~upper
    if high.sum() < 4 or low.sum() < 4:
        return None
    leak = float(np.median(rate[high]) - np.median(rate[low]))
    slower = float(np.median(top[low]) - np.median(top[high]))
    if leak <= 0.3:
        return None
    spread = np.hypot(robust_spread(top[high]) / np.sqrt(high.sum()), robust_spread(top[low]) / np.sqrt(low.sum()))
    error = float(np.hypot(1.5 * spread, 0.3 * features.floor["top"])) / leak
    return _effect(slower / leak, max(error, 0.08), int(high.sum()), int(low.sum()))


def _effect(share: float, error: float, count: int, usual: int) -> Effect:
    return Effect(
        now=share, reference=0.0, shift=share, error=error, n_now=count, n_reference=usual,
        tail_up=0.0, tail_down=0.0, scatter=1.0,
    )  # fmt: skip


def within_balance(
    features: Features, comparison: Comparison, reference: Features | None, quickest_kpa_s: float
) -> Effect | None:
    """The slope of the speed near the top over the leak among the cycles of one log, None where too little varies.

    quickest_kpa_s  speed that samples resolve: of quicker evacuations they tell too little

    The error is that of a jackknife over parts of the log, with what a wander of the supply does that goes with the
    leak. Only where what varies is the leak that was not there before: parts differ in a sound station too.
    """
    rate, top = features.values["decay"], features.values["top"]
    seen = features.held & np.isfinite(rate) & np.isfinite(top)
    if seen.sum() < _FEWEST:
        return None
    rows = np.flatnonzero(seen)
    x, y = rate[rows], top[rows]
    if float(np.median(y)) > quickest_kpa_s or not _leak_varies(x, features, comparison, reference, rows):
        return None
    kept = _without_odd(x, y)
    parts = [k for k in np.array_split(np.flatnonzero(kept), _BLOCKS) if len(k)]
    left = np.array([_slope(x, y, kept & ~np.isin(np.arange(len(x)), part)) for part in parts])
    scatter = float(np.sqrt((len(left) - 1) / len(left) * np.sum((left - left.mean()) ** 2)))
    spread = float(np.std(x[kept]))
    together = abs(float(np.corrcoef(x[kept], rows[kept])[0, 1])) if spread > 0.0 else 1.0
    wander = _DRIFT * float(np.median(y)) * together / max(spread, 1e-9)
    return _effect(-_slope(x, y, kept), max(float(np.hypot(scatter, wander)), 0.08), int(kept.sum()), 0)


def _leak_varies(
    x: Floats, features: Features, comparison: Comparison, reference: Features | None, rows: NDArray[np.int64]
) -> bool:
    """Whether rates differ by more than noise and a sound station's parts make them differ."""
    power = float(np.var(x))
    noise = features.decay_noise[rows]
    known = power - (float(np.nanmedian(noise)) ** 2 if np.isfinite(noise).any() else 0.0)
    if power < _LEAST_SPREAD_KPA_S**2 or known < _KNOWN * power:
        return False
    if comparison.source == "none":
        return bool(np.sqrt(power) > _OF_MEDIAN * abs(float(np.median(x))))
    before = reference.values["decay"][reference.held] if reference is not None else None
    if before is None:
        before = features.values["decay"][comparison.reference & features.held]
    before = before[np.isfinite(before)]
    return len(before) >= 4 and power - float(np.var(before)) > _OF_THE_LEAK * power


def _slope(x: Floats, y: Floats, kept: Bools) -> float:
    """The slope of the straight line of least squares through some points."""
    off = x[kept] - x[kept].mean()
    return float(off @ y[kept] / max(float(off @ off), 1e-12))


def _without_odd(x: Floats, y: Floats) -> Bools:
    """Points but for those far off the line through the others, whose slope is the median of those of pairs.

    Pairs of the lower half of x with the upper one (Theil 1950, incomplete method): odd points make few slopes odd,
    while a line of least squares that they bend would leave out the good ones instead.
    """
    order, half = np.argsort(x, kind="stable"), len(x) // 2
    low, high = order[:half], order[len(x) - half :]
    apart = x[high] - x[low]
    slope = float(np.median((y[high] - y[low])[apart > 0.0] / apart[apart > 0.0])) if (apart > 0.0).any() else 0.0
    left = y - slope * x
    left = np.abs(left - np.median(left))
    return np.asarray(left <= _TRIMMED * max(1.4826 * float(np.median(left)), 1e-9), np.bool_)


def joined(between: Effect | None, within: Effect | None) -> Effect | None:
    """One balance of that between two logs and that within one; where they contradict each other, the surer one."""
    if between is None or within is None:
        return between or within
    if abs(between.shift - within.shift) > 2.0 * float(np.hypot(between.error, within.error)):
        return min(between, within, key=lambda effect: effect.error)
    weights = np.array([between.error**-2.0, within.error**-2.0])
    share = float(weights @ [between.shift, within.shift] / weights.sum())
    return _effect(share, max(float(weights.sum() ** -0.5), 0.08), within.n_now, between.n_reference)
