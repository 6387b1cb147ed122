"""What is counted while a log passes: intervals, quantisation, rejections, missing values."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trace import Rejection

_MIX = np.uint64(0x9E3779B97F4A7C15)  # 2^64 divided by the golden ratio: spreads consecutive numbers evenly
_PAGE = 4096  # stretches whose choices are drawn together: intervals and pressures of all stations ask for the same


class Thinned:
    """Keeps an evenly spread, repeatable sample of a long sequence, whatever pieces it comes in.

    The sequence is cut into stretches of 2^level values, of which one each is kept, chosen by a fixed shuffle; the
    level rises as the sequence grows, and each choice is one of the two choices of the level below.
    """

    def __init__(self, size: int) -> None:
        """Keep between size/2 and size values."""
        self._size = size
        self._level = 0
        self._seen = 0
        self._parts: list[NDArray[np.float64]] = []
        self._kept = 0

    def add(self, values: NDArray[np.float64]) -> None:
        """Take in the next values of the sequence, shape (n,)."""
        if len(values) == 0:
            return
        stop = self._seen + len(values)
        place = _choices(self._level, self._seen >> self._level, (stop - 1 >> self._level) + 1)
        place = place[int(place[0] < self._seen) : len(place) - int(place[-1] >= stop)]
        self._parts.append(values[place - self._seen])
        self._kept += len(place)
        self._seen = stop
        while self._kept > self._size:
            self._halve()

    def _halve(self) -> None:
        """Go up one level: of each pair of stretches keep the choice of one."""
        values = np.concatenate(self._parts)
        self._level += 1
        count = (len(values) + 1) // 2
        index = _of_pairs(self._level, -(-count // _PAGE))[:count]
        self._parts = [values[index if index[-1] < len(values) else index[:-1]]]
        self._kept = len(self._parts[0])

    @property
    def values(self) -> NDArray[np.float64]:
        """The sample so far."""
        return np.concatenate(self._parts) if self._parts else np.empty(0)


@lru_cache(maxsize=2)
def _of_pairs(level: int, pages: int) -> NDArray[np.int64]:
    """Which of each pair of choices of the level below is kept, for so many pages of pairs, ascending."""
    pairs = np.arange(pages * _PAGE, dtype=np.uint64)
    chosen = (pairs * np.uint64(2) + _coin(pairs, level)).astype(np.int64)
    chosen.flags.writeable = False
    return chosen


def _choices(level: int, first: int, stop: int) -> NDArray[np.int64]:
    """The place in the sequence that is kept of each of some stretches of 2^level values, ascending."""
    pages = [_page(level, page) for page in range(first // _PAGE, (stop - 1) // _PAGE + 1)]
    begin = first // _PAGE * _PAGE
    return (pages[0] if len(pages) == 1 else np.concatenate(pages))[first - begin : stop - begin]


@lru_cache(maxsize=16)
def _page(level: int, page: int) -> NDArray[np.int64]:
    """The same for a page of stretches."""
    place = np.arange(page * _PAGE, (page + 1) * _PAGE, dtype=np.uint64)
    for one in range(level, 0, -1):
        place = place * np.uint64(2) + _coin(place, one)
    chosen = place.astype(np.int64)
    chosen.flags.writeable = False
    return chosen


def _coin(number: NDArray[np.uint64], level: int) -> NDArray[np.uint64]:
    """0 or 1 for each number, without a pattern."""
    mixed = (number + np.uint64(level * 0x632BE59B)) * _MIX
    return (mixed ^ mixed >> np.uint64(29)) * _MIX >> np.uint64(63)


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
