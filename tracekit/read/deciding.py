"""Decides what the columns of a file are, or asks one question."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from tracekit.errors import LogReadError, message
from tracekit.model.station import Channel, Station
from tracekit.model.trace import Assumption
from tracekit.read.aside import left_aside
from tracekit.read.asks import ask_column, ask_states
from tracekit.read.assigning import Found, with_digitals
from tracekit.read.atrest import with_ambient, with_ambient_before_suction
from tracekit.read.changed import check_exchanged, check_time_unit
from tracekit.read.clockcolumns import with_packed_clocks
from tracekit.read.clocks import with_second_clock
from tracekit.read.columns import Column
from tracekit.read.dateorder import with_date_order
from tracekit.read.dating import with_start
from tracekit.read.declared import with_doubts
from tracekit.read.digitals import ROLES, Digital, by_name
from tracekit.read.eventwords import hold_changes, with_events
from tracekit.read.grouping import (
    check_stations,
    of_all,
    of_station,
    shares_signals,
    station_keys,
    station_name,
    with_own_signals,
)
from tracekit.read.head import Head, Question, joined
from tracekit.read.holding import holding
from tracekit.read.longform import find_long, long_columns, wide_head, with_holding
from tracekit.read.numbered import check_numbered
from tracekit.read.otherunit import check_other_unit
from tracekit.read.pairs import are_copies, rows_per_stamp
from tracekit.read.plan import LongPlan, Plan, StationPlan
from tracekit.read.pressure import Ambient, PressurePlan, plan_pressure
from tracekit.read.pressurecolumns import pressure_columns
from tracekit.read.quality import QualityPlan, plan_quality
from tracekit.read.rising import check_order
from tracekit.read.roles import likelier_first
from tracekit.read.rounding import assumption, with_rounding
from tracekit.read.settled import pressure_channel, time_channel
from tracekit.read.signs import with_signed_counts
from tracekit.read.stampwords import zone_of_name
from tracekit.read.stretches import check_events
from tracekit.read.timeplan import TimePlan, plan_time, seconds_of, times_of
from tracekit.read.views import ask_station, one_station, station_column

_NONE: Mapping[str, Channel] = MappingProxyType({})


def decide(head: Head, station: Station) -> Plan:
    """The plan of a file with a column per channel.

    Raises LogReadError with everything that has to be answered in the station file, at once.
    """
    head = with_date_order(with_packed_clocks(with_signed_counts(head)), station.channels.get("time"))
    long = find_long(head)
    if long is not None:
        return _decide_long(head, station, long)
    channels = station.channels
    check_numbered(head)
    check_exchanged(head)
    check_time_unit(head)
    check_events(head, channels.get("time"))
    _check_columns(head, station)
    column = station_column(head, channels.get("station"), station.context)
    view, names = one_station(head, column)
    time, questions = plan_time(view, channels.get("time"))
    questions += [] if column is not None else ask_station(head, channels.get("station"), station.context)
    if time is not None:
        time, more = with_second_clock(view, time, channels.get("time"))
        questions += more
    taken = (*(time.columns if time else ()), *([column.name] if column else []))
    found = find_stations(view, station, taken)
    questions += [q for f in found for q in f.questions]
    if questions or time is None:
        known = [*head.assumptions, *([assumption(time)] if time else []), *(a for f in found for a in f.assumptions)]
        raise asking(head.name, questions, known, _decided(view, station, time, taken, column, found))
    stations = tuple(f.station for f in found if f.station is not None)
    time, dates = with_start(view, with_rounding(view, time))
    time, rows = with_pairs(view, time, stations[0].pressure)
    assumptions = [*head.assumptions, assumption(time), *dates, *dict.fromkeys(a for f in found for a in f.assumptions)]
    if column is not None:
        evidence = f"{len(names)} different values in the first rows"
        assumptions.append(
            Assumption(what="stations", value=f'column "{column.name}"', evidence=evidence, confidence=0.97)
        )
    changes = hold_changes(head, stations) if column is None else ()
    time, hold_s, held = (
        holding(view, time, stations) if rows == 1 and column is None and not changes else (time, 0.0, ())
    )
    plan = make_plan(head, station, time, stations, column, names, [*assumptions, *changes, *held])
    facts = (*plan.assumptions, *left_aside(head, plan))
    return replace(plan, assumptions=facts, stamp_rows=rows, change_rows=len(changes) > 0, hold_s=hold_s)


def _decided(
    head: Head,
    station: Station,
    time: TimePlan | None,
    taken: tuple[str, ...],
    column: Column | None,
    stations: Sequence[Found],
) -> dict[str, Channel]:
    """The channels of which there is no doubt, though others are open: time, and signals by their names."""
    found = {} if time is None else time_channel(time, {c.name: c for c in head.columns})
    signals = by_name(with_events([c for c in head.columns if c.name not in taken], _wanted(station.channels)))
    found |= {role: Channel(column=digital.name) for role, digital in signals.items()}
    if len(stations) == 1 and stations[0].station is not None:
        found |= pressure_channel(stations[0].station.pressure)
    return found | ({"station": Channel(column=column.name)} if column is not None else {})


def with_pairs(head: Head, time: TimePlan, pressure: PressurePlan) -> tuple[TimePlan, int]:
    """The plan where the rows of a stamp are lowest and highest reading of a stretch, and how many rows those are."""
    column = head.column(pressure.column)
    if time.rounded_s == 0 or column is None:
        return time, 1
    if are_copies(seconds_of(head, time), column.values):
        evidence = time.evidence.partition(";")[0] + "; rows that share a stamp are copies"
        return replace(time, typical_s=time.rounded_s, rounded_s=0.0, evidence=evidence), 1
    rows = rows_per_stamp(seconds_of(head, time), column.values)
    if rows == 1:
        return time, 1
    evidence = f"{rows} rows under every stamp, always in the order of their readings: lowest and highest of a stretch"
    return replace(time, typical_s=time.rounded_s, rounded_s=0.0, evidence=evidence, confidence=0.9), rows


def _decide_long(head: Head, station: Station, long: LongPlan) -> Plan:
    """The plan of a file with a row per reading."""
    signals = (long.tag, long.value, long.beside, long.station)
    bare = replace(head, columns=tuple(c for c in head.columns if c.name not in signals))
    time, questions = plan_time(bare, station.channels.get("time"))
    if time is None:
        for way, _ in times_of(bare, None):
            _check_order(wide_head(head, long, way), way)
        questions = [replace(q, line=_without_interval(q.line)) for q in questions]
        raise asking(head.name, questions, head.assumptions)
    if not time.columns:
        what = f"rows that are readings of several channels, and {time.evidence}: a row is no sample"
        todo = 'Give the column of time instead: time = "...", under [channels].'
        raise LogReadError(message(head.name, what, "a column that tells the time of each reading", todo))
    wide = wide_head(head, long, time)
    _check_order(wide, time)
    without_time = replace(station, channels={k: c for k, c in station.channels.items() if k != "time"})
    _check_columns(wide, without_time)
    found = find_stations(wide, station, time.columns)
    if questions := [q for f in found for q in f.questions]:
        raise asking(head.name, questions, [*wide.assumptions, assumption(time)])
    stations = tuple(f.station for f in found if f.station is not None)
    time, dates = with_start(wide, with_rounding(wide, time))
    long, time, held = with_holding(wide, long, time, stations[0].pressure.column)
    shared = dict.fromkeys(a for f in found for a in f.assumptions)
    facts = [*held, *wide.assumptions, assumption(time), *dates, *shared, *_quality_facts(long.quality)]
    plan = make_plan(wide, station, time, stations, None, (), facts)
    return replace(plan, long=long, columns=long_columns(head, long, time), context=())


def _check_order(wide: Head, time: TimePlan) -> None:
    """Raise LogReadError where the readings of the tag that moves most are in no order of time."""
    column = wide.column(time.columns[0]) if time.columns else None
    if column is not None:
        check_order(wide.name, column, seconds_of(wide, time))


def _without_interval(line: str) -> str:
    """The line for time where rows are readings of several channels, so that no time lies from row to row."""
    column = 'time = "..."   # the column that tells the time of each reading'
    return column if line.startswith("time = { interval_s") else line.partition("; or interval_s")[0]


def make_plan(
    head: Head,
    station: Station,
    time: TimePlan,
    stations: tuple[StationPlan, ...],
    column: Column | None,
    names: tuple[str, ...],
    assumptions: Sequence[Assumption],
) -> Plan:
    """The plan with the columns that it reads."""
    quality = _quality(head, stations)
    used = {*time.columns, *station.context, *([column.name] if column else []), *([quality.column] if quality else [])}
    for s in stations:
        used |= {
            s.pressure.column,
            *([s.pressure.beside] if s.pressure.beside else []),
            *(name for d in s.digitals.values() for name in (d.column, d.beside) if name),
            *([s.off_coil.column] if s.off_coil else []),
        }
    on_level: dict[str, int] = {
        k: c.on_level for k, c in station.channels.items() if c.on_level is not None and k in ROLES
    }
    supply = station.channels.get("supply")
    if supply is not None and supply.off_column:
        on_level["supply"] = 1
    return Plan(
        time=time,
        stations=stations,
        columns={c.name: c for c in head.columns if c.name in used},
        station_column=column.name if column else None,
        station_names=names,
        context=tuple(n for n in station.context if head.column(n) is not None),
        supply_signal=supply.signal if supply else "valve",
        on_level=on_level,
        quality=quality,
        zone=head.preamble.zone or _zone_told(head, time),
        assumptions=(*assumptions, *_quality_facts(quality)),
    )


def _zone_told(head: Head, time: TimePlan) -> str:
    """The zone that stands behind the stamps or with their name, empty where none does."""
    columns = [c for c in map(head.column, time.columns) if c is not None]
    places = [c.profile.stamp.place for c in columns if c.profile.stamp is not None]
    return next(filter(None, [*places, *(zone_of_name(c.name) for c in columns)]), "")


def _quality(head: Head, stations: Sequence[StationPlan]) -> QualityPlan | None:
    """The only column of quality marks, None where there is none or another column is like it."""
    taken = {d.column for s in stations for d in s.digitals.values()}
    marks = [c for c in head.columns if c.hints.weight("quality") >= 0.9 and c.name not in taken]
    found = [q for c in marks if (q := plan_quality(c, sure=False)) is not None]
    return found[0] if len(found) == 1 else None


def _quality_facts(quality: QualityPlan | None) -> Iterator[Assumption]:
    if quality is not None:
        value = f'"{quality.column}", good where it is "{quality.good}"'
        yield Assumption(what="quality", value=value, evidence="its name and its usual mark", confidence=0.9)


class UndecidedLogError(LogReadError):
    """A log that leaves something open.

    `questions` lists what, `assumptions` what was decided of the rest, `channels` that in the form of a station file.
    """

    def __init__(
        self,
        text: str,
        questions: Sequence[Question],
        assumptions: Sequence[Assumption],
        channels: Mapping[str, Channel],
    ) -> None:
        """Keep what is open beside the message."""
        super().__init__(text)
        self.questions = tuple(questions)
        self.assumptions = tuple(assumptions)
        self.channels = dict(channels)


def asking(
    name: str,
    questions: Sequence[Question],
    assumptions: Sequence[Assumption] = (),
    channels: Mapping[str, Channel] = _NONE,
) -> UndecidedLogError:
    """One error with all questions and the lines that answer them, beside what was decided."""
    found = "; ".join(dict.fromkeys(q.found for q in questions))
    by_key: dict[str, str] = {}
    for question in questions:
        by_key.setdefault(question.line.partition(" ")[0], question.line)
    lines = "".join(f"\n    {line}" for line in by_key.values())
    todo = "Put this into a station file, with the right values, and give it with --station:\n    [channels]" + lines
    text = message(name, found, "time and pressure that leave no doubt", todo)
    asked = {question.line.partition(" ")[0] for question in questions}
    return UndecidedLogError(text, questions, assumptions, {k: c for k, c in channels.items() if k not in asked})


def _check_columns(head: Head, station: Station) -> None:
    """Raise LogReadError where the station file names a column that the file does not have."""
    known = {c.name for c in head.columns}
    bits = {d.name for d in with_events(head.columns, _wanted(station.channels))}
    named = [(role, c.column) for role, c in station.channels.items() if c.column is not None]
    named += [("off coil", c.off_column) for c in station.channels.values() if c.off_column is not None]
    named += [("context", name) for name in station.context]
    missing = [f'{role} = "{name}"' for role, name in named if name not in known and name not in bits]
    if missing:
        found = "the station file names columns that are not there: " + ", ".join(missing)
        raise LogReadError(message(head.name, found, "columns of " + joined(known), "Correct [channels]."))


def find_stations(head: Head, station: Station, taken: tuple[str, ...]) -> list[Found]:
    """Pressure and digitals of each station whose columns are in the file."""
    given = station.channels.get("pressure")
    free = [c for c in head.columns if c.name not in (*taken, *station.context)]
    digitals = with_events(free, _wanted(station.channels))
    if given is not None and given.column is not None:
        pressures = [c for c in head.columns if c.name == given.column]
    else:
        pressures = pressure_columns(head, taken)
    if len(pressures) == 1:
        name = station.station.name or Path(head.name).stem
        return [_one(head, station, name, pressures[0], digitals)]
    keys = station_keys(pressures, [d.name for d in digitals]) if len(pressures) > 1 else None
    if keys is None or shares_signals(digitals, keys):
        return [Found(station=None, questions=(ask_column(likelier_first(pressures, digitals)),))]
    check_stations(head.name, pressures, keys)
    result = []
    for key, column in zip(keys, pressures, strict=True):
        own = of_station(digitals, key, [k for k in keys if k != key])
        told = with_own_signals(station, key, keys, [d.name for d in own])
        one = _one(head, told, station_name(key, column.name), column, own)
        result.append(replace(one, questions=tuple(map(of_all, one.questions))))
    return result


def _wanted(channels: Mapping[str, Channel]) -> list[str]:
    return [c.column for role, c in channels.items() if role in ROLES and c.column is not None]


def _one(head: Head, station: Station, name: str, column: Column, digitals: Sequence[Digital]) -> Found:
    check_other_unit(head, column)
    pressure, questions = plan_pressure(column, head, station.channels.get("pressure"), _ambient(station))
    if pressure is None:
        return Found(station=None, questions=tuple(questions))
    pressure = with_doubts(pressure, column, head, station.channels.get("pressure"), _ambient(station))
    others = [d for d in digitals if d.plan.column != column.name]
    found = with_digitals(name, column, pressure, others, station.channels)
    if found.station is not None and _ambient(station).kpa is None:
        found = _without_blow_off(found, found.station, column, others)
    told = found.station is None or "supply" in found.station.digitals or any(d.plan.kind == "event" for d in others)
    states = [] if told else ask_states(head, station, pressure.kpa(column.values))
    return replace(found, questions=(*found.questions, *states))


def _without_blow_off(found: Found, station: StationPlan, column: Column, digitals: Sequence[Digital]) -> Found:
    """What was found with the ambient at which an absolute pressure rests while nothing is blown off."""
    release, supply = (
        next((d for d in digitals if d.plan is station.digitals.get(role)), None) for role in ("release", "supply")
    )
    if not station.pressure.absolute or (release is None and supply is None):
        return found
    told = station.pressure
    if release is not None:
        told = with_ambient(told, column, release.levels)
    elif supply is not None:
        told = with_ambient_before_suction(told, column, supply.levels)
    facts = tuple(f for f in found.assumptions if f not in station.pressure.assumptions)
    return replace(found, station=replace(station, pressure=told), assumptions=(*told.assumptions, *facts))


def _ambient(station: Station) -> Ambient:
    facts = station.station
    if facts.ambient_kpa is not None:
        return Ambient(kpa=facts.ambient_kpa, source="station file")
    if facts.altitude_m is not None:
        kpa = 101.325 * (1.0 - 2.25577e-5 * facts.altitude_m) ** 5.25588  # ISO 2533
        return Ambient(kpa=kpa, source="altitude in the station file")
    return Ambient(kpa=None, source="")
