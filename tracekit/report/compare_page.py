"""The acceptance sheet: one printed page that decides, and an annex with every measure."""

from tracekit.model.comparison import Comparison, MeasureResult, RateResult, Recording
from tracekit.model.estimate import Withheld
from tracekit.report.comparison_words import (
    decision_word,
    figure_of,
    headline,
    lead,
    limits,
    measure_name,
    needed,
    quantity_num,
    reason,
    settings_line,
    verdict_word,
    when,
)
from tracekit.report.frame import Block, frame, render
from tracekit.report.pictures.changes import changes, ordered
from tracekit.report.sections import lead_picture
from tracekit.report.text import clean
from tracekit.report.words import Num, count, html

_MOST_OBSTACLES = 6


def comparison_page(comparison: Comparison, unit: str = "kPa") -> str:
    """The whole sheet as one HTML file that needs nothing but itself."""
    picture = changes(comparison, unit=unit)
    blocks = [
        Block("answer", "", _answer(comparison, unit), beside=lead_picture(picture, unit) if picture else "",
              page_one=True),
        Block("recordings", "The recordings", _recordings(comparison, unit), "Logs", page_one=True),
        Block("rule", "The rule, fixed in advance", _rule(comparison, unit), "Rule", page_one=True),
        Block("obstacles", "What stands in the way", _obstacles(comparison, unit), "Obstacles", page_one=True),
        Block("limits", "What this says and what not", _lines(limits(comparison), unit), "Limits", page_one=True),
        Block("signatures", "Signatures", _signatures(comparison), "Signed", page_one=True),
    ]  # fmt: skip
    if comparison.measures or comparison.rates:
        blocks.append(Block("annex", "Every measure", _annex(comparison, unit), "Annex"))
    return frame(
        f"{_station(comparison)}: {headline(comparison)}", blocks, identity=_identity(comparison),
        provenance=_provenance(comparison), unit=unit, print_note=_print_note(comparison),
    )  # fmt: skip


def verify_command(comparison: Comparison) -> str:
    """The command that checks the sheet, with the logs' base names."""
    logs = dict.fromkeys(r.facts.source for r in (*comparison.before, *comparison.after))
    return " ".join(["tracekit verify comparison.json", *(_quoted(clean(log, 80)) for log in logs)])


def _answer(comparison: Comparison, unit: str) -> str:
    decisions = [
        {
            "text": a.text, "word": decision_word(a.decision), "risk": a.risk,
            "figure": "" if isinstance(a.quantity, Withheld) else f"{_shown(quantity_num(a.quantity), unit)}. ",
        }
        for a in comparison.acceptance
    ]  # fmt: skip
    return render("sheet_answer.html", {
        "headline": headline(comparison), "lead": html(lead(comparison), unit), "reason": reason(comparison),
        "acceptance": decisions,
    }, unit)  # fmt: skip


def _recordings(comparison: Comparison, unit: str) -> str:
    columns = [
        f"{word}{f' {k + 1}' if len(side) > 1 else ''}"
        for word, side in (("Before", comparison.before), ("After", comparison.after))
        for k in range(len(side))
    ]
    logs = (*comparison.before, *comparison.after)
    rows = [(name, [tell(r) for r in logs]) for name, tell in _FACTS]
    return render("sheet_logs.html", {"columns": columns, "rows": rows}, unit)


def _rule(comparison: Comparison, unit: str) -> str:
    lines = [f"Primary measure {comparison.primary_source}."]
    first = figure_of(comparison, comparison.primary)
    if first is not None and first.margin is not None:
        lines.append(f"Margin of the primary: {first.margin:.3g} {_unit(first)}.")
    check = comparison.plan_check
    if check is not None:
        frozen = f"frozen {check.plan.frozen_at}" if check.plan.frozen_at else "not frozen"
        lines.append(f"Plan {frozen}, SHA-256 {check.plan.sha256}; unchanged since.")
        lines += check.remarks
    return render("sheet_lines.html", {"text": comparison.rule, "lines": lines}, unit)


def _obstacles(comparison: Comparison, unit: str) -> str:
    shown = comparison.obstacles[:_MOST_OBSTACLES]
    lines = [f"{'Allowed for: ' if o.adjusted else ''}{o.text}" for o in shown]
    if len(comparison.obstacles) > len(shown):
        lines.append(f"{len(comparison.obstacles) - len(shown)} more stand in comparison.json.")
    return render("sheet_lines.html", {"text": "" if lines else "Nothing was found.", "lines": lines}, unit)


def _lines(lines: list[str], unit: str) -> str:
    return render("sheet_lines.html", {"text": "", "lines": lines}, unit)


def _signatures(comparison: Comparison) -> str:
    return render("sheet_sign.html", {"parties": ("Supplier", "Customer"), "command": verify_command(comparison)})


def _annex(comparison: Comparison, unit: str) -> str:
    rows = [
        {
            "name": measure_name(name), "primary": name == comparison.primary, "verdict": verdict_word(r.verdict),
            "before": _shown(quantity_num(r.before), unit), "after": _shown(quantity_num(r.after), unit),
            "change": _shown(quantity_num(r.difference), unit), "margin": _margin(r, unit), "note": _note(r),
        }
        for name, r in ordered(comparison)
    ]  # fmt: skip
    return render("sheet_annex.html", {"rows": rows}, unit)


def _note(result: MeasureResult | RateResult) -> str:
    own = result.note if isinstance(result, MeasureResult) else f"{result.events[0]} and {result.events[1]} cycles"
    more = needed(result) if result.verdict == "undecided" else ""
    return "; ".join(dict.fromkeys(part for part in (own, more) if part))


def _margin(result: MeasureResult | RateResult, unit: str) -> str:
    if result.margin is None:
        return ""
    return html((Num(value=result.margin, unit=_unit(result), step=result.margin / 10.0),), unit)


def _shown(number: Num | str, unit: str) -> str:
    return html((number,), unit)


def _unit(result: MeasureResult | RateResult) -> str:
    return result.unit if isinstance(result, MeasureResult) else ""


def _station(comparison: Comparison) -> str:
    sides = comparison.before or comparison.after
    return clean(sides[0].station, 40) or "Station without a name"


def _identity(comparison: Comparison) -> tuple[str, ...]:
    sides = (("before", comparison.before), ("after", comparison.after))
    cycles = [f"{count(sum(len(r.cycles) for r in side))} cycles {word}" for word, side in sides if side]
    return (_station(comparison), *cycles, f"made {comparison.created}")


def _provenance(comparison: Comparison) -> list[tuple[str, str]]:
    rows = [
        (f"{word} SHA-256", f"{clean(r.facts.source, 80)}: {r.facts.log_id}")
        for word, side in (("Before", comparison.before), ("After", comparison.after))
        for r in side
    ]
    rows += [(f"Station file {clean(name, 60)}", digest) for name, digest in comparison.station_files.items()]
    changed = "; ".join(f"{name} = {value:g} {unit}".strip() for name, (value, unit) in comparison.options.items())
    rows.append(("Program", f"tracekit {comparison.version}, {comparison.created}"))
    rows.append(("Options", changed or "all at their defaults"))
    return rows


def _print_note(comparison: Comparison) -> str:
    text = f"tracekit {comparison.version}, made {comparison.created}. Annex: every measure, full hashes, options."
    return render("sheet_lines.html", {"text": text, "lines": []})


def _quoted(name: str) -> str:
    return f'"{name}"' if any(c in name for c in " '\"&;()") else name


def _outcomes(recording: Recording) -> str:
    words = ("held", "dropped", "missed", "incomplete")
    counts = {word: int(recording.cycles.where("outcome", word).sum()) for word in words}
    told = ", ".join(f"{count(n)} {word}" for word, n in counts.items() if n)
    return f"{count(len(recording.cycles))}: {told}"


_FACTS = (
    ("File", lambda r: clean(r.facts.source, 60)),
    ("SHA-256", lambda r: r.facts.log_id),
    ("Start", when),
    ("Length", lambda r: f"{r.facts.duration_s:.0f} s"),
    ("Cycles", _outcomes),
    ("Sampling", lambda r: f"every {1e3 * r.sensor.sample_interval_s:.3g} ms"),
    ("Settings", settings_line),
    ("Ambient", lambda r: f"{r.ambient_kpa:.1f} kPa, {r.ambient_source}"),
)
