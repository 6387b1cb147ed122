"""An open-cup vacuum so deep that the share of the peak from which evacuations are fitted lies on the way up to it."""

import numpy as np
from numpy.typing import NDArray

from tracekit.options.measure import MeasureOptions
from tracekit.segment.samples import Samples, samples_in
from tracekit.signal.segments import first_fall, range_max, range_min

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def deep_plateaus(samples: Samples, begin: Ints, half: Ints, top: Ints, options: MeasureOptions) -> tuple[Floats, Ints]:
    """Level [kPa] and first sample of a stretch between two rises, NaN and -1 where the vacuum rises in one go.

    It lies between `begin` and `half` of a rise that ends at `top` (sample indices, -1 where absent), and vacuum moves
    there at less than a share `open_flat` of its speed afterwards.
    """
    width = max(samples_in(options.open_least_s, samples.interval), options.open_least_samples)
    last = half - width
    able = (begin >= 0) & (last > begin)
    level, at = np.full(len(begin), np.nan), np.full(len(begin), -1, np.int64)
    if not able.any() or len(samples.smooth) <= width:
        return level, at
    rows = np.flatnonzero(able)
    gained, start = _gained(samples.smooth, begin[rows], np.maximum(top[rows], last[rows]) + 1, width)
    stop = start + (last - begin)[rows] + 1
    least = range_min(gained, start, stop)
    flat = first_fall(gained, least, start, stop)
    fastest = range_max(gained, flat, np.maximum(start + (top - begin)[rows] - width, flat + 1))
    shows = (least < options.open_flat * fastest) & (fastest > 5.0 * samples.noise)
    at[rows[shows]] = (begin[rows] + flat - start)[shows]
    level[rows[shows]] = samples.smooth[at[rows[shows]] + width // 2]
    return level, at


def _gained(smooth: Floats, first: Ints, end: Ints, width: int) -> tuple[Floats, Ints]:
    """Rise over the next `width` samples at every sample of some ranges, one after another, and where each begins."""
    length = end - first
    start = np.cumsum(length) - length
    index = np.repeat(first - start, length) + np.arange(int(length.sum()))
    ahead = np.minimum(index + width, len(smooth) - 1)
    return np.where(index + width < len(smooth), smooth[ahead] - smooth[index], 0.0), start
