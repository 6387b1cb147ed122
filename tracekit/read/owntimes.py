"""Files in which every channel has a time column of its own beside it: a table for each channel."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.trace import Assumption
from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column, fetch, make_column
from tracekit.read.digitals import filled_cells
from tracekit.read.head import Head, finite, joined
from tracekit.read.opened import Opened
from tracekit.read.plan import Plan
from tracekit.read.rising import rises
from tracekit.read.rows import Rows
from tracekit.read.spill import whole_numbers
from tracekit.read.stamp_values import moment_ns, stamp_ns

_COPY = re.compile(r"(?: \(\d{1,4}\)|[._ ]?\d{1,4})$")
_SAME_S = 1e-6

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Channel:
    """A time column, its times in the first rows [s or counts], shape (n,), and the columns beside it."""

    time: Column
    seconds: Floats
    values: tuple[Column, ...]

    @property
    def columns(self) -> tuple[Column, ...]:
        """All of them."""
        return (self.time, *self.values)


def with_own_times(opened: Opened) -> tuple[Opened, ...]:
    """A table for each channel where each has times of its own, that of the pressure first; else the file as it is."""
    channels = _channels(opened.head)
    if len(channels) < 2 or not _differ(channels):
        return (opened,)
    pressures = [c for c in channels if any(_is_pressure(v) for v in c.values)]
    if not pressures:
        pressures = [c for c in channels if any(v.levels > EVIDENCE.signal_levels for v in c.values)]
    if len(pressures) != 1:
        return (opened,)
    first = pressures[0]
    return tuple(
        _table(opened, channel, first, lead=channel is first)
        for channel in sorted(channels, key=lambda c: c is not first)
    )


def _is_pressure(column: Column) -> bool:
    known = column.hints
    return known.weight("pressure") >= EVIDENCE.name_weight or known.pressure_unit is not None


def _channels(head: Head) -> list[_Channel]:
    """Each time column with what stands behind it up to the next one; empty where a column stands before the first."""
    held = [c for c in head.columns if c.kind != "empty"]
    starts = [k for k, column in enumerate(held) if _times(column) is not None]
    if len(starts) < 2 or starts[0] != 0:
        return []
    found = []
    for start, stop in zip(starts, [*starts[1:], len(held)], strict=True):
        seconds = _times(held[start])
        if seconds is None or stop - start < 2:
            return []
        found.append(_Channel(time=held[start], seconds=seconds, values=tuple(held[start + 1 : stop])))
    kinds = {(c.time.kind, c.time.hints.time_unit) for c in found}
    return found if len(kinds) == 1 else []


def _times(column: Column) -> Floats | None:
    """Seconds or counts of a column that goes on as time does and says so, or is one of several copies."""
    if column.kind == "number":
        timely = column.hints.weight("time") >= EVIDENCE.name_weight or _bare(column.name) in ("x", "t")
        unit = column.hints.time_unit
        seconds = column.values * (unit.seconds if unit is not None else 1.0)
        if not timely or column.hints.sample_number or column.levels <= EVIDENCE.signal_levels:
            return None
    elif column.kind == "moment" or (column.profile.stamp is not None and column.profile.stamp.has_clock):
        stamp = column.profile.stamp
        ns, sound = moment_ns(column.array) if stamp is None else stamp_ns(column.array, stamp)
        seconds = np.where(sound, ns / 1e9, np.nan)
    else:
        return None
    return seconds if len(finite(seconds)) > 1 and rises(seconds, wraps=False) else None


def _bare(name: str) -> str:
    return _COPY.sub("", name.strip()).casefold()


def _differ(channels: Sequence[_Channel]) -> bool:
    """True for times that are no two clocks of the same rows: of three channels, of one name, or of fewer rows."""
    own = channels[0].seconds
    apart = False
    for channel in channels[1:]:
        off = np.abs(channel.seconds - own)
        missing = np.isfinite(channel.seconds) != np.isfinite(own)
        apart |= bool((off > _SAME_S).any()) or bool(missing.any())
    counts = [int(np.isfinite(c.seconds).sum()) for c in channels]
    copies = len({_bare(c.time.name) for c in channels}) == 1
    fewer = min(counts) < EVIDENCE.ended_share * max(counts)
    return apart and (len(channels) > 2 or copies or fewer)


def _table(opened: Opened, channel: _Channel, first: _Channel, *, lead: bool) -> Opened:
    """The rows of one channel; those of others that end earlier or later are none of it.

    All have the name of the first one's time, so that they are read alike. What a line could not tell is rejected once.
    """
    head = opened.head
    kept = np.flatnonzero(_held(tuple(c.array for c in channel.columns)))
    columns = tuple(_cut(c, kept, head.rows) for c in channel.columns)
    source = channel.time.source or channel.time.name
    columns = (replace(columns[0], name=first.time.name, source=source, hints=first.time.hints), *columns[1:])
    fact = Assumption(
        what="times", value=f'{joined(v.name for v in channel.values)} by "{channel.time.name}"',
        evidence="every channel has a column of times of its own", confidence=0.95,
    )  # fmt: skip

    def rows(plan: Plan) -> Iterator[Rows]:
        more = {c.name: c for c in columns if c.name not in plan.columns}
        for piece in opened.rows(replace(plan, columns={**more, **plan.columns})):
            yield _own_rows(piece, columns, lead=lead)

    def last_rows(plan: Plan) -> Rows | None:
        more = {c.name: c for c in columns if c.name not in plan.columns}
        last = opened.last_rows(replace(plan, columns={**more, **plan.columns}))
        own = None if last is None else _own_rows(last, columns, lead=lead)
        return own if own is not None and own.count else None

    return replace(
        opened,
        head=replace(head, columns=columns, rows=len(kept), assumptions=(*head.assumptions, fact)),
        rows=rows,
        last_rows=last_rows,
        warnings=opened.warnings if lead else tuple,
        ends_filled=False,
    )


def _held(arrays: Sequence[object]) -> NDArray[np.bool_]:
    """True in rows in which one of some columns holds anything, shape (n,)."""
    return np.asarray(np.logical_or.reduce([filled_cells(a) for a in arrays]), np.bool_)


def _cut(column: Column, kept: NDArray[np.int64], rows: int) -> Column:
    if len(kept) == rows:
        return column
    made = make_column(column.name, column.unit, column.profile, column.array.take(whole_numbers(kept)), column.cells)
    return replace(made, source=column.source, item=column.item, beside=column.beside, hints=column.hints)


def _own_rows(piece: Rows, columns: Sequence[Column], *, lead: bool) -> Rows:
    """The rows of a piece that hold anything of a channel."""
    rejected = piece.rejected if lead else ()
    there = [c for c in columns if (c.source or c.name) in piece.columns]  # of last rows the times alone may be read
    held = _held([fetch(piece.columns, c) for c in there])
    if held.all():
        return replace(piece, rejected=rejected)
    index = np.flatnonzero(held)
    taken = {name: array.take(whole_numbers(index)) for name, array in piece.columns.items()}
    return Rows(columns=taken, count=len(index), first_line=1, lines=piece.line_of(index), rejected=rejected)
