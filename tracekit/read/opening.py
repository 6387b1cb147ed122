"""Opens a log: decides what it is and hands out its samples."""

import hashlib
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from tracekit.errors import LogReadError, message
from tracekit.model.station import Station
from tracekit.model.trace import Assumption, Layout, LogSource
from tracekit.options.read import ReadOptions
from tracekit.read.bytestream import file_hash, packing_of, unpacked, whole_lines
from tracekit.read.columnar import open_parquet, parquet_rows, table_hash, table_rows
from tracekit.read.convert import BITS, Decoder, Plan, decode_all
from tracekit.read.delimited import TextShape, parse, parse_ahead
from tracekit.read.log import Log
from tracekit.read.rows import Rows
from tracekit.read.source import Input, find_inputs

_NO_STATION = Station()
_DEFAULT = ReadOptions()


def open_log(sources: Any, station: Station = _NO_STATION, *, options: ReadOptions = _DEFAULT) -> LogSource:
    """Open a path, a list of paths, a folder, a glob, "-", a DataFrame or an Arrow table.

    Raises LogReadError where it cannot be read as a recording of a station.
    """
    inputs = find_inputs(sources, sys.stdin.buffer)
    if len(inputs) != 1:
        raise LogReadError(message("logs", f"{len(inputs)} files", "one", "Name one file."))
    only = inputs[0]
    if only.table is not None:
        return _open_table(only, only.table, station, options)
    assert only.path is not None
    packing = packing_of(only.path)
    if packing == "parquet":
        return _open_parquet(only, only.path, station, options)
    return _open_text(only, only.path, packing, station, options)


def _open_table(only: Input, table: pa.Table, station: Station, options: ReadOptions) -> Log:
    plan = _plan(only.name, table.column_names)
    wanted = [plan.time, plan.pressure, *plan.digitals.values()]
    head = next(table_rows(table, wanted, options), None)
    return _log(only.name, plan, head, table_rows(table, wanted, options), lambda: table_hash(table), station, options)


def _open_parquet(only: Input, path: Path, station: Station, options: ReadOptions) -> Log:
    file = open_parquet(path)
    plan = _plan(only.name, file.schema_arrow.names)
    wanted = [plan.time, plan.pressure, *plan.digitals.values()]
    head = next(parquet_rows(file, only.name, wanted, options), None)
    rows = parquet_rows(file, only.name, wanted, options)
    return _log(only.name, plan, head, rows, lambda: file_hash(path), station, options)


def _open_text(only: Input, path: Path, packing: str, station: Station, options: ReadOptions) -> Log:
    head = next(whole_lines(unpacked(path, packing, options.head_bytes), options.head_bytes), b"")
    header, _, first = head.partition(b"\n")
    names = tuple(n.strip().strip('"') for n in header.decode("utf-8-sig", "replace").strip().split(","))
    plan = _plan(only.name, names)
    types = {plan.time: pa.float64(), plan.pressure: pa.float64()}
    types |= dict.fromkeys(plan.digitals.values(), pa.int8())
    shape = TextShape(names=names, types=types, skip=1, quote='"' if b'"' in first else None)
    digest = hashlib.sha256()
    pieces = whole_lines(unpacked(path, packing, options.block_bytes, digest), options.block_bytes)
    rows = parse_ahead(_skip_lines(pieces, 1), shape, 2, options)
    return _log(only.name, plan, parse(first, shape, 2), rows, digest.hexdigest, station, options)


def _skip_lines(pieces: Iterator[bytes], count: int) -> Iterator[bytes]:
    for piece in pieces:
        while count and piece:
            piece = piece.partition(b"\n")[2]
            count -= 1
        if piece:
            yield piece


def _plan(name: str, names: Any) -> Plan:
    if "time_s" not in names or "pressure_kpa" not in names:
        found = "columns " + ", ".join(map(str, names))
        raise LogReadError(message(name, found, "time_s and pressure_kpa", "Name the columns in [channels]."))
    return Plan(time="time_s", pressure="pressure_kpa", digitals={d: d for d in BITS if d in names})


def _log(
    name: str,
    plan: Plan,
    head: Rows | None,
    rows: Iterator[Rows],
    log_id: Callable[[], str],
    station: Station,
    options: ReadOptions,
) -> Log:
    sample = Decoder(plan).decode(head).stations[0] if head is not None else None
    if sample is None:
        raise LogReadError(message(name, "no row with a time", "rows of samples", "Export the log again."))
    intervals = np.diff(sample.time_s)
    rising = intervals[intervals > 0]
    channels = station.channels
    on_level = {k: c.on_level for k, c in channels.items() if c.on_level is not None and k in BITS}
    layout = Layout(
        stations=(station.station.name or Path(name).stem,),
        has_supply="supply" in plan.digitals,
        has_release="release" in plan.digitals,
        has_present="part_present" in plan.digitals,
        on_level=on_level,
        supply_signal=channels["supply"].signal if "supply" in channels else "valve",
        assumptions=(Assumption(what="columns", value="canonical", evidence="names of the header", confidence=1.0),),
        columns={"time": plan.time, "pressure": plan.pressure, **plan.digitals},
    )
    typical = float(np.median(rising)) if len(rising) else 0.0
    return Log(
        layout=layout, source=name, portions=decode_all(rows, plan), log_id=log_id, typical_s=typical, options=options
    )
