"""Rows with a column per channel that are written only where something changes."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracekit.model.trace import Assumption
from tracekit.read.head import Head
from tracekit.read.onchange import hold_step
from tracekit.read.plan import StationPlan
from tracekit.read.timeplan import TimePlan, seconds_of


def holding(
    head: Head, time: TimePlan, stations: Sequence[StationPlan]
) -> tuple[TimePlan, float, tuple[Assumption, ...]]:
    """The plan of time with the interval at which rows hold where they are written on change [s], else 0."""
    column = head.column(stations[0].pressure.column) if len(stations) == 1 else None
    if column is None or column.kind != "number" or time.kind == "row":
        return time, 0.0, ()
    if time.rounded_s > 0 or stations[0].pressure.beside:
        return time, 0.0, ()
    changed = np.zeros(head.rows, np.bool_)
    for plan in stations[0].digitals.values():
        own = head.column(plan.column)
        if own is None or plan.beside:
            return time, 0.0, ()
        changed[1:] |= np.diff(plan.levels(own.array, own)) != 0
    step = hold_step(seconds_of(head, time), column.values, changed)
    if step == 0.0:
        return time, 0.0, ()
    fact = Assumption(
        what="written on change", value=f"between rows the last one holds, every {step:.3g} s for a minute at most",
        evidence="no reading equals the one before unless a signal changes, and changes have a lowest size",
        confidence=0.9,
    )  # fmt: skip
    return replace(time, typical_s=step), step, (fact,)
