"""Steps of a series, told apart from slow growth by a penalised search over all ways to cut it.

A series is cut so that the sum over its segments of (squared residuals about a line)/(variance) plus a penalty per
cut is least, exactly, by dynamic programming [1]. The line of a short segment is held near level (a slope of 0.1
standard deviations a day is its prior), so that a few logs after a repair need no slope of their own. A cut where the
two lines meet is a bend (growth began or ended), one where they miss one another by several standard errors is a step.

[1] R. Killick, P. Fearnhead, I. A. Eckley, J. Am. Stat. Assoc. 107 (2012) 1590–1598 (the cost and its exact minimum).
"""

from itertools import pairwise
from math import log, sqrt

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.history.slope import find_correlation, middle_of
from tracekit.options.history import TrendOptions

_PRIOR_SPAN = 100.0
"""Days²: variance of the scatter over variance of the prior of slopes, (σ / (0.1 σ/d))²."""

_SCREEN_WINDOWS = (4, 8, 16, 32)
_SURE_STEP = 3.0
_CORNER_REACH = 20
_BEND_Z = 3.0
_SCREEN_Z = 3.8
_SCREEN_WALK = 1.4
_ROWS_AT_ONCE = 64
_NOTED_Z, _BESIDE, _FEWEST_BEFORE, _FEW_FREE = 4.0, 4, 2, 6.0
"""Spreads between the logs before and after a noted event that show it at once, logs looked at on either side, fewest
before, and how the first grows where few tell it. An event that changed nothing shows so in 3 of 100 trials with two
logs before and one after, in one of 100 and fewer with more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """Logs [start, stop) that follow one line; `level` and `slope` (per day) of it at the time `middle`."""

    start: int
    stop: int
    level: float
    slope: float
    middle: float

    def value_at(self, time: float) -> float:
        """The line at a time [d]."""
        return self.level + self.slope * (time - self.middle)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """A boundary before log `index`: a step where `jump` exceeds several standard errors `se`, else a bend."""

    index: int
    before: float
    after: float
    se: float
    is_step: bool

    @property
    def jump(self) -> float:
        """Level after less level before, at the boundary."""
        return self.after - self.before


@dataclass(frozen=True, slots=True, kw_only=True)
class Segmented:
    """A series in segments. `sigma` is the scatter of a log, `long_run` how correlation raises a mean's variance."""

    segments: tuple[Segment, ...]
    cuts: tuple[Cut, ...]
    sigma: float
    long_run: float

    def labels(self, *, steps_only: bool = False) -> NDArray[np.int64]:
        """Number of the segment of each log, shape (n_logs,); with `steps_only` a bend starts no new one."""
        n = self.segments[-1].stop
        marks = np.zeros(n, np.int64)
        for cut in self.cuts:
            if cut.is_step or not steps_only:
                marks[cut.index] = 1
        return np.cumsum(marks)


def find_steps(
    time: NDArray[np.float64],
    value: NDArray[np.float64],
    floor: float,
    options: TrendOptions,
    noted: tuple[int, ...] = (),
) -> Segmented:
    """Cut a series at its steps and bends.

    time    days, shape (n_logs,), rising
    value   on the scale where scatter is even, shape (n_logs,)
    floor   smallest standard deviation that is believed
    noted   possible indices of the first log after each noted event: cuts there cost nothing
    """
    shown = _shown_at_once(value, floor, noted)
    if shown:
        return _parted(time, value, floor, options, (noted, shown))
    clean = without_spikes(value)
    sigma = max(_scatter(clean), floor)
    if len(time) < 2 * options.step_shortest_logs or not (noted or _may_have_cut(time, clean, sigma)):
        return _segmented(time, clean, (), sigma, 1.0, options)
    sums = _sums(time, clean)
    first = _search(sums, sigma, 2.0, noted, options)
    residual = _residual(time, clean, first)
    found = find_correlation(residual, _labels(len(time), first))
    long_run = float(np.clip(found.long_run, 1.0, 6.0))
    sigma = max(sigma, 1.4826 * middle_of(np.abs(residual)), floor)
    cuts = first if abs(long_run - 2.0) < 0.2 else _search(sums, sigma, long_run, noted, options)
    return _segmented(time, clean, _placed(time, clean, cuts, sigma, options), sigma, long_run, options)


def _parted(
    time: NDArray[np.float64],
    value: NDArray[np.float64],
    floor: float,
    options: TrendOptions,
    noted: tuple[tuple[int, ...], tuple[int, ...]],
) -> Segmented:
    """The series cut at the noted events that show at once, each part searched by itself for what else is in it."""
    edges, cuts, clean = (0, *noted[1], len(time)), [], value.copy()
    parts = []
    for start, stop in pairwise(edges):
        here = slice(start, stop)
        inside = tuple(i - start for i in noted[0] if start < i < stop and i not in noted[1])
        clean[here] = without_spikes(value[here])
        parts.append(find_steps(time[here], value[here], floor, options, inside))
        cuts += [start] * (start > 0) + [start + cut.index for cut in parts[-1].cuts]
    residual = _residual(time, clean, tuple(cuts))
    sigma = max(*(part.sigma for part in parts), 1.4826 * middle_of(np.abs(residual)), floor)
    return _segmented(time, clean, tuple(cuts), sigma, max(part.long_run for part in parts), options)


def _shown_at_once(value: NDArray[np.float64], floor: float, noted: tuple[int, ...]) -> tuple[int, ...]:
    """First logs after noted events from which on all logs are on one side of the few before, and far from them.

    Nobody who has noted a repair waits for as many logs as a step needs that nobody noted.
    """
    found: list[int] = []
    for group in np.split(np.array(noted, np.int64), np.flatnonzero(np.diff(noted) > 1) + 1) if noted else ():
        gap = {int(i): _gap(value, int(i), floor) for i in group}
        best = max(gap, key=lambda i: gap[i])
        if gap[best] > _NOTED_Z:
            found.append(best)
    return tuple(found)


def _gap(value: NDArray[np.float64], at: int, floor: float) -> float:
    """How far apart the few logs before and after a place lie, in spreads of both; 0 where they overlap.

    Less where few logs tell a spread, much as a quantile of Student's t grows.
    """
    before, after = value[max(at - _BESIDE, 0) : at], value[at : at + _BESIDE]
    if len(before) < _FEWEST_BEFORE or not len(after):
        return 0.0
    apart = max(float(after.min() - before.max()), float(before.min() - after.max()))
    squares = sum(float(((side - side.mean()) ** 2).sum()) for side in (before, after))
    free = max(len(before) + len(after) - 2, 1)
    return apart / max(sqrt(squares / free), floor) / (1.0 + _FEW_FREE / free**2)


def without_spikes(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """The series with single logs that stand off their neighbours replaced by the median of five; steps stay."""
    if len(value) < 5:
        return value
    padded = np.concatenate([value[1::-1], value, value[-1:-3:-1]])
    windows = np.lib.stride_tricks.sliding_window_view(padded, 5)
    middle = np.median(windows, axis=1)
    off = np.abs(value - middle)
    scale = max(_scatter(value), 1e-12)
    return np.where(off > 4.0 * scale, middle, value)


def _scatter(value: NDArray[np.float64]) -> float:
    """Robust standard deviation of a log about its neighbours, from first differences."""
    if len(value) < 3:
        return 0.0
    return 1.4826 * middle_of(np.abs(np.diff(value))) / sqrt(2.0)


def _may_have_cut(time: NDArray[np.float64], value: NDArray[np.float64], sigma: float) -> bool:
    """A quick look: does a window differ from the one before it, or the whole from a line, by more than scatter?"""
    centred = time - time.mean()
    square = float((centred**2).sum())
    slope = float((centred * value).sum()) / square if square else 0.0
    residual = value - value.mean() - slope * centred
    total = np.concatenate([[0.0], np.cumsum(residual)])
    for width in _SCREEN_WINDOWS:
        if len(value) < 2 * width:
            break
        means = (total[width:] - total[:-width]) / width
        gap = np.abs(means[width:] - means[:-width]).max()
        if gap > _SCREEN_Z * sigma * sqrt(2.0 / width):
            return True
    walk = np.abs(total).max()
    return bool(walk > _SCREEN_WALK * sigma * sqrt(len(value)))


@dataclass(frozen=True, slots=True)
class _Sums:
    """Cumulative sums from which the cost of any segment follows at once."""

    one: NDArray[np.float64]
    t: NDArray[np.float64]
    y: NDArray[np.float64]
    tt: NDArray[np.float64]
    ty: NDArray[np.float64]
    yy: NDArray[np.float64]

    def costs(self, first: int, last: int) -> NDArray[np.float64]:
        """Squared residuals of segments [start, stop) about their lines, slopes held by the prior.

        Shape (last − first, last): rows by stop from `first` on, columns by start from 0, void for start ≥ stop.
        """
        stop, start = slice(first, last), slice(0, last)
        n = np.maximum(self.one[stop, None] - self.one[start], 1.0)
        t, y = self.t[stop, None] - self.t[start], self.y[stop, None] - self.y[start]
        tt = self.tt[stop, None] - self.tt[start] - t * t / n
        ty = self.ty[stop, None] - self.ty[start] - t * y / n
        yy = self.yy[stop, None] - self.yy[start] - y * y / n
        return np.asarray(yy - ty * ty / (np.maximum(tt, 0.0) + _PRIOR_SPAN), np.float64)


def _sums(time: NDArray[np.float64], value: NDArray[np.float64]) -> _Sums:
    t, y = time - time.mean(), value - value.mean()
    rows = (np.ones(len(t)), t, y, t * t, t * y, y * y)
    one, st, sy, stt, sty, syy = (np.concatenate([[0.0], np.cumsum(row)]) for row in rows)
    return _Sums(one, st, sy, stt, sty, syy)


def _search(
    sums: _Sums, sigma: float, long_run: float, noted: tuple[int, ...], options: TrendOptions
) -> tuple[int, ...]:
    """Indices of the cuts of the cheapest segmentation."""
    n = len(sums.one) - 1
    variance = max(sigma, 1e-9) ** 2 * long_run
    penalty = np.full(n + 1, options.step_penalty * log(n) * variance)
    penalty[list(noted)] = 0.0
    return best_cuts(sums, penalty, options.step_shortest_logs)


def best_cuts(sums: _Sums, penalty: NDArray[np.float64], shortest: int) -> tuple[int, ...]:
    """Cuts that make cost plus penalties least, by exact dynamic programming; `penalty[i]`: a cut before log i."""
    n = len(sums.one) - 1
    best = np.full(n + 1, np.inf)
    best[0] = 0.0
    came_from = np.zeros(n + 1, np.int64)
    toll = penalty.copy()
    toll[0] = 0.0
    costs, first = np.empty((0, 0)), shortest
    for stop in range(shortest, n + 1):
        if stop - first >= len(costs):
            first = stop
            costs = sums.costs(first, min(first + _ROWS_AT_ONCE, n + 1))
        reach = stop - shortest + 1
        total = costs[stop - first, :reach] + (best[:reach] + toll[:reach])
        pick = int(total.argmin())
        best[stop], came_from[stop] = total[pick], pick
    cuts: list[int] = []
    at = int(came_from[n])
    while at > 0:
        cuts.append(at)
        at = int(came_from[at])
    return tuple(reversed(cuts))


def level_cuts(value: NDArray[np.float64], penalty: float, shortest: int = 1) -> tuple[int, ...]:
    """Cuts of a series of levels without slopes: the same search with the prior of slopes at zero."""
    flat = np.zeros(len(value))
    sums = _sums(flat, value)
    return best_cuts(sums, np.full(len(value) + 1, penalty), shortest)


def _placed(
    time: NDArray[np.float64], value: NDArray[np.float64], cuts: tuple[int, ...], sigma: float, options: TrendOptions
) -> tuple[int, ...]:
    """The last cut, where only the shortest level allowed kept it from lying later, put where the lines fit.

    The search holds every level to some logs, so that it begins a level that is newer among the logs before it.
    """
    n, shortest = len(time), options.step_shortest_logs
    if not cuts or cuts[-1] != n - shortest:
        return cuts
    cost = {i: _misfit_of(time, value, (*cuts[:-1], i)) for i in range(cuts[-1], n - 1)}
    best = min(cost, key=lambda i: cost[i])
    gained = cost[cuts[-1]] - cost[best]
    return (*cuts[:-1], best) if gained > options.step_penalty * log(n) * sigma**2 else cuts


def _misfit_of(time: NDArray[np.float64], value: NDArray[np.float64], cuts: tuple[int, ...]) -> float:
    residual = _residual(time, value, cuts)
    return float(residual @ residual)


def _labels(n: int, cuts: tuple[int, ...]) -> NDArray[np.int64]:
    marks = np.zeros(n, np.int64)
    marks[list(cuts)] = 1
    return np.cumsum(marks)


def _residual(time: NDArray[np.float64], value: NDArray[np.float64], cuts: tuple[int, ...]) -> NDArray[np.float64]:
    residual = value.copy()
    for segment in _lines(time, value, cuts):
        here = slice(segment.start, segment.stop)
        residual[here] -= segment.level + segment.slope * (time[here] - segment.middle)
    return residual


def _lines(time: NDArray[np.float64], value: NDArray[np.float64], cuts: tuple[int, ...]) -> tuple[Segment, ...]:
    edges = (0, *cuts, len(time))
    found = []
    for start, stop in pairwise(edges):
        t, y = time[start:stop], value[start:stop]
        middle, level = float(t.mean()), float(y.mean())
        slope = float(((t - middle) * (y - level)).sum()) / (float(((t - middle) ** 2).sum()) + _PRIOR_SPAN)
        found.append(Segment(start=start, stop=stop, level=level, slope=slope, middle=middle))
    return tuple(found)


def _segmented(
    time: NDArray[np.float64],
    value: NDArray[np.float64],
    cuts: tuple[int, ...],
    sigma: float,
    long_run: float,
    options: TrendOptions,
) -> Segmented:
    segments = _lines(time, value, cuts)
    spread = sigma * sqrt(long_run)
    judged = tuple(_judged(time, value, (left, right), spread, options) for left, right in pairwise(segments))
    return Segmented(segments=segments, cuts=judged, sigma=sigma, long_run=long_run)


def _judged(
    time: NDArray[np.float64],
    value: NDArray[np.float64],
    sides: tuple[Segment, Segment],
    sigma: float,
    options: TrendOptions,
) -> Cut:
    """Whether the lines on the two sides of a boundary miss one another there, and no bend nearby explains it."""
    left, right = sides
    at = float(time[left.stop - 1 : left.stop + 1].mean())
    before, after = left.value_at(at), right.value_at(at)
    se = sigma * sqrt(_leverage(time, left, at) + _leverage(time, right, at))
    is_step = abs(after - before) > options.step_z * se
    if is_step and abs(after - before) < _SURE_STEP * options.step_z * se:
        gained = _bend_misfit(time, value, sides) - _lines_misfit(time, value, sides)
        is_step = gained > (_BEND_Z * sigma) ** 2
    return Cut(index=right.start, before=before, after=after, se=se, is_step=is_step)


def _lines_misfit(time: NDArray[np.float64], value: NDArray[np.float64], sides: tuple[Segment, Segment]) -> float:
    """Squared residuals about the lines of the two sides."""
    total = 0.0
    for side in sides:
        here = slice(side.start, side.stop)
        residual = value[here] - side.level - side.slope * (time[here] - side.middle)
        total += float(residual @ residual)
    return total


def _bend_misfit(time: NDArray[np.float64], value: NDArray[np.float64], sides: tuple[Segment, Segment]) -> float:
    """Squared residuals about the best broken line without a jump, its corner anywhere near the boundary."""
    first, last = sides[0].start, sides[1].stop
    t, y = time[first:last], value[first:last]
    middle = sides[1].start - first
    best = np.inf
    for corner in range(max(1, middle - _CORNER_REACH), min(len(t) - 1, middle + _CORNER_REACH)):
        shape = np.stack([np.ones(len(t)), t - t[corner], np.maximum(t - t[corner], 0.0)], axis=1)
        residual = y - shape @ np.linalg.lstsq(shape, y, rcond=None)[0]
        best = min(best, float(residual @ residual))
    return best


def _leverage(time: NDArray[np.float64], segment: Segment, at: float) -> float:
    t = time[segment.start : segment.stop]
    square = float(((t - segment.middle) ** 2).sum()) + _PRIOR_SPAN
    return 1.0 / len(t) + (at - segment.middle) ** 2 / square
