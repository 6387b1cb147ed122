"""Arithmetic on half-open sample ranges `[start, stop)`, vectorised over the ranges.

Every routine depends on the samples of its own range only, so a result does not change with the
samples around it. Empty ranges give NaN (or 0 for sums and counts).
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


def range_sum(values: Floats, start: Ints, stop: Ints) -> Floats:
    """Sum of `values` over each range, shape (n_ranges,); 0 where a range is empty."""
    out = np.zeros(len(start))
    filled = stop > start
    if not filled.any():
        return out
    begin, end = start[filled], stop[filled]
    bounds = np.stack([begin, end], axis=1).ravel()
    padded = np.append(values[: int(end.max())], 0.0)
    out[filled] = np.add.reduceat(padded, bounds)[::2]
    return out


def range_mean(values: Floats, start: Ints, stop: Ints) -> Floats:
    """Mean over each range, shape (n_ranges,)."""
    count = np.maximum(stop - start, 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(count > 0, range_sum(values, start, stop) / count, np.nan))


def _range_extreme(values: Floats, start: Ints, stop: Ints, ufunc: np.ufunc, pad: float) -> Floats:
    out = np.full(len(start), np.nan)
    filled = stop > start
    if not filled.any():
        return out
    begin, end = start[filled], stop[filled]
    bounds = np.stack([begin, end], axis=1).ravel()
    padded = np.append(values[: int(end.max())], pad)
    out[filled] = ufunc.reduceat(padded, bounds)[::2]
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
    first = np.cumsum(count) - count
    return np.arange(int(count.sum())) - first[owner] + start[owner], owner


def range_quantile(values: Floats, start: Ints, stop: Ints, share: float) -> Floats:
    """Quantile (lower of the two neighbours' linear mix) of each range, shape (n_ranges,); NaN samples are ignored."""
    index, owner = range_index(start, stop)
    out = np.full(len(start), np.nan)
    kept = values[index]
    finite = np.isfinite(kept)
    kept, owner = kept[finite], owner[finite]
    if not len(kept):
        return out
    order = np.lexsort((kept, owner))
    kept = kept[order]
    count = np.bincount(owner, minlength=len(start))
    first = np.cumsum(count) - count
    some = count > 0
    place = first[some] + share * (count[some] - 1)
    low = np.floor(place).astype(np.int64)
    high = np.minimum(low + 1, first[some] + count[some] - 1)
    out[some] = kept[low] + (place - low) * (kept[high] - kept[low])
    return out


def first_true(mask: Bools, start: Ints, stop: Ints) -> Ints:
    """Index of the first True in each range, -1 where there is none, shape (n_ranges,)."""
    where = np.flatnonzero(mask)
    if not len(where):
        return np.full(len(start), -1, np.int64)
    place = np.searchsorted(where, start)
    found = where[np.minimum(place, len(where) - 1)]
    ok = (place < len(where)) & (found < stop)
    return np.asarray(np.where(ok, found, -1), np.int64)


def last_true(mask: Bools, start: Ints, stop: Ints) -> Ints:
    """Index of the last True in each range, -1 where there is none, shape (n_ranges,)."""
    where = np.flatnonzero(mask)
    if not len(where):
        return np.full(len(start), -1, np.int64)
    place = np.searchsorted(where, stop) - 1
    found = where[np.maximum(place, 0)]
    ok = (place >= 0) & (found >= start)
    return np.asarray(np.where(ok, found, -1), np.int64)


def count_true(mask: Bools, start: Ints, stop: Ints) -> Ints:
    """Number of True in each range, shape (n_ranges,)."""
    where = np.flatnonzero(mask)
    count = np.searchsorted(where, np.maximum(stop, start)) - np.searchsorted(where, start)
    return np.asarray(count, np.int64)


def first_reach(values: Floats, level: Floats, start: Ints, stop: Ints) -> Ints:
    """First index in each range at which `values` is at or over that range's level, -1 where never."""
    index, owner = range_index(start, stop)
    hit = np.flatnonzero(values[index] >= level[owner])
    out = np.full(len(start), -1, np.int64)
    if len(hit):
        owners, place = np.unique(owner[hit], return_index=True)
        out[owners] = index[hit[place]]
    return out


def first_fall(values: Floats, level: Floats, start: Ints, stop: Ints) -> Ints:
    """First index in each range at which `values` is at or under that range's level, -1 where never."""
    return first_reach(-values, -level, start, stop)


def crossing_time(time: Floats, values: Floats, level: Floats, at: Ints) -> Floats:
    """Time at which `values` crosses `level`, by a straight line from sample `at - 1` to `at`; NaN where at < 1."""
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
    index, owner = range_index(start, stop)
    first = np.cumsum(np.maximum(stop - start, 0)) - np.maximum(stop - start, 0)
    last = first + np.maximum(stop - start, 0)
    x = time[index] - origin[owner]
    y = values[index]
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_x = range_sum(x, first, last) / count
        mean_y = range_sum(y, first, last) / count
        x = x - mean_x[owner]
        y = y - mean_y[owner]
        sxx = range_sum(x * x, first, last)
        slope = range_sum(x * y, first, last) / sxx
        rest = y - slope[owner] * x
        spread = np.sqrt(range_sum(rest * rest, first, last) / (count - 2))
        error = spread / np.sqrt(sxx)
    few = count < 3
    return tuple(np.where(few, np.nan, a) for a in (slope, error, spread))  # type: ignore[return-value]


def moving_mean(values: Floats, width: int) -> Floats:
    """Centred moving mean over an odd number of samples; shorter at the ends.

    Summed from shifted copies, so a mean depends on its own neighbours only.
    """
    half = width // 2
    if half < 1 or len(values) < 3:
        return values
    padded = np.concatenate([np.repeat(values[:1], half), values, np.repeat(values[-1:], half)])
    total = np.zeros(len(values))
    for shift in range(2 * half + 1):
        total += padded[shift : shift + len(values)]
    return np.asarray(total / (2 * half + 1))
