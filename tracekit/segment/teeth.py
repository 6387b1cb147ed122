"""Teeth of a saw: where vacuum turns at an upper level and at a lower one, down to some three samples a tooth."""

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.options.segment import SegmentOptions
from tracekit.segment.samples import Samples
from tracekit.signal.segments import edges_of, first_fall, first_reach, range_index, range_max, range_min

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_INWARDS = 0.15
"""Share of the way between the levels by which a sampled turn may stay short of them."""
_LOST = 0.5
"""Share of the way between the levels, under the lower one: vacuum that falls farther did not turn at it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Vacuum in which turning points are looked for, shape (n_samples,), and its noise [kPa].

    The moving mean, or the readings themselves where samples are so far apart that it rounds corners off.
    """

    vacuum: Floats
    noise: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Teeth:
    """Falls from an upper turning point, arrays of shape (n_teeth,), ascending.

    stretch  index of the stretch each lies in      top  sample at the upper turn
    resumed  sample at the lower turn after it, -1 where the stretch ends before
    """

    stretch: Ints
    top: Ints
    resumed: Ints


def curve_of(samples: Samples, options: SegmentOptions) -> Curve:
    """The curve of a stretch of samples in which corners are sharp."""
    if samples.width * samples.interval > 2.0 * options.filter_s:
        return Curve(vacuum=samples.vacuum, noise=samples.noise)
    return Curve(vacuum=samples.smooth, noise=samples.noise / float(np.sqrt(samples.width)))


def find_teeth(vacuum: Floats, start: Ints, stop: Ints, cut: float, resume: float) -> Teeth:
    """Teeth between the levels `cut` and `resume` in ascending stretches that do not overlap.

    A turn counts by the levels that vacuum passes before and after it, and is told where it comes to `cut` or `resume`,
    or, if no sample does, at the one nearest to it: so every tooth of three samples is found, and noise under the
    distance of the levels makes none. Farther along, the moving mean rounds the corner off.
    """
    inwards = _INWARDS * (cut - resume) if np.isfinite(resume) else 0.0
    first, after = _high_runs(vacuum, start, stop, cut - inwards, resume + inwards)
    stretch = np.searchsorted(start, first, side="right") - 1
    highest = range_max(vacuum, first, after)
    top = first_reach(vacuum, np.minimum(highest, cut), first, after)
    turned = first_reach(vacuum, highest, first, after) < stop[stretch] - 1  # nothing turns at the end of a stretch
    top, stretch = top[turned], stretch[turned]
    # up to the next high run, or to the end of the stretch
    end = stop[stretch]
    following = np.append(first[1:], np.iinfo(np.int64).max)[turned] if len(first) else end
    ends = following >= end
    return Teeth(stretch=stretch, top=top, resumed=_resumed(vacuum, top, np.minimum(following, end), ends, cut, resume))


def _resumed(vacuum: Floats, top: Ints, until: Ints, ends: NDArray[np.bool_], cut: float, resume: float) -> Ints:
    """The lower turn after each upper one, -1 where vacuum does not come back to `resume`, or is still falling there.

    Vacuum that falls far under `resume` is lost: the supply came on as it passed.
    """
    lowest = range_min(vacuum, top, until)
    turn = first_fall(vacuum, lowest, top, until)
    passed = first_fall(vacuum, np.full(len(top), resume), top, until)
    lost = lowest < resume - _LOST * (cut - resume)
    shown = ~ends | (passed >= 0) & (lost | (turn < until - 1))
    return np.asarray(np.where(shown, np.where(passed >= 0, passed, turn), -1), np.int64)


def _high_runs(vacuum: Floats, start: Ints, stop: Ints, high: float, low: float) -> tuple[Ints, Ints]:
    """Runs of samples from one at `high` to the last before one at `low`, [first, after), none across stretches."""
    index, _ = range_index(start, np.maximum(stop, start))
    inside = vacuum[index]
    event = np.zeros(len(index), np.int8)
    event[inside <= low] = -1
    event[inside >= high] = 1
    begin = np.searchsorted(index, start[stop > start])
    fresh = begin[event[begin] == 0]
    event[fresh] = -1
    last = np.maximum.accumulate(np.where(event != 0, np.arange(len(index)), 0))
    is_high = np.concatenate([[False], event[last] > 0, [False]]) if len(index) else np.zeros(2, np.bool_)
    # a run that goes on where a stretch begins is parted there
    up, down = edges_of(is_high)
    joints = begin[1:]
    joints = joints[is_high[joints + 1] & is_high[joints]] if len(joints) else joints
    first = np.sort(np.concatenate([up - 1, joints]))
    after = np.sort(np.concatenate([down - 1, joints]))
    return index[first.astype(np.int64)], index[after.astype(np.int64) - 1] + 1
