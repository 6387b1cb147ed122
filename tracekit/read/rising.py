"""Whether values go on as time does."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column
from tracekit.read.head import Head, finite


def rises(seconds: NDArray[np.float64], *, wraps: bool) -> bool:
    """True for values that go on as time does, apart from a few that do not; with `wraps` they may start again."""
    known = finite(seconds)
    if len(known) < 2:
        return len(known) == 1
    steps = np.diff(known)
    rises, falls = int((steps > 0).sum()), int((steps < 0).sum())
    if rises == 0 or falls > 1 + 0.1 * rises:
        return False
    small = -float(steps[steps < 0].sum()) <= 0.05 * float(steps[steps > 0].sum())
    return falls <= 3 or small or (wraps and falls <= 0.01 * rises)


def over_restarts(seconds: NDArray[np.float64], rows: Sequence[int]) -> NDArray[np.float64]:
    """Seconds that go on where they fall at rows at which the logger is told to have started again, shape (n,)."""
    joined = seconds
    for row in rows:
        if 0 < row < len(seconds) and seconds[row] < seconds[row - 1]:
            joined = joined.copy() if joined is seconds else joined
            joined[row:] += seconds[row - 1] - seconds[row]
    return joined


def distinct(seconds: NDArray[np.float64]) -> float:
    """Share of rows whose time is not that of the row before."""
    known = finite(seconds)
    return float((np.diff(known) != 0).mean()) if len(known) > 1 else 1.0


def numbers_pieces(names: Sequence[str], head: Head, seconds: NDArray[np.float64]) -> bool:
    """True for numbers that are the same in many rows and not named like a time: those of picks or of pieces."""
    columns = [c for c in head.columns if c.name in names]
    named = any(c.hints.weight("time") or c.hints.time_unit is not None for c in columns)
    plain = all(c.kind == "number" for c in columns)
    return plain and not named and distinct(seconds) < EVIDENCE.rows_of_stamp


def ends_early(seconds: NDArray[np.float64], own: NDArray[np.float64]) -> bool:
    """True for times that rise and end long before the rows of others do, as those of a shorter channel; both (n,)."""
    known = np.isfinite(seconds)
    count = int(known.sum())
    whole = float(np.isfinite(own).mean()) > EVIDENCE.own_times
    early = whole and 1 < count < EVIDENCE.ended_share * len(known)
    return early and bool(known[:count].all()) and rises(seconds, wraps=False)


def in_no_order(seconds: NDArray[np.float64]) -> bool:
    """True for times that go to and fro: clocks that are set, wrap or shake are far from it."""
    steps = np.diff(finite(seconds))
    forward, back = steps[steps > 0], -steps[steps < 0]
    share = EVIDENCE.both_ways
    both = len(back) > share * len(forward) and len(forward) > share * len(back)
    return both and float(back.sum()) > EVIDENCE.as_far_back * float(forward.sum())


def check_order(log: str, column: Column, seconds: NDArray[np.float64]) -> None:
    """Raise LogReadError where rows have times of their own, shape (n,), that are in no order."""
    known = finite(seconds)
    if in_no_order(known) and len(np.unique(known)) > EVIDENCE.own_times * len(known):
        found = f'rows that are not in the order of the times in "{column.name}"'
        raise LogReadError(message(log, found, "rows in the order of time", "Sort them and read again."))


def _shared_by_few(known: NDArray[np.float64]) -> bool:
    """Whether there are fewer times than are wanted; most logs show as many in some rows that are spread over all."""
    fewest = EVIDENCE.fewest_stamps
    some = known[:: max(len(known) // (4 * fewest), 1)]
    return len(np.unique(some)) < fewest and len(np.unique(known)) < fewest


def tells_times(seconds: NDArray[np.float64]) -> bool:
    """False for times that are mostly missing, or of which all rows share a few."""
    known = finite(seconds)
    few = EVIDENCE.fewest_stamps <= EVIDENCE.rows_of_stamp * len(known) and _shared_by_few(known)
    return len(known) >= EVIDENCE.filled_share * len(seconds) and not few
