"""What the footer of a Parquet file declares, and what becomes of a damaged one."""

import io
import os

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions
from tracekit.read.columnar import open_parquet, parquet_batches
from tracekit.read.footer import declared

OPTIONS = ReadOptions()


def table(rows: int) -> pa.Table:
    """Numbers, words, Booleans, lists, structs, times."""
    time = np.arange(rows, dtype=float)
    return pa.table({
        "t": time, "word": pa.array(["x", None] * (rows // 2)).dictionary_encode(), "flag": [True, False] * (rows // 2),
        "pair": pa.array([[1, 2]] * rows), "held": pa.array([{"a": 1.0, "b": {"c": 2}}] * rows),
        "stamp": pa.array(time.astype("int64")).cast(pa.timestamp("us", tz="UTC")),
    })  # fmt: skip


@pytest.mark.parametrize("more", [
    {}, {"row_group_size": 7}, {"version": "1.0", "data_page_version": "2.0"}, {"write_page_index": True, "compression": "none"},
    {"store_schema": False, "write_statistics": False},
])  # fmt: skip
def test_the_footer_says_what_the_library_says(tmp_path, more):
    """Rows, values and unpacked bytes of every column chunk are those that the library reads out of a sound file."""
    path = tmp_path / "log.parquet"
    pq.write_table(table(100), path, **more)
    facts = pq.ParquetFile(path).metadata
    chunks = [facts.row_group(g).column(c) for g in range(facts.num_row_groups) for c in range(facts.num_columns)]
    found = declared(path, OPTIONS)
    assert found.rows == 100
    assert found.values == tuple(c.num_values for c in chunks)
    assert found.unpacked == tuple(c.total_uncompressed_size for c in chunks)
    assert len(chunks) == facts.num_columns * (15 if "row_group_size" in more else 1)


def opened(path, data: bytes) -> str:
    """What becomes of a file when all of it is read."""
    path.write_bytes(data)
    try:
        for batch in parquet_batches(open_parquet(path, OPTIONS), path.name, None, OPTIONS):
            assert batch.num_columns > 0
    except LogReadError as error:
        return "refused" if path.name in str(error) else "refused without a name"
    return "read"


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the system has no fork to see a process end in")
@pytest.mark.parametrize("bit", [0, 3, 6])
def test_no_damaged_footer_ends_the_process(tmp_path, bit):
    """With any byte of the footer changed the file is read or refused; the library must not end the process over it."""
    sink = io.BytesIO()
    pq.write_table(table(6), sink, store_schema=False)
    sound = sink.getvalue()
    start = len(sound) - 8 - int.from_bytes(sound[-8:-4], "little")
    child = os.fork()
    if child == 0:
        status = 1
        try:
            words = [opened(tmp_path / "log.parquet", sound[:at] + bytes([sound[at] ^ 1 << bit]) + sound[at + 1 :]) for at in range(start, len(sound))]
            status = 0 if {*words} == {"read", "refused"} else 2
        finally:
            os._exit(status)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


@pytest.mark.parametrize(("footer", "why"), [
    (b"\x19" * 2000, "lists in lists"), (b"\x1c" * 2000, "structs in structs"), (b"\x16" + b"\xff" * 2000, "a number without end"),
    (b"\x18\xff\xff\xff\xff\x07", "more bytes than there are"), (b"\x19\xf1\xff\xff\xff\xff\x07", "a list that is longer than the file"),
    (b"\x1e\x00", "a kind that there is not"), (b"", "nothing"), (b"\x00", "no rows"), (b"\x36\x02\x19\x16\x02\x00", "groups that are numbers"),
])  # fmt: skip
def test_a_footer_that_makes_no_sense(tmp_path, footer, why):
    """Whatever stands there, one message names the file."""
    path = tmp_path / "log.parquet"
    path.write_bytes(b"PAR1" + footer + len(footer).to_bytes(4, "little") + b"PAR1")
    with pytest.raises(LogReadError, match=r"log\.parquet: a damaged Parquet file"):
        declared(path, OPTIONS)


def test_a_footer_is_not_read_for_ever(tmp_path):
    """A footer of more values than any recording's is refused after as many."""
    few = ReadOptions(footer_values=1000)
    path = tmp_path / "log.parquet"
    pq.write_table(table(100), path)
    assert declared(path, few).rows == 100
    pq.write_table(table(100), path, row_group_size=4)
    with pytest.raises(LogReadError, match="a damaged Parquet file"):
        declared(path, few)
    assert declared(path, OPTIONS).rows == 100
