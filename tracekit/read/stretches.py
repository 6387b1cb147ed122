"""Rows that stand in stretches, each of which begins again with the first times: what each stretch holds."""

import itertools

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.model.station import Channel
from tracekit.read.digitals import filled_cells
from tracekit.read.head import Head, finite
from tracekit.read.timeplan import times_of

_MOST, _FEWEST_ROWS, _ALL, _NONE = 60, 5, 0.98, 0.02


def check_events(head: Head, given: Channel | None) -> None:
    """Raise LogReadError where rows of events without a reading stand behind the samples."""
    stretches = _stretches(head, given)
    if len(stretches) < 2:
        return
    (start, stop), (first, last) = stretches[0], stretches[-1]
    for column in head.columns:
        if column.kind not in ("text", "level"):
            continue
        events = filled_cells(column.array)
        if events[start:stop].mean() > _NONE or events[first:last].mean() < _ALL:
            continue
        for other in head.columns:
            known = np.isfinite(other.values) if other.kind == "number" else np.empty(0)
            if len(known) and known[start:stop].mean() > _ALL and known[first:last].mean() < _NONE:
                found = f'rows that hold "{column.name}" and no "{other.name}" behind the samples, at times of samples'
                todo = "Put them into a file of their own with columns of time, signal and level, and give both files."
                raise LogReadError(message(head.name, found, "rows in the order of time", todo))


def _stretches(head: Head, given: Channel | None) -> list[tuple[int, int]]:
    """Starts and stops of the stretches between falls of time that overlap in time; empty where it shows none."""
    for _, seconds in times_of(head, given):
        falls = np.flatnonzero(seconds[1:] < seconds[:-1]) + 1
        if not 0 < len(falls) < _MOST:
            continue
        found = list(itertools.pairwise([0, *falls.tolist(), len(seconds)]))
        if min(b - a for a, b in found) >= _FEWEST_ROWS and _overlap(seconds, found):
            return found
    return []


def _overlap(seconds: NDArray[np.float64], stretches: list[tuple[int, int]]) -> bool:
    """True where each stretch begins before the first of them ends."""
    first = finite(seconds[slice(*stretches[0])])
    return len(first) > 0 and all(seconds[a] < first[-1] for a, _ in stretches)
