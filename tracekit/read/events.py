"""A list of events: rows of time, name of a signal, and its new level."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.model.station import Station
from tracekit.read.columns import Column, fetch
from tracekit.read.convert import BITS
from tracekit.read.digitals import ROLES
from tracekit.read.head import Head
from tracekit.read.rows import carried
from tracekit.read.values import column_numbers, is_texty, word_codes, word_levels
from tracekit.read.words import hints

_MOST_SIGNALS, _SURE = 400, 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class EventPlan:
    """The columns of signal and level, and the name of the signal that has each role."""

    signal: str
    level: str
    names: Mapping[str, str]


def find_events(head: Head, station: Station, roles: tuple[str, ...]) -> EventPlan | None:
    """How a file lists events of some roles, by names of signals or the station file; None where it does not."""
    given: dict[str, str] = {
        r: c.column for r in ROLES if (c := station.channels.get(r)) is not None and c.column is not None
    }
    for column in head.columns:
        if column.kind != "text" or len(column.words) > _MOST_SIGNALS or column.hints.weight("station") >= 1:
            continue
        names = {r: w for r, w in _named(column, given).items() if r in roles}
        rest = [c for c in head.columns if c is not column and c.kind in ("level", "number", "text")]
        levels = [c for c in rest if not c.hints.weight("time") and _holds_levels(c)]
        valued = [c for c in levels if c.hints.weight("value") >= 0.9] or levels
        if names and len(valued) == 1:
            return EventPlan(signal=column.name, level=valued[0].name, names=names)
    return None


def _named(column: Column, given: Mapping[str, str]) -> dict[str, str]:
    """The signal of each role: as the station file says, else the only one whose name says so."""
    words = [w.strip() for w in column.words]
    found = {role: name for role, name in given.items() if name in words}
    for role in ROLES:
        likely = [w for w in words if hints(w).weight(role) >= _SURE and w not in found.values()]
        if role not in found and len(likely) == 1:
            found[role] = likely[0]
    return found


def _holds_levels(column: Column) -> bool:
    levels = _levels(column.array, column)
    return len(levels) > 0 and float((levels >= 0).mean()) > _SURE


def _levels(array: pa.Array, column: Column) -> NDArray[np.int8]:
    """Levels of some rows, -1 where there is none, shape (n,)."""
    if is_texty(array) and column.kind != "number":
        return word_levels(array, {})
    values = column_numbers(array, column.profile.form)
    return np.where(np.isfinite(values), (values != 0).astype(np.int8), np.int8(-1))


class EventReader:
    """Levels of all roles after each event, one bit each."""

    def __init__(self, plan: EventPlan, columns: Mapping[str, Column]) -> None:
        """Follow a plan."""
        self._plan = plan
        self._columns = columns
        self._last = dict.fromkeys(plan.names, 0)

    def read(self, columns: Mapping[str, pa.Array]) -> NDArray[np.uint8]:
        """Levels of some rows, shape (n,)."""
        codes, words = word_codes(fetch(columns, self._columns[self._plan.signal]))
        level = self._columns[self._plan.level]
        levels = _levels(fetch(columns, level), level)
        packed = np.zeros(len(codes), np.uint8)
        for role, name in self._plan.names.items():
            own = np.array([*(w.strip() == name for w in words), False])[codes]
            found = carried(levels, ~own | (levels < 0), self._last[role])
            if len(found):
                self._last[role] = int(found[-1])
            packed |= found.view(np.uint8) * np.uint8(BITS[role])
        return packed
