"""The release: how fast vacuum goes, what is left, how high the pressure rises."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tracekit.options.segment import SegmentOptions
from tracekit.segment.cycles import Spans
from tracekit.segment.hold import HELD, Hold
from tracekit.segment.samples import Samples
from tracekit.signal.segments import crossing_time, first_fall, last_in, range_mean, range_min, range_quantile

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def idle_vacuum(samples: Samples, spans: Spans, options: SegmentOptions) -> Floats:
    """Median reading just before the supply command, after the release before it has ended [kPa]."""
    window = max(options.idle_window_s, 5.0 * samples.interval)
    back = np.searchsorted(samples.time, samples.time[spans.start] - window)
    blowing = samples.release[np.maximum(spans.start - 1, 0)]
    over = last_in(samples.release_fall, back + 1, spans.start + 1)  # the first sample after the release
    start = np.maximum(back, np.where(blowing, spans.start, over))
    short = spans.start - start < 2
    level = range_quantile(samples.vacuum, start, np.where(short, start, spans.start), 0.5)
    return np.where(spans.cut, np.nan, level)


def measure_release(samples: Samples, spans: Spans, hold: Hold, zero: Floats) -> Mapping[str, Floats]:
    """Release time [s], vacuum left at the end of the command and highest over-pressure [kPa]."""
    given = spans.release >= 0
    start = np.where(given, spans.release, 0)
    last = np.maximum(np.minimum(hold.quit, start), 2)
    grip = range_mean(samples.vacuum, last - 2, last)
    empty = np.where(np.isfinite(zero), zero, 0.0)
    level = empty + 0.1 * (grip - empty)
    at = first_fall(samples.vacuum, level, start, np.where(given, spans.end, 0))
    time = crossing_time(samples.time, samples.vacuum, level, at) - samples.time[start] + 0.5 * samples.interval
    full = given & (hold.outcome == HELD) & (grip - empty > max(5.0, 10.0 * samples.noise))
    end = np.where(given, spans.release_end, 0)
    three = np.maximum(end - 3, start)
    tail = np.minimum(end + int(0.05 / max(samples.interval, 1e-9) + 1e-6) + 1, spans.end)
    peak = -range_min(samples.smooth, start, np.where(given, tail, 0))
    return {
        "release_time_s": np.where(full & (at >= 0), np.maximum(time, 0.0), np.nan),
        "residual_vacuum_kpa": np.where(given, range_mean(samples.vacuum, three, end), np.nan),
        "release_peak_kpa": np.where(given, np.maximum(peak, 0.0), np.nan),
        "over_kpa": np.where(given, peak, np.nan),
    }
