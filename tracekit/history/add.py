"""Adding a diagnosis to a history: idempotent, atomic, without locks."""

import time
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import pyarrow as pa

from tracekit.errors import UsageError
from tracekit.frozen import dataclass
from tracekit.history.arrow import parquet_bytes, text_codes
from tracekit.history.forgotten import Tombstone, forgotten_rows, read_tombstones
from tracekit.history.good import keep_good
from tracekit.history.place import Place, open_place
from tracekit.history.read import read_file
from tracekit.history.schema import (
    CYCLES_FOLDER,
    MARKS,
    PACK,
    SUMMARIES,
    digest,
    log_stem,
    metadata,
    sealed_name,
    shard,
    version_order,
)  # fmt: skip
from tracekit.history.summarise import log_start, summarise, times_us
from tracekit.model.result import DiagnosisRecord
from tracekit.model.station import Station
from tracekit.model.tables import Table, make_table
from tracekit.model.trace import LogFacts
from tracekit.options.history import StoreOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """What adding one log came to.

    status    added: new; known: it was there already, nothing was written; mended: it was there, but its cycles were
              damaged or gone and are written again; replaced: an older analysis of the same log no longer counts;
              older: a newer analysis is there already and goes on counting
    earlier   the version of tracekit behind the analysis that was replaced or wins, "" where there was none
    """

    log_id: str
    source: str
    status: Literal["added", "known", "mended", "replaced", "older"]
    earlier: str = ""

    @property
    def text(self) -> str:
        """One sentence for the terminal."""
        said = {
            "added": "added",
            "known": "known already, counted once",
            "mended": "known already; its cycles were damaged or gone and are written again",
            "replaced": f"replaces the analysis by tracekit {self.earlier}",
            "older": f"kept, but the analysis by tracekit {self.earlier} goes on counting",
        }
        return f"{self.source}: {said[self.status]}"


def add_record(
    history: str | Path,
    record: DiagnosisRecord,
    *,
    started_us: int | None = None,
    stations: Station | Mapping[str, Station] | None = None,
    options: StoreOptions | None = None,
) -> tuple[Added, ...]:
    """Add every log of a diagnosis to the history at a folder or address; it is made where it does not exist.

    started_us  start of the recording, UTC microseconds since 1970, for a log without dates (wins over the log's own)
    stations    the station file, or station files by station name: limits, price, supply group are kept with the rows

    Raises UsageError where a log has no date and none is given, before anything is written; OutputError where the
    place cannot be written. A log is wholly in or wholly out, whenever this is killed.
    """
    opts = options or StoreOptions()
    starts = [log_start(facts, started_us) for facts in record.logs]
    by_name = _by_name(record, stations)
    place = open_place(history)
    tombstones = read_tombstones(place)
    return tuple(
        _add_log(place, record, facts, start, by_name, tombstones, opts)
        for facts, start in zip(record.logs, starts, strict=True)
    )


def _by_name(record: DiagnosisRecord, stations: Station | Mapping[str, Station] | None) -> Mapping[str, Station]:
    if stations is None:
        return {}
    if isinstance(stations, Station):
        return {result.data.station: stations for result in record.stations}
    return stations


def _add_log(
    place: Place,
    record: DiagnosisRecord,
    facts: LogFacts,
    start_us: int,
    stations: Mapping[str, Station],
    tombstones: tuple[Tombstone, ...],
    options: StoreOptions,
) -> Added:
    rows = summarise(record, facts, start_us, stations, options)
    analysis = _analysis(record, start_us, stations)
    others = _analyses(place, SUMMARIES, facts.log_id)
    mine = others.get(analysis)
    rank = {key: (version_order(version), added) for key, (version, added) in others.items()}
    newest = max(rank, key=lambda key: rank[key], default=None)
    version = version_order(record.version)
    loses = newest is not None and rank[newest][0] > version
    earlier = others[newest][0] if newest is not None else ""
    cycles = _cycles_of(record, facts, start_us)
    if mine and not _is_forgotten(rows, mine[1], tombstones) and (newest == analysis or loses):
        status = "older" if loses else _known(place, cycles, facts.log_id, (*mine, analysis))
        return Added(log_id=facts.log_id, source=facts.source, status=status, earlier=earlier)
    now_us = max([time.time_ns() // 1000, *(t.written_us for t in tombstones)])  # also where the clock was set back
    if newest is not None and not loses:
        now_us = max(now_us, rank[newest][1] + 1)
    marks = (record.version, now_us, analysis)
    for result in record.stations if len(record.logs) == 1 else ():
        keep_good(place, result, facts.log_id, start_us)
    for kind, table in ((CYCLES_FOLDER, cycles), (SUMMARIES, rows)):
        _put(place, kind, table, facts.log_id, marks)
    if newest is None or (newest == analysis and len(others) == 1):
        return Added(log_id=facts.log_id, source=facts.source, status="added")
    return Added(log_id=facts.log_id, source=facts.source, status="older" if loses else "replaced", earlier=earlier)


def _known(place: Place, cycles: Table, log_id: str, marks: tuple[str, int, str]) -> Literal["known", "mended"]:
    """What adding a log comes to that is there: where its cycles are damaged or gone they are written as they were."""
    if not len(cycles) or marks[2] in _analyses(place, CYCLES_FOLDER, log_id):
        return "known"
    _put(place, CYCLES_FOLDER, cycles, log_id, marks)
    return "mended"


def _put(place: Place, kind: str, table: Table, log_id: str, marks: tuple[str, int, str]) -> None:
    """Write the rows of one log under a name that tells their content: the same rows replace a damaged file."""
    data = parquet_bytes(_marked(table, marks), metadata())
    place.put(f"{kind}/{shard(log_id)}/{sealed_name(log_stem(log_id, marks[2]), data)}", data)


def _is_forgotten(rows: Table, added_us: int, tombstones: tuple[Tombstone, ...]) -> bool:
    """Whether rows that were added at that time are left out by a tombstone."""
    return bool(forgotten_rows(rows, tombstones, np.full(len(rows), added_us)).any())


def _analysis(record: DiagnosisRecord, start_us: int, stations: Mapping[str, Station]) -> str:
    """Hash of everything beside the log that shapes the rows, so that the same analysis has the same name."""
    names = sorted(result.data.station for result in record.stations)
    files = {name: _plain(stations[name]) for name in names if name in stations}
    settings = {name: str(value) for name, value in record.options.items()}
    return digest([record.version, start_us, names, files, settings], 16)


def _plain(value: object) -> object:
    """A frozen record as plain lists and maps. The station file's own path says nothing about the analysis."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value) if f.name != "source" or f.default != ""}
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(v) for v in value]
    return value


def _cycles_of(record: DiagnosisRecord, facts: LogFacts, start_us: int) -> Table:
    """The log's rows of the cycles table, each with its date."""
    cycles = record.cycles
    here = cycles.where("log_id", facts.log_id)
    data = {name: values[here] for name, values in cycles.data.items()}
    data["start_time"] = times_us(cycles, start_us)[here]
    return make_table(cycles.columns, data, cycles.categories)


def _marked(table: Table, marks: tuple[str, int, str]) -> Table:
    """The table with version, time of adding and analysis in every row."""
    version, added_us, analysis = marks
    rows = len(table)
    columns = (*(c for c in table.columns if c.name not in {m.name for m in MARKS}), *MARKS)
    data = {
        **table.data, "version": np.zeros(rows, np.int32), "added_time": np.full(rows, added_us, np.int64),
        "analysis": np.zeros(rows, np.int32),
    }  # fmt: skip
    return make_table(columns, data, {**table.categories, "version": (version,), "analysis": (analysis,)})


def _analyses(place: Place, kind: str, log_id: str) -> dict[str, tuple[str, int]]:
    """Version and time of adding [µs] of the analyses of a log that the files of one kind hold, by analysis hash."""
    stem, folder = log_stem(log_id), f"{kind}/{shard(log_id)}"
    found: dict[str, tuple[str, int]] = {}
    for name in place.names(folder):
        if name.startswith((stem, PACK)) and name.endswith(".parquet"):
            found.update(_analyses_in(place, f"{folder}/{name}", log_id))
    return found


def _analyses_in(place: Place, name: str, log_id: str) -> dict[str, tuple[str, int]]:
    """The same of one file; a file that is damaged or gone has none (`history --check` names it)."""
    try:
        table = read_file(place, name, ("log_id", "version", "added_time", "analysis"))
        ids, known = text_codes(table.column("log_id"))
        if log_id not in known:
            return {}
        rows = np.flatnonzero(ids == known.index(log_id))
        versions, version_names = text_codes(table.column("version"))
        analyses, analysis_names = text_codes(table.column("analysis"))
        added = np.frombuffer(table.column("added_time").cast(pa.int64()).combine_chunks().buffers()[1], np.int64)
    except UsageError:
        raise
    except (pa.ArrowException, OSError, KeyError, ValueError):
        return {}
    _, first = np.unique(analyses[rows], return_index=True)
    return {
        analysis_names[analyses[row]]: (version_names[versions[row]], int(added[row])) for row in rows[first].tolist()
    }
