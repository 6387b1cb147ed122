"""Opens a log: decides what it is and hands out its samples."""

import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from tracekit.errors import LogReadError, StationFileError, message
from tracekit.model.station import Station
from tracekit.model.trace import Layout, LogSource
from tracekit.options.read import ReadOptions
from tracekit.read.convert import Decoder
from tracekit.read.deciding import decide
from tracekit.read.log import Ending, Log
from tracekit.read.longform import LongDecoder
from tracekit.read.opened import Opened, open_input
from tracekit.read.plan import Plan
from tracekit.read.source import find_inputs
from tracekit.read.values import word_codes

_NO_STATION = Station()
_DEFAULT = ReadOptions()


def open_log(sources: Any, station: Station = _NO_STATION, *, options: ReadOptions = _DEFAULT) -> LogSource:
    """Open a path, a list of paths, a folder, a glob, "-", a DataFrame or an Arrow table.

    Raises LogReadError where it cannot be read as a recording of a station.
    """
    inputs = find_inputs(sources, sys.stdin.buffer)
    if len(inputs) != 1:
        raise LogReadError(message("logs", f"{len(inputs)} files", "one", "Name one file."))
    opened = open_input(inputs[0], options)
    plan = decide(opened.head, station)
    if plan.station_column is not None and not opened.head.whole:
        plan = _all_stations(opened, plan)
    return _log(opened, plan, station, options)


def _all_stations(opened: Opened, plan: Plan) -> Plan:
    """The plan with the names of all stations of the file, also of those that come late."""
    assert plan.station_column is not None
    column = plan.columns[plan.station_column]
    narrow = replace(plan, columns={column.name: column})
    names = dict.fromkeys(plan.station_names)
    for rows in opened.rows(narrow):
        names |= dict.fromkeys(w.strip() for w in word_codes(rows.columns[column.name])[1])
    return replace(plan, station_names=tuple(names))


def _log(opened: Opened, plan: Plan, station: Station, options: ReadOptions) -> Log:
    decoder: Decoder | LongDecoder = LongDecoder(plan) if plan.long else Decoder(plan)
    ending = Ending(
        log_id=opened.log_id,
        start_time_us=lambda: utc_us(decoder.time.start_time_us(), plan, station),
        steps=lambda: tuple(decoder.time.steps),
        context=decoder.context.values if isinstance(decoder, Decoder) else dict,
        warnings=lambda: tuple(time_warnings(decoder.time.start_time_us(), plan, station)),
    )
    return Log(
        layout=layout_of(plan),
        source=opened.source.name,
        portions=decoder.portions(opened.rows(plan)),
        time=plan.time,
        ending=ending,
        context=plan.context,
        options=options,
    )


def layout_of(plan: Plan) -> Layout:
    """What was understood, in the form that the analysis takes."""
    roles = {role for s in plan.stations for role in s.digitals}
    columns = {"time": " + ".join(plan.time.columns) or "row number"}
    several = len(plan.stations) > 1
    for s in plan.stations:
        end = f" {s.name}" if several else ""
        columns["pressure" + end] = s.pressure.column
        columns |= {role + end: d.column for role, d in s.digitals.items()}
    if plan.station_column is not None:
        columns["station"] = plan.station_column
    ambient = [s.pressure.ambient_kpa for s in plan.stations if s.pressure.ambient_kpa is not None]
    return Layout(
        stations=plan.station_names if len(plan.station_names) > 0 else tuple(s.name for s in plan.stations),
        has_supply="supply" in roles,
        has_release="release" in roles,
        has_present="part_present" in roles,
        on_level=plan.on_level,
        supply_signal=plan.supply_signal,
        assumptions=plan.assumptions,
        columns=columns,
        absolute=any(s.pressure.absolute for s in plan.stations),
        ambient_kpa=float(np.mean(ambient)) if ambient else None,
    )


def utc_us(local_us: int | None, plan: Plan, station: Station) -> int | None:
    """UTC of the start [µs], None where the stamps have no date or their zone is unknown.

    Raises StationFileError where the station file names a zone that does not exist.
    """
    if local_us is None or plan.time.zoned or plan.time.start_us is not None:
        return local_us
    zone = station.station.timezone
    if zone is None:
        return None
    try:
        known = ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError) as error:
        found = f'timezone is "{zone}"'
        raise StationFileError(
            message(station.source or "station file", found, "a zone such as Europe/Lisbon", "Correct it.")
        ) from error
    local = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=local_us)
    offset = local.replace(tzinfo=known).utcoffset() or timedelta(0)
    return local_us - round(offset.total_seconds() * 1e6)


def time_warnings(local_us: int | None, plan: Plan, station: Station) -> Iterator[str]:
    """What the reader of a page must know about dates."""
    if plan.time.date_open:
        yield "day and month of the stamps could be exchanged, so the date is not used"
    elif local_us is not None and not plan.time.zoned and station.station.timezone is None and plan.time.dated:
        yield "the stamps have no zone; give timezone in the station file to have dates"
