"""The page of a volume: the figure, its uncertainty budget, what was measured."""

from tracekit.model.comparison import VolumeResult
from tracekit.report.comparison_words import quantity_num
from tracekit.report.frame import Block, frame, render
from tracekit.report.text import clean
from tracekit.report.words import html, say

_MINUTE = "Enter it as volume_ml in the station file, and half the interval over the value, halved, as volume_rel_u."


def volume_page(volume: VolumeResult) -> str:
    """The volume as one HTML file that needs nothing but itself."""
    answer = render("sheet_answer.html", {
        "headline": "The volume under vacuum", "lead": html(say("It is {}.", quantity_num(volume.volume_ml))),
        "reason": _MINUTE, "acceptance": [], "limits": [],
    })  # fmt: skip
    rows = [(b.source, f"{b.u:.3g}", f"{100 * b.share:.1f} %", b.kind) for b in volume.budget]
    head = ("Source", "Standard uncertainty, mL", "Share of the variance", "Distribution")
    facts = [(name.replace("_", " "), f"{value:.5g} {unit}".strip()) for name, (value, unit) in volume.facts.items()]
    blocks = [
        Block("answer", "", answer, page_one=True),
        Block("budget", "Where the uncertainty comes from", render("plan_table.html", {"head": head, "rows": rows}),
              "Budget", page_one=True),
    ]  # fmt: skip
    if volume.warnings:
        lines = render("sheet_lines.html", {"text": "", "lines": list(volume.warnings)})
        blocks.append(Block("warnings", "Mind", lines, "Mind", page_one=True))
    table = render("plan_table.html", {"head": ("Quantity", "Value"), "rows": facts})
    blocks.append(Block("facts", "What was measured", table, "Facts"))
    provenance = [(clean(f.source, 60), f.log_id) for f in volume.logs]
    provenance.append(("Program", f"tracekit {volume.version}, {volume.created}"))
    identity = ("Volume", *(clean(f.source, 60) for f in volume.logs))
    return frame("The volume under vacuum", blocks, identity=identity, provenance=provenance)
