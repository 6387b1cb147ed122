"""Files whose newest row stands first: their rows in the order of time."""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.model.station import Channel, Station
from tracekit.model.trace import Assumption
from tracekit.options.evidence import EVIDENCE
from tracekit.read.clockcolumns import with_packed_clocks
from tracekit.read.columns import Column
from tracekit.read.dateorder import with_date_order
from tracekit.read.digitals import by_name, find_digitals
from tracekit.read.head import Head, finite
from tracekit.read.opened import Opened
from tracekit.read.plan import Plan
from tracekit.read.restarting import usual_step
from tracekit.read.roles import by_response
from tracekit.read.rows import Rows
from tracekit.read.spill import Spill
from tracekit.read.timeplan import times_of

_FEWEST = 4


def oldest_first(opened: Opened, stations: Sequence[Station]) -> Opened:
    """A file with its rows in the order of time; as it is where they stand so, or where no time shows."""
    given = stations[0].channels.get("time") if len(stations) == 1 else None
    name = _falling(opened.head, given)
    if name is None:
        return opened
    _check_countdown(opened.head, name)

    def rows(plan: Plan) -> Iterator[Rows]:
        return _turned_rows(opened.rows(plan))

    return replace(opened, head=_turned_head(opened.head, name), rows=rows, newest_first=True)


def with_oldest_stamp(opened: Opened, plan: Plan) -> Plan:
    """The plan of a file that stands newest first and whose stamps are rounded, with a whole oldest stamp.

    How many rows share it, only reading to the end would tell.
    """
    time = plan.time
    if not opened.newest_first or opened.head.whole or time.rounded_s == 0:
        return plan
    return replace(plan, time=replace(time, first_rows=round(time.rounded_s / time.typical_s)))


def _falling(head: Head, given: Channel | None) -> str | None:
    """The column whose times fall from row to row, None where there is none or a time rises."""
    if given is not None and given.interval_s is not None:
        return None
    found = None
    for plan, seconds in times_of(with_date_order(with_packed_clocks(head), given), given):
        steps = np.diff(finite(seconds))
        rises, falls = int((steps > 0).sum()), int((steps < 0).sum())
        if rises > falls:
            return None
        if falls >= _FEWEST and rises <= 1 + 0.01 * falls:
            found = found or plan.columns[0]
    return found


def _check_countdown(head: Head, name: str) -> None:
    """Raise LogReadError where numbers fall from row to row and yet the pressure answers in the order of the rows."""
    column = head.column(name)
    numbers = [c for c in head.columns if c.kind == "number" and c.levels > EVIDENCE.signal_levels]
    readings = [c for c in numbers if c.hints.weight("pressure") >= EVIDENCE.name_weight]
    if column is None or column.kind != "number" or len(readings) != 1:
        return
    digitals = find_digitals([c for c in head.columns if c is not column and c is not readings[0]])
    named = by_name(digitals)
    kpa = readings[0].values * (-1.0 if readings[0].hints.says_vacuum else 1.0)
    turned = [replace(d, levels=d.levels[::-1]) for d in named.values()]
    ahead = {role for role, (d, _) in by_response(list(named.values()), kpa).items() if named.get(role) is d}
    back = {role for role, (d, _) in by_response(turned, kpa[::-1]).items() if named[role].name == d.name}
    if "supply" not in ahead or "supply" in back:
        return
    step = abs(usual_step(column.values))
    what = f'the numbers in "{name}" fall from row to row, and yet the pressure answers the valves from row to row'
    todo = (
        "Is it the time that is left? Then write the interval into a station file and give it with --station:\n"
        f"    [channels]\n    time = {{ interval_s = {step:.6g} }}   # seconds from row to row"
    )
    raise LogReadError(message(head.name, what, "times that rise, or rows that stand newest first", todo))


def _turned_head(head: Head, name: str) -> Head:
    fact = Assumption(
        what="order of rows", value="newest first, read from the end",
        evidence=f'the times of "{name}" fall from row to row', confidence=0.97,
    )  # fmt: skip
    columns = tuple(_turned_column(c, head.rows) for c in head.columns)
    return replace(head, columns=columns, assumptions=(*head.assumptions, fact))


def _turned_column(column: Column, rows: int) -> Column:
    return replace(column, array=column.array.take(_back(rows)), values=column.values[::-1], cells=column.cells[::-1])


def _back(rows: int) -> pa.Array:
    """Positions of some rows from the last to the first."""
    index: NDArray[np.int64] = np.arange(rows - 1, -1, -1)
    return pa.Array.from_buffers(pa.int64(), rows, [None, pa.py_buffer(index)])


def _turned_rows(rows: Iterator[Rows]) -> Iterator[Rows]:
    """All rows from the last to the first, by way of a temporary file; what was rejected comes with the first piece."""
    first = next(rows, None)
    if first is None:
        return
    with Spill(first) as spill:
        for piece in itertools.chain([first], rows):
            spill.write(piece)
        for place in range(spill.count - 1, -1, -1):
            batch = spill.batch(place)
            yield spill.rows(batch.take(_back(batch.num_rows)))
