"""Files in which stretches of rows begin again with the first times: their rows in the order of time.

Three forms are known: all rows of one channel before those of the next, rows of events before or behind the samples,
and rows that stand in no order, or in stretches in another one (`read.unordered`).
"""

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.model.station import Channel
from tracekit.model.trace import Assumption
from tracekit.options.read import ReadOptions
from tracekit.read.columns import Column, fetch, make_column, profile_cells, spread_texts
from tracekit.read.digitals import ROLES, filled_cells
from tracekit.read.head import Head, finite
from tracekit.read.longfind import named_table
from tracekit.read.merge import Run, merged
from tracekit.read.opened import Opened
from tracekit.read.plan import Plan
from tracekit.read.rows import Rows
from tracekit.read.spill import Spill
from tracekit.read.timeplan import TimePlan, raw_seconds, times_of
from tracekit.read.unordered import Scattered, find_scattered, in_order
from tracekit.read.values import is_texty, word_codes
from tracekit.read.words import hints

_FEWEST, _MOST_RUNS, _MOST_TAGS, _WHOLE, _HEAD_ROWS, _SPREAD = 5, 60, 400, 0.98, 60_000, 20_000
_DAY_S = 86_400.0
_DEFAULT = ReadOptions()

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretches:
    """How a file stands in stretches.

    time     how the times are read by which rows are put in order
    columns  the columns that tell the stretches and the times
    tag      the column whose words are the channels that stand one after another; empty where events stand apart
    reading  a column that is empty in rows of events
    """

    time: TimePlan
    columns: Mapping[str, Column]
    tag: str = ""
    reading: str = ""


def in_time_order(opened: Opened, given: Channel | None = None, options: ReadOptions = _DEFAULT) -> Opened:
    """A file with its rows in the order of time; as it is where it stands in no such stretches.

    given    how the station file says that time is read
    options  how many rows are sorted at once

    Raises LogReadError where the head shows one form and later rows do not keep to it.
    """
    found = _find(opened, given)
    if found is None:
        return opened

    def rows(plan: Plan) -> Iterator[Rows]:
        return in_order(opened, found, plan, options) if isinstance(found, Scattered) else _ordered(opened, found, plan)

    turned = replace(opened, rows=rows, last_rows=lambda _: None)
    return replace(turned, head=_ordered_head(opened.head, turned, found))


def _find(opened: Opened, given: Channel | None) -> Stretches | Scattered | None:
    head = opened.head
    times = times_of(head, given) if given is None or given.interval_s is None else []
    if not times or head.rows < 2 * _FEWEST:
        return None
    apart = None
    named = not opened.ends_filled or any(c.kind in ("text", "level") or c.array.null_count for c in head.columns)
    last = opened.last_rows(_plan_of(head)) if named and not head.whole else None
    if named and (head.whole or last is not None):  # else no channel is named, and no cell is empty
        apart = _channels_apart(head, last, *times[0]) or _events_apart(head, last, *times[0])
    return apart or find_scattered(opened, _plan_of(head), times, _tags(head))


def _tags(head: Head) -> list[Column]:
    """Columns whose words are names of channels."""
    texts = [c for c in head.columns if c.kind == "text" and 2 <= len(c.words) <= _MOST_TAGS]
    return [c for c in texts if _are_channels([w.strip() for w in c.words])] or named_table(head, texts)


def _plan_of(head: Head) -> Plan:
    """A plan that reads all columns and decides nothing."""
    columns = {c.name: replace(c, profile=replace(c.profile, mixed=c.kind == "number")) for c in head.columns}
    return Plan(time=TimePlan(kind="row", columns=()), stations=(), columns=columns)


def _arrays(column: Column, last: Rows | None) -> list[pa.Array]:
    return [column.array, *([fetch(last.columns, column)] if last is not None else [])]


def _channels_apart(head: Head, last: Rows | None, time: TimePlan, seconds: Floats) -> Stretches | None:
    """Where a column names channels and each channel's rows stand together, at times that overlap."""
    tags = _tags(head)
    for column in head.columns:
        if column.kind not in ("text", "level") or column.name in time.columns:
            continue
        order = [w for array in _arrays(column, last) for w in _words_in_order(array)]
        order = [w for w, _ in itertools.groupby(order)]
        known = any(column is tag for tag in tags) or _are_channels(order)
        if not 2 <= len(order) <= _MOST_RUNS or len(set(order)) < len(order) or not known:
            continue
        starts = np.concatenate([[0], np.nonzero(np.diff(word_codes(column.array)[0]) != 0)[0] + 1])
        first = finite(seconds[: starts[1]] if len(starts) > 1 else seconds)
        overlap = len(first) > 0 and bool((seconds[starts[1:]] < first.max()).all())
        if overlap:
            return Stretches(time=time, columns=_used(head, (*time.columns, column.name)), tag=column.name)
    return None


def _words_in_order(array: pa.Array) -> list[str]:
    """The words of a column, each time another one stands there; at most some more than are of use."""
    codes, words = word_codes(array)
    codes = codes[codes >= 0]
    if len(codes) == 0:
        return []
    places = np.concatenate([[0], np.nonzero(np.diff(codes) != 0)[0] + 1])[: _MOST_RUNS + 1]
    return [words[k].strip() for k in codes[places]]


def _are_channels(words: list[str]) -> bool:
    """True for names of channels: one of a pressure or of a signal of a station, in no two of the same sense alone."""
    known = [hints(w) for w in words]
    pressures = sum(h.weight("pressure") >= 0.9 or h.pressure_unit is not None for h in known)
    signals = sum(max(h.weight(role) for role in ROLES) >= 0.8 for h in known)
    return pressures > 0 and pressures + signals > 1


def _events_apart(head: Head, last: Rows | None, time: TimePlan, seconds: Floats) -> Stretches | None:
    """Where rows without a reading, but with a word or level, stand before or behind all rows with one."""
    for reading in head.columns:
        if reading.kind != "number" or reading.name in time.columns or reading.levels < _FEWEST:
            continue
        others = [c for c in head.columns if c is not reading and c.name not in time.columns]
        bare = [~filled_cells(a) for a in _arrays(reading, last)]
        held = [
            np.logical_or.reduce([filled_cells(_arrays(c, last)[k]) for c in others])
            if others
            else np.zeros(len(bare[k]), np.bool_)
            for k in range(len(bare))
        ]
        apart = np.concatenate([b & h for b, h in zip(bare, held, strict=True)])
        if not _FEWEST <= apart.sum() <= len(apart) - _FEWEST or (apart != np.concatenate(bare)).mean() > 1 - _WHOLE:
            continue
        turns = np.nonzero(np.diff(apart.view(np.int8)) != 0)[0] + 1
        if len(turns) != 1 or np.concatenate(held)[~apart].mean() > 1 - _WHOLE:
            continue
        turn = int(turns[0])
        inside = turn < head.rows
        if inside and not seconds[turn] < np.nanmax(seconds[:turn]):
            continue
        names = (*time.columns, reading.name, *(c.name for c in others))
        return Stretches(time=time, columns=_used(head, names), reading=reading.name)
    return None


def _used(head: Head, names: tuple[str, ...]) -> dict[str, Column]:
    return {c.name: c for c in head.columns if c.name in names}


def _ordered(opened: Opened, found: Stretches, plan: Plan) -> Iterator[Rows]:
    """All rows in the order of time, by way of a temporary file."""
    more = {k: c for k, c in found.columns.items() if k not in plan.columns}
    pieces = opened.rows(replace(plan, columns={**more, **plan.columns}))
    first = next(pieces, None)
    if first is None:
        return
    sorter = _Sorter(opened.head.name, found)
    with Spill(first) as spill:
        for piece in itertools.chain([first], pieces):
            sorter.take(piece, spill)
        runs = sorted(sorter.runs.values(), key=lambda run: run.rank)
        for batch in merged(spill, runs):
            yield spill.rows(batch)


class _Sorter:
    """Puts rows of a file into runs, each of rising times."""

    def __init__(self, name: str, found: Stretches) -> None:
        self._name = name
        self._found = found
        self._origin: tuple[int, float] | None = None
        self._part = 0
        self._event_s = -1e300
        self._clocks = found.time.kind == "stamp" and not found.time.dated
        self._last: str | int = ""
        self.runs: dict[str | int, Run] = {}

    def take(self, piece: Rows, spill: Spill) -> None:
        """Write a piece, in parts by runs."""
        spill.reject(piece)
        if piece.count == 0:
            return
        columns = self._found.columns
        parts = [(fetch(piece.columns, columns[n]), columns[n]) for n in self._found.time.columns]
        seconds, origin = raw_seconds(parts, self._found.time, self._origin)
        if np.isfinite(seconds).any():
            self._origin = origin
        parted = self._by_tag(piece) if self._found.tag else self._by_kind(piece, seconds)
        for key, index in parted:
            run = self.runs.setdefault(key, Run(rank=-1 if self._found.reading and key else len(self.runs)))
            time_s = self._risen(run, seconds[index])
            run.last_s = float(time_s[-1])
            run.places.append(spill.count)
            spill.part(piece, index, time_s)

    def _risen(self, run: Run, seconds: Floats) -> Floats:
        """Times of rows of one run that never fall: a row without one stands with the row before."""
        if self._clocks:
            steps = np.diff(np.nan_to_num(seconds), prepend=run.clock_s if np.isfinite(run.clock_s) else seconds[0])
            run.clock_s = float(seconds[-1])
            days = run.days + np.cumsum(steps < -_DAY_S / 2)
            run.days = int(days[-1])
            seconds = seconds + days * _DAY_S
        known = np.where(np.isfinite(seconds), seconds, -np.inf)
        return np.maximum.accumulate(np.maximum(known, run.last_s))

    def _by_tag(self, piece: Rows) -> Iterator[tuple[str | int, NDArray[np.int64]]]:
        codes, words = word_codes(fetch(piece.columns, self._found.columns[self._found.tag]))
        starts = np.concatenate([[0], np.nonzero(np.diff(codes) != 0)[0] + 1, [len(codes)]])
        if len(starts) > _MOST_TAGS:
            raise self._refused()
        for start, stop in itertools.pairwise(starts.tolist()):
            word = words[codes[start]].strip() if codes[start] >= 0 else str(self._last)
            if word != self._last and word in self.runs:
                raise self._refused()
            self._last = word
            yield word, np.arange(start, stop)

    def _by_kind(self, piece: Rows, seconds: Floats) -> Iterator[tuple[str | int, NDArray[np.int64]]]:
        """Samples as run 0, events as runs from 1 on, a new one where their times fall."""
        columns = self._found.columns
        reading = columns[self._found.reading]
        events = ~filled_cells(fetch(piece.columns, reading))
        if (~events).any():
            yield 0, np.nonzero(~events)[0]
        index = np.nonzero(events)[0]
        if len(index) == 0:
            return
        steps = np.diff(np.nan_to_num(seconds[index]), prepend=self._event_s)
        self._event_s = float(seconds[index[-1]])
        midnight = steps < -_DAY_S / 2 if self._clocks else np.zeros(len(steps), np.bool_)
        part = max(self._part, 1) + np.cumsum((steps < 0) & ~midnight)
        self._part = int(part[-1])
        if self._part > _MOST_RUNS:
            raise self._refused()
        for number in np.unique(part).tolist():
            yield number, index[part == number]

    def _refused(self) -> LogReadError:
        found = "rows that stand neither in the order of time nor in a few stretches of it"
        return LogReadError(message(self._name, found, "rows in the order of time", "Sort them and read again."))


def _ordered_head(head: Head, turned: Opened, found: Stretches | Scattered) -> Head:
    """The first rows in the order of time, with what was found."""
    pieces, count = [], 0
    for piece in turned.rows(_plan_of(head)):
        pieces.append(piece)
        count += piece.count
        if count >= _HEAD_ROWS and not head.whole:
            break
    columns = tuple(_anew(c, pieces, found) for c in head.columns)
    evidence = "their times overlap, and each stretch holds rows of one kind alone"
    if isinstance(found, Scattered):
        what, evidence = "not that of time", found.evidence
    else:
        what = f'channels of "{found.tag}" one after another' if found.tag else f'events apart from "{found.reading}"'
    value = f"{what}, put in the order of time"
    fact = Assumption(what="order of rows", value=value, evidence=evidence, confidence=0.95)
    return replace(head, columns=columns, rows=count, assumptions=(*head.assumptions, fact))


def _anew(column: Column, pieces: list[Rows], found: Stretches | Scattered) -> Column:
    """A column with the rows of some pieces; beside names of channels words may stand among numbers."""
    array = pa.concat_arrays([_decoded(fetch(p.columns, column)) for p in pieces])
    known = column.profile
    if known.kind == "empty" and is_texty(array):
        known = profile_cells(spread_texts(array, _SPREAD))
    tagged = isinstance(found, Stretches) and found.tag != ""
    mixed = tagged and known.kind == "number" and column.name not in found.time.columns
    profile = replace(known, mixed=mixed or known.mixed)
    if profile.kind in ("text", "level", "array") and not pa.types.is_nested(array.type):
        array = array.dictionary_encode()
    made = make_column(column.name, column.unit, profile, array, column.cells)
    return replace(made, source=column.source, item=column.item, beside=column.beside)


def _decoded(array: pa.Array) -> pa.Array:
    return array.dictionary_decode() if pa.types.is_dictionary(array.type) else array
