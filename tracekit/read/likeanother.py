"""A file that is read by what another one of its recording tells: its header, or its columns in other units."""

import re
from dataclasses import replace

from tracekit.model.station import Station
from tracekit.model.trace import Assumption
from tracekit.read.columns import Column
from tracekit.read.head import Head
from tracekit.read.overlap import Part
from tracekit.read.plan import Plan
from tracekit.read.words import hints

_UNIT = re.compile(r"[\[(<{][^\])>}]*[\])>}]")


def with_header_of(other: Head, head: Head) -> Head | None:
    """The first rows of a file with the names of another one's columns; itself where they have them, None for others.

    A file without a header has as many columns as the other, and of the same kinds.
    """
    names = [c.name for c in head.columns]
    if names == [c.name for c in other.columns]:
        return head
    bare = names == [f"column {place}" for place in range(1, len(names) + 1)]
    if not bare or len(names) < 2 or [c.kind for c in head.columns] != [c.kind for c in other.columns]:
        return None
    columns = tuple(_named(c, like) for c, like in zip(head.columns, other.columns, strict=True))
    fact = Assumption(
        what="names of columns", value=f'those of "{other.name}"',
        evidence="no header; as many columns of the same kinds", confidence=0.9,
    )  # fmt: skip
    return replace(head, columns=columns, assumptions=(*head.assumptions, fact))


def _named(column: Column, like: Column) -> Column:
    return replace(
        column, name=like.name, unit=like.unit, source=column.source or column.name, hints=hints(like.name, like.unit)
    )


def in_own_unit(station: Station, other: Head, head: Head) -> Station | None:
    """The station file of another file for one whose columns are the same but for their units; None for others.

    The pressure then is the column of the same name, in the unit that stands with it.
    """
    given = station.channels.get("pressure")
    if given is None or given.column is None or given.scale or head.column(given.column) is not None:
        return None
    if [_bare(c.name) for c in head.columns] != [_bare(c.name) for c in other.columns]:
        return None
    name = next((c.name for c in head.columns if _bare(c.name) == _bare(given.column or "")), None)
    own = None if name is None else replace(given, column=name, unit=None)
    return None if own is None else replace(station, channels={**station.channels, "pressure": own})


def _bare(name: str) -> str:
    """A name without the unit between its brackets."""
    return _UNIT.sub("", name).strip()


def same_but_for_units(one: Plan, other: Plan) -> bool:
    """True for plans that read the same columns in the same way, but for the unit in which the pressure is written."""
    units = [[s.pressure.unit for s in plan.stations] for plan in (one, other)]
    written = all(
        s.pressure.unit and not (s.pressure.absolute or s.pressure.points or s.pressure.beside)
        for plan in (one, other)
        for s in plan.stations
    )
    return written and units[0] != units[1] and _without_units(one) == _without_units(other)


def _without_units(plan: Plan) -> tuple[object, ...]:
    pressures = [(_bare(s.pressure.column), s.pressure.sense) for s in plan.stations]
    digitals = [sorted((role, level.name) for role, level in s.digitals.items()) for s in plan.stations]
    return (plan.time.columns, plan.time.dated, plan.long is None, plan.station_column, pressures, digitals)


def units_told(first: Part, part: Part) -> str:
    """The warning that a file is written in other units than the first of its recording; empty for tables of one."""
    if part.opened.source is first.opened.source:
        return ""
    units = [", ".join(dict.fromkeys(s.pressure.unit for s in p.plan.stations)) for p in (part, first)]
    names = part.opened.head.name, first.opened.head.name
    return f"{names[0]} is written in {units[0]}, {names[1]} in {units[1]}: each is read in its own"
