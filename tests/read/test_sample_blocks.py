"""Parquet with a block of samples in each row: a row for every sample, by lists of any type and length."""

import datetime as dt

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions

RECORDING = make_recording(cycles=20)
COUNT = len(RECORDING.time_s) // 50 * 50
ROLES = ("supply", "release", "part_present")
START = dt.datetime(2026, 3, 18, 13, 47, 12, tzinfo=dt.UTC)


def channels() -> dict[str, np.ndarray]:
    """Every channel of the recording, a value per sample."""
    bits = {role: (RECORDING.digital[:COUNT] >> k & 1).astype(np.int64) for k, role in enumerate(ROLES)}
    return {"pressure_kpa": RECORDING.pressure_kpa[:COUNT], **bits}


def blocks(values: np.ndarray, ends: np.ndarray) -> list[list[float]]:
    """The values in blocks that end there."""
    return [own.tolist() for own in np.split(values, ends[:-1])]


def put(folder, columns, **how):
    """A file with these columns."""
    path = folder / "log.parquet"
    pq.write_table(pa.table(columns), path, **how)
    return path


def is_the_recording(found) -> None:
    """Every sample is there, with its levels."""
    np.testing.assert_allclose(found.pressure_kpa, RECORDING.pressure_kpa[:COUNT], atol=1e-9)
    assert np.array_equal(found.digital, RECORDING.digital[:COUNT])
    assert found.facts.rows_read == COUNT


FIFTY = np.arange(50, COUNT + 1, 50)
LENGTHS = np.random.default_rng(8).integers(20, 80, COUNT)
UNEVEN = np.unique(np.minimum(np.cumsum(LENGTHS), COUNT))


@pytest.mark.parametrize("ends", [FIFTY, UNEVEN], ids=["of fifty", "of uneven length"])
@pytest.mark.parametrize("batch_rows", [64, 65536])
@pytest.mark.parametrize("kind", ["list", "large", "records"])
def test_lists_that_hold_the_times_too(tmp_path, ends, batch_rows, kind):
    """Where time stands in a list as well nothing is in doubt, whatever the type of the lists."""
    parts = {n: blocks(v, ends) for n, v in {"time_s": RECORDING.time_s[:COUNT], **channels()}.items()}
    if kind == "records":
        rows = [
            [dict(zip(parts, one, strict=True)) for one in zip(*own, strict=True)]
            for own in zip(*parts.values(), strict=True)
        ]
        columns = {"samples": rows}
    else:
        made = pa.large_list if kind == "large" else pa.list_
        columns = {n: pa.array(v, made(pa.array(v[0]).type)) for n, v in parts.items()}
    found = read(put(tmp_path, columns, row_group_size=40), options=ReadOptions(batch_rows=batch_rows))
    is_the_recording(found)
    np.testing.assert_allclose(found.time_s, RECORDING.time_s[:COUNT], atol=1e-6)
    assert any(a.what == "rows" and a.value.startswith("blocks of samples") for a in found.layout.assumptions)


def test_a_stamp_for_each_block_is_spread_over_its_samples(tmp_path):
    """With one stamp for a block its samples lie evenly up to the next stamp."""
    stamps = [START + dt.timedelta(seconds=float(s)) for s in RECORDING.time_s[:COUNT:50]]
    columns = {"timestamp": stamps, "device": ["a"] * len(stamps)} | {
        n: blocks(v, FIFTY) for n, v in channels().items()
    }
    found = read(put(tmp_path, columns))
    is_the_recording(found)
    np.testing.assert_allclose(found.time_s, RECORDING.time_s[:COUNT], atol=0.011)
    assert found.facts.start_time_us == int(START.timestamp() * 1e6)


def test_a_block_without_samples_is_accounted_for(tmp_path):
    """An empty list and a missing one are a row each, that holds nothing."""
    parts = {n: blocks(v, FIFTY) for n, v in {"time_s": RECORDING.time_s[:COUNT], **channels()}.items()}
    columns = {n: [*v[:30], [], None, *v[30:]] for n, v in parts.items()}
    found = read(put(tmp_path, columns))
    assert (found.facts.rows_read, found.facts.rows_rejected) == (COUNT + 2, 2)
    assert len(found.time_s) == COUNT


@pytest.mark.parametrize("place", [3, 100])
def test_blocks_of_unlike_lengths_are_refused(tmp_path, place):
    """One channel with a sample less in some block: to which time its samples belong does not show."""
    parts = {n: blocks(v, FIFTY) for n, v in {"time_s": RECORDING.time_s[:COUNT], **channels()}.items()}
    parts["pressure_kpa"][place].pop()
    path = put(tmp_path, parts, row_group_size=20)
    with pytest.raises(LogReadError, match="Export one row for each sample"):
        read(path, options=ReadOptions(batch_rows=20))
