"""Bounds on what a small file may claim to hold, so that it cannot fill the memory or keep the reader for hours."""

from collections.abc import Iterable, Iterator
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from tracekit.errors import LogReadError, message
from tracekit.options.read import ReadOptions
from tracekit.read.footer import declared
from tracekit.read.rows import Rows


def bounded(pieces: Iterable[bytes], packed: int, name: str, options: ReadOptions) -> Iterator[bytes]:
    """Unpacked pieces of a file of `packed` bytes.

    Raises LogReadError once they are more than a recording of that size can be.
    """
    most = max(options.unpacked_bytes, options.unpacked_factor * packed)
    length = 0
    for piece in pieces:
        length += len(piece)
        if length > most:
            times = most / max(packed, 1)
            raise _too_much(name, f"a compressed file that unpacks to more than {times:.0f} times its size")
        yield piece


def worth_reading(pieces: Iterable[Rows], name: str, options: ReadOptions) -> Iterator[Rows]:
    """The rows of a text.

    Raises LogReadError once so many more lines are rejected than used that this is no recording.
    """
    used = rejected = 0
    for rows in pieces:
        used += rows.count
        rejected += sum(r.rows for r in rows.rejected)
        if rejected > max(options.most_rejected, 10 * used):
            raise _too_much(name, f"{rejected} lines that are no rows among {used} that are")
        yield rows


def check_declared(file: pq.ParquetFile, path: Path, options: ReadOptions) -> None:
    """Compare what a Parquet file declares with what a recording of its size can hold.

    Raises LogReadError where it declares more, or where its footer is damaged.
    """
    name, size = path.name, path.stat().st_size
    if file.metadata.num_columns > options.most_columns:
        raise _too_much(name, f"a Parquet file of {file.metadata.num_columns} columns")
    facts = declared(path, options)
    values = max(facts.rows, *(0, *facts.values), sum(facts.values))
    if values > max(options.declared_values, options.unpacked_factor * size):
        raise _too_much(name, f"a Parquet file of {size} bytes that declares {values} values")
    unpacked = sum(facts.unpacked)
    if unpacked > max(options.unpacked_bytes, options.unpacked_factor * size):
        raise _too_much(name, f"a Parquet file of {size} bytes that declares {unpacked} unpacked ones")


def text_columns(schema: pa.Schema) -> list[str]:
    """Names of the columns of text or bytes, which a file may repeat at next to no cost."""
    return [f.name for f in schema if _is_text(f.type)]


def spelled_out(batch: pa.RecordBatch, schema: pa.Schema, name: str, options: ReadOptions) -> pa.RecordBatch:
    """The batch with its columns in the types of the file's schema, repeated texts written out.

    Raises LogReadError where that would take more than `text_bytes` bytes, ArrowInvalid where a text is none.
    """
    arrays = []
    for field, column in zip(batch.schema, batch.columns, strict=True):
        wanted = schema.field(field.name).type
        if not pa.types.is_primitive(column.type):
            column.validate(full=True)  # what is damaged inside a file's text is decoded by no one else
        if pa.types.is_dictionary(column.type) and _is_text(column.type.value_type):
            lengths = pc.take(pc.binary_length(column.dictionary), column.indices)
            needed = pc.sum(lengths.cast(pa.int64())).as_py() or 0
            if needed > options.text_bytes:
                raise _too_much(name, f'{needed} bytes of text in {len(column)} rows of column "{field.name}"')
        arrays.append(column if column.type == wanted else column.cast(wanted))
    return pa.RecordBatch.from_arrays(arrays, names=batch.schema.names)


def _is_text(kind: pa.DataType) -> bool:
    types = pa.types
    tests = (types.is_string, types.is_large_string, types.is_binary, types.is_large_binary)
    return any(test(kind) for test in tests)


def _too_much(name: str, found: str) -> LogReadError:
    return LogReadError(message(name, found, "a recording", "Check where the file comes from, or export it as text."))
