"""Rows as they leave a file: columns of Arrow arrays and where they stood."""

from collections.abc import Mapping
from dataclasses import field

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.trace import Rejection


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Consecutive rows of one file.

    columns     Arrow arrays of equal length by column name
    count       rows in the columns
    first_line  line or row number of the first of them, counted from 1
    lines       (count,) line numbers, or None where they are consecutive
    rejected    rows of this piece that could not be split into columns
    """

    columns: Mapping[str, pa.Array]
    count: int
    first_line: int
    lines: NDArray[np.int64] | None = None
    rejected: tuple[Rejection, ...] = field(default=())

    def line_of(self, index: NDArray[np.int64]) -> NDArray[np.int64]:
        """Line numbers of some rows, given by their positions."""
        return index + self.first_line if self.lines is None else self.lines[index]


def numbers(array: pa.Array) -> NDArray[np.float64]:
    """An Arrow column of numbers as float64, NaN where null, shape (n,)."""
    kind = array.type
    if pa.types.is_null(kind):
        return np.full(len(array), np.nan)
    if pa.types.is_boolean(kind):
        array = array.cast(pa.int8())
    if not pa.types.is_float64(array.type):
        array = array.cast(pa.float64(), safe=False)
    values: NDArray[np.float64] = np.frombuffer(array.buffers()[1], np.float64)[
        array.offset : array.offset + len(array)
    ]
    if array.null_count:
        values = np.where(valid(array), values, np.nan)
    return values


def valid(array: pa.Array) -> NDArray[np.bool_]:
    """True where an Arrow array is not null, shape (n,)."""
    bitmap = array.buffers()[0]
    if bitmap is None:
        return np.full(len(array), array.null_count == 0)
    bits = np.unpackbits(np.frombuffer(bitmap, np.uint8), bitorder="little")
    return bits[array.offset : array.offset + len(array)].view(np.bool_)


def levels(array: pa.Array) -> NDArray[np.int8]:
    """An Arrow column of int8 as levels 0 and 1, -1 where null or neither, shape (n,)."""
    values: NDArray[np.int8] = np.frombuffer(array.buffers()[1], np.int8)[array.offset : array.offset + len(array)]
    if array.null_count:
        values = np.where(valid(array), values, np.int8(-1))
    if len(values) and values.view(np.uint8).max() > 1:
        values = np.where((values == 0) | (values == 1), values, np.int8(-1))
    return values


def carried(level: NDArray[np.int8], unknown: NDArray[np.bool_], before: int) -> NDArray[np.int8]:
    """Unknown levels filled with the last known one, `before` at the start, shape (n,)."""
    index = np.maximum.accumulate(np.where(unknown, -1, np.arange(len(level))))
    return np.where(index < 0, np.int8(before), level[np.maximum(index, 0)])
