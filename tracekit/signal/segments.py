"""Arithmetic on half-open sample ranges `[start, stop)`, vectorised over the ranges.

Every routine depends on the samples of its own range only, so a result does not change with the
samples around it. Empty ranges give NaN (or 0 for sums and counts). Long ranges are taken one by one
where that spares work on samples that do not matter; the result is the same either way.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_LONG = 400  # samples: ranges longer than this on average are searched one by one, which costs some µs each


def _reduced(values: Floats, begin: Ints, end: Ints, ufunc: np.ufunc, pad: float) -> Floats:
    """`ufunc` over each range, none of them empty, shape (n_ranges,)."""
    bounds = np.stack([begin, end], axis=1).ravel()
    top = int(end.max())
    if bounds[:-1].max() < top:  # the last range ends where the values end, without a boundary of its own
        return np.asarray(ufunc.reduceat(values[:top], bounds[:-1])[::2])
    held = values[: top + 1] if len(values) > top else np.append(values, pad)
    return np.asarray(ufunc.reduceat(held, bounds)[::2])


def range_sum(values: Floats, start: Ints, stop: Ints) -> Floats:
    """Sum of `values` over each range, shape (n_ranges,); 0 where a range is empty."""
    out = np.zeros(len(start))
    filled = stop > start
    if filled.any():
        out[filled] = _reduced(values, start[filled], stop[filled], np.add, 0.0)
    return out


def range_mean(values: Floats, start: Ints, stop: Ints) -> Floats:
    """Mean over each range, shape (n_ranges,)."""
    count = np.maximum(stop - start, 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(count > 0, range_sum(values, start, stop) / count, np.nan))


def _range_extreme(values: Floats, start: Ints, stop: Ints, ufunc: np.ufunc, pad: float) -> Floats:
    out = np.full(len(start), np.nan)
    filled = stop > start
    if filled.any():
        out[filled] = _reduced(values, start[filled], stop[filled], ufunc, pad)
    return out


def range_max(values: Floats, start: Ints, stop: Ints) -> Floats:
    """Highest value of each range, shape (n_ranges,)."""
    return _range_extreme(values, start, stop, np.fmax, -np.inf)


def range_min(values: Floats, start: Ints, stop: Ints) -> Floats:
    """Lowest value of each range, shape (n_ranges,)."""
    return _range_extreme(values, start, stop, np.fmin, np.inf)


def range_index(start: Ints, stop: Ints) -> tuple[Ints, Ints]:
    """All sample indices of the ranges one after the other, and the range each belongs to."""
    count = np.maximum(stop - start, 0)
    owner = np.repeat(np.arange(len(start)), count)
    index = np.repeat(start - (np.cumsum(count) - count), count)
    index += np.arange(len(index))
    return index, owner


def range_quantile(values: Floats, start: Ints, stop: Ints, share: float) -> Floats:
    """Quantile (lower of the two neighbours' linear mix) of each range, shape (n_ranges,); NaN samples are ignored."""
    out = np.full(len(start), np.nan)
    filled = np.flatnonzero(stop > start)
    begin, end = start[filled], stop[filled]
    for part in _alike(end - begin):
        out[filled[part]] = _quantiles(values, begin[part], end[part], share)
    return out


def _alike(length: Ints) -> Iterator[Ints]:
    """Positions of lengths, in groups within which no length is over twice another."""
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


def _one_by_one(start: Ints, stop: Ints) -> bool:
    """Whether the ranges are so long that each is worth a call of its own."""
    return int(np.maximum(stop - start, 0).sum()) > _LONG * len(start)


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
    if _one_by_one(start, stop):
        for i, (a, b, bound) in enumerate(zip(start.tolist(), stop.tolist(), level.tolist(), strict=True)):
            found = _place(values[a:b], bound, compare) if b > a else -1
            out[i] = found + a if found >= 0 else -1
        return out
    index, owner = range_index(start, stop)
    hit = np.flatnonzero(compare(values[index], level[owner]))
    if len(hit):
        owners = owner[hit]
        first = np.flatnonzero(np.diff(owners, prepend=-1))
        out[owners[first]] = index[hit[first]]
    return out


def _place(values: NDArray[np.generic], bound: float, compare: np.ufunc) -> int:
    """Position of the first value for which the comparison holds, -1 where there is none."""
    step, at = _LONG, 0
    while at < len(values):  # most are found near the start
        holds = compare(values[at : at + step], bound)
        place = int(holds.argmax())
        if holds[place]:
            return at + place
        at += step
        step *= 4
    return -1


def first_reaches(values: Floats, levels: Floats, start: Ints, stop: Ints) -> Ints:
    """First index in each range at which `values` is at or over each level, -1 where never, (n_ranges, n_levels)."""
    out = np.full((len(start), len(levels)), -1, np.int64)
    for i, (a, b) in enumerate(zip(start.tolist(), stop.tolist(), strict=True)):
        if b > a:
            top = np.fmax.accumulate(values[a:b])
            top[np.isnan(top)] = -np.inf
            place = np.searchsorted(top, levels)
            out[i] = np.where(place < b - a, place + a, -1)
    return out


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
    count = np.maximum(stop - start, 0).astype(np.float64)
    origin = time[np.minimum(start, len(time) - 1)]
    x, y, first, last, length = _laid_out(time, values, start, stop)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        x -= np.repeat(origin, length)
        x -= np.repeat(range_sum(x, first, last) / count, length)
        y -= np.repeat(range_sum(y, first, last) / count, length)
        product = x * x
        sxx = range_sum(product, first, last)
        slope = range_sum(np.multiply(x, y, out=product), first, last) / sxx
        y -= np.multiply(np.repeat(slope, length), x, out=product)
        spread = np.sqrt(range_sum(np.multiply(y, y, out=product), first, last) / (count - 2))
        error = spread / np.sqrt(sxx)
    few = count < 3
    slope, error, spread = (np.where(few, np.nan, a) for a in (slope, error, spread))
    return slope, error, spread


def _laid_out(time: Floats, values: Floats, start: Ints, stop: Ints) -> tuple[Floats, Floats, Ints, Ints, Ints]:
    """Copies of the samples of the ranges, where each range lies in them, and how many samples belong to it.

    Ranges in order are copied with what lies between them, which then belongs to the range before.
    """
    stop = np.maximum(stop, start)
    if len(start) and np.all(start[1:] >= stop[:-1]) and int((stop - start).sum()) * 2 > stop[-1] - start[0]:
        base, top = int(start[0]), int(stop[-1])
        length = np.diff(start, append=top)
        return time[base:top].copy(), values[base:top].copy(), start - base, stop - base, length
    index, _ = range_index(start, stop)
    length = stop - start
    last = np.cumsum(length)
    return time[index], values[index], last - length, last, length


_BLOCK = 16_384  # samples that stay near the processor while they are summed


def _with_neighbours(values: Floats, start: int, stop: int) -> Floats:
    """Values `[start, stop)`, the first or last one in place of those beyond the ends."""
    before, after = max(-start, 0), max(stop - len(values), 0)
    inside = values[max(start, 0) : stop]
    if not before and not after:
        return inside
    return np.concatenate([np.repeat(values[:1], before), inside, np.repeat(values[-1:], after)])


def moving_mean(values: Floats, width: int) -> Floats:
    """Centred moving mean over an odd number of samples; shorter at the ends.

    Summed from shifted copies, so a mean depends on its own neighbours only.
    """
    half = width // 2
    if half < 1 or len(values) < 3:
        return values
    total = np.zeros(len(values))
    for begin in range(0, len(values), _BLOCK):
        part = total[begin : begin + _BLOCK]
        around = _with_neighbours(values, begin - half, begin + len(part) + half)
        for shift in range(2 * half + 1):
            part += around[shift : shift + len(part)]
    total /= 2 * half + 1
    return total
