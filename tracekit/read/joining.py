"""Several files: which of them are one recording, and in which order."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tracekit.errors import LogReadError
from tracekit.model.station import Station
from tracekit.options.read import ReadOptions
from tracekit.read.convert import Portion
from tracekit.read.deciding import decide
from tracekit.read.digitals import ROLES
from tracekit.read.head import finite
from tracekit.read.opened import Opened
from tracekit.read.plan import Plan
from tracekit.read.sidefile import SideFile, side_file
from tracekit.read.timeplan import TimePlan, raw_seconds, seconds_of, start_us


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A file of a recording: when its first and last known rows were [s], on a base shared by dated files."""

    opened: Opened
    plan: Plan
    first_s: float
    last_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """Files that continue one another, and a file of digitals that lies beside the first of them."""

    parts: tuple[Part, ...]
    side: SideFile | None = None
    side_shift_s: float = 0.0


def recordings(opened: Sequence[Opened], station: Station, options: ReadOptions) -> tuple[Recording, ...]:
    """Group opened files into recordings, in the order of their first times.

    Raises LogReadError where a file is neither a recording nor goes with one.
    """
    parts: list[Part] = []
    refused: list[tuple[Opened, LogReadError]] = []
    for one in opened:
        try:
            plan = decide(one.head, station)
        except LogReadError as error:
            refused.append((one, error))
            continue
        parts.append(_part(one, plan))
    groups = _chains(parts, options)
    result = [Recording(parts=tuple(group)) for group in groups]
    for one, reason in refused:
        result = _beside(result, one, station, reason)
    return tuple(result)


def _part(opened: Opened, plan: Plan) -> Part:
    first, last = span(opened, plan.time)
    return Part(opened=opened, plan=plan, first_s=first, last_s=last)


def span(opened: Opened, time: TimePlan) -> tuple[float, float]:
    """First and last time of a file [s]: Unix time where there are dates, else counts.

    The last one is an estimate, 10 % late, where only the first rows are known.
    """
    if time.kind == "row":
        return 0.0, opened.head.rows * time.unit_s
    columns = [c for c in (opened.head.column(name) for name in time.columns) if c is not None]
    _, origin = raw_seconds([(c.array, c) for c in columns], time)
    base = start_us(time, origin) / 1e6 if time.dated else origin[1] * time.unit_s + origin[0] / 1e9
    known = finite(seconds_of(opened.head, time))
    length = float(known.max()) if len(known) else 0.0
    if not opened.head.whole:
        length *= 1.1 * (opened.head.total or 4 * opened.head.rows) / opened.head.rows
    return base, base + length


def _chains(parts: Sequence[Part], options: ReadOptions) -> list[list[Part]]:
    """Parts that continue one another: same columns, each starts after the one before, soon after its end."""
    chains: list[list[Part]] = []
    for part in sorted(parts, key=lambda p: (p.first_s, p.last_s)):
        home = next((c for c in reversed(chains) if _continues(c[-1], part, options)), None)
        if home is None:
            chains.append([part])
        else:
            home.append(part)
    return chains


def _continues(before: Part, part: Part, options: ReadOptions) -> bool:
    same = set(before.plan.columns) == set(part.plan.columns) and before.plan.time.dated == part.plan.time.dated
    if not same or part.first_s <= before.first_s:
        return False
    return part.first_s <= before.last_s + options.join_gap_s


def _beside(result: list[Recording], one: Opened, station: Station, error: LogReadError) -> list[Recording]:
    """Lay a file without pressure beside the recording whose times it shares, or raise its error."""
    for place, recording in enumerate(result):
        first = recording.parts[0]
        lacking = tuple(r for r in ROLES if all(r not in s.digitals for s in first.plan.stations))
        side = side_file(one, station, lacking) if recording.side is None and lacking else None
        if side is None or side.plan.time.dated != first.plan.time.dated:
            continue
        start, end = span(one, side.plan.time)
        if start <= recording.parts[-1].last_s and end >= first.first_s:
            moved = replace(recording, side=side, side_shift_s=start - first.first_s)
            return [*result[:place], moved, *result[place + 1 :]]
    raise error


def without_overlap(portions: Iterator[Portion], shift_s: float, after_s: float, name: str) -> Iterator[Portion]:
    """Portions of a later file, moved by `shift_s`; rows at or before `after_s` [s] are rejected."""
    for portion in portions:
        stations, rejected = [], [(f"{reason} ({name})", lines, n) for reason, lines, n in portion.rejected]
        for samples in portion.stations:
            moved = replace(samples, time_s=samples.time_s + shift_s) if samples is not None else None
            old = moved.time_s <= after_s if moved is not None else np.empty(0, np.bool_)
            if moved is not None and old.any():
                rejected.append((f"overlaps the file before ({name})", moved.lines[old], int(old.sum())))
                moved = moved.take(~old)
            stations.append(moved if moved is not None and len(moved) else None)
        yield replace(portion, stations=tuple(stations), rejected=tuple(rejected))
