"""Reading of canonical logs."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions
from tracekit.read import open_log


def recording(rows: int = 5000, seed: int = 1) -> dict[str, np.ndarray]:
    """A made recording in canonical columns."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(rows) / 100
    phase = time_s % 2.0
    supply = ((phase > 0.2) & (phase < 0.5)).astype(np.int8)
    release = ((phase > 1.5) & (phase < 1.7)).astype(np.int8)
    vacuum = np.where((phase > 0.2) & (phase < 1.5), 60.0, 0.0)
    present = (vacuum > 50).astype(np.int8)
    pressure = np.round(-vacuum + rng.normal(0, 0.3, rows), 1)
    return {"time_s": time_s, "pressure_kpa": pressure, "supply": supply, "release": release, "part_present": present}


def write_csv(path: Path, data: dict[str, np.ndarray]) -> Path:
    """The recording as canonical CSV."""
    lines = [",".join(data)]
    lines += [",".join(repr(v.item()) for v in row) for row in zip(*data.values(), strict=True)]
    path.write_text("\n".join(lines) + "\n")
    return path


def read_all(source, **more):
    """All samples of a log, joined, and its facts."""
    log = open_log(source, **more)
    blocks = list(log.blocks())
    joined = [np.concatenate([getattr(b, f) for b in blocks]) for f in ("time_s", "pressure_kpa", "digital")]
    return (*joined, log.facts(), log.layout)


def packed(data):
    """The digitals as bits."""
    return data["supply"] | data["release"] << 1 | data["part_present"] << 2


@pytest.mark.parametrize("kind", ["csv", "gz", "parquet", "table", "frame"])
def test_every_container_gives_the_same_samples(tmp_path, kind):
    """A canonical log reads the same from CSV, gzip, Parquet, an Arrow table and a DataFrame."""
    data = recording()
    table = pa.table(
        {k: pa.array(v.tolist(), pa.float64() if v.dtype == float else pa.int8()) for k, v in data.items()}
    )
    if kind in ("csv", "gz"):
        source = write_csv(tmp_path / "log.csv", data)
        if kind == "gz":
            import gzip

            packed_path = tmp_path / "log.csv.gz"
            packed_path.write_bytes(gzip.compress(source.read_bytes()))
            source = packed_path
    elif kind == "parquet":
        source = tmp_path / "log.parquet"
        pq.write_table(table, source)
    else:
        source = table if kind == "table" else table.to_pandas()
    time_s, pressure, digital, facts, layout = read_all(source)
    assert np.array_equal(time_s, data["time_s"])
    assert np.array_equal(pressure, data["pressure_kpa"])
    assert np.array_equal(digital, packed(data))
    assert facts.rows_read == facts.rows_used == 5000
    assert facts.quantisation_kpa == pytest.approx(0.1)
    assert facts.interval_median_s == pytest.approx(0.01)
    assert (layout.has_supply, layout.has_release, layout.has_present) == (True, True, True)
    assert len(facts.log_id) == 64


def test_block_size_does_not_matter(tmp_path):
    """Samples and facts are the same however the file is cut."""
    path = write_csv(tmp_path / "log.csv", recording())
    text = path.read_text().splitlines()
    text[100:103] = [text[103], text[101], "abc,1,0,0,0"]
    text.insert(2000, "19.0,x,1,0")
    text[3000:] = ["{},".format(float(line.split(",")[0]) - 7.0) + line.partition(",")[2] for line in text[3000:]]
    path.write_text("\n".join(text))
    whole = read_all(path)
    for size in (300, 1000, 7777):
        parts = read_all(path, options=ReadOptions(block_bytes=size))
        assert all(np.array_equal(a, b, equal_nan=True) for a, b in zip(whole[:3], parts[:3], strict=True))
        assert parts[3] == whole[3]
    facts = whole[3]
    assert facts.rows_read == facts.rows_used + facts.rows_rejected == 5001
    assert len(facts.clock_steps) == 1
    assert facts.clock_steps[0][1] == pytest.approx(-7.0, abs=0.02)


def test_empty_file_is_refused(tmp_path):
    """An empty file is refused in one message that names it."""
    path = tmp_path / "log.csv"
    path.write_bytes(b"")
    with pytest.raises(LogReadError, match=r"log\.csv: an empty file"):
        open_log(path)


def test_plain_reading_loads_neither_pandas_nor_scipy(tmp_path):
    """Reading a canonical CSV or Parquet leaves pandas and scipy unloaded."""
    data = recording(500)
    write_csv(tmp_path / "log.csv", data)
    table = pa.table(
        {k: pa.array(v.tolist(), pa.float64() if v.dtype == float else pa.int8()) for k, v in data.items()}
    )
    pq.write_table(table, tmp_path / "log.parquet")
    code = (
        "import sys; from tracekit.read import open_log\n"
        "for p in sys.argv[1:]:\n    log = open_log(p); list(log.blocks()); log.facts()\n"
        "assert not {'pandas', 'scipy'} & set(sys.modules), 'loaded'"
    )
    paths = [str(tmp_path / "log.csv"), str(tmp_path / "log.parquet")]
    done = subprocess.run([sys.executable, "-c", code, *paths], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
