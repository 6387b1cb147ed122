"""What is counted while a log passes: intervals, quantisation, rejections, missing values."""

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trace import Rejection

_GOLDEN = np.uint32(2654435769)  # 2^32 divided by the golden ratio: spreads consecutive numbers evenly


class Thinned:
    """Keeps an evenly spread, repeatable sample of a long sequence, whatever pieces it comes in."""

    def __init__(self, size: int) -> None:
        """Keep between size/2 and size values."""
        self._size = size
        self._limit = 1 << 32
        self._seen = 0
        self._keys: NDArray[np.uint32] = np.empty(0, np.uint32)
        self._values: NDArray[np.float64] = np.empty(0)

    def add(self, values: NDArray[np.float64]) -> None:
        """Take in the next values of the sequence, shape (n,)."""
        keys = np.arange(self._seen, self._seen + len(values)).astype(np.uint32) * _GOLDEN
        self._seen += len(values)
        if self._limit < 1 << 32:
            take = keys < self._limit
            keys, values = keys[take], values[take]
        self._keys, self._values = np.concatenate([self._keys, keys]), np.concatenate([self._values, values])
        while len(self._values) > self._size:
            self._limit //= 2
            take = self._keys < self._limit
            self._keys, self._values = self._keys[take], self._values[take]

    @property
    def values(self) -> NDArray[np.float64]:
        """The sample so far."""
        return self._values


class Losses:
    """Rows left out and values missing, by reason, with the first line numbers."""

    def __init__(self, lines_kept: int) -> None:
        """List at most `lines_kept` line numbers per reason."""
        self._kept = lines_kept
        self._counts: dict[str, int] = {}
        self._lines: dict[str, list[int]] = {}

    def add(self, reason: str, lines: NDArray[np.int64], count: int | None = None) -> None:
        """Count rows under a reason; `count` where there are more rows than line numbers."""
        self._counts[reason] = self._counts.get(reason, 0) + (len(lines) if count is None else count)
        first = self._lines.setdefault(reason, [])
        if len(first) < self._kept:
            first.extend(lines[: self._kept - len(first)].tolist())

    def count(self, reason: str) -> int:
        """Rows counted under a reason so far."""
        return self._counts.get(reason, 0)

    def merge(self, other: "Losses") -> None:
        """Take in what another one counted."""
        for found in other.rejections():
            self.add(found.reason, np.array(found.first_lines, np.int64), found.rows)

    def rejections(self) -> tuple[Rejection, ...]:
        """One record per reason, in the order of their first lines."""
        found = [
            Rejection(reason=reason, rows=rows, first_lines=tuple(self._lines[reason]))
            for reason, rows in self._counts.items()
            if rows
        ]
        return tuple(sorted(found, key=lambda r: (r.first_lines, r.reason)))


def quantisation(sample: NDArray[np.float64]) -> float:
    """Smallest step between readings, 0 where they are as good as continuous; same unit as the sample."""
    sample = sample[np.isfinite(sample)]
    steps = np.diff(np.unique(sample))
    steps = steps[steps > 1e-9]
    if len(steps) == 0 or len(steps) > 0.9 * len(sample):
        return 0.0
    return float(np.quantile(steps, 0.1))
