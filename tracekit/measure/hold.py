"""The hold itself: vacua, switching of supply and output, noise."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tracekit.options.measure import MeasureOptions
from tracekit.segment.cycles import Spans
from tracekit.segment.hold import Hold
from tracekit.segment.samples import Samples, samples_in, time_steps
from tracekit.signal.segments import (
    Ranges,
    count_in,
    first_in,
    last_in,
    range_index,
    range_mean,
    range_min,
    range_samples,
    range_sum,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_BEND_MOST = 6.0 * 6.0**0.5
"""Most of a second difference that counts, in standard deviations of a sample: six of its own."""
_BEND_MEAN = (2.0 / np.pi) ** 0.5 * 6.0**0.5
"""Mean absolute second difference of independent normal samples, in standard deviations of one."""


def hold_end(hold: Hold) -> Ints:
    """First sample after the hold: the loss of the part, else the end of suction, else the release."""
    return np.where(hold.drop >= 0, hold.drop + 1, hold.quit)


def hold_vacua(samples: Samples, hold: Hold) -> Mapping[str, Floats]:
    """Peak, time-weighted mean and lowest vacuum of the smooth curve in the hold [kPa], and its ends [s]."""
    start = np.maximum(hold.grip, 0)
    held = hold.grip >= 0
    stop = np.where(held, np.maximum(hold_end(hold), start), start)
    step = time_steps(samples.time)
    own = Ranges(start, stop)
    weight = own.sum(step)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = own.sum(np.multiply(samples.smooth, step, out=step)) / weight
    inner = np.maximum(stop - 2, start)
    lowest = range_min(samples.smooth, start, np.where(held, np.maximum(inner, start + 1), start))
    end_time = samples.time[np.clip(stop, 0, len(samples.time) - 1)] - 0.5 * samples.interval
    return {
        "peak_vacuum_kpa": hold.peak,
        "hold_vacuum_kpa": np.where(held, mean, np.nan),
        "hold_min_vacuum_kpa": np.where(held, np.minimum(lowest, hold.peak), np.nan),
        "hold_start_s": np.where(held, hold.grip_time, np.nan),
        "hold_end_s": np.where(held, np.fmax(end_time, hold.grip_time), np.nan),
    }


def switching(samples: Samples, spans: Spans, hold: Hold) -> Mapping[str, NDArray[np.generic]]:
    """Switching of the supply in the hold, air time, edges of the output and its chatter."""
    held = hold.grip >= 0
    start = np.where(held, hold.grip + 1, 0)
    stop = np.where(held, hold.quit, 0)
    off, on = samples.supply_fall, samples.supply_rise
    up, down = samples.present_rise, samples.present_fall
    edges = count_in(up, spans.start + 1, spans.end) + count_in(down, spans.start + 1, spans.end)
    extra = np.maximum(edges - 2, 0)
    return {
        "coasts": count_in(off, start, stop),
        "supply_switches": count_in(off, start, stop) + count_in(on, start, stop),
        "supply_on_time_s": supply_on_time(samples, spans),
        "output_edges": edges if samples.has_present else np.full(len(edges), -1),
        "chatter_edges": extra if samples.has_present else np.full(len(edges), -1),
        "chatter_frequency_hz": _chatter_frequency(samples, spans, up, down, extra),
    }


def supply_on_time(samples: Samples, spans: Spans) -> Floats:
    """Time with the supply on in each cycle [s]: from its edges, each counted from the start of its cycle."""
    last = len(samples.time) - 1
    start_time, end_time = samples.time[spans.start], samples.time[np.minimum(spans.end, last)]
    total = np.where(samples.supply[spans.end - 1], end_time - start_time, 0.0)
    for edges, sign in ((samples.supply_fall, 1.0), (samples.supply_rise, -1.0)):
        first, stop = np.searchsorted(edges, spans.start + 1), np.searchsorted(edges, spans.end)
        owner = np.maximum(np.searchsorted(spans.start, edges, side="right") - 1, 0)
        total += sign * range_sum(samples.time[edges] - start_time[owner], first, stop)
    return total


def _chatter_frequency(samples: Samples, spans: Spans, up: Ints, down: Ints, extra: Ints) -> Floats:
    """Full on-off cycles per second between the first and the last edge that do not belong there [Hz]."""
    first = first_in(down, spans.start + 1, spans.end)
    last = last_in(up, spans.start + 1, spans.end)
    enough = (extra >= 3) & (first >= 0) & (last > first)
    time = samples.time[np.maximum(last, 0)] - samples.time[np.maximum(first, 0)]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(enough & (time > 0), (extra - 1) / (2.0 * time), np.nan)


def cycle_noise(samples: Samples, hold: Hold, quantisation: float, options: MeasureOptions) -> Floats:
    """Standard deviation of single samples in the hold [kPa]."""
    stop = np.where(hold.grip >= 0, hold_end(hold), 0)
    start = np.where(hold.grip >= 0, np.maximum(hold.grip + 2, stop - options.noise_samples), 0)
    stop = np.maximum(stop - 1, start)
    spread = _single_scatter(samples, start, stop)
    if samples.interval > options.noise_corner_s:
        smooth = _without_corners(samples, start, stop)
        spread = np.where(np.isfinite(spread), np.where(np.isfinite(smooth), smooth, samples.noise), np.nan)
    return np.asarray(np.maximum(spread, quantisation / np.sqrt(12.0)), np.float64)


def _without_corners(samples: Samples, start: Ints, stop: Ints) -> Floats:
    """Standard deviation of single samples in ranges, away from edges of the supply, NaN where none is [kPa].

    Where samples are far apart, each edge is a corner of the trace between two of them.
    """
    edges = np.sort(np.concatenate([samples.supply_fall, samples.supply_rise]))
    index, owner = range_index(start, stop)
    clear = (index >= 1) & (index < len(samples.vacuum) - 1)
    # the corner lies before the sample that shows the edge, or, as valves take time, after it
    clear &= count_in(edges, index - 1, index + 2) == 0
    index, owner = index[clear], owner[clear]
    bend = np.abs(samples.vacuum[index + 1] - 2.0 * samples.vacuum[index] + samples.vacuum[index - 1])
    bend = np.minimum(bend, _BEND_MOST * max(samples.noise, 0.02))
    count = np.bincount(owner, minlength=len(start))
    total = np.bincount(owner, bend, minlength=len(start))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count >= 3, total / count / _BEND_MEAN, np.nan)


def idle_noise(samples: Samples, spans: Spans, options: MeasureOptions) -> Floats:
    """Standard deviation of single samples with both valves off, before the supply command, NaN where none moves [kPa].

    From `idle_settle_s` after the release before it, and `idle_noise_s` at most.
    """
    back = np.searchsorted(samples.time, samples.time[spans.start] - options.idle_noise_s)
    over = last_in(samples.release_fall, np.zeros_like(spans.start), spans.start + 1)
    settled = np.where(over >= 0, over + samples_in(options.idle_settle_s, samples.interval), 0)
    before = np.searchsorted(samples.supply_fall, spans.start + 1) - 1
    closed = samples.supply_fall[np.maximum(before, 0)] if len(samples.supply_fall) else np.zeros(len(back), np.int64)
    start = np.maximum(np.maximum(back, settled), np.where(before >= 0, closed, 0))
    stop = np.maximum(spans.start - 1, start)
    quiet = ~samples.release[np.maximum(spans.start - 1, 0)] & (stop - start >= 3)
    spread = _single_scatter(samples, np.where(quiet, start, 0), np.where(quiet, stop, 0))
    return np.asarray(np.where(quiet & (spread > 0.0), spread, np.nan), np.float64)


def _single_scatter(samples: Samples, start: Ints, stop: Ints) -> Floats:
    """Standard deviation of single samples in ranges, from second differences [kPa].

    Mean absolute differences, limited at six standard deviations of the head so that corners of the trace do not count:
    unlike a median they move smoothly where the recorder's step is coarse.
    """
    count = np.where(stop > start, stop - start + 2, 0)  # with the neighbour on either side
    index = range_samples(start - 1, start - 1 + count)
    near = samples.vacuum[np.clip(index, 0, max(len(samples.vacuum) - 1, 0))]
    bend = 2.0 * near[1:-1]
    np.subtract(near[2:], bend, out=bend)
    bend += near[:-2]
    np.minimum(np.abs(bend, out=bend), _BEND_MOST * max(samples.noise, 0.02), out=bend)
    bend[(index[1:-1] < 1) | (index[1:-1] > len(samples.vacuum) - 2)] = 0.0
    first = np.cumsum(count) - count
    spread = range_mean(bend, first, first + np.maximum(count - 2, 0))
    return np.asarray(spread / np.sqrt(2.0 / np.pi) / np.sqrt(6.0), np.float64)
