"""Tables of NumPy arrays to Parquet bytes and back, without ever loading pandas.

Missing values are nulls in the file, so that `avg(value)` in another tool means what it says. Text columns are
dictionaries. Columns that a file lacks come back as missing, unknown ones are left out: so an older file is read.
"""

from collections.abc import Mapping

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from tracekit.model.tables import Column, Table, make_table

_FLOAT, _INT, _STAMP = pa.float64(), pa.int32(), pa.timestamp("us", tz="UTC")
_TYPES = {"float": _FLOAT, "int": _INT, "time": _STAMP, "bool": pa.bool_()}
_NUMPY = {"float": "f8", "int": "i4", "time": "i8"}


def parquet_bytes(table: Table, metadata: Mapping[str, str]) -> bytes:
    """A table as one Parquet file with `metadata` in its footer."""
    return arrow_bytes(to_arrow(table).replace_schema_metadata(dict(metadata)))


def arrow_bytes(table: pa.Table) -> bytes:
    """An Arrow table as one Parquet file, the same bytes for the same table."""
    sink = pa.BufferOutputStream()
    pq.write_table(table, sink, compression="zstd", row_group_size=1 << 16)
    return bytes(sink.getvalue().to_pybytes())


def to_arrow(table: Table) -> pa.Table:
    """The Arrow form of a table."""
    arrays, fields = [], []
    for column in table.columns:
        array = _to_array(table, column)
        arrays.append(array)
        unit = {"unit": column.unit} if column.unit else None
        fields.append(pa.field(column.name, array.type, metadata=unit))
    return pa.Table.from_arrays(arrays, schema=pa.schema(fields))


def from_arrow(table: pa.Table, columns: tuple[Column, ...]) -> Table:
    """The table that an Arrow table holds, in the columns asked for."""
    data: dict[str, NDArray[np.generic]] = {}
    categories: dict[str, tuple[str, ...]] = {}
    for column in columns:
        if column.name not in table.column_names:
            continue
        array = table.column(column.name)
        if column.kind == "category":
            data[column.name], categories[column.name] = text_codes(array)
        else:
            data[column.name] = _numbers(array, column.kind)
    if not data:
        data = {columns[0].name: np.full(table.num_rows, -1, np.int32)}
    return make_table(columns, data, categories)


def text_codes(array: pa.ChunkedArray) -> tuple[NDArray[np.int32], tuple[str, ...]]:
    """Codes of shape (n_rows,), -1 where missing, and the texts that they stand for."""
    if not pa.types.is_dictionary(array.type):
        array = array.cast(pa.string()).dictionary_encode()
    whole = array.unify_dictionaries().combine_chunks()
    chunks = whole.chunks if isinstance(whole, pa.ChunkedArray) else [whole]
    if not chunks:
        return np.empty(0, np.int32), ()
    codes = [_plain(c.indices.cast(pa.int32()), np.dtype("i4"), -1) for c in chunks]
    return np.concatenate(codes).astype(np.int32), tuple(str(v) for v in chunks[0].dictionary.to_pylist())


def _to_array(table: Table, column: Column) -> pa.Array:
    raw = table.data[column.name]
    if column.kind == "category":
        codes = np.ascontiguousarray(raw, np.int32)
        indices = _with_nulls(codes, codes < 0, pa.int32())
        return pa.DictionaryArray.from_arrays(indices, _texts(table.categories[column.name]))
    if column.kind == "bool":
        flags = np.ascontiguousarray(raw, np.int8)
        return _with_nulls(np.packbits(flags == 1, bitorder="little"), flags < 0, pa.bool_(), rows=len(flags))
    values = np.ascontiguousarray(raw, _NUMPY[column.kind])
    missing = np.isnan(values) if column.kind == "float" else values == -1
    return _with_nulls(values, missing, _TYPES[column.kind])


def _with_nulls(
    values: NDArray[np.generic], missing: NDArray[np.bool_], kind: pa.DataType, rows: int | None = None
) -> pa.Array:
    count = len(missing) if rows is None else rows
    mask = pa.py_buffer(np.packbits(~missing, bitorder="little").tobytes()) if missing.any() else None
    return pa.Array.from_buffers(kind, count, [mask, pa.py_buffer(values.tobytes())])


def _texts(words: tuple[str, ...]) -> pa.Array:
    encoded = [word.encode("utf-8", "replace") for word in words]
    ends = np.cumsum([0, *(len(e) for e in encoded)], dtype=np.int32)
    return pa.Array.from_buffers(
        pa.string(), len(words), [None, pa.py_buffer(ends.tobytes()), pa.py_buffer(b"".join(encoded))]
    )


def _numbers(array: pa.ChunkedArray, kind: str) -> NDArray[np.generic]:
    if kind == "bool":
        array, kind = array.cast(pa.int8()), "int"
        return np.concatenate([_plain(c, np.dtype("i1"), -1) for c in array.chunks] or [np.empty(0, "i1")])
    array = array.cast(_TYPES[kind])
    missing: float = np.nan if kind == "float" else -1
    dtype = np.dtype(_NUMPY[kind])
    return np.concatenate([_plain(c, dtype, missing) for c in array.chunks] or [np.empty(0, dtype)])


def _plain(array: pa.Array, dtype: np.dtype[np.generic], missing: float) -> NDArray[np.generic]:
    """One chunk as a NumPy array with `missing` in place of nulls."""
    rows, start = len(array), array.offset
    mask, data = array.buffers()
    values = np.frombuffer(data, dtype, count=rows, offset=start * dtype.itemsize) if rows else np.empty(0, dtype)
    if mask is None or array.null_count == 0:
        return values
    bits = np.unpackbits(np.frombuffer(mask, np.uint8), bitorder="little")[start : start + rows]
    return np.where(bits == 1, values, np.array(missing, dtype))
