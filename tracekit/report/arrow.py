"""Tables of NumPy columns as Arrow tables and DataFrames.

Arrow columns are made from their buffers: every other way imports pandas where it is installed, and a plain
diagnose must not pay for that.
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.model.outside import disarmed
from tracekit.model.tables import Column, Table

if TYPE_CHECKING:
    import pandas as pd


def arrow_table(table: Table, name: str) -> Any:
    """The Arrow table of `table`; unit and meaning of each column stand in the metadata of its field.

    Missing values become nulls, categories dictionaries of text, `time` columns timestamps in UTC.
    """
    arrays = [_arrow_column(table, column) for column in table.columns]
    fields = [
        pa.field(column.name, array.type, metadata={"unit": column.unit, "meaning": column.meaning})
        for column, array in zip(table.columns, arrays, strict=True)
    ]
    return pa.Table.from_arrays(arrays, schema=pa.schema(fields, metadata={"tracekit": f"{name}/1"}))


def csv_table(table: Table) -> Any:
    """The Arrow table of `table` for a CSV file: text plain, dates ISO 8601, formulas disarmed.

    An apostrophe is put before a cell that a spreadsheet would run.
    """
    arrays = []
    for column in table.columns:
        if column.kind == "category":
            harmless = tuple(map(disarmed, table.categories[column.name]))
            arrays.append(_dictionary(table.codes(column.name), harmless).cast(pa.string()))
        elif column.kind == "time":
            arrays.append(_dates(table.codes(column.name)))
        else:
            arrays.append(_arrow_column(table, column))
    return pa.Table.from_arrays(arrays, names=[column.name for column in table.columns])


def table_frame(table: Table) -> "pd.DataFrame":
    """The table as a pandas DataFrame: nullable integers and booleans, categories, dates in UTC."""
    import pandas as pd

    return pd.DataFrame({column.name: _series(table, column) for column in table.columns})


def _series(table: Table, column: Column) -> "pd.Series[Any]":
    import pandas as pd

    if column.kind == "float":
        return pd.Series(table.floats(column.name).copy())
    codes = table.codes(column.name)
    if column.kind == "category":
        known = pd.Index(list(table.categories[column.name]))
        return pd.Series(pd.Categorical.from_codes(codes, categories=known))
    if column.kind == "time":
        stamps = np.where(codes < 0, np.iinfo(np.int64).min, codes).astype("datetime64[us]")
        return pd.Series(stamps).dt.tz_localize("UTC")
    if column.kind == "bool":
        return pd.Series(pd.arrays.BooleanArray(codes > 0, codes < 0))
    return pd.Series(pd.arrays.IntegerArray(codes.copy(), codes < 0))


def _arrow_column(table: Table, column: Column) -> Any:
    if column.kind == "float":
        values = table.floats(column.name)
        return _from_values(pa.float64(), values, ~np.isnan(values))
    codes = table.codes(column.name)
    if column.kind == "category":
        return _dictionary(codes, table.categories[column.name])
    if column.kind == "bool":
        return _from_values(pa.bool_(), np.packbits(codes > 0, bitorder="little"), codes >= 0)
    if column.kind == "time":
        return _from_values(pa.timestamp("us", tz="UTC"), codes, codes >= 0)
    return _from_values(pa.int32(), codes.astype(np.int32), codes >= 0)


def _from_values(kind: Any, values: NDArray[Any], present: NDArray[np.bool_]) -> Any:
    """An Arrow array over `values` as they lie in memory; null where not `present`."""
    valid = None if present.all() else pa.py_buffer(np.packbits(present, bitorder="little"))
    return pa.Array.from_buffers(kind, len(present), [valid, pa.py_buffer(np.ascontiguousarray(values))])


def _strings(texts: tuple[str, ...]) -> Any:
    encoded = [text.encode("utf-8", "replace") for text in texts]
    ends = np.cumsum([0, *map(len, encoded)]).astype(np.int32)
    return pa.Array.from_buffers(pa.string(), len(encoded), [None, pa.py_buffer(ends), pa.py_buffer(b"".join(encoded))])


def _dictionary(codes: NDArray[np.int64], texts: tuple[str, ...]) -> Any:
    indices = _from_values(pa.int32(), np.maximum(codes, 0).astype(np.int32), codes >= 0)
    return pa.DictionaryArray.from_arrays(indices, _strings(texts))


def _dates(times_us: NDArray[np.int64]) -> Any:
    """ISO 8601 texts in UTC of microseconds since 1970, null where negative."""
    present = times_us >= 0
    stamps = np.datetime_as_string(np.maximum(times_us, 0).astype("datetime64[us]"), timezone="UTC")
    flat = np.char.encode(stamps, "ascii") if len(stamps) else np.empty(0, "S1")
    ends = np.arange(len(flat) + 1, dtype=np.int32) * np.int32(flat.dtype.itemsize)
    valid = None if present.all() else pa.py_buffer(np.packbits(present, bitorder="little"))
    return pa.Array.from_buffers(pa.string(), len(flat), [valid, pa.py_buffer(ends), pa.py_buffer(flat.tobytes())])


def column_metadata(schema: Any) -> Mapping[str, tuple[str, str]]:
    """Unit and meaning by column name, read back from an Arrow schema that `arrow_table` wrote."""
    return {field.name: (field.metadata[b"unit"].decode(), field.metadata[b"meaning"].decode()) for field in schema}
