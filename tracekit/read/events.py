"""A list of events: rows of time, name of a signal, and its new level, side by side or in one text."""

from collections.abc import Mapping, Sequence
from dataclasses import field, replace

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.station import Station
from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column, fetch
from tracekit.read.convert import BITS
from tracekit.read.digitals import ROLES
from tracekit.read.eventcells import change_levels, event_levels, parts_of
from tracekit.read.head import Head
from tracekit.read.rows import carried
from tracekit.read.values import column_numbers, is_texty, word_codes
from tracekit.read.words import hints

_MOST_SIGNALS, _SURE = 400, 0.8
_NEW = frozenset({"new", "neu", "nouveau", "nouvelle", "nuevo", "nuovo", "novo", "nieuw", "ny", "nytt", "nowy", "to"})
"""Words for the level after a change, beside a column of the one before it (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EventPlan:
    """The columns of signal and level, and the name of the signal that has each role.

    Where one text tells both, "suction switched on", there is no column of levels. `starts` are the levels before.
    """

    signal: str
    level: str
    names: Mapping[str, str]
    starts: Mapping[str, int] = field(default_factory=dict)


def find_events(head: Head, station: Station, roles: tuple[str, ...]) -> EventPlan | None:
    """How a file lists events of some roles, by names of signals or the station file; None where it does not."""
    given: dict[str, str] = {
        r: c.column for r in ROLES if (c := station.channels.get(r)) is not None and c.column is not None
    }
    for column in head.columns:
        if column.kind != "text" or len(column.words) > _MOST_SIGNALS or column.hints.weight("station") >= 1:
            continue
        names = {r: w for r, w in _named([w.strip() for w in column.words], given).items() if r in roles}
        rest = [c for c in head.columns if c is not column and c.kind in ("level", "number", "text")]
        levels = [c for c in rest if not c.hints.weight("time") and _holds_levels(c)]
        valued = [c for c in levels if not _NEW.isdisjoint(c.hints.tokens)]
        valued = valued or [c for c in levels if c.hints.weight("value") >= 0.9] or levels
        if names and len(valued) == 1:
            return EventPlan(signal=column.name, level=valued[0].name, names=names)
    return _in_one_text(head, given, roles)


def listed_signals(head: Head) -> frozenset[str]:
    """What columns of a file may list as names of signals, alone or in one text with a level."""
    texts = [c for c in head.columns if c.kind == "text" and len(c.words) <= _MOST_SIGNALS]
    words = {w.strip() for c in texts for w in c.words}
    return frozenset(words | {name for w in words for name, _ in parts_of(w)})


def _in_one_text(head: Head, given: Mapping[str, str], roles: tuple[str, ...]) -> EventPlan | None:
    """Events whose signal and level stand in one text, in nearly all rows and for every role at both levels."""
    for column in head.columns:
        if column.kind != "text" or len(column.words) > _MOST_SIGNALS:
            continue
        codes, words = word_codes(column.array)
        events = [parts_of(w) for w in words]
        if float(np.array([*map(bool, events), False])[codes].mean()) < EVIDENCE.alike_events:
            continue
        told = {event for own in events for event in own}
        both = [name for name in dict.fromkeys(n for n, _ in told) if {(name, 0), (name, 1)} <= told]
        names = {r: w for r, w in _named(sorted(both), given).items() if r in roles}
        if names:
            return EventPlan(signal=column.name, level="", names=names)
    return None


def _named(words: Sequence[str], given: Mapping[str, str]) -> dict[str, str]:
    """The signal of each role: as the station file says, else the only one whose name says so."""
    found = {role: name for role, name in given.items() if name in words}
    for role in ROLES:
        likely = [w for w in words if hints(w).weight(role) >= _SURE and w not in found.values()]
        if role not in found and len(likely) == 1:
            found[role] = likely[0]
    open_roles = [role for role in ROLES if role not in found]
    if len(open_roles) == 1:  # beside the others a "valve" is that of suction
        role = open_roles[0]
        likely = [w for w in words if w not in found.values() and hints(w).weight(role) >= EVIDENCE.half_weight]
        found |= {role: likely[0]} if len(likely) == 1 else {}
    return found


def _holds_levels(column: Column) -> bool:
    if column.kind == "number" and len(np.unique(column.values[np.isfinite(column.values)])) != EVIDENCE.signal_levels:
        return False  # a priority, a number of the event
    levels = _levels(column.array, column)
    return len(levels) > 0 and float((levels >= 0).mean()) > _SURE


def _levels(array: pa.Array, column: Column) -> NDArray[np.int8]:
    """Levels of some rows, -1 where there is none, shape (n,)."""
    if is_texty(array) and column.kind != "number":
        return change_levels(array)
    values = column_numbers(array, column.profile.form)
    return np.where(np.isfinite(values), (values != 0).astype(np.int8), np.int8(-1))


class EventReader:
    """Levels of all roles after each event, one bit each."""

    def __init__(self, plan: EventPlan, columns: Mapping[str, Column]) -> None:
        """Follow a plan."""
        self._plan = plan
        self._columns = columns
        self._last = {role: plan.starts.get(role, 0) for role in plan.names}

    def read(self, columns: Mapping[str, pa.Array]) -> NDArray[np.uint8]:
        """Levels of some rows, shape (n,)."""
        packed = np.zeros(len(fetch(columns, self._columns[self._plan.signal])), np.uint8)
        for role, name in self._plan.names.items():
            levels = _changes(self._plan, self._columns, columns, name)
            found = carried(levels, levels < 0, self._last[role])
            if len(found):
                self._last[role] = int(found[-1])
            packed |= found.view(np.uint8) * np.uint8(BITS[role])
        return packed


def _changes(
    plan: EventPlan, known: Mapping[str, Column], columns: Mapping[str, pa.Array], name: str
) -> NDArray[np.int8]:
    """The level to which each row switches a signal, -1 where it does not, shape (n,)."""
    signals = fetch(columns, known[plan.signal])
    if not plan.level:
        return event_levels(signals, name)
    codes, words = word_codes(signals)
    own = np.array([*(w.strip() == name for w in words), False])[codes]
    return np.where(own, _levels(fetch(columns, known[plan.level]), known[plan.level]), np.int8(-1))


def with_starts(plan: EventPlan, head: Head, time_s: NDArray[np.float64]) -> EventPlan:
    """The plan with the level of each signal before its first event: the other one, where that is a change.

    time_s  times of the first rows, shape (n,): a list that begins with the state of all its signals has them at once
    """
    known = {c.name: c for c in head.columns}
    columns = {c.source or c.name: c.array for c in head.columns}
    levels = {role: _changes(plan, known, columns, name) for role, name in plan.names.items()}
    first = {role: int(np.argmax(own >= 0)) for role, own in levels.items() if (own >= 0).any()}
    stated = len(first) > 1 and len({float(time_s[row]) for row in first.values()}) == 1
    return plan if stated else replace(plan, starts={r: 1 - int(levels[r][row]) for r, row in first.items()})
