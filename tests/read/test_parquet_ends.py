"""What a columnar file's footer tells about its last rows, and the file opened again by its footer."""

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tracekit.errors import LogReadError
from tracekit.read.columnar import ends_filled, open_again


def written(path, table: pa.Table, **options) -> pq.ParquetFile:
    """A file of a table."""
    pq.write_table(table, path, **options)
    return pq.ParquetFile(path)


def test_filled_ends(tmp_path):
    """Cells of the last group are known to be filled by their statistics, or since none may be empty."""
    full = pa.table({"time_s": [1.0, 2.0, 3.0, 4.0], "words": ["a", "b", "c", "d"]})
    assert ends_filled(written(tmp_path / "full.parquet", full))
    assert not ends_filled(written(tmp_path / "silent.parquet", full, write_statistics=False))
    none = pa.schema([pa.field(n, full.schema.field(n).type, nullable=False) for n in full.column_names])
    assert ends_filled(written(tmp_path / "never.parquet", full.cast(none), write_statistics=False))


@pytest.mark.parametrize(("place", "filled"), [(0, True), (3, False)])
def test_an_empty_cell_counts_in_the_last_group(tmp_path, place, filled):
    """A cell of an earlier group says nothing about the last one."""
    values = [1.0, 2.0, 3.0, 4.0]
    holed = pa.table({"kpa": [None if k == place else v for k, v in enumerate(values)], "time_s": values})
    assert ends_filled(written(tmp_path / "log.parquet", holed, row_group_size=2)) is filled


def test_nested_cells_may_hold_nothing(tmp_path):
    """A list without items is not empty and has no value, so lists and fields of structures are read."""
    lists = pa.table({"kpa": [[1.0], [2.0]]})
    fields = pa.table({"kpa": [{"a": 1.0}, {"a": 2.0}]})
    assert not ends_filled(written(tmp_path / "lists.parquet", lists))
    assert not ends_filled(written(tmp_path / "fields.parquet", fields))
    assert not ends_filled(written(tmp_path / "none.parquet", pa.table({"kpa": pa.array([], pa.float64())})))


def test_opened_again(tmp_path):
    """The same rows, texts as dictionaries; a file that has gone meanwhile is told."""
    table = pa.table({"words": ["a", "b", "a"], "time_s": [1.0, 2.0, 3.0]})
    first = written(tmp_path / "log.parquet", table)
    again = open_again(tmp_path / "log.parquet", first)
    assert again.read().column("time_s").to_pylist() == [1.0, 2.0, 3.0]
    assert pa.types.is_dictionary(again.schema_arrow.field("words").type)
    (tmp_path / "log.parquet").unlink()
    with pytest.raises(LogReadError, match=r"log\.parquet"):
        open_again(tmp_path / "log.parquet", first)
