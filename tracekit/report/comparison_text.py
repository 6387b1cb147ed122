"""Comparison, plan and volume on a terminal: a few lines, plain text."""

from tracekit.model.comparison import Comparison, Plan, VolumeResult
from tracekit.report.comparison_words import (
    decision_word,
    headline,
    lead,
    measure_name,
    needed,
    quantity_num,
    reason,
    text_of,
)
from tracekit.report.pictures.changes import ordered
from tracekit.report.words import Num, count, plain, say

_MOST = 8


def comparison_lines(comparison: Comparison, unit: str = "kPa") -> list[str]:
    """The answer, agreed limits, measures and obstacles."""
    lines = [headline(comparison), text_of(lead(comparison), unit), reason(comparison), ""]
    for a in comparison.acceptance:
        lines += [f"{a.text}: {decision_word(a.decision)}. {a.risk}", ""]
    for name, r in ordered(comparison):
        change = plain((quantity_num(r.difference),), unit)
        more = f" ({needed(r)})" if r.verdict == "undecided" and needed(r) else ""
        lines.append(f"  {r.verdict:<11}{measure_name(name)}: {change}{more}")
    if comparison.obstacles:
        lines += ["", "Obstacles:"]
        lines += [f"  {'(allowed for) ' if o.adjusted else ''}{o.text}" for o in comparison.obstacles]
    if comparison.plan_check:
        lines += ["", *comparison.plan_check.remarks]
    return [*lines, ""]


def plan_lines(plan: Plan) -> list[str]:
    """What to record."""
    change = plain((Num(value=plan.change, unit=plan.unit),))
    margin = plain((Num(value=plan.margin, unit=plan.unit),))
    pace = f"one sample every {1e3 * plan.sample_interval_s:.3g} ms or faster"
    lines = [
        f"Record {count(plan.cycles)} cycles before and {count(plan.cycles)} after, {pace}.",
        f"Then a change of {change} in {measure_name(plan.measure)} shows with a chance of {100 * plan.power:.0f} %.",
        f"Margin of no change: {margin}. Basis: {plan.basis}.",
    ]
    if plan.parts:
        lines.append("Of each part type: " + ", ".join(f"{part} {count(n)}" for part, n in plan.parts) + ".")
    if len(plan.looks) > 1:
        lines.append("Looks, stop at the first that is passed:")
        lines += [f"  at {count(look.cycles)} cycles after: z above {look.bound:.3f}" for look in plan.looks]
    return [*lines, *(f"Note: {w}" for w in plan.warnings), f"SHA-256 {plan.sha256}"]


def volume_lines(volume: VolumeResult) -> list[str]:
    """The volume, its budget, warnings."""
    lines = [text_of(say("Volume: {}.", quantity_num(volume.volume_ml))), "Share of the variance:"]
    lines += [f"  {100 * b.share:5.1f} %  {b.u:8.3g} mL  {b.source}" for b in volume.budget[:_MOST]]
    return [*lines, *(f"Note: {w}" for w in volume.warnings)]
