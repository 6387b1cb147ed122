"""The date of a recording whose times are elapsed ones, by the lines above its header."""

from dataclasses import replace

from tracekit.model.trace import Assumption
from tracekit.read.head import Head, finite
from tracekit.read.timeplan import TimePlan

_SOON_S, _BEFORE_S = 60.0, 3600.0
"""Elapsed time that begins later than this has another origin than the start; rows stand so long before a trigger at
most (common practice, no source)."""


def with_start(head: Head, plan: TimePlan) -> tuple[TimePlan, tuple[Assumption, ...]]:
    """The plan with the time of its first row where the lines above the header tell it, and what was assumed.

    Numbers of samples count from the start; elapsed time is added to it, and negative one lies before a trigger. A time
    of day dates itself.
    """
    started = head.preamble.started
    if started is None or plan.dated or plan.start_us is not None or plan.kind not in ("number", "row"):
        return plan, ()
    later_s = 0.0
    column = head.column(plan.columns[0]) if plan.columns else None
    if column is not None and not column.hints.sample_number:
        known = finite(column.values)
        later_s = float(known[0]) * plan.unit_s if len(known) else 0.0
        if not -_BEFORE_S * started.trigger <= later_s <= _SOON_S:
            return plan, ()
    elif started.trigger:
        return plan, ()  # how many rows stand before it is not told
    start_us = round((started.unix_s + later_s) * 1e6)
    fact = Assumption(what="start", value="date of the first row", evidence=started.line, confidence=0.9)
    return replace(plan, start_us=start_us, start_local=not started.zoned), (fact,)
