"""The whole recording thinned while it streams by: lowest and highest pressure per bucket of rows."""

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import Strip

Floats = NDArray[np.float64]

_LEAST_ROWS = 16


class StripMaker:
    """Keeps at most twice `buckets` buckets; when there are more, neighbours are merged.

    Buckets lie at fixed row numbers, so the strip does not depend on how the rows arrive.
    """

    def __init__(self, buckets: int) -> None:
        """An empty strip of about `buckets` buckets."""
        self._most = 2 * buckets
        self._size = _LEAST_ROWS
        self._parts: list[tuple[Floats, Floats, Floats]] = []
        self._count = 0
        self._rest: tuple[Floats, Floats] = (np.zeros(0), np.zeros(0))

    def feed(self, time: Floats, pressure: Floats) -> None:
        """Take the next rows, shape (n_rows,)."""
        rows = self._count * self._size + len(self._rest[0]) + len(time)
        while rows // self._size > self._most:
            self._halve()
        waiting = len(self._rest[0])
        if waiting:
            need = self._size - waiting % self._size if waiting % self._size else 0
            self._take(np.concatenate([self._rest[0], time[:need]]), np.concatenate([self._rest[1], pressure[:need]]))
            time, pressure = time[need:], pressure[need:]
        if len(time):
            self._take(time, pressure)

    def _take(self, time: Floats, pressure: Floats) -> None:
        """Put rows into buckets; those of an unfinished bucket at the end become the rest."""
        whole = len(time) // self._size * self._size
        self._rest = (time[whole:].copy(), pressure[whole:].copy())
        if whole:
            shaped = pressure[:whole].reshape(-1, self._size)
            self._parts.append(
                (time[: whole : self._size].copy(), np.fmin.reduce(shaped, 1), np.fmax.reduce(shaped, 1))
            )
            self._count += len(shaped)

    def _halve(self) -> None:
        """Make buckets twice as long."""
        if not self._parts:
            self._size *= 2
            return
        time, low, high = (np.concatenate([p[i] for p in self._parts]) for i in range(3))
        even = len(time) // 2 * 2
        kept = (time[:even:2], np.fmin(low[:even:2], low[1:even:2]), np.fmax(high[:even:2], high[1:even:2]))
        if even < len(time):  # an odd bucket waits, as rows would, by going back to the rest
            self._rest = (
                np.concatenate([np.repeat(time[-1:], self._size), self._rest[0]]),
                np.concatenate([_filler(float(low[-1]), float(high[-1]), self._size), self._rest[1]]),
            )
        self._size *= 2
        self._parts = [kept]
        self._count = len(kept[0])

    def strip(self) -> Strip:
        """The strip so far, the unfinished bucket included."""
        time, low, high = (
            np.concatenate([p[i] for p in self._parts]) if self._parts else np.zeros(0) for i in range(3)
        )
        if len(self._rest[0]):
            time = np.append(time, self._rest[0][0])
            low = np.append(low, np.fmin.reduce(self._rest[1]))
            high = np.append(high, np.fmax.reduce(self._rest[1]))
        return Strip(time_s=time, lowest_kpa=low, highest_kpa=high)


def _filler(low: float, high: float, size: int) -> Floats:
    """Rows with the same lowest and highest value as the bucket they stand for."""
    rows = np.full(size, low)
    rows[-1] = high
    return rows
