"""Stamps that several rows share, and how a plan of time is told."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trace import Assumption
from tracekit.options.evidence import EVIDENCE
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
    inner = sizes[1:-1] if len(sizes) > 2 else sizes
    usual = inner[np.abs(inner - np.median(inner)) <= EVIDENCE.uneven_rows * np.median(inner)]
    if np.median(inner) < EVIDENCE.few_rows_of_stamp or len(usual) < len(inner) / 2:
        usual = inner
    rows = max(float(np.mean(usual)), 1.0)  # a stamp in which rows are lost, or written twice, tells no rate
    rounded = float(np.quantile(rising, 0.2))
    typical = rounded / rows
    if rows < EVIDENCE.few_rows_of_stamp and np.ptp(rising[rising < 2 * rounded]) > EVIDENCE.even_steps * rounded:
        rounded, typical = _uneven(rising, rounded, sizes, steps)
    evidence = f"{plan.evidence}; {rows:.3g} rows share a stamp, they are spread evenly over it"
    return replace(
        plan, typical_s=typical, rounded_s=rounded, first_rows=int(sizes[0]), evidence=evidence,
        confidence=min(plan.confidence, 0.8),
    )  # fmt: skip


def _uneven(
    rising: NDArray[np.float64], usual_s: float, sizes: NDArray[np.int64], steps: NDArray[np.float64]
) -> tuple[float, float]:
    """Resolution and interval [s] of stamps that step by one or two counts, so that no row overtakes the next stamp.

    `sizes` are the rows of each stamp; pauses count for neither.
    """
    counts, often = np.unique(np.round(rising / usual_s, 3), return_counts=True)
    common = counts[often >= max(EVIDENCE.fewest_lines, EVIDENCE.common_step * len(rising))]
    between = steps[steps != 0]
    close = (between > 0) & (between <= 3 * usual_s)
    finest = float(common.min()) if len(common) else 1.0
    return finest * usual_s, float(between[close].sum() / sizes[:-1][close].sum())


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
