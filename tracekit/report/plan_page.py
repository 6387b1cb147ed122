"""The page of a plan: what to record, the rule that will decide, the looks."""

from tracekit.model.comparison import Plan
from tracekit.report.comparison_text import plan_lines
from tracekit.report.comparison_words import measure_name
from tracekit.report.frame import Block, frame, render
from tracekit.report.pictures.plan_reading import plan_reading
from tracekit.report.sections import lead_picture
from tracekit.report.words import count


def plan_page(plan: Plan) -> str:
    """The plan as one HTML file that needs nothing but itself."""
    head = f"Record {count(plan.cycles)} cycles before and after"
    told = plan_lines(plan)
    answer = render("sheet_answer.html", {
        "headline": head, "lead": " ".join(told[:1]), "reason": " ".join(told[1:3]), "acceptance": [], "limits": [],
    })  # fmt: skip
    picture = plan_reading(plan)
    beside = lead_picture(picture, "kPa") if picture else ""
    blocks = [Block("answer", "", answer, beside=beside, page_one=True)]
    if len(plan.looks) > 1:
        rows = [(count(k), count(look.cycles), f"{look.bound:.3f}") for k, look in enumerate(plan.looks, 1)]
        table = render("plan_table.html", {"head": ("Look", "Cycles after", "z to pass"), "rows": rows})
        blocks.append(Block("looks", "When to look", table, "Looks", page_one=True))
    if plan.parts:
        rows_of_parts = [(part, count(n)) for part, n in plan.parts]
        table = render("plan_table.html", {"head": ("Part type", "Cycles a side"), "rows": rows_of_parts})
        blocks.append(Block("parts", "Which parts", table, "Parts", page_one=True))
    named = plan.rule.replace(plan.measure, measure_name(plan.measure))
    rule = render("sheet_lines.html", {"text": named, "lines": list(plan.warnings)})
    blocks.append(Block("rule", "The rule that will decide", rule, "Rule", page_one=True))
    state = f"frozen {plan.frozen_at}" if plan.frozen_at else "not frozen"
    provenance = [("Plan", state), ("SHA-256", plan.sha256), ("Basis", plan.basis)]
    provenance += [("Pilot log", log_id) for log_id in plan.pilot_log_ids]
    return frame(head, blocks, identity=("Plan", measure_name(plan.measure), state), provenance=provenance)
