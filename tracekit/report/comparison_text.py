"""Comparison, plan and volume on a terminal: a few lines, plain text."""

import math
import textwrap
from collections.abc import Sequence

from tracekit.model.comparison import Comparison, Plan, VolumeResult
from tracekit.model.estimate import Withheld
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
from tracekit.report.words import Num, count, number, plain, say

_MOST, _WIDTH = 8, 80


def comparison_lines(comparison: Comparison, unit: str = "kPa") -> list[str]:
    """The answer, agreed limits, measures and obstacles."""
    lines = [headline(comparison), text_of(lead(comparison), unit), reason(comparison), ""]
    for a in comparison.acceptance:
        lines += [f"{a.text}: {decision_word(a.decision)}. {a.risk}", ""]
    figures = ordered(comparison)
    told = [(n, r) for n, r in figures if n == comparison.primary or r.verdict in ("better", "worse")]
    for name, r in told:
        change = plain((quantity_num(r.difference),), unit)
        more = f" ({needed(r)})" if r.verdict == "undecided" and needed(r) and not _told(comparison, name) else ""
        lines.append(f"  {r.verdict:<11}{measure_name(name)}: {change}{more}")
    for verdict in ("undecided", "equivalent"):
        others = [measure_name(n) for n, r in figures if r.verdict == verdict and (n, r) not in told]
        lines += [f"  {verdict:<11}{', '.join(others)}"] if others else []
    if comparison.obstacles:
        lines += ["", "Obstacles:"]
        lines += [f"  {'(allowed for) ' if o.adjusted else ''}{o.text}" for o in comparison.obstacles]
    if comparison.plan_check:
        lines += ["", *comparison.plan_check.remarks]
    return [*lines, ""]


def _told(comparison: Comparison, name: str) -> bool:
    """Whether the first lines say already why this measure is withheld."""
    first = comparison.measures.get(name)
    return name == comparison.primary and first is not None and isinstance(first.difference, Withheld)


def plan_lines(plan: Plan) -> list[str]:
    """What to record."""
    change, margin = (plain((Num(value=v, unit=plan.unit, step=_two_digits(v)),)) for v in (plan.change, plan.margin))
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


def _two_digits(value: float) -> float | None:
    """A step that leaves two digits: a planned size is no measured one."""
    return float(10.0 ** (math.floor(math.log10(abs(value))) - 1)) if value else None


def on_screen(lines: Sequence[str]) -> str:
    """The lines as a terminal of 80 columns shows them: broken between words, what goes on set in."""
    out = []
    for line in lines:
        inset = " " * (len(line) - len(line.lstrip()))
        out += textwrap.wrap(
            line, _WIDTH, subsequent_indent=f"{inset}    ", break_long_words=False, break_on_hyphens=False
        ) or [""]
    return "\n".join(out)


def volume_lines(volume: VolumeResult) -> list[str]:
    """The volume, its budget, warnings."""
    lines = [text_of(say("Volume: {}.", quantity_num(volume.volume_ml))), "Share of the variance:"]
    for b in volume.budget[:_MOST]:
        size = number(Num(value=b.u, unit="mL", step=_two_digits(b.u)))
        lines.append(f"  {100 * b.share:5.1f} %  {size:>9}  {b.source}")
    return [*lines, *(f"Note: {w}" for w in volume.warnings)]
