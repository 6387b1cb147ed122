"""How many rows a log will have, before it is read: for telling how much of it is left."""

import zlib
from collections.abc import Sequence
from pathlib import Path

import pyarrow.parquet as pq

from tracekit.errors import LogReadError
from tracekit.read.bytestream import packing_of, reading, size_of

_LOOKED_AT = 1 << 18  # bytes at the start whose lines stand for all of them


def expected_rows(paths: Sequence[str | Path]) -> int | None:
    """About how many rows the files have together; None where that does not show without reading them.

    Parquet says it; of text and gzip the first lines are taken to be as long, and as well packed, as the others.
    """
    try:
        found = [_rows(Path(path)) for path in paths]
    except (LogReadError, OSError, ValueError, zlib.error):  # reading it will say what is wrong
        return None
    known = [rows for rows in found if rows is not None]
    return sum(known) if found and len(known) == len(found) else None


def _rows(path: Path) -> int | None:
    if not path.is_file():
        return None
    packing = packing_of(path)
    if packing == "parquet":
        return int(pq.ParquetFile(path).metadata.num_rows)
    if packing not in ("plain", "gzip"):
        return None
    with reading(path) as file:
        start = file.read(_LOOKED_AT)
    text = zlib.decompressobj(wbits=31).decompress(start) if packing == "gzip" else start
    lines = text.count(b"\n")
    size = size_of(path)
    return round(lines * size / len(start)) if lines else None
