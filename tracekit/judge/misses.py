"""Missed picks: which of them found nothing, and which closed on a part and were slow."""

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.facts import middle
from tracekit.judge.frozen import makes_no_vacuum
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_ENOUGH = 8
"""Grips from which on their usual time is known."""
_MEETS_BY = 1.2
"""A suction that is given up before the usual grip and a little more may not have met its part yet."""
_CLEARLY_LONGER = 1.3
"""A suction this much longer than nearly all others were given until the grip was not cut short."""


def _open_level(data: StationData) -> float:
    """Open-cup vacuum on the way to a part, NaN where held cycles do not show it [kPa]."""
    level = data.cycles.floats("open_cup_vacuum_kpa")[data.cycles.where("outcome", "held")]
    return middle(level) if np.isfinite(level).sum() >= 3 else float("nan")


def _at_share(data: StationData, share: float) -> Floats:
    """Vacuum after a share of each suction, shape (n_cycles,) [kPa]."""
    start = data.timing["try_s"]
    at_s = start + share * (data.timing["quit_s"] - start)
    return np.where(np.isfinite(at_s), np.interp(at_s, data.bins.time_s, -data.bins.pressure_kpa), np.nan)


def _rising(data: StationData) -> Bools:
    """Vacuum still rises as the suction is given up: an open cup has settled long before."""
    if not len(data.bins.time_s):
        return np.zeros(len(data.cycles), np.bool_)
    late, before = _at_share(data, 0.97), _at_share(data, 0.77)
    with np.errstate(invalid="ignore"):
        return np.asarray(late - before > np.maximum(0.1 * late, max(1.0, 4.0 * data.sensor.noise_kpa)), np.bool_)


def empty_picks(data: StationData, baseline: StationData | None, options: JudgeOptions) -> Bools:
    """Missed picks that stayed near the vacuum of an open cup.

    One that stayed far under it is none: nothing was drawn, or the reading does not follow. A pick given up too soon to
    have met its part tells nothing. The level is the log's own, which a clogged filter has moved, else the baseline's.
    Where neither shows it, an empty cup reaches a small share of what a closed one does.
    """
    peak = data.cycles.floats("peak_vacuum_kpa")
    level = _open_level(data)
    if not np.isfinite(level) and baseline is not None:
        level = _open_level(baseline)
    most = options.open_share_most * data.usual_peak_kpa
    if np.isfinite(level):
        # the approach may be too short for the open cup to settle
        most = min(options.open_times_most * level + options.open_more_kpa, 0.62 * data.usual_peak_kpa)
    met = _given(data) > _MEETS_BY * float(np.median(_took(data))) if len(_took(data)) >= _ENOUGH else True
    drawn = ~makes_no_vacuum(data, baseline, options)
    return np.asarray(data.cycles.where("outcome", "missed") & (peak < most) & ~_rising(data) & met & drawn, np.bool_)


def _took(data: StationData) -> Floats:
    """Time from the start of suction to the grip of held cycles, where known [s]."""
    took = (data.cycles.floats("hold_start_s") - data.timing["try_s"])[data.cycles.where("outcome", "held")]
    return took[np.isfinite(took)]


def _given(data: StationData) -> Floats:
    """Time that each suction was given, shape (n_cycles,) [s]."""
    return data.timing["quit_s"] - data.timing["try_s"]


def slow_misses(data: StationData, empty: Bools) -> Bools:
    """Missed picks that got more than an open cup has, and longer than nearly all held ones took: slow evacuations."""
    cycles = data.cycles
    took = _took(data)
    if len(took) < _ENOUGH:
        return np.zeros(len(cycles), np.bool_)
    shallow = cycles.floats("peak_vacuum_kpa") < 0.7 * data.usual_peak_kpa
    long = _given(data) > _CLEARLY_LONGER * float(np.quantile(took, 0.95))
    return np.asarray(cycles.where("outcome", "missed") & ~empty & shallow & long, np.bool_)
