"""The release: how fast vacuum goes, what is left, how high the pressure rises."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.options.measure import MeasureOptions
from tracekit.options.segment import SegmentOptions
from tracekit.segment.cycles import Spans
from tracekit.segment.hold import HELD, Hold
from tracekit.segment.samples import Samples, samples_in
from tracekit.signal.segments import crossing_time, first_fall, last_in, range_mean, range_min, range_quantile

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_LOOKS = 40
"""Moments at which the idle time is looked at."""
_FEWEST = 12
"""Samples of the idle time that tell a level which stood from one that moved."""
_STANDS = 0.15
"""A level that moves by less than this share of the rise after it stands."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Idle:
    """Reading with nothing on, and how far it has risen from there by the supply command, shape (n_cycles,) [kPa]."""

    level: Floats
    rise: Floats


def idle_vacuum(samples: Samples, spans: Spans, options: SegmentOptions, measure: MeasureOptions) -> Idle:
    """The reading with nothing on: just before the supply command, unless vacuum has risen there already.

    Vacuum that rises with all valves off is real, as where a supply valve passes and the cup meets its part before the
    command: the zero is then the level that stood before. What is left of a hold falls, and is lowest at the command.
    """
    window = max(options.idle_window_s, 5.0 * samples.interval)
    back = np.searchsorted(samples.time, samples.time[spans.start] - window)
    blowing = samples.release[np.maximum(spans.start - 1, 0)]
    over = last_in(samples.release_fall, back + 1, spans.start + 1)  # the first sample after the release
    start = np.maximum(back, np.where(blowing, spans.start, over))
    short = spans.start - start < 2
    level = range_quantile(samples.vacuum, start, np.where(short, start, spans.start), 0.5)
    level = np.where(spans.cut, np.nan, level)
    before = _stood_before(samples, spans.start, level, measure)
    return Idle(level=np.where(np.isfinite(before), before, level), rise=np.nan_to_num(level - before))


def _stood_before(samples: Samples, start: Ints, level: Floats, options: MeasureOptions) -> Floats:
    """Level that stood before vacuum rose to `level` with nothing on, NaN where it did not rise [kPa].

    A level stands where a third of the time lies close together at the lower end. One under ambient's own reading is
    a blow-off that is not logged.
    """
    back = np.searchsorted(samples.time, samples.time[start] - options.idle_look_s)
    quiet = samples_in(options.idle_settle_s, samples.interval)
    for falls in (samples.release_fall, samples.supply_fall):
        last = last_in(falls, np.zeros_like(start), start + 1)
        back = np.where(last >= 0, np.maximum(back, last + quiet), back)
    stop = start - samples.width  # the moving mean of later ones holds samples after the command
    enough = (stop - back >= _FEWEST) & np.isfinite(level)
    first, length = np.where(enough, back, 0), np.where(enough, stop - back, 1)
    at = first[:, None] + (length[:, None] - 1) * np.arange(_LOOKS) // (_LOOKS - 1)
    seen = np.sort(samples.smooth[at], axis=1)
    low, middle, high = (seen[:, int(share * _LOOKS)] for share in (0.05, 0.2, 0.35))
    rise = level - middle
    risen = enough & (rise > max(options.idle_rise_kpa, 6.0 * samples.noise)) & (middle > -options.idle_rise_kpa)
    return np.where(risen & (high - low < _STANDS * rise), middle, np.nan)


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
