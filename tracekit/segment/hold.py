"""When each cycle grips, when its suction ends, and what became of the part."""

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.tables import DROP_KINDS, OUTCOMES
from tracekit.options.segment import SegmentOptions
from tracekit.segment.cycles import Reference, Spans
from tracekit.segment.samples import Samples, samples_in
from tracekit.segment.thresholds import bracket, explained
from tracekit.signal.segments import crossing_time, first_fall, first_in, first_reach, last_in, last_reach, range_max

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_FALL_FROM, _FALL_TO = 0.8, 0.4
"""Shares of the peak between which the fall of a loss is timed."""

HELD, DROPPED, MISSED, INCOMPLETE = (OUTCOMES.index(o) for o in ("held", "dropped", "missed", "incomplete"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """The hold of each cycle, arrays of shape (n_cycles,); sample indices are -1 where an event is absent.

    grip       first sample at the set point (*)       grip_time  time of that crossing [s], NaN where no set point is
                                                                  known and `grip` stands for a hold near its peak
    set_point  set point in force in the cycle [kPa]   output_on  the output came on
    stop       supply-off that ends suction            quit       first sample after suction (stop, release or end)
    drop       last sample before the part was lost    outcome    code into OUTCOMES
    drop_kind  code into DROP_KINDS, -1 where open     peak       highest smooth vacuum [kPa]
    (*) or the last before a cut that came at most a moment earlier
    """

    grip: Ints
    grip_time: Floats
    set_point: Floats
    output_on: Ints
    stop: Ints
    quit: Ints
    drop: Ints
    outcome: Ints
    drop_kind: Ints
    peak: Floats


def _set_points(samples: Samples, output_on: Ints, reference: Reference) -> Floats:
    """Set point in force per cycle: the reference where the output's edge agrees with it, else what the edge tells."""
    value = np.full(len(output_on), reference.set_point)
    seen = np.flatnonzero(output_on >= 2)
    if not len(seen):
        return value
    edge = output_on[seen]
    own = bracket(samples, edge, upward=True)
    middle = 0.5 * (own.low + own.high)
    agrees = np.zeros(len(edge), np.bool_)
    if np.isfinite(reference.set_point):
        agrees = explained(samples, edge, np.full(len(edge), reference.set_point), upward=True)
    value[seen] = np.where(agrees, value[seen], middle)
    return value


def _grip(samples: Samples, spans: Spans, until: Ints, output_on: Ints, set_point: Floats) -> tuple[Ints, Floats]:
    """First sample at or over the set point after the last try, and the interpolated time of the crossing.

    Where samples are far apart against the noise the raw reading is used, else the smooth one.
    """
    level = np.where(np.isfinite(set_point), set_point, np.inf)
    raw = first_reach(samples.vacuum, level, spans.last_try, until)
    soft = first_reach(samples.smooth, level, spans.last_try, until)
    here = np.maximum(raw, 1)
    steep = samples.vacuum[here] - samples.vacuum[here - 1] > 3.0 * samples.noise
    at = np.where((raw >= 0) & (steep | (soft < 0)), raw, soft)
    time = np.where(
        at == raw,
        crossing_time(samples.time, samples.vacuum, level, at),
        crossing_time(samples.time, samples.smooth, level, at),
    )
    if samples.has_present:  # the output decides whether a set point was reached, and stands in where no crossing shows
        late = (output_on >= 0) & (at < 0)
        at = np.where(output_on < 0, -1, np.where(late, output_on, at))
        time = np.where(late, samples.time[np.maximum(output_on, 0)] - 0.5 * samples.interval, time)
    return at, np.where(at >= 0, time, np.nan)


def _suction_end(samples: Samples, spans: Spans, grip: Ints, reference: Reference, options: SegmentOptions) -> Ints:
    """The supply-off that ends suction: the last one, unless it is an air-saving cut (at or above supply_off).

    One right before the release, of a vacuum that had passed supply_off long before, is no air-saving cut.
    """
    until = np.where(spans.release >= 0, np.minimum(spans.release + 2, spans.end), spans.end)
    last = last_in(samples.supply_fall, spans.start + 1, until)
    if not reference.air_saving or not np.isfinite(reference.supply_off):
        return last
    here = np.maximum(last, 1)
    slope = np.maximum(samples.vacuum[here] - samples.vacuum[here - 1], 0.0)
    level = np.maximum(samples.vacuum[here], samples.vacuum[here - 1]) + slope
    cut = level >= reference.supply_off - 2.5 * samples.noise - 0.1
    # a cut that comes as the set point is reached, or a little before, is one all the same
    soon = last > grip - samples_in(options.cut_before_grip_s, samples.interval) - 1
    wait = samples.time[np.maximum(spans.release, 0)] - samples.time[here]
    ends = (spans.release >= 0) & (wait < options.release_gap_s)
    ends &= ~explained(samples, here, np.full(len(here), reference.supply_off), upward=True)
    return np.asarray(np.where(cut & (grip >= 0) & soon & ~ends, -1, last), np.int64)


def _before_an_early_cut(samples: Samples, grip: Ints, stop: Ints, options: SegmentOptions) -> Ints:
    """The grip, moved before a cut that came as the set point was reached: that coast belongs to the hold."""
    window = samples_in(options.cut_before_grip_s, samples.interval) + 1
    here = np.maximum(grip, 0)
    cut = last_in(samples.supply_fall, np.maximum(here - window, 0), here + 1)
    early = (grip >= 1) & (cut >= 1) & (cut != stop) & ~samples.supply[np.minimum(here, len(samples.supply) - 1)]
    return np.asarray(np.where(early, cut - 1, grip), np.int64)


def _hidden_release(samples: Samples, spans: Spans, leave: Ints, reference: Reference, options: SegmentOptions) -> Ints:
    """First sample after suction where no release is logged and the last supply-off was an air-saving cut.

    Vacuum far under the level at which the supply would have resumed says that it was let go; the command lies a
    little before.
    """
    last = last_in(samples.supply_fall, spans.start + 1, spans.end)
    low = options.lost_share * reference.peak
    under = reference.supply_on - options.hidden_release_kpa - 4.0 * samples.noise
    level = max(low, under) if np.isfinite(under) else low
    gone = first_fall(samples.smooth, np.full(len(last), level), np.maximum(last, 0), np.where(last >= 0, spans.end, 0))
    back = samples_in(options.hidden_release_s, samples.interval)
    return np.asarray(np.where(gone >= 0, np.maximum(gone - back, last + 1), leave), np.int64)


def find_hold(samples: Samples, spans: Spans, reference: Reference, last_open: bool, options: SegmentOptions) -> Hold:
    """Grip, end of suction and outcome of every cycle; `last_open`: the log ends inside the last cycle."""
    after = np.where(spans.release >= 0, spans.release, spans.end)
    output_on = first_in(samples.present_rise, spans.start, after)
    set_point = _set_points(samples, output_on, reference)
    grip, grip_time = _grip(samples, spans, after, output_on, set_point)
    if not (samples.has_present or np.isfinite(reference.set_point)):
        grip = _near_peak(samples, spans, after, reference, options)
    stop = _suction_end(samples, spans, grip, reference, options)
    if samples.has_present:  # an output that comes as suction has ended, as the valve closes late, is no grip
        given_up = (stop >= 0) & (output_on >= stop)
        output_on, grip = np.where(given_up, -1, output_on), np.where(given_up, -1, grip)
        grip_time = np.where(given_up, np.nan, grip_time)
    grip = _before_an_early_cut(samples, grip, stop, options)
    leave = np.where(stop >= 0, np.minimum(stop, after), after)
    if not samples.has_release:
        leave = np.where(stop >= 0, leave, _hidden_release(samples, spans, leave, reference, options))
    peak = range_max(samples.smooth, spans.start, np.maximum(leave, spans.start + 1))
    missed = peak < options.open_share * reference.peak
    gripped = grip >= 0 if samples.has_present or np.isfinite(reference.set_point) else ~missed
    missed = missed | ~gripped
    # what commands that come late to the log have done already is no loss of the hold
    until = np.maximum(leave - samples.late, spans.start)
    lost, drop, kind = _drops(samples, spans, grip, until, peak, ~missed, options)
    outcome = np.where(missed, MISSED, np.where(lost, DROPPED, HELD))
    release_seen = (spans.release >= 0) | (not samples.has_release)
    outcome = np.where(
        spans.cut_before(samples, leave) | ~release_seen & _is_last(spans, last_open), INCOMPLETE, outcome
    )
    fell = outcome == DROPPED
    return Hold(
        grip=grip,
        grip_time=grip_time,
        set_point=set_point,
        output_on=output_on,
        stop=stop,
        quit=leave,
        drop=np.where(fell, drop, -1),
        outcome=outcome,
        drop_kind=np.where(fell, kind, -1),
        peak=peak,
    )


def _near_peak(samples: Samples, spans: Spans, until: Ints, reference: Reference, options: SegmentOptions) -> Ints:
    """Where the hold begins for want of a set point: near the peak of the cycle. It has no time of its own."""
    peak = range_max(samples.smooth, spans.start, np.maximum(until, spans.start + 1))
    level = np.where(peak < options.open_share * reference.peak, np.inf, options.gripped_share * peak)
    return first_reach(samples.smooth, level, spans.last_try, until)


def _is_last(spans: Spans, last_open: bool) -> Bools:
    out = np.zeros(len(spans.start), np.bool_)
    if last_open and len(out):
        out[-1] = True
    return out


def _drops(
    samples: Samples, spans: Spans, grip: Ints, leave: Ints, peak: Floats, gripped: Bools, options: SegmentOptions
) -> tuple[Bools, Ints, Ints]:
    """Gripped cycles whose vacuum is gone at the end of suction, the last sample before the loss, and its kind.

    Vacuum *at the end* decides: a collapse that recovers in the same attempt is no drop.
    """
    end = np.maximum(leave - 1, spans.start)
    level = options.lost_share * peak
    lost = np.maximum(samples.vacuum[end], samples.smooth[np.maximum(end - 1, 0)]) < level
    if samples.has_present:
        stopped = _stopped_for_it(samples, spans, leave, options)
        if stopped.any():
            stopped &= ~_falls_as_before(samples, grip, leave, options)
        lost = lost & ~samples.present[end] | stopped
    lost &= gripped
    end = np.where(lost, end, spans.start - 1)  # the others need not be searched
    high = last_reach(samples.smooth, _FALL_FROM * peak, spans.start, end + 1)
    return lost & (high >= 0), high, _kind(samples, high, end, peak, options)


def _kind(samples: Samples, high: Ints, end: Ints, peak: Floats, options: SegmentOptions) -> Ints:
    """Kind of each loss, by how long its fall takes; -1 where that lies between the two, or nothing fell.

    A machine that stops for the loss cuts the fall short: the rest of it is taken to go on at the pace before the stop.
    """
    first, last = np.maximum(high, 0), np.maximum(end, 0)
    low = first_fall(samples.smooth, _FALL_TO * peak, first, end + 1)
    cut = low < 0
    low = np.where(cut, last, low)
    first = np.where(cut, np.clip(last - samples_in(options.fall_s, samples.interval), 0, first), first)
    takes = samples.time[low] - samples.time[first]
    fallen = np.maximum(samples.smooth[first] - samples.vacuum[low], 1e-9)
    takes = np.where(cut, takes * (_FALL_FROM - _FALL_TO) * peak / fallen, takes)
    kind = np.where(takes >= options.gradual_s, DROP_KINDS.index("gradual"), -1)
    return np.where(takes <= options.sudden_s, DROP_KINDS.index("sudden"), kind)


def _stopped_for_it(samples: Samples, spans: Spans, leave: Ints, options: SegmentOptions) -> Bools:
    """Cycles that a machine stopped because it saw the part go: the output is off as suction ends, the fall older.

    Valves need time: where suction ends first, vacuum stands and the output is on in the sample that shows the end.
    Samples too far apart do not show the order; an output and a command in one reading of slowly read digitals do not
    either, since no machine answers at once.
    """
    if samples.interval > options.order_interval_s:
        return np.zeros(len(leave), np.bool_)
    here = np.minimum(np.maximum(leave, 1), len(samples.time) - 1)
    before = np.maximum(here - 1 - samples_in(options.fall_s, samples.interval), spans.start)
    falling = samples.vacuum[here - 1] < options.falling_share * samples.smooth[before] - 4.0 * samples.noise
    seen = np.maximum(here - int(options.answers_s / samples.interval + 0.01), before)
    return np.asarray(~samples.present[seen] & samples.present[before] & falling, np.bool_)


def _falls_as_before(samples: Samples, grip: Ints, leave: Ints, options: SegmentOptions) -> Bools:
    """Cycles whose vacuum, as suction ends, falls no faster than it fell earlier in the hold and came back.

    It has come back wherever the supply was cut again after the grip: a leak empties such a hold just as fast each
    time. A hold in which the supply was never cut shows no such fall.
    """
    width = samples_in(options.fall_s, samples.interval)
    here = np.maximum(leave - 1, 0)
    cut = last_in(samples.supply_fall, np.maximum(grip, 0), np.maximum(here - width, 0))
    whole = (grip >= 0) & (cut > grip + width)
    fall = np.zeros(len(samples.time))
    fall[width:] = samples.smooth[:-width] - samples.vacuum[width:]
    usual = range_max(fall, np.where(whole, grip + width, 0), np.where(whole, cut, 0))
    return np.asarray(whole & (fall[here] <= options.usual_fall * usual + 4.0 * samples.noise), np.bool_)
