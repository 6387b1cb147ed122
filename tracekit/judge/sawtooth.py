"""Leaks too fast to be rated: how soon they empty the band of air saving again and again."""

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions
from tracekit.signal.falls import fall_rate_kpa_s

Floats = NDArray[np.float64]


def with_fast_falls(rate: Floats, data: StationData, options: JudgeOptions) -> Floats:
    """Rates of the leak, shape (n_cycles,) [kPa/s]; of cycles without one whose coasts are short for it, their fall.

    The largest leaks leave coasts of a few samples. A fall counts only far over what other cycles leak and over what
    warming gas makes.
    """
    fall = fall_rate_kpa_s(data)
    usual = float(np.nanmedian(rate)) if np.isfinite(rate).any() else 0.0
    fast = fall > max(options.fast_fall_kpa_s, options.fast_fall_times * usual)
    return np.where(~np.isfinite(rate) & fast, fall, rate)
