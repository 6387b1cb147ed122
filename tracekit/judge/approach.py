"""How the approach to a part shows: parts that are met before the generator has spun up."""

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.features import Features
from tracekit.model.cycle import StationData

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
_EARLY_SHARE = 0.25
"""Slow cycles that meet their part before all but this share of the others meet it early."""
_FOLLOWS = 0.4
"""Correlation in ranks from where on the open cup of the others follows the time of the contact (common practice)."""
_ENOUGH = 12
_MOST_LN = 0.25
"""Logarithm of how much slower an evacuation gets at most that begins before the generator has spun up (common
practice, no source)."""


def met_early(data: StationData, features: Features, slow: Bools) -> bool:
    """Whether slow cycles are those that met their part before the generator had spun up.

    The open cup then reads less before them and the evacuation begins with less flow, on a healthy station too. So it
    is where the slow cycles meet their part earlier than nearly all others, and the open cup of those others, too,
    reads the more the later they meet it.
    """
    contact = data.cycles.floats("contact_s") - data.timing["try_s"]
    level = features.values["open"]
    seen = features.held & np.isfinite(contact) & np.isfinite(level)
    inside, others = seen & slow, seen & ~slow
    if inside.sum() < 0.5 * max(slow.sum(), 1) or others.sum() < _ENOUGH:
        return False
    rise = features.values["rise"]
    if np.nanmedian(rise[inside]) - np.nanmedian(rise[others]) > _MOST_LN:
        return False
    if np.median(contact[inside]) > np.quantile(contact[others], _EARLY_SHARE):
        return False
    return bool(np.corrcoef(_ranks(contact[others]), _ranks(level[others]))[0, 1] > _FOLLOWS)


def _ranks(values: Floats) -> Floats:
    return np.argsort(np.argsort(values, kind="stable"), kind="stable").astype(np.float64)
