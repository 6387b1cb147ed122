"""Samples of one station that wait to be measured, in arrays that are kept and filled anew."""

import mmap
import sys
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.trace import Block

Floats = NDArray[np.float64]

_LEAST_ROWS = 65_536
_KEPT_BYTES = 31 << 20
"""An array of this size, made and dropped, tells the C library (glibc) to keep freed memory for the next arrays.

Otherwise every temporary array of a chunk is given back and fetched anew, page by page: a third of the time.
"""


_STEP_BYTES = 64  # arrays begin at lines of the processor's memory


def apart(arrays: Mapping[str, NDArray[Any]]) -> dict[str, NDArray[Any]]:
    """The same arrays, copied into one piece of memory of their own, which is given back when all of them are gone.

    What stays for long among arrays of a moment leaves holes: of a long log as much again as is kept.
    """
    starts = np.cumsum([0, *(-(-values.nbytes // _STEP_BYTES) * _STEP_BYTES for values in arrays.values())])
    if starts[-1] == 0:
        return dict(arrays)
    piece, kept = _piece(int(starts[-1])), {}
    for (name, values), start in zip(arrays.items(), starts.tolist(), strict=False):
        kept[name] = np.frombuffer(piece, values.dtype, values.size, start).reshape(values.shape)
        kept[name][...] = values
    return kept


def _piece(size: int) -> mmap.mmap:
    """Memory of so many bytes; all its pages are fetched at once where the system can, for half of what it takes."""
    if sys.platform == "win32":
        return mmap.mmap(-1, size)
    return mmap.mmap(-1, size, flags=mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS | getattr(mmap, "MAP_POPULATE", 0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Raw samples as they came: time [s], gauge pressure [kPa], digitals as wired, context codes by column."""

    time: Floats
    pressure: Floats
    digital: NDArray[np.uint8]
    context: Mapping[str, NDArray[np.int32]]

    def __len__(self) -> int:
        """Number of samples."""
        return len(self.time)


class RowBuffer:
    """A queue of samples: blocks go in at the end, rows that are done with leave at the front.

    Each sample is copied once on its way in. The arrays are made for `capacity` rows once more than a few have to wait,
    and stay; they grow where more have to wait.
    """

    def __init__(self, capacity: int) -> None:
        """An empty queue."""
        np.empty(_KEPT_BYTES, np.uint8)
        self._capacity = capacity
        self._arrays: dict[str, NDArray[Any]] = {}
        self._begin = self._end = 0

    def __len__(self) -> int:
        """Number of samples that wait."""
        return self._end - self._begin

    def add(self, block: Block) -> None:
        """Take in the samples of a block."""
        columns: dict[str, NDArray[Any]] = {f"context {name}": codes for name, codes in block.context.items()}
        columns |= {"time": block.time_s, "pressure": block.pressure_kpa, "digital": block.digital}
        count = len(block.time_s)
        self._make_room(columns, count)
        for name, values in columns.items():
            self._arrays[name][self._end : self._end + count] = values
        self._end += count

    def _make_room(self, like: Mapping[str, NDArray[Any]], count: int) -> None:
        """See to it that so many more rows fit behind the last one."""
        room = len(self._arrays["time"]) if self._arrays else 0
        if self._end + count <= room:
            return
        waiting = len(self)
        if waiting + count > room:
            room = _LEAST_ROWS if waiting + count <= _LEAST_ROWS else max(self._capacity, (waiting + count) * 3 // 2)
        for name, values in like.items():
            old = self._arrays.get(name)
            new = np.empty(room, values.dtype) if old is None or len(old) < room else old
            if old is not None:
                new[:waiting] = old[self._begin : self._end]
            self._arrays[name] = new
        self._begin, self._end = 0, waiting

    def rows(self, count: int) -> Rows:
        """The first `count` rows that wait, or all there are; valid until the next `add`."""
        part = slice(self._begin, min(self._begin + count, self._end))
        kept = {name: values[part] for name, values in self._arrays.items()}
        context = {n.removeprefix("context "): v for n, v in kept.items() if n.startswith("context ")}
        return Rows(time=kept["time"], pressure=kept["pressure"], digital=kept["digital"], context=context)

    def close(self) -> None:
        """Forget all rows and give back the memory."""
        self._arrays, self._begin, self._end = {}, 0, 0

    def drop(self, count: int) -> None:
        """Forget the first `count` rows."""
        self._begin += count
