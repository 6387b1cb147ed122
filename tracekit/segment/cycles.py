"""Where each pick cycle starts, tries, grips, ends its suction and releases, as sample indices."""

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.options.segment import SegmentOptions
from tracekit.segment.samples import Samples
from tracekit.signal.segments import count_in, first_in, first_reach, last_in, range_max

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """What the head of a log tells about all of it: thresholds in force and the usual peak, NaN where unknown [kPa].

    open_level is the vacuum with the cup still open, NaN where most cycles do not show it.
    """

    set_point: float
    reset_point: float
    supply_off: float
    supply_on: float
    peak: float
    air_saving: bool
    open_level: float = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Spans:
    """Cycles of a stretch of samples as indices, all arrays of shape (n_cycles,); -1 where an event is absent.

    start   first supply-on of the attempt         last_try  supply-on of the last try before the grip
    end     start of the next cycle, or a pause of the log after the release (exclusive)
    release   first release command, release_end its end
    attempts  tries of the cycle                    cut       under way when the log or a stretch began
    """

    start: Ints
    end: Ints
    last_try: Ints
    release: Ints
    release_end: Ints
    attempts: Ints
    cut: Bools

    def cut_before(self, samples: Samples, leave: Ints) -> Bools:
        """True where a gap lies before suction ended, or the cycle was under way when the samples began."""
        return np.asarray((count_in(samples.gap, self.start + 1, leave + 1) > 0) | self.cut, np.bool_)


def cycle_starts(samples: Samples, reference: Reference, known: int, options: SegmentOptions) -> Ints:
    """Indices of supply-on commands that begin an attempt; `known` is one known already, or -1.

    That is the first after a release command; without one between, a supply-on after vacuum has been away for a while
    and the try before had gripped (or no release is logged at all). Any other supply-on is a recharge or a retry.
    """
    low = options.low_share * reference.peak
    on = samples.supply_rise
    # while the release blows and vacuum is still there, a supply-on is an overlap of the valves, not an attempt
    on = on[~(samples.release[on] & (samples.vacuum[on] > low)) | (on == known)]
    if not len(on):
        return np.zeros(0, np.int64)
    back = np.searchsorted(samples.time, samples.time[on] - options.low_time_s)
    empty = range_max(samples.smooth, back, on) < low
    previous = np.concatenate([[0], on[:-1]])
    gripped = _gripped(samples, previous, on, reference, options)
    after_gap = count_in(samples.gap, previous + 1, on + 1) > 0
    if samples.has_release:
        seen = np.searchsorted(samples.release_rise, on)
        fresh = seen > np.concatenate([[0], seen[:-1]])
        # a level low all along tells a new pick even where the release was not given or not recorded
        fresh |= empty & gripped
        fresh |= after_gap & empty
    else:
        fresh = empty | after_gap & (samples.vacuum[on] < low)
        fresh |= gripped & _let_go(samples, back, on, reference, options)
    fresh[0] |= bool(empty[0])
    fresh |= on == known
    return np.asarray(on[fresh], np.int64)


def _gripped(samples: Samples, since: Ints, until: Ints, reference: Reference, options: SegmentOptions) -> Bools:
    """Whether vacuum came near a hold's, and the output was on, or, without one, the set point was reached.

    A cup that seals half way comes near it as well, and is tried again.
    """
    highest = range_max(samples.smooth, since, until)
    near = highest > options.open_share * reference.peak
    if samples.has_present:
        return np.asarray(near & (samples.present[since] | (count_in(samples.present_rise, since, until) > 0)))
    return np.asarray(near & (highest >= _grip_level(samples, reference, options)))


def _let_go(samples: Samples, since: Ints, until: Ints, reference: Reference, options: SegmentOptions) -> Bools:
    """Whether a part was let go and much vacuum stayed, as with a weak release: no supply resumes as low as that."""
    if not samples.has_present:
        return np.zeros(len(until), np.bool_)
    off = ~samples.present[since] & (count_in(samples.present_rise, since, until) == 0)
    return np.asarray(off & (range_max(samples.smooth, since, until) < options.open_share * reference.peak), np.bool_)


def _grip_level(samples: Samples, reference: Reference, options: SegmentOptions) -> float:
    """Vacuum from which a try counts as gripped where no output tells: hardly under the set point, if that is known."""
    near = options.open_share * reference.peak
    if not np.isfinite(reference.set_point):
        return near
    return max(near, reference.set_point - 4.0 * samples.noise - options.given_up_kpa)


def _retries(samples: Samples, starts: Ints, output: Ints, reference: Reference, options: SegmentOptions) -> Ints:
    """Supply-ons after a try that was given up at some vacuum: cut below the set point, before the output came on."""
    level = np.fmin(reference.set_point, reference.supply_off)
    rise, fall = samples.supply_rise, samples.supply_fall
    if not np.isfinite(level) or not len(fall):
        return np.zeros(0, np.int64)
    cycle = np.searchsorted(starts, rise, side="right") - 1
    cut = np.searchsorted(fall, rise) - 1
    inside = (cycle >= 0) & (cut >= 0)
    cycle, cut = np.maximum(cycle, 0), fall[np.maximum(cut, 0)]
    inside &= (cut > starts[cycle]) & (rise < output[cycle])
    low = samples.vacuum[cut] < level - 4.0 * samples.noise - options.given_up_kpa
    return np.asarray(rise[inside & low], np.int64)


def find_spans(samples: Samples, starts: Ints, stop: int, reference: Reference, options: SegmentOptions) -> Spans:
    """Events of the cycles that begin at `starts`; the last one ends at `stop`."""
    end = np.concatenate([starts[1:], [stop]]).astype(np.int64)
    release = first_in(samples.release_rise, starts, end)
    after = np.where(release >= 0, release, end)
    release_end = first_in(samples.release_fall, np.minimum(after + 1, end), end)
    release_end = np.where((release >= 0) & (release_end < 0), end, release_end)
    # what follows a pause after the release may belong to a pick whose start was not recorded
    pause = first_in(samples.gap, np.where(release >= 0, release_end, end), end)
    end = np.where(pause >= 0, pause, end)
    under_way = np.isin(starts, samples.gap)
    under_way[1:] |= (pause[:-1] >= 0) & (samples.smooth[starts[1:]] >= options.low_share * reference.peak)
    level = options.open_share * (reference.set_point if np.isfinite(reference.set_point) else reference.peak)
    tries = samples.supply_rise[samples.smooth[samples.supply_rise] < level]
    output = first_in(samples.present_rise, starts, after) if samples.has_present else np.full(len(starts), -1)
    tries = np.union1d(tries, _retries(samples, starts, output, reference, options))
    grip = first_reach(samples.smooth, np.full(len(starts), _grip_level(samples, reference, options)), starts, after)
    before = np.where(output >= 0, output, np.where(grip >= 0, grip, after))
    last = last_in(tries, starts, np.maximum(before, starts + 1))
    return Spans(
        start=starts,
        end=end,
        last_try=np.where(last >= 0, last, starts),
        release=release,
        release_end=np.where(release >= 0, release_end, -1),
        attempts=np.maximum(count_in(tries, starts, before), 1),
        cut=(starts == 0) | under_way,
    )
