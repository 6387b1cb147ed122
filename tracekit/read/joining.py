"""Several files: which of them are one recording, and in which order."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import pyarrow as pa

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.model.station import Station
from tracekit.options.read import ReadOptions
from tracekit.read.backwards import oldest_first, with_oldest_stamp
from tracekit.read.besides import apart, lacks_pressure, no_signals
from tracekit.read.channelfiles import goes_with, with_time_of
from tracekit.read.columns import Column, fetch
from tracekit.read.digitals import ROLES
from tracekit.read.events import listed_signals
from tracekit.read.head import finite
from tracekit.read.likeanother import in_own_unit, same_but_for_units, units_told, with_header_of
from tracekit.read.midnight import on_a_later_day, past_midnight
from tracekit.read.onefile import adds_nothing, one_after_another
from tracekit.read.opened import Opened
from tracekit.read.overlap import FirstSamples, Part, shared_rows
from tracekit.read.plan import Plan
from tracekit.read.settled import settled_channels
from tracekit.read.several import decide_among, of_this_file
from tracekit.read.sidefile import SideFile, side_file
from tracekit.read.timeplan import raw_seconds, start_us
from tracekit.read.utc import ahead_s

_FARTHEST_ZONE_S = 14 * 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """Files that continue one another, and files of digitals beside the first of them, each with its shift [s].

    aside  tables of these files that hold nothing of the station
    """

    parts: tuple[Part, ...]
    sides: tuple[tuple[SideFile, float], ...] = ()
    aside: tuple[Opened, ...] = ()

    @property
    def files(self) -> tuple[Opened, ...]:
        """All files of the recording, or tables of them."""
        return (*(p.opened for p in self.parts), *(side.opened for side, _ in self.sides), *self.aside)

    @property
    def roles(self) -> frozenset[str]:
        """The digitals that are known."""
        known = {r for s in self.parts[0].plan.stations for r in s.digitals}
        return frozenset(known | {r for side, _ in self.sides for r in side.digitals})


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """A file that is no recording and goes with none, and why."""

    opened: Opened
    error: LogReadError


def recordings(
    opened: Iterable[Opened], stations: Sequence[Station], options: ReadOptions, *, light: bool = False
) -> tuple[tuple[Recording, ...], tuple[Refused, ...]]:
    """Group opened files into recordings, in the order in which their first files were given.

    Files with the same columns are one recording where each starts soon after the one before it ends, or where they
    overlap and hold the same samples there. A file without pressure lies beside the recording whose times it shares.
    With `light` the first rows of each file are dropped as soon as it is placed: thousands of files fit in memory, but
    nothing more can be decided about them.
    """
    if any(station.channels for station in stations):
        opened = list(opened)
        known = frozenset(n for one in opened for n in (*(c.name for c in one.head.columns), *listed_signals(one.head)))
    else:
        known = frozenset()
    parts: list[Part] = []
    open_: list[Refused] = []
    order: dict[int, int] = {}
    for given in opened:
        one = oldest_first(given, stations)
        order.setdefault(id(one.source), len(order))
        try:
            part = _part(one, decide_among(one.head, [of_this_file(one.head, s, known) for s in stations]))
            parts.append(_light(part) if light else part)
        except LogReadError as error:
            open_.append(Refused(opened=one, error=error))
    taught = [(r, _like_another(r.opened, parts, stations)) for r in open_]
    parts += [part for _, part in taught if part is not None]
    parts, unlike = one_after_another(parts, options)
    refused = [Refused(opened=part.opened, error=error) for part, error in unlike]
    result = [_alike(group) for group in _chains(parts, options)]
    for left in [r for r, part in taught if part is None]:
        try:
            place = _beside(result, left.opened, stations)
        except LogReadError as error:
            place, left = None, replace(left, error=error)
        own = _of_same_file(result, left.opened)
        if place is None and own is not None and adds_nothing(left.opened.head, result[own].roles):
            result[own] = replace(result[own], aside=(*result[own].aside, left.opened))
        elif place is None:
            alone = len(result) == 1 and own is None and lacks_pressure(left.error)
            refused.append(replace(left, error=no_signals(left.opened, result[0].files[0])) if alone else left)
        else:
            result[place[0]] = place[1]
    result.sort(key=lambda r: min(order[id(f.source)] for f in r.files))
    return tuple(result), tuple(refused)


def _of_same_file(result: Sequence[Recording], table: Opened) -> int | None:
    """The place of the recording that other tables of a table's file make, None where there is none."""
    if not table.line:
        return None
    return next((k for k, r in enumerate(result) if any(f.source is table.source for f in r.files)), None)


def _like_another(one: Opened, parts: Sequence[Part], stations: Sequence[Station]) -> Part | None:
    """A file that leaves something open, read as another file with the same columns was; None where there is none."""
    for part in parts:
        known = stations[0] if len(stations) == 1 else Station()
        other = in_own_unit(known, part.opened.head, one.head)
        if other is not None:
            try:
                return _part(one, decide_among(one.head, (other,)))
            except LogReadError:
                continue
        own = with_header_of(part.opened.head, one.head)
        if own is not None and len(part.plan.stations) == 1:
            channels = {**settled_channels(part.plan, part.plan.stations[0]), **known.channels}
            try:
                found = _part(replace(one, head=own), decide_among(own, (replace(known, channels=channels),)))
            except LogReadError:
                continue
            told = f'{own.name} has no header: its columns are read as those of "{part.opened.head.name}"'
            return found if own is one.head else replace(found, told=told)
    return None


def _part(opened: Opened, plan: Plan) -> Part:
    plan = with_oldest_stamp(opened, plan)
    first, last, exact = span(opened, plan)
    return Part(opened=opened, plan=plan, first_s=first, last_s=last, exact=exact, falls=_falls(plan))


def _light(part: Part) -> Part:
    """The part without the first rows of its file: rows can still be read by its plan."""
    dropped: dict[int, Column] = {}

    def bare(column: Column) -> Column:
        none = pa.nulls(0, column.array.type)
        return dropped.setdefault(id(column), replace(column, array=none, values=np.empty(0), cells=()))

    head = replace(part.opened.head, columns=tuple(map(bare, part.opened.head.columns)))
    columns: Mapping[str, Column] = {name: bare(column) for name, column in part.plan.columns.items()}
    return replace(part, opened=replace(part.opened, head=head), plan=replace(part.plan, columns=columns))


def span(opened: Opened, plan: Plan) -> tuple[float, float, bool]:
    """First and last time of a file [s]: Unix time where there are dates, else counts; and whether the last is exact.

    Where only the first rows of a packed file are known the last time is an estimate, 10 % late.
    """
    time = plan.time
    if time.kind == "row":
        return 0.0, opened.head.rows * time.unit_s, opened.head.whole
    columns = [plan.columns[name] for name in time.columns]
    seconds, origin = raw_seconds([(c.array, c) for c in columns], time)
    base = start_us(time, origin) / 1e6 if time.dated else origin[1] * time.unit_s + origin[0] / 1e9
    known = past_midnight(finite(seconds), time)
    length = float(known.max()) if len(known) else 0.0
    if opened.head.whole:
        return base, base + length, True
    tail = opened.last_rows(plan)
    if opened.newest_first:
        oldest = finite(raw_seconds([(fetch(tail.columns, c), c) for c in columns], time, origin)[0]) if tail else ()
        more = -float(min(oldest)) if len(oldest) else length * ((opened.head.total or 0) / opened.head.rows - 1.0)
        return base - max(more, 0.0), base + length, True
    if tail is not None and tail.count:
        last = finite(raw_seconds([(fetch(tail.columns, c), c) for c in columns], time, origin)[0])
        end = on_a_later_day(past_midnight(last, time), length, time)
        if end >= length:
            return base, base + end, True
    length *= 1.1 * (opened.head.total or 4 * opened.head.rows) / opened.head.rows
    return base, base + length, False


def _falls(plan: Plan) -> bool:
    """True for times without a date that start again: they do not tell when the file was made."""
    time = plan.time
    if time.dated or time.kind == "row":
        return time.kind == "row"
    columns = [plan.columns[name] for name in time.columns]
    return bool((np.diff(finite(raw_seconds([(c.array, c) for c in columns], time)[0])) < 0).any())


def _chains(parts: Sequence[Part], options: ReadOptions) -> list[list[Part]]:
    """Parts that continue one another: same columns, each starts after the one before, soon after its end."""
    chains: list[list[Part]] = []
    first = FirstSamples()
    for part in sorted(parts, key=lambda p: (p.first_s, -p.last_s)):
        home = next((c for c in reversed(chains) if any(p.opened.source is part.opened.source for p in c)), None)
        if home is None:
            home = next((c for c in reversed(chains) if _continues(c, part, options, first)), None)
        if home is None:
            chains.append([part])
        else:
            home.append(part)
    return chains


def _continues(chain: Sequence[Part], part: Part, options: ReadOptions, first: FirstSamples) -> bool:
    before = max(chain, key=lambda p: p.last_s)
    if (
        part.falls
        or before.falls
        or not (_same_kind(before.plan, part.plan) or same_but_for_units(before.plan, part.plan))
    ):
        return False
    if part.first_s > before.last_s + options.join_gap_s:
        return False
    if before.exact and part.first_s > before.last_s:
        return True
    shared = shared_rows(before, part, first)
    if shared.kind == "none":
        return part.first_s <= shared.end_s + options.join_gap_s
    return shared.kind == "same" or (shared.kind == "touch" and part.plan.time.rounded_s > 0)


def _same_kind(one: Plan, other: Plan) -> bool:
    """True for plans that read the same columns in the same way."""

    def kind(plan: Plan) -> object:
        pressures = sorted((s.pressure.column, s.pressure.unit, s.pressure.sense) for s in plan.stations)
        return (set(plan.columns), plan.time.dated, plan.long is None, plan.station_column, pressures)

    return kind(one) == kind(other)


def _alike(group: Sequence[Part]) -> Recording:
    """The parts read as the first of them is, so that stations, roles and ambient are the same in all."""
    first = group[0].plan
    names = tuple(dict.fromkeys(n for p in group for n in p.plan.station_names))
    parts = []
    for part in group:
        own, told = first.stations, part.told
        if not _same_kind(first, part.plan):
            own = tuple(replace(s, name=f.name) for s, f in zip(part.plan.stations, first.stations, strict=True))
            told = told or units_told(group[0], part)
        parts.append(replace(part, plan=replace(part.plan, stations=own, station_names=names), told=told))
    return Recording(parts=tuple(parts))


def _beside(result: list[Recording], one: Opened, stations: Sequence[Station]) -> tuple[int, Recording] | None:
    """The recording whose times a file without pressure shares, with that file beside it; None where there is none.

    Raises LogReadError where only one of the two tells its zone, so that their times cannot be compared, and where the
    only recording shares none of its times.
    """
    given = stations[0] if len(stations) == 1 else Station()
    why_not: LogReadError | None = None
    own_first = sorted(enumerate(result), key=lambda r: all(f.source is not one.source for f in r[1].files))
    for place, recording in own_first:
        first = recording.parts[0]
        lacking = tuple(r for r in ROLES if r not in recording.roles)
        if not goes_with(one.channel, first.opened.channel):
            continue
        side = side_file(one, with_time_of(given, first.plan, one.head), lacking) if lacking else None
        if side is None or side.plan.time.dated != first.plan.time.dated:
            continue
        start, end, _ = span(one, side.plan)
        zoned = replace(side.plan, zone=one.head.preamble.zone)
        ahead = ahead_s(first.plan, first.first_s, zoned, start, given)
        slack = _FARTHEST_ZONE_S if ahead is None else 0.0
        start, end = (t + (ahead or 0.0) for t in (start, end))
        span_s = (first.first_s, recording.parts[-1].last_s)
        if start > span_s[1] + slack or end < span_s[0] - slack:
            why_not = apart(side, start, end, first.opened, span_s)
            continue
        if ahead is None:
            found = f'stamps of which only those of one file have a zone, beside "{first.opened.head.name}"'
            todo = (
                'Give the zone of the others in the station file: [station] timezone = "Europe/Lisbon", for instance.'
            )
            raise LogReadError(message(one.head.name, found, "times that can be compared", todo))
        return place, replace(recording, sides=(*recording.sides, (side, start - first.first_s)))
    if why_not is not None and len(result) == 1:
        raise why_not
    return None
