"""Recorders that keep lowest and highest reading of a stretch: two or three rows under one stamp, or columns."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.read.clock import Samples, join
from tracekit.read.columns import Column

_FEWEST, _ORDERED, _WHOLE = 50, 0.99, 0.98
LOWEST = frozenset({"min", "minimum", "low", "lowest"})
HIGHEST = frozenset({"max", "maximum", "high", "highest"})
MEANS = frozenset({"avg", "average", "mean", "mittel", "mittelwert", "moyenne", "media", "promedio"})


def rows_per_stamp(time_s: NDArray[np.float64], kpa: NDArray[np.float64]) -> int:
    """2 or 3 where so many rows share each stamp and their readings always rise, or always fall; else 1."""
    known = np.isfinite(time_s)
    time_s, kpa = time_s[known], kpa[known]
    starts = np.nonzero(np.diff(time_s, prepend=np.nan) != 0)[0]
    sizes = np.diff(starts)
    for count in (2, 3):
        if len(sizes) < _FEWEST or float((sizes == count).mean()) < _WHOLE:
            continue
        whole = starts[:-1][sizes == count]
        steps = kpa[whole[:, None] + np.arange(1, count)] - kpa[whole[:, None] + np.arange(count - 1)]
        rising, falling = int((steps > 0).sum()), int((steps < 0).sum())
        if max(rising, falling) >= max(_FEWEST, _ORDERED * (rising + falling)):
            return count
    return 1


def are_copies(time_s: NDArray[np.float64], kpa: NDArray[np.float64]) -> bool:
    """True where nearly all rows that share a stamp hold the same reading, so that they are copies of one sample.

    The reading must change from stamp to stamp about as often as it can, else equal readings say nothing.
    """
    same_stamp = np.diff(time_s) == 0
    equal = np.diff(kpa) == 0
    if int(same_stamp.sum()) < _FEWEST or int((~same_stamp).sum()) < _FEWEST:
        return False
    return float(equal[same_stamp].mean()) >= _WHOLE and float(equal[~same_stamp].mean()) < 0.5


class Merger:
    """One sample per stamp: the middle of lowest and highest, the levels of the last row."""

    def __init__(self) -> None:
        """Start with nothing held back."""
        self._held: list[Samples] = []

    def feed(self, samples: Samples, *, last: bool = False) -> Samples:
        """Samples whose stamp is complete; the rows of the last stamp are held back until `last`."""
        samples, self._held = join([*self._held, samples]) if self._held else samples, []
        if len(samples) == 0:
            return samples
        starts = np.nonzero(np.diff(samples.time_s, prepend=np.nan) != 0)[0]
        if not last:
            self._held = [samples.take(slice(int(starts[-1]), None))]
            samples, starts = samples.take(slice(0, int(starts[-1]))), starts[:-1]
        if len(samples) == 0:
            return samples
        low = np.fmin.reduceat(samples.pressure_kpa, starts)
        high = np.fmax.reduceat(samples.pressure_kpa, starts)
        ends = np.append(starts[1:], len(samples)) - 1
        return replace(samples.take(ends), pressure_kpa=(low + high) / 2)


def means_or_extremes(columns: Sequence[Column]) -> list[tuple[Column, Column | None]]:
    """Columns of averages, else pairs of lowest and highest, whose names differ in that one word alone."""
    averages = [(c, None) for c in columns if _bare(c, MEANS)]
    if averages:
        return list(averages)
    highest = {bare: c for c in columns if (bare := _bare(c, HIGHEST))}
    return [(c, highest[bare]) for c in columns if (bare := _bare(c, LOWEST)) and bare in highest]


def _bare(column: Column, words: frozenset[str]) -> tuple[str, ...]:
    """The words of a name without one of some words; empty where the name has none of them."""
    tokens = column.hints.tokens
    left = tuple(t for t in tokens if t not in words)
    return left if len(left) < len(tokens) else ()
