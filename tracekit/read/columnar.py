"""Parquet files and Arrow tables as rows."""

import hashlib
from collections.abc import Iterator, Mapping
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from tracekit.errors import LogReadError, message
from tracekit.options.read import ReadOptions
from tracekit.read.rows import Rows


def open_parquet(path: Path) -> pq.ParquetFile:
    """A Parquet file. Raises LogReadError where it is damaged."""
    try:
        return pq.ParquetFile(path)
    except (pa.ArrowInvalid, OSError) as error:
        raise LogReadError(
            message(path.name, "a damaged Parquet file", "a complete one", "Copy or export the log again.")
        ) from error


def parquet_rows(file: pq.ParquetFile, name: str, columns: list[str], options: ReadOptions) -> Iterator[Rows]:
    """Some columns of a Parquet file in batches."""
    first = 1
    batches = file.iter_batches(options.batch_rows, columns=columns, use_threads=False)
    while True:
        try:
            batch = next(batches, None)
        except (pa.ArrowInvalid, OSError) as error:
            raise LogReadError(
                message(f"{name}, row {first}", "a damaged Parquet file", "a complete one", "Export the log again.")
            ) from error
        if batch is None:
            return
        yield _rows(dict(zip(batch.schema.names, batch.columns, strict=True)), batch.num_rows, first)
        first += batch.num_rows


def table_rows(table: pa.Table, columns: list[str], options: ReadOptions) -> Iterator[Rows]:
    """Some columns of an Arrow table in batches."""
    first = 1
    for batch in table.select(columns).to_batches(max_chunksize=options.batch_rows):
        yield _rows(dict(zip(batch.schema.names, batch.columns, strict=True)), batch.num_rows, first)
        first += batch.num_rows


def _rows(columns: Mapping[str, pa.Array], count: int, first: int) -> Rows:
    return Rows(columns=columns, count=count, first_line=first)


def table_hash(table: pa.Table) -> str:
    """SHA-256 of the Arrow IPC bytes of a table in hex."""
    digest = hashlib.sha256()

    class Sink:
        """Hands written bytes to the hash."""

        closed = False

        def write(self, data: bytes) -> int:
            """Take in bytes."""
            digest.update(data)
            return len(data)

        def flush(self) -> None:
            """Nothing to do."""

        def close(self) -> None:
            """Nothing to do."""

    with pa.ipc.new_stream(pa.PythonFile(Sink(), mode="w"), table.schema) as writer:
        writer.write_table(table)
    return digest.hexdigest()
