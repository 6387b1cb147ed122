"""Parquet files are read in memory that does not grow with the file."""

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tracekit.options.read import ReadOptions
from tracekit.read.columnar import open_again, open_parquet, parquet_batches

ROWS = 1_000_000


@pytest.fixture(scope="module")
def noise() -> pa.Table:
    """Readings that no codec makes smaller."""
    draw = np.random.default_rng(3)
    return pa.table({"time_s": np.arange(ROWS) / 1000.0, "pressure_kpa": draw.normal(size=ROWS)})


@pytest.mark.parametrize("again", [False, True])
@pytest.mark.parametrize("group_rows", [50_000, ROWS])
def test_a_file_is_never_held_whole(noise, tmp_path, group_rows: int, again: bool) -> None:
    """Many groups of rows or a single one: what is held while the batches pass is a fraction of the file."""
    path = tmp_path / "log.parquet"
    pq.write_table(noise, path, row_group_size=group_rows, compression="none", use_dictionary=False)
    file = open_parquet(path, ReadOptions())
    file = open_again(path, file) if again else file
    before, most, rows = pa.total_allocated_bytes(), 0, 0
    for batch in parquet_batches(file, path.name, None, ReadOptions(batch_rows=20_000)):
        most, rows = max(most, pa.total_allocated_bytes() - before), rows + batch.num_rows
    assert rows == ROWS
    assert most < 0.4 * path.stat().st_size
