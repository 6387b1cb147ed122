"""Digitals that were written late: the pressure answers before the command."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.trace import RELEASE_BIT, SUPPLY_BIT, Block, DigitalLag
from tracekit.options.answers import ANSWERS
from tracekit.read.ahead import beside
from tracekit.read.answers import Floats, after_onset, onsets, shares
from tracekit.read.apart import Misplaced, find_apart
from tracekit.read.early import find_early
from tracekit.read.glued import find_glued, find_other_unit
from tracekit.signal.select import median

_IN_TIME = (0.0, 0.0, 0)  # edges that the pressure follows


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What digitals show beside the pressure: lags, a wrong time, or a change of what they mean (else empty)."""

    lags: tuple[DigitalLag, ...] = ()
    misplaced: Misplaced | None = None
    glued: str = ""


class LagWatch:
    """Looks whether the pressure of one station answers its commands before they are given.

    The edges of a command are laid over one another and correlated with the change of the pressure around them. A
    pressure cannot answer early, so an answer before the edge is the lag of the digital, less the valve's own delay.
    """

    def __init__(self, station: str, stations: int, zero_kpa: float = 0.0) -> None:
        """Watch one of some stations, which share the memory for samples.

        zero_kpa  ambient where the sensor is absolute, so that its zero is that far below the gauge pressure's
        """
        self._station = station
        self._zero_kpa = zero_kpa
        self._most = ANSWERS.lag_samples // max(stations // 4, 1)
        self._blocks: list[Block] = []
        self._count = 0
        self._found: Callable[[], Looked] | None = None

    def feed(self, block: Block) -> None:
        """Keep the first samples; once there are enough they are looked at in a thread, while reading goes on."""
        if self._found is not None:
            return
        self._blocks.append(_first_of(block, self._most - self._count))
        self._count += len(block.time_s)
        if self._count >= self._most:
            blocks, self._blocks = self._blocks, []
            self._found = beside(lambda: _look(self._station, blocks, self._zero_kpa))

    def found(self) -> Looked:
        """What lags, where something does and enough edges show it; and digitals that stand at a wrong time else."""
        return _look(self._station, self._blocks, self._zero_kpa) if self._found is None else self._found()


def _look(station: str, blocks: Sequence[Block], zero_kpa: float) -> Looked:
    glued = find_glued(blocks) or find_other_unit(blocks, zero_kpa)
    if glued:
        return Looked(glued=f"{station}: {glued}")
    apart = find_apart(station, blocks)
    if apart is not None:
        return Looked(misplaced=apart)
    return Looked(lags=find_lags(station, blocks), misplaced=find_early(station, blocks))


def _first_of(block: Block, count: int) -> Block:
    """So many of the first samples of a block, that what is found does not depend on where blocks end."""
    own = slice(0, count)
    return replace(block, time_s=block.time_s[own], pressure_kpa=block.pressure_kpa[own], digital=block.digital[own])


def find_lags(station: str, blocks: Sequence[Block]) -> tuple[DigitalLag, ...]:
    """Digitals of a station that lag in some of its samples, empty where none does or too few edges show it."""
    known = shares(blocks)
    if known is None:
        return ()
    time_s, share, digital, _ = known
    interval_s = median(np.diff(time_s))
    found: dict[Literal["supply", "release"], tuple[float, float, int]] = {}
    signals: tuple[tuple[Literal["supply", "release"], int], ...] = (("supply", SUPPLY_BIT), ("release", RELEASE_BIT))
    for signal, bit in signals:
        level = (digital & bit > 0).astype(np.int8)
        if signal == "supply" and _turns_at_edges(time_s, share, level, interval_s):
            continue
        lag = _lag(time_s, share if signal == "supply" else 1.0 - share, level, interval_s)
        if lag is not None:
            found[signal] = lag
    if found.get("release") == _IN_TIME:  # one logger writes both: what the supply shows then is slow or met late
        return ()
    lags = {signal: lag for signal, lag in found.items() if lag != _IN_TIME}
    longest = max(lags.values(), default=_IN_TIME)  # one scan writes both; an open cup hides the answer to suction
    return tuple(
        DigitalLag(station=station, signal=signal, lag_s=lag[0], u_s=lag[1], edges=lag[2])
        for signal, own in lags.items()
        for lag in (longest if longest[0] - own[0] > 2 * (longest[1] + own[1]) else own,)
    )


def _lag(time_s: Floats, answer: Floats, level: NDArray[np.int8], interval_s: float) -> tuple[float, float, int] | None:
    """Lag, its standard uncertainty [s] and the number of edges; `_IN_TIME` where the answer follows the edges.

    None where nothing shows it.

    answer  share of the way from rest to the end of the answer, shape (n,)
    The edges of one direction go with the answers. Where those of either direction come just before them all is well,
    the valve may be slow; else those nearer in time count.
    """
    onset = onsets(time_s, answer, interval_s)
    steps = np.diff(level)
    best: Floats = np.empty(0)
    for direction in (1, -1):
        late = after_onset(time_s[1:][steps == direction], onset)
        enough = len(late) >= max(ANSWERS.fewest_edges, 0.5 * len(onset))
        if enough and np.median(late) < 0.0:
            soon = np.median(late) > -ANSWERS.slow_valve_s
            if soon or _answered(time_s, answer, time_s[1:][steps == direction]):
                return _IN_TIME
        if enough and (len(best) == 0 or abs(np.median(late)) < abs(np.median(best))):
            best = late
    if len(best) == 0:
        return None
    middle = float(np.median(best))
    spread = 1.4826 * float(np.median(np.abs(best - middle)))
    u_s = float(np.hypot(1.2533 * spread / np.sqrt(len(best)), interval_s / np.sqrt(12.0)))
    lags = middle - 2.0 * u_s > 1.5 * interval_s + ANSWERS.slack_s and spread < 0.25 * ANSWERS.apart_s
    return (middle, u_s, len(best)) if lags else None


def _turns_at_edges(time_s: Floats, share: Floats, level: NDArray[np.int8], interval_s: float) -> bool:
    """Whether vacuum that sinks in a hold begins to rise when the supply comes back on, and not before.

    Of all edges this one has the clearest answer, which no late meeting of the part can copy: fall becomes rise. The
    usual course around the edges counts. Half a fall is looked back at, so that the turn of the one before is not seen.
    """
    steps = np.flatnonzero(np.diff(level)) + 1
    on = steps[1:][(level[steps[1:]] == 1) & (share[steps[1:]] > ANSWERS.held)][: ANSWERS.most]
    if len(on) < ANSWERS.fewest_edges:
        return False
    off_s = float(np.median(time_s[on] - time_s[steps[np.searchsorted(steps, on) - 1]]))
    back_s = min(0.5 * off_s, ANSWERS.before_s)
    grid = np.linspace(
        -back_s, min(back_s, ANSWERS.edge_later_s), 2 * max(int(back_s / max(interval_s, ANSWERS.finest_s)), 4) + 1
    )
    around = np.interp((time_s[on][:, None] + grid).ravel(), time_s, share).reshape(len(on), len(grid))
    course = np.median(around, axis=0)
    noise = 1.4826 * float(np.median(np.abs(np.diff(around - course, axis=1)))) / float(np.sqrt(len(on)))
    low = int(np.argmin(course))
    sure = min(course[0], course[-1]) - course[low] > 4.0 * noise
    return bool(sure and grid[low] > -1.5 * interval_s - ANSWERS.slack_s)


def _answered(time_s: Floats, answer: Floats, edges: Floats) -> bool:
    """Whether a first answer follows the edges at once, be it small: an open cup before the part is met.

    The usual answer counts, so that edges which nothing follows are outvoted; digitals that are late come when the
    answer has begun.
    """
    first, last, at = ANSWERS.edge_rest_from_s, ANSWERS.edge_rest_to_s, ANSWERS.edge_at_s
    soon, later = ANSWERS.edge_soon_s, ANSWERS.edge_later_s
    edges = edges[(edges > time_s[0] - first) & (edges < time_s[-1] - later)][: ANSWERS.most]
    if len(edges) < ANSWERS.fewest_edges:
        return False
    grid = np.arange(first, later, 0.01)
    around = np.interp((edges[:, None] + grid).ravel(), time_s, answer).reshape(len(edges), len(grid))
    rest = np.median(around[:, (grid >= first) & (grid < last)], axis=1)
    begun = np.mean(around[:, (grid >= at) & (grid < 0.0)], axis=1) - rest
    after = np.median(around[:, grid >= soon], axis=1) - rest
    spread = 1.4826 * float(np.median(np.abs(after - np.median(after))))
    rise = float(np.median(after))
    sure = rise > max(ANSWERS.answered, 4.0 * spread / float(np.sqrt(len(edges))))
    return bool(sure and abs(float(np.median(begun))) < ANSWERS.begun * rise)
