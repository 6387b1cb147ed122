"""Intervals of predicted effects: for a recording as long as this one, so that both recordings' scatter is in them."""

import math

import numpy as np
from numpy.typing import NDArray

from tracekit.model.estimate import Estimate

Floats = NDArray[np.float64]

_Z = 1.96
_NEVER = 1e-6


def estimate(value: float, half: float, unit: str, n: int, method: str, least: float = 0.0) -> Estimate:
    """A value with a symmetric interval, not below `least`."""
    low, middle, high = (float(max(v, least)) for v in (value - half, value, value + half))
    return Estimate(value=middle, lower=low, upper=high, unit=unit, n=n, method=method)


def of_mean(values: Floats, unit: str, method: str) -> Estimate:
    """Mean of recorded values, with the scatter of a second recording of the same length."""
    n = len(values)
    spread = float(np.std(values, ddof=1)) if n > 1 else abs(float(values.mean()))
    return estimate(float(values.mean()), _Z * spread * math.sqrt(2.0 / n), unit, n, method)


def of_median(values: Floats, unit: str, method: str, resolution: float) -> Estimate:
    """Median of recorded values; `resolution` is the standard uncertainty that all of them share."""
    n = len(values)
    spread = 1.4826 * float(np.median(np.abs(values - np.median(values))))
    half = _Z * math.hypot(1.2533 * spread * math.sqrt(2.0 / n), resolution)
    return estimate(float(np.median(values)), half, unit, n, method)


def of_share(events: float, n: int, method: str) -> Estimate:
    """A share of cycles with a score interval that allows for a second recording of the same length (Wilson 1927)."""
    z2 = _Z * _Z * 2.0
    share = min(max(events / n, 0.0), 1.0) if events > _NEVER * n else 0.0
    middle = (share + z2 / (2.0 * n)) / (1.0 + z2 / n)
    half = math.sqrt(z2) / (1.0 + z2 / n) * math.sqrt(share * (1.0 - share) / n + z2 / (4.0 * n * n))
    low, high = float(max(middle - half, 0.0)), float(min(middle + half, 1.0))
    low = 0.0 if share == 0.0 else low
    return Estimate(value=float(share), lower=low, upper=high, unit="share of cycles", n=n, method=method)
