"""Whether values go on as time does."""

import numpy as np
from numpy.typing import NDArray

from tracekit.read.head import finite


def rises(seconds: NDArray[np.float64], *, wraps: bool) -> bool:
    """True for values that go on as time does, apart from a few that do not; with `wraps` they may start again."""
    known = finite(seconds)
    if len(known) < 2:
        return len(known) == 1
    steps = np.diff(known)
    rises, falls = int((steps > 0).sum()), int((steps < 0).sum())
    if rises == 0 or falls > 1 + 0.1 * rises:
        return False
    small = -float(steps[steps < 0].sum()) <= 0.05 * float(steps[steps > 0].sum())
    return falls <= 3 or small or (wraps and falls <= 0.01 * rises)


def distinct(seconds: NDArray[np.float64]) -> float:
    """Share of rows whose time is not that of the row before."""
    known = finite(seconds)
    return float((np.diff(known) != 0).mean()) if len(known) > 1 else 1.0
