"""Speed of reading against a bare parse of the same file."""

import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pcsv
import pyarrow.parquet as pq
import pytest

from tracekit.read import open_log

pytestmark = pytest.mark.bench
ROWS = 2_000_000
TYPES = {
    "time_s": pa.float64(), "pressure_kpa": pa.float64(), "supply": pa.int8(), "release": pa.int8(),
    "part_present": pa.int8(),
}  # fmt: skip


@pytest.fixture(scope="module")
def files(tmp_path_factory) -> tuple[Path, Path]:
    """A canonical log as CSV and as Parquet."""
    rng = np.random.default_rng(0)
    columns = {"time_s": np.arange(ROWS) / 1000, "pressure_kpa": np.round(rng.normal(-40, 10, ROWS), 2)}
    columns |= {name: (rng.random(ROWS) < 0.5).astype(np.int8) for name in list(TYPES)[2:]}
    table = pa.table(columns)
    folder = tmp_path_factory.mktemp("speed")
    pcsv.write_csv(table, folder / "log.csv", pcsv.WriteOptions(quoting_style="none"))
    pq.write_table(table, folder / "log.parquet")
    return folder / "log.csv", folder / "log.parquet"


def bare_text(path: Path) -> int:
    """Rows of a bare streaming parse."""
    options = pcsv.ConvertOptions(column_types=TYPES)
    return sum(batch.num_rows for batch in pcsv.open_csv(path, convert_options=options))


def bare_parquet(path: Path) -> int:
    """Rows of a bare pass over the batches."""
    return sum(batch.num_rows for batch in pq.ParquetFile(path).iter_batches(65536))


def whole(path: Path) -> int:
    """Rows of a whole reading, facts included."""
    log = open_log(path)
    rows = sum(len(block.time_s) for block in log.blocks())
    log.facts()
    return rows


def best(work, path: Path) -> float:
    """The shortest of five runs [s]."""
    times = []
    for _ in range(5):
        start = time.perf_counter()
        assert work(path) == ROWS
        times.append(time.perf_counter() - start)
    return min(times)


@pytest.mark.parametrize(("kind", "bare", "least"), [(0, bare_text, 0.7), (1, bare_parquet, 0.5)])
def test_reading_keeps_up_with_a_bare_parse(files, kind, bare, least):
    """The canonical path runs at the promised share of the speed of a bare parse."""
    ratio = best(bare, files[kind]) / best(whole, files[kind])
    print(f"{files[kind].name}: {ratio:.2f} of bare")
    assert ratio >= least
