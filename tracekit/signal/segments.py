"""Arithmetic on half-open sample ranges `[start, stop)`, vectorised over the ranges.

Every routine depends on the samples of its own range only, so a result does not change with the
samples around it. Empty ranges give NaN (or 0 for sums and counts). Where ranges are searched, only their first
samples are looked at, then four times as many, and so on: most of what is looked for lies near the start.
"""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_BLOCK = 32_768  # samples that stay near the processor while they are summed
_NEAR_PROCESSOR = 65_536  # samples of ranges that are worked on together where they are gone through many times
_NEAR = 128  # samples of each range that are searched first
_SEARCHED = 1 << 17  # samples searched at once; where the ranges that are left hold more they are searched one by one
_MANY = 64  # ranges of which it is worth looking for those that share a boundary
_SPARSE = 4  # ranges that hold less than this part of the samples they lie among are copied out before they are reduced


class Ranges:
    """Half-open ranges of samples made ready to be reduced, more than once: what only they tell is found once."""

    def __init__(self, start: Ints, stop: Ints) -> None:
        """Ranges `[start, stop)`, each of shape (n_ranges,)."""
        self._count = len(start)
        filled = stop > start
        self._filled = None if filled.all() else filled
        begin, end = (start, stop) if self._filled is None else (start[filled], stop[filled])
        self._some = len(begin) > 0
        if not self._some:
            return
        self._top, length = int(end.max()), end - begin
        self._last = int(end[-1])
        self._index: Ints | None = None
        self._place: Ints | slice = slice(None)
        if int(length.sum()) * _SPARSE < self._top - int(begin.min()):  # what lies between would be reduced as well
            self._index = range_samples(begin, end)
            self._bounds = np.cumsum(length) - length
        else:
            self._bounds, self._place = _boundaries(begin, end)

    def sum(self, values: Floats) -> Floats:
        """Sum of `values` over each range, shape (n_ranges,); 0 where a range is empty."""
        return self._reduced(values, np.add, 0.0, 0.0)

    def max(self, values: Floats) -> Floats:
        """Highest value of each range, shape (n_ranges,); NaN where a range is empty."""
        return self._reduced(values, np.fmax, -np.inf, np.nan)

    def min(self, values: Floats) -> Floats:
        """Lowest value of each range, shape (n_ranges,); NaN where a range is empty."""
        return self._reduced(values, np.fmin, np.inf, np.nan)

    def _reduced(self, values: Floats, ufunc: np.ufunc, pad: float, empty: float) -> Floats:
        if not self._some:
            return np.full(self._count, empty)
        if self._index is not None:
            found = ufunc.reduceat(values[self._index], self._bounds)
        elif int(self._bounds.max()) < self._top:  # the last range ends where the values end, without a boundary
            found = ufunc.reduceat(values[: self._top], self._bounds)
        else:
            held = values[: self._top + 1] if len(values) > self._top else np.append(values, pad)
            found = ufunc.reduceat(held, np.append(self._bounds, self._last))
        if self._filled is None:
            return np.asarray(found[self._place])
        out = np.full(self._count, empty)
        out[self._filled] = found[self._place]
        return out


def _boundaries(begin: Ints, end: Ints) -> tuple[Ints, Ints | slice]:
    """Where `reduceat` is to cut, and which of its results are those of the ranges; the last range's end is left out.

    Where most ranges begin at the end of the one before, that boundary stands once: there are half as many then.
    """
    apart = end[:-1] != begin[1:]
    if len(begin) < _MANY or 2 * np.count_nonzero(apart) > len(apart):
        bounds = np.empty(2 * len(begin) - 1, np.int64)
        bounds[::2] = begin
        bounds[1::2] = end[:-1]
        return bounds, slice(None, None, 2)
    place = np.arange(len(begin))
    place[1:] += np.cumsum(apart)
    bounds = np.empty(int(place[-1]) + 1, np.int64)
    bounds[place] = begin
    bounds[place[:-1][apart] + 1] = end[:-1][apart]
    return bounds, place


def range_sum(values: Floats, start: Ints, stop: Ints) -> Floats:
    """Sum of `values` over each range, shape (n_ranges,); 0 where a range is empty."""
    return Ranges(start, stop).sum(values)


def range_mean(values: Floats, start: Ints, stop: Ints) -> Floats:
    """Mean over each range, shape (n_ranges,)."""
    count = np.maximum(stop - start, 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(count > 0, range_sum(values, start, stop) / count, np.nan))


def range_max(values: Floats, start: Ints, stop: Ints) -> Floats:
    """Highest value of each range, shape (n_ranges,)."""
    return Ranges(start, stop).max(values)


def range_min(values: Floats, start: Ints, stop: Ints) -> Floats:
    """Lowest value of each range, shape (n_ranges,)."""
    return Ranges(start, stop).min(values)


def range_index(start: Ints, stop: Ints) -> tuple[Ints, Ints]:
    """All sample indices of the ranges one after the other, and the range each belongs to."""
    return range_samples(start, stop), np.repeat(np.arange(len(start)), np.maximum(stop - start, 0))


def range_samples(start: Ints, stop: Ints) -> Ints:
    """All sample indices of the ranges one after the other."""
    count = np.maximum(stop - start, 0)
    index = np.repeat(start - (np.cumsum(count) - count), count)
    index += np.arange(len(index))
    return index


def range_quantile(values: Floats, start: Ints, stop: Ints, share: float) -> Floats:
    """Quantile (lower of the two neighbours' linear mix) of each range, shape (n_ranges,); NaN samples are ignored."""
    out = np.full(len(start), np.nan)
    filled = np.flatnonzero(stop > start)
    begin, end = start[filled], stop[filled]
    for part in _alike(end - begin):
        out[filled[part]] = _quantiles(values, begin[part], end[part], share)
    return out


def _alike(length: Ints) -> Iterator[Ints]:
    """Positions of lengths, in groups within which no length is over twice another, or all where they are alike."""
    if len(length) and len(length) * int(length.max()) <= 2 * int(length.sum()):
        yield np.arange(len(length))
        return
    octave = np.frexp(length.astype(np.float64))[1]
    for one in np.unique(octave):
        yield np.flatnonzero(octave == one)


def _quantiles(values: Floats, start: Ints, stop: Ints, share: float) -> Floats:
    """Quantile of ranges of about the same length, none of them empty, shape (n_ranges,)."""
    steps = np.arange(int((stop - start).max()))
    index = start[:, None] + steps
    inside = index < stop[:, None]
    table = values[np.minimum(index, len(values) - 1)]
    table[~inside | ~np.isfinite(table)] = np.inf
    table.sort(axis=1)
    table += 0.0  # minus zero sorts as zero, in no fixed order
    count = np.isfinite(table).sum(axis=1)
    place = share * np.maximum(count - 1, 0)
    low = np.floor(place).astype(np.int64)
    high = np.maximum(np.minimum(low + 1, count - 1), 0)
    row = np.arange(len(start))
    below, above = table[row, low], table[row, high]
    some = count > 0
    out = np.full(len(start), np.nan)
    out[some] = below[some] + (place - low)[some] * (above[some] - below[some])
    return out


def edges_of(level: Bools) -> tuple[Ints, Ints]:
    """Indices of the first samples at which `level` is on after being off, and off after being on, ascending."""
    change = np.flatnonzero(level[1:] != level[:-1]) + 1
    on = level[change]
    return change[on], change[~on]


def first_in(where: Ints, start: Ints, stop: Ints) -> Ints:
    """First of the ascending indices `where` in each range, -1 where there is none, shape (n_ranges,)."""
    if not len(where):
        return np.full(len(start), -1, np.int64)
    place = np.searchsorted(where, start)
    found = where[np.minimum(place, len(where) - 1)]
    ok = (place < len(where)) & (found < stop)
    return np.asarray(np.where(ok, found, -1), np.int64)


def last_in(where: Ints, start: Ints, stop: Ints) -> Ints:
    """Last of the ascending indices `where` in each range, -1 where there is none, shape (n_ranges,)."""
    if not len(where):
        return np.full(len(start), -1, np.int64)
    place = np.searchsorted(where, stop) - 1
    found = where[np.maximum(place, 0)]
    ok = (place >= 0) & (found >= start)
    return np.asarray(np.where(ok, found, -1), np.int64)


def count_in(where: Ints, start: Ints, stop: Ints) -> Ints:
    """Number of the ascending indices `where` in each range, shape (n_ranges,)."""
    count = np.searchsorted(where, np.maximum(stop, start)) - np.searchsorted(where, start)
    return np.asarray(count, np.int64)


def first_reach(values: Floats, level: Floats, start: Ints, stop: Ints) -> Ints:
    """First index in each range at which `values` is at or over that range's level, -1 where never."""
    return _first(values, level, start, stop, np.greater_equal)


def first_fall(values: Floats, level: Floats, start: Ints, stop: Ints) -> Ints:
    """First index in each range at which `values` is at or under that range's level, -1 where never."""
    return _first(values, level, start, stop, np.less_equal)


def last_reach(values: NDArray[np.generic], level: Floats, start: Ints, stop: Ints) -> Ints:
    """Last index in each range at which `values` is at or over that range's level, -1 where never."""
    mirrored = _first(values[::-1], level, len(values) - stop, len(values) - start, np.greater_equal)
    return np.asarray(np.where(mirrored >= 0, len(values) - 1 - mirrored, -1), np.int64)


def _first(values: NDArray[np.generic], level: Floats, start: Ints, stop: Ints, compare: np.ufunc) -> Ints:
    out = np.full(len(start), -1, np.int64)
    left = np.flatnonzero(stop > start)
    begin, end, bound = start[left], stop[left], level[left]
    width = _NEAR
    while len(left):
        width = min(width, int((end - begin).max()))
        if len(left) * width > _SEARCHED:
            for i, a, b, one in zip(left.tolist(), begin.tolist(), end.tolist(), bound.tolist(), strict=True):
                place = _place(values[a:b], one, compare)
                out[i] = a + place if place >= 0 else -1
            break
        holds = compare(_windows(values, begin, width), bound[:, None])
        place = holds.argmax(axis=1)
        at = begin + place
        found = holds[np.arange(len(left)), place] & (at < end)
        out[left[found]] = at[found]
        begin = begin + width
        rest = ~found & (begin < end)
        left, begin, end, bound = left[rest], begin[rest], end[rest], bound[rest]
        width *= 4
    return out


def _windows(values: NDArray[np.generic], begin: Ints, width: int) -> NDArray[np.generic]:
    """The `width` values from each index on, the last value again where there are no more, (n, width)."""
    whole = len(values) - width
    if whole < 0 or int(begin.max()) > whole:
        return np.asarray(values[np.minimum(begin[:, None] + np.arange(width), len(values) - 1)])
    step = values.strides[0]
    return np.asarray(as_strided(values, (whole + 1, width), (step, step), writeable=False)[begin])


def _place(values: NDArray[np.generic], bound: float, compare: np.ufunc) -> int:
    """Position of the first value for which the comparison holds, -1 where there is none."""
    step, at = _NEAR, 0
    while at < len(values):
        holds = compare(values[at : at + step], bound)
        place = int(holds.argmax())
        if holds[place]:
            return at + place
        at += step
        step *= 4
    return -1


def first_reaches(values: Floats, levels: Floats, start: Ints, stop: Ints) -> Ints:
    """First index in each range at which `values` is at or over each level, -1 where never, (n_ranges, n_levels)."""
    return _firsts(values, levels, start, stop, 1.0)


def first_falls(values: Floats, levels: Floats, start: Ints, stop: Ints) -> Ints:
    """First index in each range at which `values` is at or under each level, -1 where never, (n_ranges, n_levels)."""
    return _firsts(values, -levels, start, stop, -1.0)


def _firsts(values: Floats, levels: Floats, start: Ints, stop: Ints, sign: float) -> Ints:
    """First index in each range at which `values` times the sign is at or over each level, (n_ranges, n_levels)."""
    out = np.full((len(start), len(levels)), np.iinfo(np.int64).max)
    length = np.maximum(stop - start, 0)
    for row, a, n in zip(out, start.tolist(), length.tolist(), strict=True):
        if n:
            part = values[a : a + n]
            top = np.fmax.accumulate(part if sign > 0 else -part)
            if top[0] != top[0]:  # missing values at the start count as lowest
                top[np.isnan(top)] = -np.inf
            row[:] = top.searchsorted(levels)
    inside = out < length[:, None]
    return np.where(inside, np.where(inside, out, 0) + start[:, None], -1)


def crossing_time(time: Floats, values: Floats, level: Floats, at: Ints) -> Floats:
    """Time at which `values` crosses `level`, by a straight line from sample `at - 1` to `at`; NaN where at < 1.

    `level` and `at` have the same shape, or shapes that fit each other.
    """
    ok = at >= 1
    here = np.maximum(at, 1)
    before, after = values[here - 1], values[here]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.clip((level - before) / (after - before), 0.0, 1.0)
    share = np.where(np.isfinite(share), share, 1.0)
    crossed = time[here - 1] + share * (time[here] - time[here - 1])
    return np.asarray(np.where(ok, crossed, np.nan))


def range_line(time: Floats, values: Floats, start: Ints, stop: Ints) -> tuple[Floats, Floats, Floats]:
    """Slope, its standard error and the residual standard deviation of a straight line through each range."""
    found = np.empty((3, len(start)))
    for some in _near_together(start, stop):
        found[:, some] = _range_line(time, values, start[some], stop[some])
    return found[0], found[1], found[2]


def _near_together(start: Ints, stop: Ints) -> Iterator[slice]:
    """Ranges in groups that hold about as many samples as stay near the processor."""
    group = np.cumsum(np.maximum(stop - start, 0)) // _NEAR_PROCESSOR
    bounds = [0, *(np.flatnonzero(group[1:] != group[:-1]) + 1).tolist(), len(start)]
    return (slice(first, last) for first, last in pairwise(bounds) if last > first)


def _range_line(time: Floats, values: Floats, start: Ints, stop: Ints) -> tuple[Floats, Floats, Floats]:
    """The same for ranges that are laid out together.

    Sums are taken about the sample in the middle of each range, near enough to the mean for what is taken off then.
    """
    count = np.maximum(stop - start, 0).astype(np.float64)
    middle = np.minimum(start + np.maximum(stop - start, 0) // 2, len(time) - 1)
    x, y, first, last, length = _laid_out(time, values, start, stop)
    own, product = Ranges(first, last), np.empty(len(x))
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        x = np.subtract(x, np.repeat(time[middle], length))
        y = np.subtract(y, np.repeat(values[middle], length))
        sx, sy = own.sum(x), own.sum(y)
        sxx = own.sum(np.multiply(x, x, out=product)) - sx * sx / count
        sxy = own.sum(np.multiply(x, y, out=product)) - sx * sy / count
        syy = own.sum(np.multiply(y, y, out=product)) - sy * sy / count
        slope = sxy / sxx
        spread = np.sqrt(np.maximum(syy - slope * sxy, 0.0) / (count - 2))
        error = spread / np.sqrt(sxx)
    few = count < 3
    slope, error, spread = (np.where(few, np.nan, a) for a in (slope, error, spread))
    return slope, error, spread


def _laid_out(time: Floats, values: Floats, start: Ints, stop: Ints) -> tuple[Floats, Floats, Ints, Ints, Ints]:
    """The samples of the ranges, where each range lies in them, and how many samples belong to it.

    Ranges in order come with what lies between them, which then belongs to the range before.
    """
    stop = np.maximum(stop, start)
    if len(start) and np.all(start[1:] >= stop[:-1]) and int((stop - start).sum()) * 2 > stop[-1] - start[0]:
        base, top = int(start[0]), int(stop[-1])
        length = np.diff(start, append=top)
        return time[base:top], values[base:top], start - base, stop - base, length
    index = range_samples(start, stop)
    length = stop - start
    last = np.cumsum(length)
    return time[index], values[index], last - length, last, length


def _with_neighbours(values: Floats, start: int, stop: int) -> Floats:
    """Values `[start, stop)`, the first or last one in place of those beyond the ends."""
    before, after = max(-start, 0), max(stop - len(values), 0)
    inside = values[max(start, 0) : stop]
    if not before and not after:
        return inside
    return np.concatenate([np.repeat(values[:1], before), inside, np.repeat(values[-1:], after)])


def moving_mean(values: Floats, width: int) -> Floats:
    """Centred moving mean over an odd number of samples; at the ends the last value stands for those beyond.

    Sums of 2, 4, 8 and so on neighbours come from two shifted copies each, and the mean from those that `width` is made
    of, always in the same order: a mean depends on its own neighbours only.
    """
    half = width // 2
    if half < 1 or len(values) < 3:
        return values
    width = 2 * half + 1
    total = np.empty(len(values))
    room = np.empty((2, min(len(values), _BLOCK) + width))
    for begin in range(0, len(values), _BLOCK):
        part = total[begin : begin + _BLOCK]
        sums, size, offset = _with_neighbours(values, begin - half, begin + len(part) + half), 1, 1
        so_far = sums[: len(part)]
        while size * 2 <= width:
            wider = room[size.bit_length() % 2, : len(sums) - size]
            sums, size = np.add(sums[:-size], sums[size:], out=wider), size * 2
            if width & size:
                so_far = np.add(so_far, sums[offset : offset + len(part)], out=part)
                offset += size
        part *= 1.0 / width
    return total
