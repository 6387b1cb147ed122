"""Reading a history: each log once, in its newest analysis, whatever other programs do to the folder meanwhile."""

import time
from collections.abc import Iterator

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from tracekit.errors import UsageError, message
from tracekit.frozen import dataclass
from tracekit.history.arrow import from_arrow
from tracekit.history.forgotten import Tombstone, forgotten_rows, read_tombstones
from tracekit.history.place import Place
from tracekit.history.schema import PACK, SCHEMA, SUMMARIES, SUMMARY, schema_of, seal_broken, version_order
from tracekit.model.tables import Column, Table, make_table
from tracekit.model.trend import Damage
from tracekit.options.history import StoreOptions

_ORDER = ("log_id", "station", "version", "added_time", "analysis")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Rows of a history in the columns asked for, each log once; `damaged` files are left out."""

    table: Table
    damaged: tuple[Damage, ...]
    files: int
    loose: int


def read_rows(
    place: Place,
    wanted: tuple[Column, ...] = SUMMARY,
    folder: str = SUMMARIES,
    options: StoreOptions | None = None,
) -> Rows:
    """All rows of `folder` in one table, each log once, forgotten ones left out: for histories that fit in memory.

    Raises UsageError where the history was written by a newer tracekit, or is none.
    """
    merged = _Merged(wanted)
    damaged: list[Damage] = []
    files = loose = 0
    for shard in read_shards(place, wanted, folder, options):
        merged.append(shard.table)
        damaged.extend(shard.damaged)
        files, loose = files + shard.files, loose + shard.loose
    return Rows(table=merged.table(), damaged=tuple(damaged), files=files, loose=loose)


def read_shards(
    place: Place,
    wanted: tuple[Column, ...] = SUMMARY,
    folder: str = SUMMARIES,
    options: StoreOptions | None = None,
) -> Iterator[Rows]:
    """The same a sub-folder at a time; a log is wholly in one of them.

    Raises UsageError where the history was written by a newer tracekit, or is none.
    """
    opts = options or StoreOptions()
    shards = place.folders(folder)
    if not shards and not place.folders(""):
        raise UsageError(message(place.where, "no history there", "a folder made by --history", "Check the path."))
    tombstones = read_tombstones(place)
    for name in shards:
        yield read_shard(place, f"{folder}/{name}", wanted, tombstones, opts)


def read_shard(
    place: Place, folder: str, wanted: tuple[Column, ...], tombstones: tuple[Tombstone, ...], options: StoreOptions
) -> Rows:
    """The same of one sub-folder."""
    needed = {c.name for c in wanted} | set(_ORDER) | {"start_time"}
    columns = (*wanted, *(c for c in SUMMARY if c.name in needed - {w.name for w in wanted}))
    names, tables, damaged = snapshot(place, folder, tuple(c.name for c in columns), options)
    loose = sum(not name.startswith(PACK) for name in names)
    if not tables:
        empty = make_table(columns, {columns[0].name: np.empty(0)}, {})
        return Rows(table=empty, damaged=damaged, files=len(names), loose=loose)
    table = from_arrow(pa.concat_tables(tables, promote_options="default"), columns)
    source = np.repeat(np.arange(len(tables)), [t.num_rows for t in tables])
    keep = newest_rows(table, source) & ~forgotten_rows(table, tombstones)
    return Rows(table=take_rows(table, keep), damaged=damaged, files=len(names), loose=loose)


def snapshot(
    place: Place, folder: str, columns: tuple[str, ...] | None, options: StoreOptions
) -> tuple[list[str], list[pa.Table], tuple[Damage, ...]]:
    """Names and tables of the files in a folder as they were at one instant, and the damaged ones.

    While another program merges files, a listing may miss both the old and the new; so it is done again until no
    file vanished while reading and no new pack has appeared since. Files merely added are left for the next time.
    """
    for _ in range(options.read_tries):
        names = _listed(place, folder)
        tables, damaged, vanished = _read_all(place, folder, names, columns)
        if not vanished and _packs(_listed(place, folder)) == _packs(names):
            return names, tables, tuple(damaged)
        time.sleep(options.retry_s)
    text = message(f"{place.where}/{folder}", "files keep changing", "a quiet moment", "Try again later.")
    raise UsageError(text)


def _listed(place: Place, folder: str) -> list[str]:
    return [name for name in place.names(folder) if name.endswith(".parquet")]


def _packs(names: list[str]) -> set[str]:
    return {name for name in names if name.startswith(PACK)}


def _read_all(
    place: Place, folder: str, names: list[str], columns: tuple[str, ...] | None
) -> tuple[list[pa.Table], list[Damage], bool]:
    tables: list[pa.Table] = []
    damaged: list[Damage] = []
    for name in names:
        path = f"{folder}/{name}"
        try:
            tables.append(read_file(place, path, columns))
        except FileNotFoundError:
            return tables, damaged, True
        except UsageError:
            raise
        except (pa.ArrowException, OSError, ValueError) as error:
            damaged.append(Damage(path, " ".join(str(error).split())[:200]))
    return tables, damaged, False


def read_file(place: Place, path: str, columns: tuple[str, ...] | None) -> pa.Table:
    """One file of a history as an Arrow table.

    Raises FileNotFoundError where it is gone, pyarrow.ArrowException, OSError or ValueError where it is damaged,
    UsageError where a newer tracekit wrote it.
    """
    data = place.read(path)
    if seal_broken(path, data):
        raise ValueError("the bytes are not those that were written (cut, or changed since)")
    file = pq.ParquetFile(pa.BufferReader(data))
    schema = schema_of(file.metadata.metadata)
    if schema > SCHEMA:
        found = f"written by a newer tracekit (schema {schema})"
        raise UsageError(message(f"{place.where}/{path}", found, f"schema {SCHEMA} or less", "Update tracekit."))
    there = file.schema_arrow.names
    wanted = None if columns is None else [name for name in there if name in columns]
    return file.read(columns=wanted, use_threads=False)


def newest_rows(table: Table, source: NDArray[np.int64]) -> NDArray[np.bool_]:
    """True in rows of the newest analysis of their log and station, once, shape (n_rows,).

    `source` is the file of each row: where two files hold the same analysis, the rows of one of them count.
    """
    if len(table) == 0:
        return np.empty(0, np.bool_)
    pair = table.codes("log_id") * (len(table.categories["station"]) + 1) + table.codes("station") + 1
    versions = table.categories["version"]
    order = sorted(set(map(version_order, versions)))
    rank = np.array([*(order.index(version_order(v)) for v in versions), -1])[table.codes("version")]
    _, pair = np.unique(pair, return_inverse=True)
    chosen = np.zeros(len(table), np.int64)
    keys = np.stack([pair, rank, table.codes("added_time"), table.codes("analysis"), source], axis=1)
    block = np.flatnonzero(np.any(np.diff(keys, axis=0, prepend=keys[:1] - 1) != 0, axis=1))
    sizes = np.diff(np.append(block, len(table)))
    heads = keys[block]
    by_rank = np.lexsort(tuple(heads[:, i] for i in (4, 3, 2, 1, 0)))
    last = np.append(np.diff(heads[by_rank, 0]) != 0, True)
    winner = np.empty((int(pair.max()) + 1, 5), np.int64)
    winner[heads[by_rank[last], 0]] = heads[by_rank[last]]
    chosen = np.all(heads == winner[heads[:, 0]], axis=1).astype(np.int64)
    return np.repeat(chosen, sizes).astype(np.bool_)


def take_rows(table: Table, keep: NDArray[np.bool_]) -> Table:
    """The rows where `keep` is True."""
    if keep.all():
        return table
    return make_table(table.columns, {name: values[keep] for name, values in table.data.items()}, table.categories)


class _Merged:
    """Tables below one another, with categories that grow, in memory proportional to the rows."""

    def __init__(self, columns: tuple[Column, ...]) -> None:
        self._columns = columns
        self._parts: dict[str, list[NDArray[np.generic]]] = {c.name: [] for c in columns}
        self._words: dict[str, dict[str, int]] = {c.name: {} for c in columns if c.kind == "category"}

    def append(self, table: Table) -> None:
        """Add the rows of one table."""
        for column in self._columns:
            values = table.data[column.name]
            if column.kind == "category":
                words = self._words[column.name]
                local = [words.setdefault(word, len(words)) for word in table.categories[column.name]]
                values = np.array([*local, -1], np.int32)[table.codes(column.name)]
            self._parts[column.name].append(values)

    def table(self) -> Table:
        """All of it."""
        empty = np.empty(0)
        data = {name: np.concatenate(parts) if parts else empty for name, parts in self._parts.items()}
        return make_table(self._columns, data, {name: tuple(words) for name, words in self._words.items()})
