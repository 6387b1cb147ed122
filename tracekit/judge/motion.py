"""Falls of vacuum late in a coast, which no valve and no leak makes: the part is moved, and a lip opens."""

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import Bins, StationData
from tracekit.signal.pieces import whole_runs

Floats = NDArray[np.float64]
_SETTLED_S = 0.15
"""After the cut volumes even out and gas warms for about so long (common practice, no source)."""
_OVER_S = 0.2
"""A move accelerates or brakes within about this time (common practice, no source)."""


def late_fall_kpa(data: StationData) -> Floats:
    """Deepest fall within 0.2 s of a coast that has settled, beyond the coast's own slope, shape (n_cycles,) [kPa].

    NaN where no coast is long enough. What falls at the cut is left out: volumes that even out do it.
    """
    out = np.full(len(data.cycles), np.nan)
    coast, start_s = data.periods.where("kind", "coast"), data.periods.floats("start_s")
    for some in whole_runs(data.bins.period):
        period = data.bins.period[some]
        settled = coast[period] & (data.bins.time_s[some] - start_s[period] > _SETTLED_S)
        _note_falls(data.bins, some.start + np.flatnonzero(settled), out)
    return out


def _note_falls(bins: Bins, keep: NDArray[np.int64], out: Floats) -> None:
    """Note the deepest fall of the bins at `keep`, whole coasts of them, in the cycles' `out`, in place."""
    if not len(keep):
        return
    period, time, vacuum = bins.period[keep], bins.time_s[keep], -bins.pressure_kpa[keep]
    first = np.concatenate([[0], np.flatnonzero(np.diff(period)) + 1])
    last = np.append(first[1:], len(keep)) - 1
    owner = np.repeat(np.arange(len(first)), last - first + 1)
    # the bin that ends 0.2 s later, of the same coast; time runs on from period to period
    later = np.searchsorted(time, time + _OVER_S - 1e-6)
    inside = later <= last[owner]
    later = np.minimum(later, len(keep) - 1)
    length = time[last] - time[first]
    slope = (vacuum[first] - vacuum[last]) / np.maximum(length, 1e-9)
    span = time[later] - time
    fall = np.where(inside & (length[owner] > 2.0 * _OVER_S), vacuum - vacuum[later] - slope[owner] * span, -np.inf)
    deepest = np.maximum.reduceat(fall, first)
    seen = np.isfinite(deepest)
    np.fmax.at(out, bins.cycle[keep][first[seen]], deepest[seen])
