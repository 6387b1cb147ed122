"""Readings that are written only when they change: between them the last one holds."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_FEWEST, _EQUAL, _EDGE, _LONG, _LONG_SHARE = 100, 0.003, 0.3, 4.0, 0.01
_MOST_S = 60.0
"""A longer silence may be a stop of the logger and stays a gap (no source)."""

Floats = NDArray[np.float64]


def hold_step(time_s: Floats, values: Floats) -> float:
    """Interval at which readings that are written on change are taken [s], 0 where they are written at any rate.

    Written on change no reading equals the one before, their changes have a sharp lowest size, and some intervals are
    many times as long as the shortest. A steady logger's changes go down to nothing. Both of shape (n,).
    """
    known = np.isfinite(time_s) & np.isfinite(values)
    times, sizes = np.diff(time_s[known]), np.abs(np.diff(values[known]))
    sizes, times = sizes[times > 0], times[times > 0]
    if len(times) < _FEWEST or float((sizes == 0).mean()) > _EQUAL:
        return 0.0
    step = float(np.quantile(times, 0.05))
    sharp = float(np.quantile(sizes, 0.01)) > _EDGE * float(np.median(sizes))
    return step if sharp and float((times > _LONG * step).mean()) > _LONG_SHARE else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """Times [s] of all samples, those that hold a reading among them, and the position of the reading of each.

    Position -1 stands for the reading before the first; both of shape (m,).
    """

    time_s: Floats
    source: NDArray[np.int64]


def held_between(time_s: Floats, before_s: float, step_s: float) -> Held:
    """The samples of some readings with those between them, every `step_s` while the last reading holds.

    time_s    of the readings, rising, shape (n,)
    before_s  time of the reading before them, NaN where there is none
    """
    ends = np.concatenate([[before_s], time_s])
    pauses = np.nan_to_num(np.diff(ends))
    counts = np.where((pauses > 1.5 * step_s) & (pauses <= _MOST_S), np.floor(pauses / step_s - 0.5), 0.0)
    each = counts.astype(np.int64) + 1
    source = np.repeat(np.arange(len(time_s)) - 1, each)
    nth = np.arange(len(source)) - np.repeat(np.cumsum(each) - each, each) + 1
    last = nth == np.repeat(each, each)
    times = np.where(last, time_s[np.minimum(source + 1, len(time_s) - 1)], ends[source + 1] + nth * step_s)
    return Held(time_s=times, source=np.where(last, source + 1, source))
