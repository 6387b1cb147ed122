"""Readings that are written only when they change: between them the last one holds."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.options.evidence import EVIDENCE
from tracekit.read.clock import Samples, join

_FEWEST, _EQUAL, _EDGE, _LONG, _LONG_SHARE = 100, 0.003, 0.3, 4.0, 0.01
_MOST_S = 60.0
"""A longer silence may be a stop of the logger and stays a gap (no source)."""

Floats = NDArray[np.float64]


def hold_step(time_s: Floats, values: Floats, changed: NDArray[np.bool_] | None = None) -> float:
    """Interval at which readings that are written on change are taken [s], 0 where they are written at any rate.

    Written on change no reading equals the one before, their changes have a sharp lowest size, and some intervals are
    many times as long as the shortest. A steady logger's changes go down to nothing. Rows that are `changed` from the
    one before in something else are written for that. All of shape (n,).
    """
    known = np.isfinite(time_s) & np.isfinite(values)
    alone = np.ones(len(known), np.bool_) if changed is None else ~changed
    times, sizes, alone = np.diff(time_s[known]), np.abs(np.diff(values[known])), alone[known][1:]
    sizes, times = sizes[(times > 0) & alone], times[times > 0]
    if len(sizes) < _FEWEST or float((sizes == 0).mean()) > _EQUAL:
        return 0.0
    step = float(np.quantile(times, 0.05))
    low = float(np.quantile(sizes, 0.01))
    sharp = low > _EDGE * float(np.median(sizes)) or low > EVIDENCE.sharp_edge * float(np.quantile(sizes, 0.1))
    return step if sharp and float((times > _LONG * step).mean()) > _LONG_SHARE else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """Times [s] of all samples, those that hold a reading among them, and the position of the reading of each.

    Position -1 stands for the reading before the first; both of shape (m,).
    """

    time_s: Floats
    source: NDArray[np.int64]


class Holder:
    """Puts samples between rows that are written on change: the last row holds."""

    def __init__(self, step_s: float) -> None:
        """A sample every `step_s` [s]."""
        self._step_s = step_s
        self._last: Samples | None = None

    def fill(self, samples: Samples) -> Samples:
        """Some rows with the samples between them and the row before."""
        before = self._last
        self._last = samples.take(slice(len(samples) - 1, None))
        rows = samples if before is None else join([before, samples])
        held = held_between(samples.time_s, np.nan if before is None else float(before.time_s[0]), self._step_s)
        return replace(rows.take(held.source + (before is not None)), time_s=held.time_s)


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
