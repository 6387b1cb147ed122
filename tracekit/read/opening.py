"""Opens a log: decides what it is and hands out its samples."""

import hashlib
import sys
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.model.station import Station
from tracekit.model.trace import Assumption, Layout, LogSource
from tracekit.options.read import ReadOptions
from tracekit.read.channelfiles import named_by_file, told_once
from tracekit.read.convert import Decoder, Portion
from tracekit.read.joining import Recording, recordings
from tracekit.read.log import RESTARTS_TOLD, Ending, Log, restart_warning
from tracekit.read.longform import LongDecoder
from tracekit.read.opened import Opened, files_of, open_input
from tracekit.read.ordering import in_time_order
from tracekit.read.overlap import Part, decoder_of, without_overlap
from tracekit.read.owntimes import with_own_times
from tracekit.read.plan import Plan
from tracekit.read.sidefile import SideFile, SideReader, left_aside
from tracekit.read.source import Input, find_inputs
from tracekit.read.timeread import TimeReader
from tracekit.read.timesteps import with_steps_added
from tracekit.read.utc import utc_us
from tracekit.read.values import word_codes

_NO_STATION = Station()
_DEFAULT = ReadOptions()


def open_log(
    sources: Any, station: Station | Sequence[Station] = _NO_STATION, *, options: ReadOptions = _DEFAULT
) -> LogSource:
    """Open one recording: a path, a list of paths, a folder, a glob, "-", a DataFrame or an Arrow table.

    Several files must continue one another, or hold different channels of the same time. Of several station files
    those are taken that belong to the log.
    Raises LogReadError where they cannot be read as a recording of a station.
    """
    found = open_logs(sources, station, options=options)
    if len(found) > 1:
        names = ", ".join(log.source for log in found)
        what = f"{len(found)} recordings that do not continue one another ({names})"
        raise LogReadError(message("logs", what, "one recording", "Read them one by one."))
    return found[0]


def open_logs(
    sources: Any, station: Station | Sequence[Station] = _NO_STATION, *, options: ReadOptions = _DEFAULT
) -> tuple["Log", ...]:
    """Open every recording among some sources, in the order in which their first files were given; see `open_log`."""
    found = []
    for group in open_each(sources, station, options=options):
        if group.error is not None:
            raise group.error
        if group.log is not None:
            found.append(group.log)
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogGroup:
    """Files that are one recording, in the order of their times; or one that cannot be read, and why.

    paths  as they were found; empty for tables
    names  of the files, without folders
    log    the recording, opened, where that was asked for
    """

    paths: tuple[str, ...]
    names: tuple[str, ...] = ()
    error: LogReadError | None = None
    log: Log | None = None


def open_each(
    sources: Any, station: Station | Sequence[Station] = _NO_STATION, *, options: ReadOptions = _DEFAULT
) -> tuple[LogGroup, ...]:
    """Open every recording among some sources; one that cannot be read does not stop the others.

    Raises LogReadError where a name leads to no file.
    """
    stations = (station,) if isinstance(station, Station) else tuple(station)
    groups = _grouped(find_inputs(sources, sys.stdin.buffer), stations, options)
    facts = _facts_of(stations)
    return tuple(
        LogGroup(paths=_paths(own), names=tuple(one.name for one in own), error=found)
        if isinstance(found, LogReadError)
        else LogGroup(paths=_paths(own), names=tuple(one.name for one in own), log=_log(found, facts, options))
        for own, found in groups
    )


def group_logs(
    sources: Sequence[str], station: Station | Sequence[Station] = _NO_STATION, *, options: ReadOptions = _DEFAULT
) -> tuple[LogGroup, ...]:
    """Which files among paths, folders and globs are one recording, and which are separate ones; none is opened.

    A file that cannot be read is a group of its own with its error; a single file is not looked at.
    Raises LogReadError where a name leads to no file.
    """
    stations = (station,) if isinstance(station, Station) else tuple(station)
    inputs = find_inputs(list(sources))
    if len(inputs) == 1:
        return (LogGroup(paths=(str(inputs[0].path),)),)
    groups = _grouped(inputs, stations, options, light=True)
    return tuple(
        LogGroup(paths=_paths(own), error=found if isinstance(found, LogReadError) else None) for own, found in groups
    )


def _grouped(
    inputs: Sequence[Input], stations: Sequence[Station], options: ReadOptions, *, light: bool = False
) -> list[tuple[list[Input], Recording | LogReadError]]:
    """Recordings, or errors, with their files, in the order in which their first files were given."""
    given = stations[0].channels.get("time") if len(stations) == 1 else None
    found: dict[int, tuple[list[Input], Recording | LogReadError]] = {}

    def openable() -> Iterator[Opened]:
        for one in inputs:
            try:
                tables = open_input(one, options)
                each = [channel for table in tables for channel in with_own_times(with_steps_added(table))]
                yield from [named_by_file(in_time_order(table, given, options)) for table in each]
            except LogReadError as error:
                found[id(one)] = ([one], error)

    together, refused = recordings(openable(), stations, options, light=light)
    place = {id(one): number for number, one in enumerate(inputs)}
    for recording in together:
        sources = files_of(recording.files)
        found[min((id(s) for s in sources), key=place.__getitem__)] = (sources, recording)
    errors = told_once([(left.opened, left.error) for left in refused])
    for left, error in zip(refused, errors, strict=True):
        found[id(left.opened.source)] = ([left.opened.source], error)  # of all its tables none is read then
    return [found[id(one)] for one in inputs if id(one) in found]


def _paths(inputs: Sequence[Input]) -> tuple[str, ...]:
    return tuple(str(one.path) for one in inputs if one.path is not None)


def _facts_of(stations: Sequence[Station]) -> Station:
    """The only station file, or what several say alike about the zone of the stamps."""
    if len(stations) == 1:
        return stations[0]
    zones = {s.station.timezone for s in stations}
    return Station(station=replace(_NO_STATION.station, timezone=zones.pop())) if len(zones) == 1 else _NO_STATION


def _with_all_stations(parts: Sequence[Part]) -> list[Part]:
    """The parts with the names of all stations of all files, in one order."""
    names = tuple(dict.fromkeys(n for p in parts for n in _all_stations(p.opened, p.plan).station_names))
    return [replace(p, plan=replace(p.plan, station_names=names)) for p in parts]


def _all_stations(opened: Opened, plan: Plan) -> Plan:
    """The plan with the names of all stations of the file, also of those that come late."""
    if plan.station_column is None or opened.head.whole:
        return plan
    column = plan.columns[plan.station_column]
    narrow = replace(plan, columns={column.name: column})
    names = dict.fromkeys(plan.station_names)
    for rows in opened.rows(narrow):
        names |= dict.fromkeys(w.strip() for w in word_codes(rows.columns[column.name])[1])
    return replace(plan, station_names=tuple(names))


_RATES = "rows 1e-7 s apart or more"
_RATES_TODO = "Name the column of the time and its unit in the station file."


def _log(recording: Recording, station: Station, options: ReadOptions) -> Log:
    parts = _with_all_stations(recording.parts)
    first = parts[0]
    plan = _beside(first.plan, [side for side, _ in recording.sides])
    slowest_s = max([plan.time.typical_s, *(part.plan.time.typical_s for part in parts if part.opened.line)])
    if 0.0 < slowest_s < options.quickest_s:
        raise LogReadError(message(first.opened.source.name, f"rows {slowest_s:.2g} s apart", _RATES, _RATES_TODO))
    plan = replace(plan, time=replace(plan.time, typical_s=slowest_s))
    time = station.channels.get("time")
    moved_s = (time.digitals_late_s or 0.0) if time is not None else 0.0
    if moved_s:
        way = f"{abs(moved_s):g} s {'earlier' if moved_s > 0 else 'later'} than logged"
        fact = Assumption(what="time of the digitals", value=way, evidence="station file", confidence=1.0)
        plan = replace(plan, assumptions=(*plan.assumptions, fact))
    late_s = max((side.late_s(plan.time.typical_s) for side, _ in recording.sides), default=0.0)
    decoders = [decoder_of(part.plan) for part in parts]
    sides = [SideReader(side, shift_s - moved_s) for side, shift_s in recording.sides]
    first_time = decoders[0].time
    ending = Ending(
        log_id=lambda: _joint_id(recording.files),
        start_time_us=lambda: utc_us(_start_us(first_time, plan), plan, station),
        steps=lambda: tuple((at_s - plan.time.lead_s, step_s) for d in decoders for at_s, step_s in d.time.steps),
        context=lambda: decoders[0].context.values() if isinstance(decoders[0], Decoder) else {},
        warnings=lambda: (
            *(w for f in recording.files for w in f.warnings()),
            *(part.told for part in parts if part.told),
            *(told for side, _ in recording.sides if (told := side.slower_than(plan.time.typical_s))),
            *(told for side in sides if (told := side.ends_early())),
            *plan.time.doubts,
            *(restart_warning(r) for d in decoders for r in d.time.restarts[:RESTARTS_TOLD]),
            *(doubt for s in plan.stations for doubt in s.pressure.doubts),
            *time_warnings(first_time.start_time_us(), plan, station),
        ),
    )
    return Log(
        layout=replace(layout_of(plan), digital_late_s=late_s),
        plan=plan,
        source=", ".join(one.name for one in files_of(recording.files)),
        portions=_portions(recording, parts, decoders, sides),
        ending=ending,
        options=options,
        time=time,
        late_s=0.0 if recording.sides else moved_s,
        named="supply" in station.channels and not recording.sides,
    )


def _start_us(time: TimeReader, plan: Plan) -> int | None:
    """Unix time of the first row as the stamps tell it, zone left aside; None where they hold no date [µs]."""
    stamp_us = time.start_time_us()
    return None if stamp_us is None else stamp_us + round(plan.time.lead_s * 1e6)


def _joint_id(files: Sequence[Opened]) -> str:
    """The hash of one file, or that of the sorted hashes of several."""
    ids = list({id(f.source): f.log_id() for f in files}.values())
    return ids[0] if len(ids) == 1 else hashlib.sha256("\n".join(sorted(ids)).encode()).hexdigest()


def _beside(plan: Plan, sides: Sequence[SideFile]) -> Plan:
    """The plan with the digitals of other files."""
    for side in sides:
        stations = tuple(replace(s, digitals={**s.digitals, **side.digitals}) for s in plan.stations)
        plan = replace(plan, stations=stations, assumptions=(*plan.assumptions, *side.assumptions))
    return plan


def _portions(
    recording: Recording, parts: list[Part], decoders: list[Decoder | LongDecoder], sides: Sequence[SideReader]
) -> Iterator[Portion]:
    """Portions of all files of a recording, one after the other, with the digitals that stand beside them."""
    latest_s = -np.inf
    for part, decoder in zip(parts, decoders, strict=True):
        found = decoder.portions(part.opened.rows(part.plan))
        if part is not parts[0]:
            shift_s = part.first_s - parts[0].first_s
            found = without_overlap(found, shift_s, latest_s, part)
        for portion in found:
            for side in sides:
                portion = replace(portion, stations=tuple(s and side.under(s) for s in portion.stations))
            if len(parts) > 1:
                latest_s = max([latest_s, *(float(s.time_s.max()) for s in portion.stations if s is not None)])
            yield portion
    for side in sides:
        yield from side.rest()
    for table in recording.aside:
        yield from left_aside(table)


def layout_of(plan: Plan) -> Layout:
    """What was understood, in the form that the analysis takes."""
    roles = {role for s in plan.stations for role in s.digitals}
    columns = {"time": " + ".join(plan.time.columns) or "row number"}
    several = len(plan.stations) > 1
    for s in plan.stations:
        end = f" {s.name}" if several else ""
        columns["pressure" + end] = s.pressure.column
        columns |= {role + end: d.name if d.kind == "event" else d.column for role, d in s.digitals.items()}
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


def time_warnings(local_us: int | None, plan: Plan, station: Station) -> Iterator[str]:
    """What the reader of a page must know about times and dates."""
    hold_s = plan.hold_s if plan.long is None else plan.long.hold_s
    if hold_s > 0:
        yield f"the log writes changes only: samples every {hold_s:.3g} s between them hold the last reading"
    if plan.time.date_open:
        yield (
            "day and month of the stamps could be exchanged, so the date is not used; "
            'write time = { date_order = "day first" } or "month first" under [channels] of a station file'
        )
    elif local_us is not None and _lacks_zone(plan) and not (station.station.timezone or plan.zone):
        yield "the stamps have no zone; give timezone in the station file to have dates"


def _lacks_zone(plan: Plan) -> bool:
    """True where the date of the recording is one without a zone."""
    return plan.time.start_local or (plan.time.dated and not plan.time.zoned)
