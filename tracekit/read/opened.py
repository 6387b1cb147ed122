"""One file or table, opened: its first rows and the way to all of them."""

import itertools
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path

import pyarrow as pa

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.model.trace import Assumption
from tracekit.options.evidence import EVIDENCE
from tracekit.options.read import ReadOptions
from tracekit.read.ahead import SideHash, ahead, beside
from tracekit.read.bytestream import file_hash, packing_of
from tracekit.read.columnar import (
    columnar_head,
    columnar_rows,
    ends_filled,
    last_batches,
    open_again,
    open_parquet,
    parquet_batches,
    sources_of,
    table_batches,
    table_hash,
)
from tracekit.read.columns import Column, holds_lists
from tracekit.read.documents import ColumnsDocumentError
from tracekit.read.documenttable import document_table
from tracekit.read.head import Head
from tracekit.read.plan import Plan
from tracekit.read.preamble import read_preamble
from tracekit.read.rows import Rows
from tracekit.read.sections import SecondTableError
from tracekit.read.source import Input
from tracekit.read.tables import Table, parted
from tracekit.read.textends import ends_otherwise, last_rows, plain_lines
from tracekit.read.textfile import WORDS, TextFile, open_text, text_rows
from tracekit.read.unrolled import sample_lists, unrolled

_LAST_ROWS = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A file or table whose first rows are known.

    rows      all rows with the columns of a plan; may be called again
    log_id    hash of its bytes, complete once rows has been read to the end
    warnings  what was found to be damaged, complete then too
    last_rows  the last rows with at least the times of a plan, None where only reading to the end tells them
    ends_filled  no cell of the last rows is empty, as is known without reading them
    line      of the header of this table where the file holds several, 0 where it holds one
    channel   what its only channel is by the name of the file; empty where columns tell it
    newest_first  head and rows were turned into the order of time; last_rows were not and are the oldest
    """

    source: Input
    head: Head
    rows: Callable[[Plan], Iterator[Rows]]
    log_id: Callable[[], str]
    warnings: Callable[[], tuple[str, ...]] = tuple
    last_rows: Callable[[Plan], Rows | None] = lambda _: None
    ends_filled: bool = False
    newest_first: bool = False
    line: int = 0
    channel: str = ""


def open_input(source: Input, options: ReadOptions) -> tuple[Opened, ...]:
    """Open one file or table: each of its tables where a file holds several with headers of their own.

    Raises LogReadError where it cannot be read.
    """
    if source.table is not None:
        return (_open_table(source, source.table, options),)
    if source.path is None:
        raise AssertionError(source.name)
    packing = packing_of(source.path)
    if packing == "parquet":
        return (_open_parquet(source, options),)
    try:
        file, head = open_text(source.name, source.path, packing, options)
        if packing != "plain" or head.whole or not ends_otherwise(file, head):
            return (_open_text(source, source.path, packing, (file, head), options),)
        delimiter, refused = file.form.delimiter, None
    except ColumnsDocumentError:
        return (_open_document(source, source.path, packing, options),)
    except SecondTableError as error:
        delimiter, refused = error.delimiter, error
    tables = parted(plain_lines(source.name, source.path, packing, options), delimiter, source.name)
    if len(tables) > 1:
        return tuple(_open_part(source, table, options) for table in tables)
    if refused is not None:
        raise refused
    return (_open_text(source, source.path, packing, (file, head), options),)


def _open_document(source: Input, path: Path, packing: str, options: ReadOptions) -> Opened:
    """A document of JSON without records, held whole. Raises LogReadError where it is too long, or holds no table."""
    text = b""
    for piece in plain_lines(source.name, path, packing, options):
        text += piece
        if len(text) > EVIDENCE.document_bytes:
            found = f"a document of JSON of more than {EVIDENCE.document_bytes >> 20} MB without an array of records"
            raise LogReadError(
                message(source.name, found, "a record per sample", "Export an array of records, or CSV.")
            )
    told = document_table(text, source.name)
    one = _open_table(source, told.table, options)
    head = replace(one.head, preamble=read_preamble(told.lines))
    return replace(one, head=head, log_id=lambda: file_hash(path))


def _open_part(source: Input, table: Table, options: ReadOptions) -> Opened:
    """One of several tables of a text file."""
    path = source.path
    if path is None:
        raise AssertionError(source.name)
    one = _open_text(source, table.path, "plain", open_text(source.name, table.path, "plain", options), options)
    fact = Assumption(
        what="table", value=f"from line {table.line}", evidence="headers of their own part the tables", confidence=0.95
    )

    def rows(plan: Plan) -> Iterator[Rows]:
        return map(table.placed, one.rows(plan))

    head = replace(one.head, assumptions=(fact, *one.head.assumptions))
    return replace(one, head=head, rows=rows, log_id=lambda: file_hash(path), line=table.line)


def _open_text(source: Input, path: Path, packing: str, found: tuple[TextFile, Head], options: ReadOptions) -> Opened:
    """A text file with one table."""
    file, head = found
    digests: list[str] = []
    damage: list[str] = []
    ends: dict[tuple[tuple[str, pa.DataType], ...], Rows | None] = {}

    def rows(plan: Plan) -> Iterator[Rows]:
        digest = SideHash()
        damage.clear()
        yield from text_rows(file, stream_types(plan, file), options, digest, damage)
        digests.append(digest.hexdigest())

    def tail(plan: Plan) -> Rows | None:
        types = stream_types(plan, file)
        key = tuple(types.items())
        if key not in ends:
            ends[key] = last_rows(file, types) if packing == "plain" else None
        return ends[key]

    return Opened(
        source=source,
        head=head,
        rows=rows,
        log_id=lambda: digests[-1] if digests else file_hash(path),
        warnings=lambda: tuple(damage),
        last_rows=tail,
    )


def files_of(tables: Iterable[Opened]) -> list[Input]:
    """The files of some tables, each once, in their order."""
    return list({id(table.source): table.source for table in tables}.values())


def _open_table(source: Input, table: pa.Table, options: ReadOptions) -> Opened:
    lists = sample_lists(source.name, table.slice(0, options.head_rows).to_batches())
    batches = unrolled(table_batches(table, None, options), lists, source.name, options)
    head = columnar_head(source.name, batches, table.num_rows, options, lists)

    def rows(plan: Plan) -> Iterator[Rows]:
        wanted = sources_of(table.column_names, [*_sources(plan), *lists[:1]])
        return columnar_rows(unrolled(table_batches(table, wanted, options), lists, source.name, options))

    def tail(plan: Plan) -> Rows | None:
        wanted = sources_of(table.column_names, [*_sources(plan), *lists[:1]])
        picked = table.slice(max(table.num_rows - _LAST_ROWS, 0)).select(wanted).combine_chunks().to_batches()
        return last_of(columnar_rows(unrolled(picked, lists, source.name, options)))

    return Opened(source=source, head=head, rows=rows, log_id=lambda: table_hash(table), last_rows=tail)


def _open_parquet(source: Input, options: ReadOptions) -> Opened:
    path = source.path
    if path is None:
        raise AssertionError(source.name)
    file = open_parquet(path, options)
    first = parquet_batches(file, source.name, None, options) if any(map(holds_lists, file.schema_arrow.types)) else ()
    lists = sample_lists(source.name, list(itertools.islice(first, 1)))
    batches = unrolled(parquet_batches(file, source.name, None, options), lists, source.name, options)
    head = columnar_head(source.name, batches, file.metadata.num_rows, options, lists)
    digests: list[Callable[[], str]] = []

    def rows(plan: Plan) -> Iterator[Rows]:
        again = open_again(path, file)
        if not digests:
            digests.append(beside(lambda: file_hash(path)))
        wanted = sources_of(again.schema_arrow.names, [*_sources(plan), *lists[:1]])
        blocks = parquet_batches(again, source.name, wanted, options)
        return columnar_rows(ahead(unrolled(blocks, lists, source.name, options)))

    ends: dict[tuple[str, ...], Rows | None] = {}

    def tail(plan: Plan) -> Rows | None:
        names = (*_time_sources(plan), *lists[:1])
        if names not in ends:
            blocks = last_batches(file, source.name, names, options)
            ends[names] = last_of(columnar_rows(unrolled(blocks, lists, source.name, options)))
        return ends[names]

    def log_id() -> str:
        return digests[0]() if digests else file_hash(path)

    filled = ends_filled(file)
    return Opened(source=source, head=head, rows=rows, log_id=log_id, last_rows=tail, ends_filled=filled)


def last_of(rows: Iterator[Rows]) -> Rows | None:
    """The last piece of some rows, None where there is none."""
    found = None
    for found in rows:  # noqa: B007 - the last one is wanted
        pass
    return found


def _sources(plan: Plan) -> list[str]:
    return list(dict.fromkeys(c.source or c.name for c in plan.columns.values()))


def _time_sources(plan: Plan) -> list[str]:
    """Columns of the file that tell the time; any where it is the number of the row."""
    named = [c.source or c.name for c in plan.columns.values() if c.name in plan.time.columns]
    return list(dict.fromkeys(named)) or _sources(plan)


def stream_types(plan: Plan, file: TextFile) -> dict[str, pa.DataType]:
    """Arrow types in which the columns of a plan are parsed from text."""
    digitals = [d for s in plan.stations for d in (*s.digitals.values(), s.off_coil) if d is not None]
    levels = {d.column for d in digitals if d.kind == "level"}
    return {c.source or c.name: _type(c, file.decimal, level=c.name in levels) for c in plan.columns.values()}


def _type(column: Column, decimal: str, *, level: bool) -> pa.DataType:
    profile = column.profile
    if column.item is not None or profile.kind == "stamp":
        return pa.binary()
    if profile.kind != "number":
        return WORDS
    if profile.mixed or not profile.form.plain or (profile.form.decimal != decimal and not profile.whole):
        return pa.binary()
    return pa.int8() if level and profile.whole else pa.float64()
