"""The first rows of a file and what is known of it before anything is decided."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.trace import Assumption
from tracekit.read.columns import Column
from tracekit.read.preamble import Preamble

NO_PRESSURE = "no column is a pressure"
"""What a question says of a file in which nothing may be one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """First rows of a file.

    name      base name of the file
    rows      rows looked at
    whole     these are all rows
    total     rows in the whole file, about, or None where unknown
    restarts  rows before which lines tell a restart of the logger
    """

    name: str
    columns: tuple[Column, ...]
    rows: int
    whole: bool
    preamble: Preamble
    total: int | None = None
    restarts: tuple[int, ...] = ()
    assumptions: tuple[Assumption, ...] = ()

    def column(self, name: str) -> Column | None:
        """A column by its name, None where there is none."""
        return next((c for c in self.columns if c.name == name), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Something that the file does not tell: what was found, and the line for [channels] that answers it."""

    found: str
    line: str


def finite(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """The finite ones of some values; the values themselves where all are."""
    with np.errstate(invalid="ignore"):  # a NaN that signals
        if len(values) and values.min() > -np.inf and values.max() < np.inf:  # neither holds of a NaN
            return values
    known = np.isfinite(values)
    return values if known.all() else values[known]


def spread(values: NDArray[np.float64]) -> tuple[float, float]:
    """Robust ends of the range of some values: their quantiles of 0.5 and 99.5 %."""
    known = finite(values[:: max(len(values) // 30_000, 1)])
    if len(known) == 0:
        return float("nan"), float("nan")
    low, high = np.quantile(known, [0.005, 0.995])
    return float(low), float(high)


def cycle_rows(values: NDArray[np.float64]) -> float | None:
    """Median rows between two rises through the middle of the range, None where there are fewer than four.

    Counts with hysteresis from 30 to 70 % of the range, so that noise and saw-teeth do not count.
    """
    low, high = spread(values)
    if not high > low:
        return None
    known = np.nan_to_num(values, nan=low)
    above = known > low + 0.7 * (high - low)
    sure = np.flatnonzero(above | (known < low + 0.3 * (high - low)))  # rows between the limits keep the state before
    if not len(sure):
        return None
    state = above[sure]
    rises = sure[1:][state[1:] & ~state[:-1]] - 1
    if sure[0] > 0 and not state[0]:  # what comes before the first low row counts as lower still
        rises = np.concatenate([sure[:1] - 1, rises])
    return float(np.median(np.diff(rises))) if len(rises) >= 4 else None


def joined(words: Iterable[str]) -> str:
    """Words in quotes, parted by commas."""
    return ", ".join(f'"{w}"' for w in words)
