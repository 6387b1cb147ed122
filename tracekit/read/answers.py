"""Answers of the pressure to commands: when they begin, and which edges lie near."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trace import Block
from tracekit.options.answers import ANSWERS
from tracekit.signal.select import quantile

Floats = NDArray[np.float64]


def shares(blocks: Sequence[Block]) -> tuple[Floats, Floats, NDArray[np.uint8], float] | None:
    """Times [s], vacuum as a share of its range, digitals, all of shape (n,), and the range [kPa]; None for too little.

    The end of a blow-off is no answer to suction: over-pressure counts as no vacuum.
    """
    if not blocks:
        return None
    time_s = np.concatenate([b.time_s for b in blocks])
    vacuum = np.concatenate([b.pressure_kpa for b in blocks])
    digital = np.concatenate([b.digital for b in blocks])
    known = np.isfinite(vacuum)
    if not known.all():
        time_s, vacuum, digital = time_s[known], vacuum[known], digital[known]
    np.maximum(np.negative(vacuum, out=vacuum), 0.0, out=vacuum)
    if len(time_s) < ANSWERS.fewest_samples:
        return None
    low, high = quantile(vacuum, 0.02), quantile(vacuum, 0.98)
    if not high - low > ANSWERS.least_kpa:
        return None
    share = np.divide(np.subtract(vacuum, low, out=vacuum), high - low, out=vacuum)
    return time_s, share, digital, high - low


def after_onset(edges: Floats, onset: Floats) -> Floats:
    """Time from each onset to the nearest edge [s], where one is near."""
    if len(edges) == 0 or len(onset) == 0:
        return np.empty(0)
    place = np.clip(np.searchsorted(edges, onset), 1, len(edges) - 1) if len(edges) > 1 else np.zeros(len(onset), int)
    after, before = edges[place] - onset, edges[np.maximum(place - 1, 0)] - onset
    nearest = np.where(np.abs(after) <= np.abs(before), after, before)
    return np.asarray(nearest[np.abs(nearest) <= ANSWERS.apart_s], np.float64)


def onsets(time_s: Floats, answer: Floats, interval_s: float) -> Floats:
    """Times at which a tenth of an answer is done [s], above the rest just before it.

    That is later than its beginning, so that a lag comes out too short rather than too long.
    """
    above = answer > 0.5
    sure = np.flatnonzero(above | (answer < 0.35))  # between the limits the state before goes on
    state = above[sure]
    rises = sure[1:][state[1:] & ~state[:-1]]
    if len(sure) and sure[0] > 0 and not state[0]:  # what comes before the first rest counts as lower still
        rises = np.concatenate([sure[:1], rises])
    middle: Floats = time_s[rises]
    middle = middle[middle > time_s[0] + ANSWERS.before_s][: ANSWERS.most]
    if len(middle) == 0:
        return middle
    grid = np.arange(-ANSWERS.before_s, min(0.5 * interval_s, 10.0), max(min(interval_s, 0.02), 1e-4))
    around = np.interp((middle[:, None] + grid).ravel(), time_s, answer).reshape(len(middle), len(grid))
    third = _last_passing(around, np.full(len(middle), ANSWERS.high), grid)
    before = (grid > third[:, None] - ANSWERS.rest_from_s) & (grid < third[:, None] - ANSWERS.rest_to_s)
    known = before.any(axis=1)
    rest = _medians(around[known], before[known])
    onset = middle[known] + _last_passing(around[known], rest + ANSWERS.low * (1.0 - rest), grid)
    return np.asarray(onset[np.isfinite(onset)], np.float64)


def _medians(values: Floats, use: NDArray[np.bool_]) -> Floats:
    """Median of the values of each row that count, some in every row."""
    ordered = np.sort(np.where(use, values, np.inf), axis=1)
    count = use.sum(axis=1)
    row = np.arange(len(ordered))
    return np.asarray(0.5 * (ordered[row, (count - 1) // 2] + ordered[row, count // 2]), np.float64)


def _last_passing(share: Floats, level: Floats, grid: Floats) -> Floats:
    """Where each row last passes its level upwards, by a straight line between points, NaN where it does not [s]."""
    below = share < level[:, None]
    place = len(grid) - 1 - np.argmax(below[:, ::-1], axis=1)
    good = below.any(axis=1) & (place < len(grid) - 1)
    place = np.minimum(place, len(grid) - 2)
    rows = np.arange(len(share))
    first, second = share[rows, place], share[rows, place + 1]
    part = (level - first) / np.where(second > first, second - first, 1.0)
    return np.asarray(np.where(good, grid[place] + part * (grid[1] - grid[0]), np.nan), np.float64)
