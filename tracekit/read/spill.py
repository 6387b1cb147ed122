"""Rows in a temporary file, to be read again in another order."""

import tempfile
from types import TracebackType
from typing import Self

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.model.trace import Rejection
from tracekit.read.rows import Rows, numbers


class Spill:
    """Pieces of rows in a temporary file, which goes with it; memory holds one piece at a time.

    What was rejected comes with the first rows that are given back.
    """

    def __init__(self, like: Rows) -> None:
        """Hold rows with the columns of `like`, and a time for each of them."""
        self._names = list(like.columns)
        self._like = like
        self._file = tempfile.TemporaryFile(prefix="tracekit-")  # noqa: SIM115 - closed on leaving
        kinds = [(f"c{k}", _plain(like.columns[n]).type) for k, n in enumerate(self._names)]
        self._schema = pa.schema([*kinds, ("t", pa.float64()), ("n", pa.int64())])
        self._sink: pa.RecordBatchFileWriter | None = pa.ipc.new_file(pa.PythonFile(self._file, mode="w"), self._schema)
        self._source: pa.RecordBatchFileReader | None = None
        self._rejected: list[Rejection] = []
        self.count = 0

    def __enter__(self) -> Self:
        """Itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Give the file back."""
        self._file.close()

    def write(self, piece: Rows) -> None:
        """Add a piece; none may follow once some were read."""
        self.reject(piece)
        self.part(piece, np.arange(piece.count), np.zeros(piece.count))

    def part(self, piece: Rows, index: NDArray[np.int64], time_s: NDArray[np.float64]) -> None:
        """Add some rows of a piece and their times [s], both of shape (n,)."""
        if self._sink is None:
            raise AssertionError("read already")
        arrays = [_plain(piece.columns[n]) for n in self._names]
        if len(index) < piece.count or (np.diff(index) != 1).any():
            arrays = [a.take(whole_numbers(index)) for a in arrays]
        lines = whole_numbers(piece.line_of(index))
        self._sink.write_batch(pa.RecordBatch.from_arrays([*arrays, real_numbers(time_s), lines], schema=self._schema))
        self.count += 1

    def reject(self, piece: Rows) -> None:
        """Keep what was rejected of a piece whose rows are written in parts."""
        self._rejected += piece.rejected

    def batch(self, place: int) -> pa.RecordBatch:
        """One of the written pieces."""
        if self._source is None:
            if self._sink is not None:
                self._sink.close()
            self._sink = None
            self._file.seek(0)
            self._source = pa.ipc.open_file(pa.PythonFile(self._file, mode="r"))
        return self._source.get_batch(place)

    def rows(self, batch: pa.RecordBatch) -> Rows:
        """Rows as they were, out of a piece."""
        columns = {
            n: a.dictionary_encode() if pa.types.is_dictionary(self._like.columns[n].type) else a
            for n, a in zip(self._names, batch.columns, strict=False)
        }
        lines = np.array(numbers(batch.column(batch.num_columns - 1)), np.int64)
        rejected, self._rejected = tuple(self._rejected), []
        return Rows(columns=columns, count=batch.num_rows, first_line=1, lines=lines, rejected=rejected)


def whole_numbers(values: NDArray[np.int64]) -> pa.Array:
    """Whole numbers as an Arrow array."""
    return pa.Array.from_buffers(pa.int64(), len(values), [None, pa.py_buffer(np.ascontiguousarray(values, np.int64))])


def real_numbers(values: NDArray[np.float64]) -> pa.Array:
    """Numbers as an Arrow array."""
    return pa.Array.from_buffers(pa.float64(), len(values), [None, pa.py_buffer(np.ascontiguousarray(values))])


def times_in(batch: pa.RecordBatch) -> NDArray[np.float64]:
    """Times of the rows of a piece [s], shape (n,)."""
    return numbers(batch.column(batch.num_columns - 2))


def _plain(array: pa.Array) -> pa.Array:
    """An array without a dictionary, since those of the pieces differ."""
    return array.dictionary_decode() if pa.types.is_dictionary(array.type) else array
