"""Leaks too fast to be rated: how soon they empty the band of air saving again and again."""

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]


def fall_rate_kpa_s(data: StationData) -> Floats:
    """Median fall of the coasts of each hold that a recharge ended, shape (n_cycles,) [kPa/s]; NaN for fewer than two.

    What cooled gas that warms, and a volume compressed without exchange of heat, add is in it: up to 1.4 times the
    isothermal rate, and some kPa/s.
    """
    periods, out = data.periods, np.full(len(data.cycles), np.nan)
    kind, cycle = periods.codes("kind"), periods.codes("cycle")
    names = periods.categories["kind"]
    coast, recharge = names.index("coast"), names.index("recharge")
    ended = np.flatnonzero((kind[:-1] == coast) & (kind[1:] == recharge) & (cycle[:-1] == cycle[1:]))
    if not len(ended):
        return out
    length = periods.floats("end_s")[ended] - periods.floats("start_s")[ended]
    fall = periods.floats("vacuum_start_kpa")[ended] - periods.floats("vacuum_end_kpa")[ended]
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.where(length > 0.0, fall / length, np.nan)
    order = np.lexsort((rate, cycle[ended]))
    owner, first, count = np.unique(cycle[ended][order], return_index=True, return_counts=True)
    middle = rate[order][first + count // 2]
    out[owner] = np.where(count >= 2, middle, np.nan)
    return out


def with_fast_falls(rate: Floats, data: StationData, options: JudgeOptions) -> Floats:
    """Rates of the leak, shape (n_cycles,) [kPa/s]; of cycles without one whose coasts are short for it, their fall.

    The largest leaks leave coasts of a few samples. A fall counts only far over what other cycles leak and over what
    warming gas makes.
    """
    fall = fall_rate_kpa_s(data)
    usual = float(np.nanmedian(rate)) if np.isfinite(rate).any() else 0.0
    fast = fall > max(options.fast_fall_kpa_s, options.fast_fall_times * usual)
    return np.where(~np.isfinite(rate) & fast, fall, rate)
