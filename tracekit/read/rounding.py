"""Stamps that several rows share, and how a plan of time is told."""

from dataclasses import replace

import numpy as np

from tracekit.model.trace import Assumption
from tracekit.read.head import Head, finite
from tracekit.read.timeplan import TimePlan, seconds_of

_SHARED = 0.2  # so many rows with the stamp of the row before are no duplicates but rounding


def with_rounding(head: Head, plan: TimePlan) -> TimePlan:
    """The plan with its usual interval, and with the resolution of stamps that several rows share."""
    known = finite(seconds_of(head, plan)) if plan.kind != "row" else np.arange(head.rows) * plan.unit_s
    steps = np.diff(known)
    rising = steps[steps > 0]
    if len(rising) == 0:
        return plan
    if float((steps == 0).mean()) < _SHARED:
        return replace(plan, typical_s=float(np.median(rising)))
    starts = np.concatenate([[0], np.nonzero(steps != 0)[0] + 1, [len(known)]])
    sizes = np.diff(starts)
    rounded = float(np.quantile(rising, 0.2))
    inner = sizes[1:-1] if len(sizes) > 2 else sizes
    typical = rounded / max(float(np.mean(inner)), 1.0)
    evidence = f"{plan.evidence}; {np.mean(inner):.3g} rows share a stamp, they are spread evenly over it"
    return replace(
        plan, typical_s=typical, rounded_s=rounded, first_rows=int(sizes[0]), evidence=evidence,
        confidence=min(plan.confidence, 0.8),
    )  # fmt: skip


def assumption(plan: TimePlan) -> Assumption:
    """What was decided about time, for the layout."""
    names = " + ".join(plan.columns) or "row number"
    if plan.kind == "number":
        value = f"{names}, one count is {plan.unit_s:g} s" + (", counted from 1970" if plan.origin_s == 0 else "")
    elif plan.kind == "row":
        value = f"{names} times {plan.unit_s:g} s"
    else:
        value = names + (", with a date" if plan.dated else ", without a date")
    return Assumption(what="time", value=value, evidence=plan.evidence or "name", confidence=plan.confidence)
