"""Runs of rows, each of rising times, woven into one."""

from collections.abc import Iterator, Sequence

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.read.spill import Spill, times_in, whole_numbers

Floats = NDArray[np.float64]


class Run:
    """Pieces of one stretch in a spill; of equal times the run of lower rank comes first.

    last_s         the highest time so far
    clock_s, days  the last time of day as it stands, and the midnights before it
    """

    def __init__(self, rank: int) -> None:
        """Begin without pieces."""
        self.rank = rank
        self.places: list[int] = []
        self.last_s = -np.inf
        self.clock_s = np.nan
        self.days = 0


class _Reader:
    """The rows of a run from the first to the last, a piece at a time."""

    def __init__(self, spill: Spill, run: Run) -> None:
        self._spill = spill
        self._run = run
        self._next = 0
        self._batch: pa.RecordBatch | None = None
        self._time_s: Floats = np.empty(0)

    def fill(self) -> bool:
        """Have rows at hand; False where the run is at its end."""
        while len(self._time_s) == 0:
            if self._next == len(self._run.places):
                return False
            self._batch = self._spill.batch(self._run.places[self._next])
            self._time_s = times_in(self._batch)
            self._next += 1
        return True

    @property
    def limit_s(self) -> float:
        """Up to this time all rows are at hand."""
        return float(self._time_s[-1]) if self._next < len(self._run.places) else np.inf

    def cut(self, until_s: float, *, with_it: bool) -> tuple[pa.RecordBatch, Floats]:
        """The rows before a time, or up to it."""
        stop = int(np.searchsorted(self._time_s, until_s, side="right" if with_it else "left"))
        assert self._batch is not None
        taken, times = self._batch.slice(0, stop), self._time_s[:stop]
        self._batch, self._time_s = self._batch.slice(stop), self._time_s[stop:]
        return taken, times


def merged(spill: Spill, runs: Sequence[Run]) -> Iterator[pa.RecordBatch]:
    """The rows of all runs in the order of time; runs in the order of their ranks."""
    readers = [_Reader(spill, run) for run in runs]
    while readers := [r for r in readers if r.fill()]:
        until_s = min(r.limit_s for r in readers)
        parts = [r.cut(until_s, with_it=False) for r in readers]
        if not any(len(times) for _, times in parts):
            parts = [r.cut(until_s, with_it=True) for r in readers]
        table = pa.Table.from_batches([batch for batch, _ in parts]).combine_chunks()
        order = np.argsort(np.concatenate([times for _, times in parts]), kind="stable")
        yield from table.take(whole_numbers(order)).combine_chunks().to_batches()
