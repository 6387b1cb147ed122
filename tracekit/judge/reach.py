"""How much further an evacuation would go that is cut soon after the set point: from how it slows down before."""

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import StationData

Floats = NDArray[np.float64]
_FEWEST = 4
_APART_KPA = 2.0
"""A level of the grid nearer to the set point than this tells no speed."""


def reach_kpa(data: StationData, set_point: Floats) -> Floats:
    """Vacuum at which the rise would come to rest, as it slows down below the set point, shape (n_cycles,) [kPa].

    The speed falls with vacuum in a straight line near the top: the mean speeds of the last two stretches before the
    set point, between levels that are timed, tell where it is nothing. It lies not under what was reached. NaN where
    the rise hardly slows down, or is not timed there.
    """
    peak, time = data.cycles.floats("peak_vacuum_kpa"), data.cycles.floats("evacuation_time_s")
    low, rise = data.levels_kpa, data.rise_s
    timed = np.isfinite(rise) & (low[None, :] <= (set_point - _APART_KPA)[:, None]) & (rise < time[:, None])
    place = np.where(timed, np.arange(len(low)), -1).max(axis=1, initial=-1)
    known = place >= 1
    at, row = np.maximum(place, 1), np.arange(len(place))
    with np.errstate(invalid="ignore", divide="ignore"):
        slow = (set_point - low[at]) / (time - rise[row, at])
        fast = (low[at] - low[at - 1]) / (rise[row, at] - rise[row, at - 1])
        apart = 0.5 * (set_point - low[at - 1])
        rest = 0.5 * (set_point + low[at]) + slow * apart / (fast - slow)
        slows = known & (fast > slow) & (slow > 0.0)
    return np.where(slows, np.fmax(rest, peak), np.nan)


def margin_kpa(data: StationData, set_point: Floats, held: NDArray[np.bool_]) -> float:
    """How far the weakest of some cycles would go past the set point, NaN where too few tell [kPa]."""
    over = (reach_kpa(data, set_point) - set_point)[held]
    over = over[np.isfinite(over)]
    return float(np.quantile(over, 0.1)) if len(over) >= max(_FEWEST, 0.5 * held.sum()) else float("nan")
