"""Keeping a history in order: check, merge, export."""

import csv
import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import TextIO

import numpy as np
import pyarrow as pa

from tracekit.errors import UsageError, message, nearest
from tracekit.frozen import dataclass
from tracekit.history.arrow import arrow_bytes, from_arrow
from tracekit.history.events import iso, read_event
from tracekit.history.forgotten import (
    Tombstone,
    forgotten_rows,
    read_tombstone,
    read_tombstones,
    write_tombstone,
)
from tracekit.history.place import Place
from tracekit.history.read import newest_rows, read_shard, read_shards, snapshot
from tracekit.history.schema import (
    CYCLES_FOLDER,
    EVENTS,
    FORGOTTEN,
    PACK,
    SUMMARIES,
    SUMMARY,
    UNFINISHED,
    metadata,
    sealed_name,
    shard,
)  # fmt: skip
from tracekit.model.outside import disarmed
from tracekit.model.trend import Damage
from tracekit.options.history import StoreOptions

EVER_US = 1 << 62
"""Further off than any time that a log can have [µs since 1970]."""
_FORGET = tuple(c for c in SUMMARY if c.name in ("log_id", "station", "start_time", "added_time"))
_MARK_NAMES = ("log_id", "station", "version", "added_time", "analysis", "start_time")


class NothingMeantError(UsageError):
    """Nothing in the history is what was to be forgotten."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What a check found. `orphans` are cycles files of logs that are not (yet) in the history."""

    files: int
    logs: int
    damaged: tuple[Damage, ...]
    unfinished: tuple[str, ...]
    orphans: tuple[str, ...]

    @property
    def sound(self) -> bool:
        """True where nothing is damaged."""
        return not self.damaged


@dataclass(frozen=True, slots=True, kw_only=True)
class Compacted:
    """What a compaction did: files before and after, unfinished files of killed programs removed."""

    before: int
    after: int
    removed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Forgotten:
    """How many logs were forgotten, wholly or for one station."""

    logs: int


def check(place: Place, options: StoreOptions | None = None) -> Checked:
    """Read every file of a history and name those that are damaged, each with what to do. Nothing is changed."""
    opts = options or StoreOptions()
    damaged: list[Damage] = []
    unfinished: list[str] = []
    ids: dict[str, set[str]] = {SUMMARIES: set(), CYCLES_FOLDER: set()}
    files = 0
    for folder, logs in ids.items():
        for inner in place.folders(folder):
            path = f"{folder}/{inner}"
            names, tables, bad = snapshot(place, path, None if folder == SUMMARIES else _MARK_NAMES, opts)
            damaged.extend(bad)
            files += len(names)
            unfinished.extend(f"{path}/{n}" for n in place.names(path) if n.endswith(UNFINISHED))
            logs.update(_logs_of(tables))
    told = [replace(one, reason=f"{one.reason}. {_todo(one.name, ids)}") for one in damaged]
    return Checked(
        files=files,
        logs=len(ids[SUMMARIES]),
        damaged=(*told, *_damaged_notes(place)),
        unfinished=tuple(unfinished),
        orphans=_orphans(place, ids[CYCLES_FOLDER] - ids[SUMMARIES], opts),
    )


def _logs_of(tables: list[pa.Table]) -> set[str]:
    return {str(value) for table in tables for value in table.column("log_id").unique().to_pylist()}


def _orphans(place: Place, suspects: set[str], options: StoreOptions) -> tuple[str, ...]:
    """Those of the logs that have cycles and no summary now: one that was added meanwhile has both."""
    found: set[str] = set()
    for inner in {shard(log_id) for log_id in suspects}:
        there = _logs_of(snapshot(place, f"{CYCLES_FOLDER}/{inner}", ("log_id",), options)[1])
        found |= there - _logs_of(snapshot(place, f"{SUMMARIES}/{inner}", ("log_id",), options)[1])
    return tuple(sorted(found & suspects))


def _todo(name: str, ids: Mapping[str, set[str]]) -> str:
    """What to do about a damaged table: add again the logs that it held, which writes what is lacking."""
    folder, inner, file = name.split("/")
    if not file.startswith(PACK):
        log_id = file.split("-", 1)[0]
        return f"Add the log whose SHA-256 is {log_id} again; delete this file if it is still named then."
    lost = ids[SUMMARIES] - ids[CYCLES_FOLDER] if folder == CYCLES_FOLDER else ids[CYCLES_FOLDER] - ids[SUMMARIES]
    logs = " ".join(sorted(log_id for log_id in lost if shard(log_id) == inner))
    which = f"the logs whose SHA-256 are {logs}" if logs else "any log that the list of the history lacks"
    return f"Add {which} again, then delete this file."


def _damaged_notes(place: Place) -> Iterator[Damage]:
    for folder, reader in ((EVENTS, read_event), (FORGOTTEN, read_tombstone)):
        for name in place.names(folder):
            if name.endswith(".json") and reader(place, name) is None:
                todo = f"{'Note the event' if folder == EVENTS else 'Forget the same'} again, then delete this file."
                yield Damage(f"{folder}/{name}", f"not what tracekit writes there. {todo}")


def compact(place: Place, options: StoreOptions | None = None) -> Compacted:
    """Merge the files of every sub-folder into one, older analyses and forgotten rows left out.

    The merged file is written first, whole; only then are those deleted that went into it. Killed at any instant, at
    worst both stand side by side, and readers count each log once. Damaged files stay where they are.
    """
    opts = options or StoreOptions()
    before = after = removed = 0
    for folder in (CYCLES_FOLDER, SUMMARIES):
        for inner in place.folders(folder):
            path = f"{folder}/{inner}"
            old, new = _compact_folder(place, path, opts)
            before, after = before + old, after + new
            removed += _remove_stale(place, path, opts)
    return Compacted(before=before, after=after, removed=removed)


def _compact_folder(place: Place, path: str, options: StoreOptions) -> tuple[int, int]:
    """Files before and after."""
    names, tables, damaged = snapshot(place, path, None, options)
    bad = {d.name for d in damaged}
    good = [name for name in names if f"{path}/{name}" not in bad]
    if not tables:
        return len(names), len(names)
    merged = _merged(place, tables)
    if len(good) == 1 and good[0].startswith(PACK) and merged.num_rows == tables[0].num_rows:
        return len(names), len(names)
    kept = set()
    if merged.num_rows:
        data = arrow_bytes(merged.replace_schema_metadata(metadata()))
        kept = {sealed_name(PACK, data)}
        place.put(f"{path}/{sealed_name(PACK, data)}", data)
    for name in good:
        if name not in kept:
            place.delete(f"{path}/{name}")
    return len(names), len(names) - len(good) + len(kept)


def _merged(place: Place, tables: list[pa.Table]) -> pa.Table:
    """The tables below one another, each log and station once, sorted by log so that a log is found quickly."""
    whole = pa.concat_tables(tables, promote_options="default").unify_dictionaries()
    marks = from_arrow(whole, tuple(c for c in SUMMARY if c.name in _MARK_NAMES))
    source = np.repeat(np.arange(len(tables)), [t.num_rows for t in tables])
    keep = newest_rows(marks, source) & ~forgotten_rows(marks, read_tombstones(place))
    words = marks.categories["log_id"]
    rank = np.empty(len(words) + 1, np.int64)
    rank[np.argsort(np.array(words, object), kind="stable")] = np.arange(len(words))
    order = np.flatnonzero(keep)
    order = order[np.argsort(rank[marks.codes("log_id")[order]], kind="stable")]
    index = pa.Array.from_buffers(pa.int64(), len(order), [None, pa.py_buffer(order.astype(np.int64).tobytes())])
    return whole.take(index).combine_chunks()


def _remove_stale(place: Place, path: str, options: StoreOptions) -> int:
    """Remove what killed programs left unfinished long ago."""
    removed = 0
    for name in place.names(path):
        if not name.endswith(UNFINISHED):
            continue
        try:
            if place.age_s(f"{path}/{name}") > options.stale_s:
                place.delete(f"{path}/{name}")
                removed += 1
        except FileNotFoundError:
            continue
    return removed


def forget(place: Place, station: str | None, from_us: int, to_us: int, log_id: str | None = None) -> Forgotten:
    """Forget the rows of a station, span or log; readers leave them out at once.

    Raises NothingMeantError where nothing in the history is meant by that, UsageError where it cannot be read.
    """
    stones = read_tombstones(place)
    folders = place.folders(SUMMARIES) if log_id is None else [shard(log_id)]
    logs: set[str] = set()
    stations: set[str] = set()
    after_us = 0
    meant = Tombstone(station=station, from_us=from_us, to_us=to_us, written_us=EVER_US, log_id=log_id)
    for folder in folders:
        rows = read_shard(place, f"{SUMMARIES}/{folder}", _FORGET, stones, StoreOptions()).table
        stations.update(rows.categories["station"])
        added_us = rows.codes("added_time")
        named = meant.covers(rows, added_us)
        logs.update(rows.categories["log_id"][code] for code in np.unique(rows.codes("log_id")[named]).tolist())
        after_us = max(after_us, int(added_us[named].max(initial=0)))
    if not logs:
        todo = nearest(station, stations) if station is not None and station not in stations else "See the list of it."
        found = "nothing there is meant by that" if station is None else f'no log of "{station}" there is meant by that'
        raise NothingMeantError(message(place.where, found, "a station and span of this history", todo))
    write_tombstone(place, station, from_us, to_us, log_id=log_id, after_us=after_us)
    return Forgotten(logs=len(logs))


def withdraw(place: Place, log_id: str) -> bool:
    """Take one log out of a history, every station of it; False where it is not in it.

    Raises UsageError where the history cannot be read.
    """
    try:
        forget(place, None, -EVER_US, EVER_US, log_id)
    except NothingMeantError:
        return False
    return True


def export_csv(place: Place, out: TextIO, options: StoreOptions | None = None) -> int:
    """Write the summaries of a history as CSV, each log once; gives the number of rows.

    Text that a spreadsheet would take for a formula gets an apostrophe in front; numbers stay numbers.
    """
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([c.name for c in SUMMARY])
    rows = 0
    for part in read_shards(place, SUMMARY, SUMMARIES, options):
        table = part.table
        columns = [_cells(table.data[c.name].tolist(), c.kind, table.categories.get(c.name, ())) for c in SUMMARY]
        writer.writerows(zip(*columns, strict=True))
        rows += len(table)
    return rows


def _cells(values: list[float], kind: str, words: tuple[str, ...]) -> list[object]:
    if kind == "category":
        return ["" if v < 0 else disarmed(words[int(v)]) for v in values]
    if kind == "time":
        return ["" if v == -1 else iso(int(v)) for v in values]
    if kind == "float":
        return ["" if math.isnan(v) else repr(v) for v in values]
    return ["" if v == -1 else v for v in values]
