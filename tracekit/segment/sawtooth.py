"""The device's own switching of the supply, found in the saw-tooth where the log holds only a request.

A controller that asks for vacuum and logs its request leaves the saving of air to the device. Its valve is then off
from each turning point at the upper threshold to the next one at the lower threshold.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.options.segment import SegmentOptions
from tracekit.segment.cycles import Spans
from tracekit.segment.samples import Samples
from tracekit.segment.teeth import Curve, Teeth, curve_of, find_teeth
from tracekit.signal.segments import (
    count_in,
    edges_of,
    first_in,
    first_reach,
    last_in,
    range_index,
    range_max,
    range_min,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_APART_KPA = 1e4
"""More than any two readings differ: keeps the running extremes of one cycle out of the next."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Saw:
    """Vacuum at which the device cuts the supply, and at which it resumes, by its turning points [kPa]."""

    cut_kpa: float
    resume_kpa: float


def find_saw(
    samples: Samples, spans: Spans, peak: float, declared: bool, filed_kpa: float | None, options: SegmentOptions
) -> Saw | None:
    """The thresholds of a saw-tooth that runs while the logged supply stays on; None where there is none.

    `declared`: the station file says that the supply is a request. Without it, most holds must show what only a cut
    supply makes: a rise that is still under way stops at one level, and a fall follows; or teeth between two levels,
    one like the other. A generator that stays on comes to its end level slowly, and a dip of the motion recovers.
    `filed_kpa`: supply_off of the station file. A declared device has not cut holds that stay level under it.
    """
    if not samples.has_release or not len(spans.start):
        return None
    start, stop, whole = _asked(samples, spans, options)
    if not declared and whole < 0.9:
        return None  # the log shows the valve itself
    curve = curve_of(samples, options)
    if curve.vacuum is samples.smooth:  # the moving mean of the last samples holds the release
        stop = np.maximum(stop - samples.width // 2, start)
    least = max(6.0 * curve.noise, options.saw_least_kpa)
    top, bottom, second = _turning_points(curve.vacuum, start, stop, least, 0.5 * peak)
    bottom = _not_passed(samples, curve, top, bottom, stop, options)
    tops = top[top >= 0]
    few = len(tops) < options.saw_share * len(start)
    if declared and few:
        highest = range_max(curve.vacuum, start, stop)
        high = highest[highest > 0.5 * peak]
        usual = options.saw_level_kpa + 4.0 * samples.noise
        if filed_kpa is not None and len(high) and float(np.median(high)) < filed_kpa - usual:
            return None  # level, under what would have cut it
    if not (declared and not len(tops)):
        again = second[(second >= 0) & (bottom >= 0)]
        high = curve.vacuum[np.concatenate([tops, again])]
    if not len(high):
        return None
    saw = _levels(samples, curve, high, tops, bottom[bottom >= 0], options)
    if saw.cut_kpa - saw.resume_kpa <= least:
        return None
    if declared or _cut_short(samples, curve, tops, bottom[top >= 0], len(start), least, options):
        return saw
    if filed_kpa is not None and _falls_from(samples, curve, filed_kpa, start, stop, top, bottom, least, options):
        return saw
    return saw if _alike(samples, curve, saw, start, stop, options) else None


def _levels(samples: Samples, curve: Curve, high: Floats, tops: Ints, bottoms: Ints, options: SegmentOptions) -> Saw:
    """The outermost turning points of the usual level, so that every cut and every resumption is passed."""
    low = curve.vacuum[bottoms]
    usual = options.saw_level_kpa + 4.0 * samples.noise
    over, under = _missed_by(curve.vacuum, tops), _missed_by(-curve.vacuum, bottoms)
    cut = float(high[high > np.median(high) - usual - over].min()) - 2.0 * curve.noise
    resume = float(low[low < np.median(low) + usual + under].max()) + 2.0 * curve.noise if len(low) else -np.inf
    band = float(np.median(high) - np.median(low)) if len(low) else 0.0
    if over + under > options.saw_missed * band > 0.0:  # a sample between the corners tells no level
        cut = max(cut, float(np.median(high)) - options.saw_missed * band)
        resume = min(resume, float(np.median(low)) + options.saw_missed * band)
    return Saw(cut_kpa=cut, resume_kpa=resume)


def _missed_by(vacuum: Floats, turns: Ints) -> float:
    """How far the highest sample may stay under a corner between straight sides, by the steps beside it [kPa]."""
    turns = turns[(turns >= 1) & (turns < len(vacuum) - 1)]
    if not len(turns):
        return 0.0
    rise = max(float(np.median(vacuum[turns] - vacuum[turns - 1])), 0.0)
    fall = max(float(np.median(vacuum[turns] - vacuum[turns + 1])), 0.0)
    # steps at the corner are shortened by it, by half at the median
    return 2.0 * rise * fall / max(rise + fall, 1e-9)


def _alike(samples: Samples, curve: Curve, saw: Saw, start: Ints, stop: Ints, options: SegmentOptions) -> bool:
    """Whether many holds are cut into teeth of one height and one length, whose rises last otherwise than their falls.

    Or that begin with the evacuation. What swings with the generator rises as it falls, and did so before; between
    dips of the motion vacuum stands.
    """
    teeth = find_teeth(curve.vacuum, start, stop, saw.cut_kpa, saw.resume_kpa)
    whole = np.flatnonzero((teeth.stretch[1:] == teeth.stretch[:-1]) & (teeth.resumed[:-1] >= 0))
    if len(np.unique(teeth.stretch[whole])) < max(3, options.saw_share * len(start)):
        return False
    top, low, following = teeth.top[whole], teeth.resumed[whole], teeth.top[whole + 1]
    fall, rise = samples.time[low] - samples.time[top], samples.time[following] - samples.time[low]
    lopsided = abs(float(np.log(np.mean(fall) / np.mean(rise)))) > np.log(options.saw_lopsided)
    regular = _scatter(fall + rise) < options.saw_regular * float(np.median(fall + rise)) + samples.interval
    if not regular or _standing(curve.vacuum, top, low, following) > options.saw_standing:
        return False
    return lopsided or _locked(samples, curve, saw, teeth, start, float(np.median(fall + rise)), options)


def _scatter(values: Floats) -> float:
    """Half of the width in which two in three values lie."""
    return 0.5 * float(np.subtract(*np.quantile(values, [0.84, 0.16])))


def _locked(
    samples: Samples, curve: Curve, saw: Saw, teeth: Teeth, start: Ints, period_s: float, options: SegmentOptions
) -> bool:
    """Whether the first cut follows the evacuation at the same time in all holds; a swing is there before them."""
    stretch, place = np.unique(teeth.stretch, return_index=True)
    first = teeth.top[place]
    begun = first_reach(curve.vacuum, np.full(len(first), saw.resume_kpa), start[stretch], first + 1)
    after = samples.time[first] - samples.time[np.maximum(begun, 0)]
    return _scatter(after) < options.saw_locked * period_s and samples.interval < options.saw_regular * period_s


def _standing(vacuum: Floats, top: Ints, low: Ints, following: Ints) -> float:
    """Share of the samples of teeth that lie in the upper third between their usual turns."""
    index, _ = range_index(top, following)
    high, deep = float(np.median(vacuum[top])), float(np.median(vacuum[low]))
    return float(np.mean(vacuum[index] > high - (high - deep) / 3.0))


def _asked(samples: Samples, spans: Spans, options: SegmentOptions) -> tuple[Ints, Ints, float]:
    """Stretches from the last try to the release in which the logged supply stays on, and their share of all."""
    begin = spans.last_try[: options.saw_cycles]
    stop = np.where(spans.release >= 0, spans.release, spans.end)[: options.saw_cycles]
    early = np.searchsorted(samples.time, samples.time[np.maximum(stop - 1, begin)] - options.release_gap_s)
    whole = count_in(samples.supply_fall, begin + 1, np.maximum(early, begin + 1)) == 0
    return begin[whole], stop[whole], float(whole.mean())


def _cut_short(
    samples: Samples, curve: Curve, top: Ints, bottom: Ints, holds: int, least: float, options: SegmentOptions
) -> bool:
    """Most holds rise fast up to one level, stop there and fall for longer than a dip."""
    before = np.searchsorted(samples.time, samples.time[top] - options.saw_kink_s) if len(top) else top
    rise = curve.vacuum[top] - curve.vacuum[before]
    last = np.where(bottom >= 0, bottom, len(samples.time) - 1)
    lasting = samples.time[last] - samples.time[top] > options.saw_fall_s
    kink = (rise > least) & lasting
    if kink.sum() < max(3, options.saw_share * holds):
        return False
    level = curve.vacuum[top[kink]]
    return float(np.quantile(level, 0.9) - np.quantile(level, 0.1)) < options.saw_level_kpa + 4.0 * samples.noise


def _falls_from(
    samples: Samples,
    curve: Curve,
    filed_kpa: float,
    start: Ints,
    stop: Ints,
    top: Ints,
    bottom: Ints,
    least: float,
    options: SegmentOptions,
) -> bool:
    """Whether many holds pass the station file's supply_off, turn soon after and fall for good or to a refill.

    One fall to the end of suction is enough: a valve that stays on goes on to rise, or stands.
    """
    turned = np.flatnonzero(top >= 0)
    first, until, high = start[turned], _until_off(samples, stop[turned], options), top[turned]
    passed = first_reach(curve.vacuum, np.full(len(turned), filed_kpa), first, high + 1)
    here = np.maximum(passed, first)
    before = np.searchsorted(samples.time, samples.time[here] - options.saw_kink_s)
    rising = curve.vacuum[here] - curve.vacuum[before] > options.passing_kpa + 3.0 * curve.noise
    soon = samples.time[high] - samples.time[here] < options.saw_late_s
    last = np.where(bottom[turned] >= 0, bottom[turned], np.maximum(until - 1, high))
    lasting = samples.time[last] - samples.time[high] > options.saw_fall_s
    fallen = curve.vacuum[high] - curve.vacuum[last] > least
    cut = (passed >= 0) & rising & soon & lasting & fallen
    return int(cut.sum()) >= max(3, options.saw_share * len(start))


def _until_off(samples: Samples, stop: Ints, options: SegmentOptions) -> Ints:
    """Where the supply goes off right before each stop, or the stop itself."""
    early = np.searchsorted(samples.time, samples.time[stop - 1] - options.release_gap_s)
    off = last_in(samples.supply_fall, early, stop)
    return np.where(off >= 0, off - samples.late, stop)


def _not_passed(samples: Samples, curve: Curve, top: Ints, bottom: Ints, stop: Ints, options: SegmentOptions) -> Ints:
    """The lower turning points, -1 also where they are rare and most falls go on under them: no refill begins there."""
    found = np.flatnonzero(bottom >= 0)
    turned = np.flatnonzero(top >= 0)
    if not len(found) or len(found) >= options.saw_share * len(turned):
        return bottom
    until = np.maximum(_until_off(samples, stop[turned], options), top[turned] + 1)
    deepest = np.sort(range_min(curve.vacuum, top[turned], until))
    level = curve.vacuum[bottom[found]]
    usual = options.saw_level_kpa + 4.0 * samples.noise
    reached = np.searchsorted(deepest, level, side="right")
    under = np.searchsorted(deepest, level - usual)
    out = bottom.copy()
    out[found[2 * under > reached]] = -1
    return out


def with_device_supply(samples: Samples, saw: Saw, options: SegmentOptions) -> Samples:
    """The samples with the supply as the device switched it: off from each upper turning point to the lower one."""
    count = len(samples.time)
    on, off = samples.supply_rise, samples.supply_fall
    start = np.concatenate([[0], on]) if count and samples.supply[0] else on
    stop = np.concatenate([off, [count]]) if count and samples.supply[-1] else off
    teeth = find_teeth(curve_of(samples, options).vacuum, start, stop, saw.cut_kpa, saw.resume_kpa)
    mark = np.zeros(count + 1, np.int8)
    mark[teeth.top] = 1
    mark[np.where(teeth.resumed >= 0, teeth.resumed, stop[teeth.stretch])] -= 1
    supply = samples.supply & (np.cumsum(mark[:-1], dtype=np.int32) == 0)
    rise, fall = edges_of(supply)
    return replace(samples, supply=supply, supply_rise=rise, supply_fall=fall)


def _turning_points(vacuum: Floats, start: Ints, stop: Ints, least: float, floor: float) -> tuple[Ints, Ints, Ints]:
    """First upper turning point of each stretch above `floor`, the lower one after it and the next upper one.

    Sample indices, -1 where there is none; a turn counts once vacuum has moved back by `least`.
    """
    top = _turn(vacuum, start, stop, least, floor)
    bottom = _turn(-vacuum, np.where(top >= 0, top, stop), stop, least, -_APART_KPA)
    second = _turn(vacuum, np.where(bottom >= 0, bottom, stop), stop, least, floor)
    return top, bottom, second


def _turn(values: Floats, start: Ints, stop: Ints, least: float, floor: float) -> Ints:
    """Index of the highest value above `floor` before values first fall by `least`, per stretch; -1 where never."""
    index, owner = range_index(start, np.maximum(stop, start))
    if not len(index):
        return np.full(len(start), -1, np.int64)
    inside = values[index]
    apart = owner * _APART_KPA
    highest = np.maximum.accumulate(inside + apart) - apart
    turned = index[(highest - inside > least) & (highest > floor)]
    at = first_in(np.asarray(turned, np.int64), start, stop)
    end = np.where(at >= 0, at, start)
    peak = range_max(values, start, end)
    reached = index[inside >= highest - 1e-9]
    # the last sample that reached the highest value so far, before the fall
    place = np.searchsorted(reached, end, side="left") - 1
    turn = np.append(reached, -1)[np.maximum(place, 0)] if len(reached) else np.full(len(start), -1)
    found = (at >= 0) & np.isfinite(peak) & (turn >= start)
    return np.asarray(np.where(found, turn, -1), np.int64)
