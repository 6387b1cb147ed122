"""Digitals that were written late: the pressure answers before the command."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trace import RELEASE_BIT, SUPPLY_BIT, Block, DigitalLag
from tracekit.read.ahead import beside
from tracekit.signal.select import median, quantile

_MOST_SAMPLES, _MOST_EVENTS, _FEWEST = 200_000, 400, 5
_BEFORE_S, _APART_S = 0.8, 1.0
_LOW, _HIGH = 0.1, 0.3
"""An answer counts from its first tenth on; what was before it is a third done is the rest that it starts from."""
_REST_S = (0.3, 0.1)
_SLACK_S, _SLOW_VALVE_S, _FINEST_S = 0.005, 0.35, 0.001
_AT_EDGE_S = (-0.3, -0.1, -0.03, 0.05, 0.15)
"""Rest before an edge lies between the first two, the edge after the third, a prompt answer between the last two."""
_HELD = 0.4
_ANSWERED, _BEGUN = 0.015, 0.25
"""An answer is at least this share of the way, and at the edge less than this share of itself has begun."""

Floats = NDArray[np.float64]


class LagWatch:
    """Looks whether the pressure of one station answers its commands before they are given.

    The edges of a command are laid over one another and correlated with the change of the pressure around them. A
    pressure cannot answer early, so an answer before the edge is the lag of the digital, less the valve's own delay.
    """

    def __init__(self, station: str, stations: int) -> None:
        """Watch one of some stations, which share the memory for samples."""
        self._station = station
        self._most = _MOST_SAMPLES // max(stations // 4, 1)
        self._blocks: list[Block] = []
        self._count = 0
        self._found: Callable[[], tuple[DigitalLag, ...]] | None = None

    def feed(self, block: Block) -> None:
        """Keep the first samples; once there are enough they are looked at in a thread, while reading goes on."""
        if self._found is not None:
            return
        self._blocks.append(_first_of(block, self._most - self._count))
        self._count += len(block.time_s)
        if self._count >= self._most:
            blocks, self._blocks = self._blocks, []
            self._found = beside(lambda: find_lags(self._station, blocks))

    def lags(self) -> tuple[DigitalLag, ...]:
        """What lags, empty where nothing does or too few edges show it."""
        return find_lags(self._station, self._blocks) if self._found is None else self._found()


def _first_of(block: Block, count: int) -> Block:
    """So many of the first samples of a block, that what is found does not depend on where blocks end."""
    own = slice(0, count)
    return replace(block, time_s=block.time_s[own], pressure_kpa=block.pressure_kpa[own], digital=block.digital[own])


def find_lags(station: str, blocks: Sequence[Block]) -> tuple[DigitalLag, ...]:
    """Digitals of a station that lag in some of its samples, empty where none does or too few edges show it."""
    if not blocks:
        return ()
    time_s = np.concatenate([b.time_s for b in blocks])
    vacuum = np.concatenate([b.pressure_kpa for b in blocks])
    digital = np.concatenate([b.digital for b in blocks])
    known = np.isfinite(vacuum)
    if not known.all():
        time_s, vacuum, digital = time_s[known], vacuum[known], digital[known]
    # the end of a blow-off is no answer to suction: over-pressure counts as none
    np.maximum(np.negative(vacuum, out=vacuum), 0.0, out=vacuum)
    if len(time_s) < 100:
        return ()
    low, high = quantile(vacuum, 0.02), quantile(vacuum, 0.98)
    if not high - low > 1.0:
        return ()
    share = np.divide(np.subtract(vacuum, low, out=vacuum), high - low, out=vacuum)
    interval_s = median(np.diff(time_s))
    found = []
    for signal, bit, rising in (("supply", SUPPLY_BIT, True), ("release", RELEASE_BIT, False)):
        level = (digital & bit > 0).astype(np.int8)
        if rising and _turns_at_edges(time_s, share, level, interval_s):
            continue
        lag = _lag(time_s, share if rising else 1.0 - share, level, interval_s)
        if lag is not None:
            found.append(DigitalLag(station=station, signal=signal, lag_s=lag[0], u_s=lag[1], edges=lag[2]))
    return tuple(found)


def _lag(time_s: Floats, answer: Floats, level: NDArray[np.int8], interval_s: float) -> tuple[float, float, int] | None:
    """Lag, its standard uncertainty [s] and the number of edges; None where the answer follows the edges.

    answer  share of the way from rest to the end of the answer, shape (n,)
    The edges of one direction go with the answers. Where those of either direction come just before them all is well,
    the valve may be slow; else those nearer in time count.
    """
    onset = _onsets(time_s, answer, interval_s)
    steps = np.diff(level)
    best: Floats = np.empty(0)
    for direction in (1, -1):
        late = _after_onset(time_s[1:][steps == direction], onset)
        enough = len(late) >= max(_FEWEST, 0.5 * len(onset))
        if enough and np.median(late) < 0.0:
            soon = np.median(late) > -_SLOW_VALVE_S
            if soon or _answered(time_s, answer, time_s[1:][steps == direction]):
                return None
        if enough and (len(best) == 0 or abs(np.median(late)) < abs(np.median(best))):
            best = late
    if len(best) == 0:
        return None
    middle = float(np.median(best))
    spread = 1.4826 * float(np.median(np.abs(best - middle)))
    u_s = float(np.hypot(1.2533 * spread / np.sqrt(len(best)), interval_s / np.sqrt(12.0)))
    lags = middle - 2.0 * u_s > 1.5 * interval_s + _SLACK_S and spread < 0.25 * _APART_S
    return (middle, u_s, len(best)) if lags else None


def _turns_at_edges(time_s: Floats, share: Floats, level: NDArray[np.int8], interval_s: float) -> bool:
    """Whether vacuum that sinks in a hold begins to rise when the supply comes back on, and not before.

    Of all edges this one has the clearest answer, which no late meeting of the part can copy: fall becomes rise. The
    usual course around the edges counts. Half a fall is looked back at, so that the turn of the one before is not seen.
    """
    steps = np.flatnonzero(np.diff(level)) + 1
    on = steps[1:][(level[steps[1:]] == 1) & (share[steps[1:]] > _HELD)][:_MOST_EVENTS]
    if len(on) < _FEWEST:
        return False
    off_s = float(np.median(time_s[on] - time_s[steps[np.searchsorted(steps, on) - 1]]))
    back_s = min(0.5 * off_s, _BEFORE_S)
    grid = np.linspace(-back_s, min(back_s, _AT_EDGE_S[-1]), 2 * max(int(back_s / max(interval_s, _FINEST_S)), 4) + 1)
    around = np.interp((time_s[on][:, None] + grid).ravel(), time_s, share).reshape(len(on), len(grid))
    course = np.median(around, axis=0)
    noise = 1.4826 * float(np.median(np.abs(np.diff(around - course, axis=1)))) / float(np.sqrt(len(on)))
    low = int(np.argmin(course))
    sure = min(course[0], course[-1]) - course[low] > 4.0 * noise
    return bool(sure and grid[low] > -1.5 * interval_s - _SLACK_S)


def _answered(time_s: Floats, answer: Floats, edges: Floats) -> bool:
    """Whether a first answer follows the edges at once, be it small: an open cup before the part is met.

    The usual answer counts, so that edges which nothing follows are outvoted; digitals that are late come when the
    answer has begun.
    """
    first, last, at, soon, later = _AT_EDGE_S
    edges = edges[(edges > time_s[0] - first) & (edges < time_s[-1] - later)][:_MOST_EVENTS]
    if len(edges) < _FEWEST:
        return False
    grid = np.arange(first, later, 0.01)
    around = np.interp((edges[:, None] + grid).ravel(), time_s, answer).reshape(len(edges), len(grid))
    rest = np.median(around[:, (grid >= first) & (grid < last)], axis=1)
    begun = np.mean(around[:, (grid >= at) & (grid < 0.0)], axis=1) - rest
    after = np.median(around[:, grid >= soon], axis=1) - rest
    spread = 1.4826 * float(np.median(np.abs(after - np.median(after))))
    rise = float(np.median(after))
    sure = rise > max(_ANSWERED, 4.0 * spread / float(np.sqrt(len(edges))))
    return bool(sure and abs(float(np.median(begun))) < _BEGUN * rise)


def _after_onset(edges: Floats, onset: Floats) -> Floats:
    """Time from each onset to the nearest edge [s], where one is near."""
    if len(edges) == 0 or len(onset) == 0:
        return np.empty(0)
    place = np.clip(np.searchsorted(edges, onset), 1, len(edges) - 1) if len(edges) > 1 else np.zeros(len(onset), int)
    after, before = edges[place] - onset, edges[np.maximum(place - 1, 0)] - onset
    nearest = np.where(np.abs(after) <= np.abs(before), after, before)
    return np.asarray(nearest[np.abs(nearest) <= _APART_S], np.float64)


def _onsets(time_s: Floats, answer: Floats, interval_s: float) -> Floats:
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
    middle = middle[middle > time_s[0] + _BEFORE_S][:_MOST_EVENTS]
    if len(middle) == 0:
        return middle
    grid = np.arange(-_BEFORE_S, min(0.5 * interval_s, 10.0), max(min(interval_s, 0.02), 1e-4))
    around = np.interp((middle[:, None] + grid).ravel(), time_s, answer).reshape(len(middle), len(grid))
    third = _last_passing(around, np.full(len(middle), _HIGH), grid)
    before = (grid > third[:, None] - _REST_S[0]) & (grid < third[:, None] - _REST_S[1])
    known = before.any(axis=1)
    rest = _medians(around[known], before[known])
    onset = middle[known] + _last_passing(around[known], rest + _LOW * (1.0 - rest), grid)
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
