"""Parquet files and Arrow tables: their first rows, and all rows as columns."""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from tracekit.errors import LogReadError, message
from tracekit.model.trace import Assumption
from tracekit.options.read import ReadOptions
from tracekit.read.bounds import check_declared, spelled_out, text_columns
from tracekit.read.columns import Column, item_columns, make_column, spread_texts, typed_profile
from tracekit.read.head import Head
from tracekit.read.preamble import Preamble
from tracekit.read.rows import Rows
from tracekit.read.values import is_texty

_STREAM_BYTES = 1 << 18
"""Bytes of a column that are fetched at once."""


def _streamed(path: Path, footer: pq.FileMetaData | None = None, texts: list[str] | None = None) -> pq.ParquetFile:
    """A file whose columns are fetched piece by piece: fetched ahead, all of it would be in memory by its end."""
    return pq.ParquetFile(
        path, metadata=footer, read_dictionary=texts or None, buffer_size=_STREAM_BYTES, pre_buffer=False
    )


def open_parquet(path: Path, options: ReadOptions) -> pq.ParquetFile:
    """A Parquet file, its columns of text as dictionaries.

    Raises LogReadError where it is damaged or declares more than a recording can hold.
    """
    try:
        plain = _streamed(path)
        check_declared(plain, path, options)
        names = text_columns(plain.schema_arrow)
        return _streamed(path, plain.metadata, names) if names else plain
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        raise _damaged(path.name) from error


def open_again(path: Path, opened: pq.ParquetFile) -> pq.ParquetFile:
    """The same file once more, by the footer that was read and checked. Raises LogReadError where it is damaged."""
    try:
        names = text_columns(opened.metadata.schema.to_arrow_schema())
        return _streamed(path, opened.metadata, names)
    except (pa.ArrowException, OSError) as error:
        raise _damaged(path.name) from error


def ends_filled(file: pq.ParquetFile) -> bool:
    """True where the footer says that no cell of the last group of rows is empty."""
    groups = file.metadata.num_row_groups
    if groups == 0:
        return False
    last = file.metadata.row_group(groups - 1)
    for place in range(last.num_columns):
        kind, told = file.schema.column(place), last.column(place).statistics
        none = told is not None and told.has_null_count and told.null_count == 0
        if kind.max_repetition_level or kind.max_definition_level > 1 or (kind.max_definition_level and not none):
            return False
    return True


def _damaged(name: str) -> LogReadError:
    return LogReadError(message(name, "a damaged Parquet file", "a complete one", "Copy or export the log again."))


def parquet_batches(
    file: pq.ParquetFile, name: str, columns: list[str] | None, options: ReadOptions
) -> Iterator[pa.RecordBatch]:
    """Batches of some columns of a Parquet file, of all where None.

    Raises LogReadError where the file is damaged.
    """
    schema = file.metadata.schema.to_arrow_schema()
    ready = all(
        pa.types.is_primitive(own.type) and own.type == schema.field(own.name).type for own in file.schema_arrow
    )
    batches = file.iter_batches(options.batch_rows, columns=columns, use_threads=False)
    while True:
        try:
            batch = next(batches, None)
            if batch is None:
                return
            whole = batch if ready else spelled_out(batch, schema, name, options)
        except (pa.ArrowException, OSError) as error:
            raise _damaged(name) from error
        yield whole


def last_batches(
    file: pq.ParquetFile, name: str, wanted: Sequence[str], options: ReadOptions
) -> Iterator[pa.RecordBatch]:
    """Batches of the last group of rows of a Parquet file. Raises LogReadError where it is damaged."""
    names = sources_of(file.schema_arrow.names, wanted)
    groups = [max(file.num_row_groups - 1, 0)]
    try:
        schema = file.metadata.schema.to_arrow_schema()
        for batch in file.iter_batches(options.batch_rows, row_groups=groups, columns=names, use_threads=False):
            yield spelled_out(batch, schema, name, options)
    except (pa.ArrowException, OSError) as error:
        raise _damaged(name) from error


def table_batches(table: pa.Table, columns: list[str] | None, options: ReadOptions) -> Iterator[pa.RecordBatch]:
    """Batches of some columns of an Arrow table, of all where None."""
    picked = table if columns is None else table.select(columns)
    yield from picked.to_batches(max_chunksize=options.batch_rows)


def columnar_head(
    name: str, batches: Iterable[pa.RecordBatch], total: int, options: ReadOptions, lists: Sequence[str] = ()
) -> Head:
    """The first rows of a file with typed columns.

    lists  the columns whose lists were parted into samples, of which there are more than `total` then

    Raises LogReadError where it has no rows.
    """
    kept, rows, whole = [], 0, True
    for batch in batches:
        if rows >= options.head_rows:
            whole = False
            break
        kept.append(batch)
        rows += batch.num_rows
        if not lists and options.head_rows <= rows < total:  # the next one need not be decoded to know that it is there
            whole = False
            break
    if rows == 0:
        raise LogReadError(message(name, "no rows", "rows of samples", "Export the log with its samples."))
    table = pa.Table.from_batches(kept)
    columns = [column for field in table.column_names for column in _columns(table, field)]
    facts = [Assumption(what="columns", value="typed", evidence="types of the file", confidence=1.0)]
    if lists:
        value, evidence = f"blocks of samples in {', '.join(lists)}, a row for each", "each goes on in the next one"
        facts.append(Assumption(what="rows", value=value, evidence=evidence, confidence=0.95))
    return Head(
        name=name, columns=tuple(columns), rows=rows, whole=whole, preamble=Preamble(),
        total=rows if whole else None if lists else total, assumptions=tuple(facts),
    )  # fmt: skip


def _columns(table: pa.Table, source: str) -> list[Column]:
    """The columns that one column of the file holds: fields of structures and items of lists stand alone."""
    found = []
    for name, array in flattened({source: _single(table[source])}).items():
        profile = typed_profile(array)
        cells = spread_texts(array) if is_texty(array) and profile.kind != "number" else []
        column = make_column(name, "", profile, array, cells)
        found += item_columns(column)
    return found


def flattened(columns: dict[str, pa.Array]) -> dict[str, pa.Array]:
    """Columns with the fields of structures as columns of their own, named "column.field"."""
    result: dict[str, pa.Array] = {}
    for name, array in columns.items():
        if pa.types.is_struct(array.type):
            parts = dict(zip((f.name for f in array.type), array.flatten(), strict=True))
            result |= flattened({f"{name}.{part}": values for part, values in parts.items()})
        else:
            result[name] = array
    return result


def _single(column: pa.ChunkedArray) -> pa.Array:
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()


def sources_of(table_names: Iterable[str], wanted: Iterable[str]) -> list[str]:
    """Columns of the file that hold the wanted ones, which may be fields of structures."""
    needed = list(wanted)
    return [n for n in table_names if any(w == n or w.startswith(f"{n}.") for w in needed)]


def columnar_rows(batches: Iterable[pa.RecordBatch]) -> Iterator[Rows]:
    """Batches as rows."""
    first = 1
    for batch in batches:
        columns = flattened(dict(zip(batch.schema.names, batch.columns, strict=True)))
        yield Rows(columns=columns, count=batch.num_rows, first_line=first)
        first += batch.num_rows


class _HashSink:
    """Hands what is written to it to a hash."""

    closed = False

    def __init__(self) -> None:
        self.digest = hashlib.sha256()

    def write(self, data: bytes) -> int:
        self.digest.update(data)
        return len(data)

    def flush(self) -> None:
        """Nothing is held back."""

    def close(self) -> None:
        """Nothing to close."""


def table_hash(table: pa.Table) -> str:
    """SHA-256 of the Arrow IPC bytes of a table in hex."""
    sink = _HashSink()
    with pa.ipc.new_stream(pa.PythonFile(sink, mode="w"), table.schema) as writer:
        writer.write_table(table)
    return sink.digest.hexdigest()
