"""Partial losses that stay: vacuum falls by a step inside a hold with the supply on, and comes back no more."""

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.effects import robust_spread
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_POINTS = 48
"""Moments at which a hold is looked at."""
_LEVEL, _WIDTH = 3, 2
"""Moments that tell the level before a step, and within which it falls."""
_LAST = 0.8
"""Share of the hold by which a step has come: what is low at the end alone may be something that comes and goes."""
_SAMPLES = 20
"""Samples of a hold that show a step and what comes after it."""
_END_S = 0.05
_OUT_Z = 8.0
"""Standard deviations of the other holds of the log by which a step stands out of them."""


def step_kpa(data: StationData, held: Bools) -> Floats:
    """Level before the largest fall that stays less the highest one after it, shape (n_cycles,) [kPa].

    Small or negative where vacuum stands, falls slowly or comes back; NaN for a hold with too few samples.
    """
    interval_s = data.sensor.sample_interval_s
    start, stop = data.cycles.floats("hold_start_s"), data.timing["quit_s"] - max(_END_S, 2.0 * interval_s)
    out = np.full(len(held), np.nan)
    seen = np.flatnonzero(held & (stop - start >= _SAMPLES * interval_s))
    if not len(seen) or not len(data.bins.time_s):
        return out
    share = np.linspace(0.0, 1.0, _POINTS)
    at_s = start[seen, None] + share * (stop - start)[seen, None]
    level = np.interp(at_s.ravel(), data.bins.time_s, -data.bins.pressure_kpa).reshape(at_s.shape)
    highest_after = np.maximum.accumulate(level[:, ::-1], axis=1)[:, ::-1]
    last = int(_LAST * _POINTS)
    before = np.stack([level[:, k - _LEVEL : k].min(axis=1) for k in range(_LEVEL, last)], axis=1)
    out[seen] = np.max(before - highest_after[:, _LEVEL + _WIDTH : last + _WIDTH], axis=1)
    return out


def stepped(data: StationData, held: Bools, options: JudgeOptions) -> Bools:
    """Holds in which vacuum falls by a step that stays: by much, or by more than the other holds of this log show."""
    step = step_kpa(data, held)
    seen = step[np.isfinite(step)]
    if not len(seen):
        return np.zeros(len(held), np.bool_)
    peak = data.cycles.floats("peak_vacuum_kpa")
    usual = float(np.median(seen)) + _OUT_Z * robust_spread(seen)
    least = np.maximum(usual, np.maximum(options.step_least_kpa, options.step_share * peak))
    with np.errstate(invalid="ignore"):
        return np.asarray(step > np.minimum(least, options.step_large * peak), np.bool_)
