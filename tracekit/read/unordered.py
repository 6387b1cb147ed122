"""Files whose rows stand in no order of time, or in stretches in another one: their rows in the order of time.

Rows are moved only where their times prove it: each has one of its own, and sorted they go on without a hole where they
were torn apart. A clock that was set back repeats times or leaves a hole, and is read as what it is.
"""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.options.evidence import EVIDENCE
from tracekit.options.read import ReadOptions
from tracekit.read.columns import Column, fetch
from tracekit.read.head import Head, finite
from tracekit.read.merge import Run, merged
from tracekit.read.opened import Opened
from tracekit.read.plan import Plan
from tracekit.read.rising import in_no_order
from tracekit.read.rows import Rows
from tracekit.read.spill import Spill
from tracekit.read.timeplan import TimePlan, raw_seconds
from tracekit.read.values import word_codes

_DAY_S = 86_400.0

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scattered:
    """Rows that are out of the order of time: how time is read, its columns, and what shows that they are."""

    time: TimePlan
    columns: dict[str, Column]
    evidence: str


def find_scattered(
    opened: Opened, plan: Plan, times: Sequence[tuple[TimePlan, Floats]], tags: Sequence[Column]
) -> Scattered | None:
    """How the rows of a file are out of order; None where they are in order, or where their times do not prove it.

    plan   one that reads all columns
    times  ways to tell the time of the first rows, and their seconds, of shape (n,)
    tags   columns whose words are names of channels
    """
    if not times:
        return None
    time, seconds = times[0]
    seconds = Clocked(time).unrolled(seconds)
    columns = {c.name: c for c in opened.head.columns if c.name in time.columns}
    known = finite(seconds)
    steps = np.diff(known)
    falls, rises = int((steps < 0).sum()), int((steps > 0).sum())
    if falls == 0:
        return _turned_about(opened, plan, time, known)
    if any(_goes_on(others) for _, others in times[1:]) or rises < EVIDENCE.turned_falls * falls:
        return None
    name = time.columns[0]
    tag = next((c for c in tags if _each_rises(seconds, word_codes(c.array)[0])), None)
    if tag is not None:
        evidence = f'the times of each channel of "{tag.name}" rise, those of all together fall {falls} times'
        return Scattered(time=time, columns=columns, evidence=evidence)
    if in_no_order(known):
        own = _are_own(opened.head, seconds)
        evidence = f'{falls} of {len(steps)} steps of "{name}" go back, and each row has a time of its own'
        return Scattered(time=time, columns=columns, evidence=evidence) if own else None
    stretches = stretches_of([known], _usual_s(known))
    if not opened.head.whole and are_apart(stretches):
        stretches = _all_stretches(opened, plan, time, known)
    return _told(time, columns, len(stretches)) if fit_together(stretches, _usual_s(known)) else None


def _turned_about(opened: Opened, plan: Plan, time: TimePlan, known: Floats) -> Scattered | None:
    """Rows of which the first are in order, and the last come before them, as out of a ring of memory."""
    last = None if opened.head.whole or len(known) == 0 else opened.last_rows(replace(plan, time=time))
    if last is None:
        return None
    columns = {c.name: c for c in opened.head.columns if c.name in time.columns}
    parts = [(columns[n].array, columns[n]) for n in time.columns]
    seconds, origin = raw_seconds(parts, time)
    ends = finite(_seconds_in(last, time, columns, origin))
    clock = Clocked(time)
    back_s = finite(seconds)[0] - ends.max() if len(ends) else 0.0
    if back_s <= 0 or (clock.rolls and back_s > _DAY_S / 2):
        return None
    stretches = _all_stretches(opened, plan, time, known)
    return _told(time, columns, len(stretches)) if fit_together(stretches, _usual_s(known)) else None


def _all_stretches(opened: Opened, plan: Plan, time: TimePlan, known: Floats) -> NDArray[np.float64]:
    """The stretches of all rows of a file, by one more pass over its times; `known` are the first of them."""
    columns = {c.name: c for c in opened.head.columns if c.name in time.columns}
    clock = Clocked(time)
    pieces = opened.rows(replace(plan, columns=columns))
    each = (clock.unrolled(_seconds_in(piece, time, columns, (0, 0.0))) for piece in pieces)
    return stretches_of(each, _usual_s(known))


def _told(time: TimePlan, columns: dict[str, Column], count: int) -> Scattered:
    evidence = f'{count} stretches fit together by "{time.columns[0]}" without a hole, and no time comes twice'
    return Scattered(time=time, columns=columns, evidence=evidence)


def _goes_on(seconds: Floats) -> bool:
    steps = np.diff(finite(seconds))
    return bool((steps >= 0).all()) and bool((steps > 0).any())


def _usual_s(known: Floats) -> float:
    """The usual step forward of some times [s], 0 where there is none."""
    steps = np.diff(known)
    steps = steps[steps > 0]
    return float(np.median(steps)) if len(steps) else 0.0


def stretches_of(pieces: Iterator[Floats] | Sequence[Floats], usual_s: float) -> NDArray[np.float64]:
    """First and last time of each stretch of rows that go on as time does, in the order of the file, shape (m, 2).

    A stretch ends where time falls and where it leaves a hole. Of more than a file of a few torn places has, none.
    """
    firsts: list[Floats] = []
    lasts: list[Floats] = []
    before = np.nan
    for piece in pieces:
        known = finite(piece)
        if len(known) == 0:
            continue
        steps = np.diff(known, prepend=before)
        cut = ~((steps >= 0) & (steps <= EVIDENCE.torn_step * usual_s))
        starts = np.flatnonzero(cut)
        ends = np.concatenate([[before], known])[starts]
        firsts.append(known[starts])
        lasts.append(ends)
        before = float(known[-1])
        if sum(map(len, firsts)) > EVIDENCE.most_stretches:
            return np.empty((0, 2))
    if not firsts:
        return np.empty((0, 2))
    return np.column_stack([np.concatenate(firsts), np.concatenate([*lasts, [before]])[1:]])


def fit_together(stretches: NDArray[np.float64], usual_s: float) -> bool:
    """True for stretches that stand in another order than their times, and that in order go on without a hole.

    A few rows behind all others that tell the earliest times are none of them: a footer counts from zero.
    """
    if len(stretches) and np.ptp(stretches[-1]) < EVIDENCE.fewest_lines * usual_s:
        stretches = stretches[:-1] if stretches[:, 0].argmin() == len(stretches) - 1 else stretches
    if not are_apart(stretches) or (np.diff(stretches[:, 0]) > 0).all():
        return False
    order = np.argsort(stretches[:, 0], kind="stable")
    joins = stretches[order[1:], 0] - stretches[order[:-1], 1]
    moved = np.diff(order) != 1  # where stretches stand in order the hole between them is the log's own
    close = (joins >= EVIDENCE.torn_least * usual_s) & (joins <= EVIDENCE.torn_step * usual_s)
    return bool(close[moved].mean() >= EVIDENCE.torn_close)


def _seconds_in(piece: Rows, time: TimePlan, columns: dict[str, Column], origin: tuple[int, float]) -> Floats:
    return raw_seconds([(fetch(piece.columns, columns[n]), columns[n]) for n in time.columns], time, origin)[0]


def told_stretches(
    first_s: float,
    last_s: float,
    gaps: Sequence[tuple[float, float]],
    steps: Sequence[tuple[float, float]],
    typical_s: float,
) -> NDArray[np.float64]:
    """Stretches as a file tells their times, from what a clock that was moved on kept of it, shape (m, 2) [s].

    first_s, last_s  of the times as moved on
    gaps             last time before each and first one after it
    steps            time after which the clock was set back, and by how much
    """
    cuts = sorted([*((b, a, 0.0) for a, b in gaps), *((at_s, at_s - typical_s, step_s) for at_s, step_s in steps)])
    moved = np.concatenate([[0.0], np.cumsum([step_s for *_, step_s in cuts])])
    firsts = np.array([first_s, *(start_s for start_s, *_ in cuts)])
    lasts = np.array([*(end_s for _, end_s, _ in cuts), last_s])
    return np.column_stack([firsts + moved, lasts + moved])


def are_apart(stretches: NDArray[np.float64]) -> bool:
    """False for stretches of which some hold times of others: a clock was set back, or counts began anew."""
    order = np.argsort(stretches[:, 0], kind="stable")
    return len(stretches) > 1 and bool((stretches[order[1:], 0] > stretches[order[:-1], 1]).all())


def _are_own(head: Head, seconds: Floats) -> bool:
    """True where nearly every row has a time that no other has, or none with the same word beside it."""
    if _own(seconds):
        return True
    texts = [c for c in head.columns if c.kind == "text" and 2 <= len(c.words) <= EVIDENCE.most_stations]
    return any(_own(seconds, word_codes(c.array)[0]) for c in texts)


def _each_rises(seconds: Floats, codes: NDArray[np.int64]) -> bool:
    """True where the times of every channel rise by themselves: a clock that is set back takes all with it."""
    known = np.isfinite(seconds) & (codes >= 0)
    order = np.argsort(codes[known], kind="stable")
    steps, same = np.diff(seconds[known][order]), np.diff(codes[known][order]) == 0
    return bool(same.any()) and bool((steps[same] >= 0).all())


def _own(seconds: Floats, beside: NDArray[np.int64] | None = None) -> bool:
    known = np.isfinite(seconds)
    pairs = seconds[known] if beside is None else np.column_stack([seconds[known], beside[known]])
    return len(np.unique(pairs, axis=0)) > EVIDENCE.own_times * int(known.sum())


class Clocked:
    """Times of day that go on over midnight; other times as they are."""

    def __init__(self, time: TimePlan) -> None:
        """Follow a plan."""
        self.rolls = time.kind == "stamp" and not time.dated
        self._last_s = np.nan
        self._days = 0

    def unrolled(self, seconds: Floats) -> Floats:
        """The next times with the midnights before them, shape (n,)."""
        known = np.isfinite(seconds)
        if not self.rolls or not known.any():
            return seconds
        first_s = self._last_s if np.isfinite(self._last_s) else seconds[known][0]
        steps = np.diff(seconds[known], prepend=first_s)
        days = self._days + np.cumsum((steps < -_DAY_S / 2).astype(np.int64) - (steps > _DAY_S / 2))
        self._last_s, self._days = float(seconds[known][-1]), int(days[-1])
        moved = seconds.copy()
        moved[known] += days * _DAY_S
        return moved


def in_order(opened: Opened, found: Scattered, plan: Plan, options: ReadOptions) -> Iterator[Rows]:
    """All rows in the order of time, by way of a temporary file; memory holds `sort_rows` rows."""
    more = {k: c for k, c in found.columns.items() if k not in plan.columns}
    pieces = opened.rows(replace(plan, columns={**more, **plan.columns}))
    first = next(pieces, None)
    if first is None:
        return
    sorter = _Sorter(found)
    with Spill(first) as spill:
        for heap in _heaps(itertools.chain([first], pieces), options.sort_rows):
            sorter.take(heap, spill, options.sorted_rows)
        for batch in merged(spill, sorter.runs):
            yield spill.rows(batch)


def _heaps(pieces: Iterator[Rows], most: int) -> Iterator[Rows]:
    """Pieces put together until they hold so many rows."""
    held: list[Rows] = []
    for piece in pieces:
        held.append(piece)
        if sum(p.count for p in held) >= most:
            yield _joined(held)
            held = []
    if held:
        yield _joined(held)


def _joined(pieces: Sequence[Rows]) -> Rows:
    arrays = {n: [_plain(p.columns[n]) for p in pieces] for n in pieces[0].columns}
    lines = np.concatenate([p.line_of(np.arange(p.count)) for p in pieces])
    return Rows(
        columns={n: pa.concat_arrays(parts) for n, parts in arrays.items()},
        count=len(lines),
        first_line=1,
        lines=lines,
        rejected=tuple(r for p in pieces for r in p.rejected),
    )


def _plain(array: pa.Array) -> pa.Array:
    return array.dictionary_decode() if pa.types.is_dictionary(array.type) else array


class _Sorter:
    """Sorts heaps of rows and writes each as a run; a row without a time stays behind the row before it."""

    def __init__(self, found: Scattered) -> None:
        self._found = found
        self._clock = Clocked(found.time)
        self._origin: tuple[int, float] | None = None
        self._last_s = 0.0
        self.runs: list[Run] = []

    def take(self, heap: Rows, spill: Spill, batch_rows: int) -> None:
        spill.reject(heap)
        if heap.count == 0:
            return
        columns = self._found.columns
        parts = [(fetch(heap.columns, columns[n]), columns[n]) for n in self._found.time.columns]
        seconds, origin = raw_seconds(parts, self._found.time, self._origin)
        if np.isfinite(seconds).any():
            self._origin = origin
        times = self._known(self._clock.unrolled(seconds))
        order = np.argsort(times, kind="stable")
        run = Run(rank=len(self.runs))
        for start in range(0, heap.count, batch_rows):
            index = order[start : start + batch_rows]
            run.places.append(spill.count)
            spill.part(heap, index, times[index])
        self.runs.append(run)

    def _known(self, seconds: Floats) -> Floats:
        """Times without a hole: the one before stands for each that is missing."""
        known = np.isfinite(seconds)
        place = np.maximum.accumulate(np.where(known, np.arange(len(seconds)), -1))
        filled = np.where(place < 0, self._last_s, seconds[np.maximum(place, 0)])
        self._last_s = float(filled[-1])
        return filled
