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
    gained = np.zeros(len(samples.smooth))
    gained[:-width] = samples.smooth[width:] - samples.smooth[:-width]
    start, stop = np.where(able, begin, 0), np.where(able, last + 1, 1)
    least = range_min(gained, start, stop)
    flat = np.where(able, first_fall(gained, least, start, stop), 0)
    fastest = range_max(gained, flat, np.maximum(np.where(able, top - width, 0), flat + 1))
    shows = able & (least < options.open_flat * fastest) & (fastest > 5.0 * samples.noise)
    return np.where(shows, samples.smooth[flat + width // 2], np.nan), np.where(shows, flat, -1)
