"""Columns that list events, "supply ON" or a name beside a level: which signal each switches, and to what level."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trace import Assumption
from tracekit.read.columns import Column
from tracekit.read.digitals import ROLES, Digital, LevelPlan, filled_cells, find_digitals, held, with_start
from tracekit.read.eventcells import event_levels, listed_levels, parts_of
from tracekit.read.head import Head
from tracekit.read.plan import StationPlan
from tracekit.read.values import word_codes
from tracekit.read.words import hints

_SURE, _MOST_SIGNALS, _ALIKE, _FEWEST, _SPARSE, _WHOLE = 0.8, 60, 0.9, 4, 0.5, 0.98


def with_events(columns: Sequence[Column], wanted: Sequence[str] = ()) -> list[Digital]:
    """Digital signals among columns, those that a column of events lists among them; see `find_digitals`."""
    events = find_event_digitals(columns)
    used = {name for d in events for name in (d.plan.column, d.plan.beside)}
    return find_digitals([c for c in columns if c.name not in used], wanted) + events


def hold_changes(head: Head, stations: Sequence[StationPlan]) -> tuple[Assumption, ...]:
    """What is told where rows without a reading hold changes of digitals; empty where they do not."""
    pressure = head.column(stations[0].pressure.column)
    plans = [p for p in stations[0].digitals.values() if p.changes]
    columns = [c for c in (head.column(p.column) for p in plans) if c is not None]
    if len(stations) != 1 or pressure is None or not columns:
        return ()
    bare = ~filled_cells(pressure.array)
    filled = np.logical_or.reduce([filled_cells(c.array) for c in columns])
    if int(bare.sum()) < _FEWEST or float(filled[bare].mean()) < _WHOLE:
        return ()
    value = f'rows without "{pressure.name}" hold changes of digitals, which hold from the next sample on'
    evidence = f"{int(bare.sum())} such rows among the first {head.rows}"
    return (Assumption(what="rows of changes", value=value, evidence=evidence, confidence=0.95),)


def find_event_digitals(columns: Sequence[Column]) -> list[Digital]:
    """Signals that a sparse column of events switches; empty where no column lists events of signals that are known."""
    found: list[Digital] = []
    for column in columns:
        if column.kind != "text" or not 1 < len(column.words) <= _MOST_SIGNALS:
            continue
        filled = filled_cells(column.array)
        if int(filled.sum()) < _FEWEST or float(filled.mean()) > _SPARSE:
            continue
        found += _worded(column, filled) or _listed(column, filled, columns)
    return found


def _worded(column: Column, filled: NDArray[np.bool_]) -> list[Digital]:
    """Signals by cells such as "supply ON"."""
    codes, words = word_codes(column.array)
    parts = [parts_of(w) for w in words]
    told = np.array([*map(bool, parts), False])[codes]
    if told.sum() < _ALIKE * filled.sum():
        return []
    signals = dict.fromkeys(name for own in parts for name, _ in own)
    plans = [LevelPlan(column=column.name, kind="event", words=(s,), changes=True) for s in signals]
    levels = [(p, event_levels(column.array, p.words[0])) for p in plans]
    return _known(levels, named=told.sum() < _WHOLE * filled.sum())


def _listed(column: Column, filled: NDArray[np.bool_], columns: Sequence[Column]) -> list[Digital]:
    """Signals by a column of names beside one of levels that is filled in the same rows."""
    for other in columns:
        if other is column or other.kind not in ("level", "number", "text") or other.hints.weight("time"):
            continue
        if float((filled_cells(other.array) == filled).mean()) < 1 - (1 - _ALIKE) * float(filled.mean()):
            continue
        signals = dict.fromkeys(w.strip() for w in column.words)
        plans = [
            LevelPlan(column=column.name, kind="event", words=(s,), beside=other.name, changes=True) for s in signals
        ]
        levels = [(p, listed_levels(column.array, other.array, other, p.words[0])) for p in plans]
        if sum((own >= 0).sum() for _, own in levels) >= _ALIKE * filled.sum():
            return _known(levels)
    return []


def _known(levels: Sequence[tuple[LevelPlan, NDArray[np.int8]]], *, named: bool = True) -> list[Digital]:
    """The signals with both levels and each level as it holds; empty where one must be named like one of a station."""
    found = []
    for plan, own in levels:
        if not ((own == 1).any() and (own == 0).any()):
            continue
        started = with_start(plan, own)
        weights = hints(plan.words[0]).roles
        found.append(Digital(name=started.name, plan=started, levels=held(own), weights=weights))
    if any(d.weights.get(role, 0.0) >= _SURE for d in found for role in ROLES):
        return found
    return [] if named else [replace(d, listed=True) for d in found]
