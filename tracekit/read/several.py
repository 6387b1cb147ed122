"""Which station file a log is read with, where several are given."""

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from tracekit.errors import LogReadError, message
from tracekit.model.station import Channel, Station
from tracekit.read.deciding import decide
from tracekit.read.digitals import ROLES
from tracekit.read.events import listed_signals
from tracekit.read.head import Head
from tracekit.read.plan import Plan
from tracekit.read.station_file import station_key
from tracekit.read.values import word_codes
from tracekit.read.views import station_column


def decide_among(head: Head, stations: Sequence[Station]) -> Plan:
    """The plan of a file with the station files that belong to it.

    Files that name different pressure columns of one log each give a station of it. Else a file is chosen by the
    column that it names or by its name; where several stay, what they say alike holds.
    Raises LogReadError with everything that has to be answered in the station file, at once.
    """
    if len(stations) <= 1:
        return decide(head, stations[0] if stations else Station())
    known = {c.name for c in head.columns}
    there = [s for s in stations if (c := s.channels.get("pressure")) is not None and c.column in known]
    if len({s.channels["pressure"].column for s in there}) > 1:
        return _side_by_side(head, there)
    left = there or list(stations)
    if len(left) == 1:
        return decide(head, left[0])
    column = station_column(head, left[0].channels.get("station"))
    if column is None:
        own = [s for s in left if _named_after(head.name, s)]
        longest = max(own, key=lambda s: len(station_key(s)), default=None)
        return decide(head, longest or _common(head, left))
    names = {w.strip().casefold() for w in word_codes(column.array)[1]}
    return decide(head, _common(head, [s for s in left if station_key(s) in names] or left))


def of_this_file(head: Head, station: Station, known: frozenset[str]) -> Station:
    """A station file without the signals whose columns stand in another file; `known` are those of all files.

    Channels of a row per reading, and signals of events, are listed in a column of words.
    """
    own = {c.name for c in head.columns} | listed_signals(head)
    channels = {
        role: channel
        for role, channel in station.channels.items()
        if role not in ROLES or channel.column is None or channel.column in own or channel.column not in known
    }
    return station if len(channels) == len(station.channels) else replace(station, channels=channels)


def _named_after(file_name: str, station: Station) -> bool:
    """True where the name of a log begins with that of a station; blanks and signs aside."""
    stem, key = (re.sub(r"[\W_]", "", t.casefold()) for t in (Path(file_name).name.split(".")[0], station_key(station)))
    return len(key) > 0 and stem.startswith(key) and not (key[-1].isdigit() and stem[len(key) :][:1].isdigit())


def _side_by_side(head: Head, stations: Sequence[Station]) -> Plan:
    """One plan of several stations, each with the columns that its own file names."""
    plans = [decide(head, s) for s in stations]
    names = [s.station.name or Path(s.source).stem for s in stations]
    levels: dict[str, int] = {}
    for plan in plans:
        levels |= plan.on_level
    _check_levels(head, stations)
    return replace(
        plans[0],
        stations=tuple(replace(p.stations[0], name=n) for p, n in zip(plans, names, strict=True)),
        columns={name: column for p in plans for name, column in p.columns.items()},
        on_level=levels,
        assumptions=tuple(dict.fromkeys(a for p in plans for a in p.assumptions)),
    )


def _common(head: Head, stations: Sequence[Station]) -> Station:
    """What several station files say alike about channels and ambient."""
    _check_levels(head, stations)
    first = stations[0]
    alike: dict[str, Channel] = {
        role: channel
        for role, channel in first.channels.items()
        if all(s.channels.get(role) == channel for s in stations)
    }
    facts = Station().station
    for name in ("ambient_kpa", "altitude_m", "timezone"):
        values = {getattr(s.station, name) for s in stations}
        if len(values) == 1:
            facts = replace(facts, **{name: values.pop()})
    context = tuple(n for n in first.context if all(n in s.context for s in stations))
    return replace(Station(), station=facts, channels=alike, context=context)


def _check_levels(head: Head, stations: Sequence[Station]) -> None:
    """Raise LogReadError where station files of one log give different on levels: a log has one wiring."""
    for role in ROLES:
        given = {c.on_level for s in stations if (c := s.channels.get(role)) is not None and c.on_level is not None}
        if len(given) > 1:
            names = ", ".join(s.source for s in stations)
            found = f"the station files {names} give different on_level for {role}"
            raise LogReadError(message(head.name, found, "one wiring per log", "Name one station file at a time."))
