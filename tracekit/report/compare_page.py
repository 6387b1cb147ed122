"""The acceptance sheet: one printed page that decides, and an annex with every measure."""

from tracekit.frozen import dataclass
from tracekit.model.comparison import Comparison, MeasureResult, RateResult, Recording
from tracekit.model.estimate import Withheld
from tracekit.report.comparison_rows import before_after_rows
from tracekit.report.comparison_words import (
    decision_word,
    figure_of,
    headline,
    lead,
    limits,
    measure_name,
    moment,
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

_MOST_OBSTACLES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What a check of the sheet needs besides the logs: names of station files and of the station.

    station        station files of both sides, or of BEFORE where AFTER has its own
    station_after  station files of AFTER, where it has its own
    only           the station among several, "" where a log has one
    """

    station: tuple[str, ...] = ()
    station_after: tuple[str, ...] = ()
    only: str = ""


def comparison_page(comparison: Comparison, unit: str = "kPa", given: Given | None = None) -> str:
    """The whole sheet as one HTML file that needs nothing but itself.

    given  what the check needs; None where all station files are of both sides
    """
    picture = changes(comparison, unit=unit)
    blocks = [
        Block("answer", "", _answer(comparison, unit), beside=lead_picture(picture, unit) if picture else "",
              page_one=True),
        Block("recordings", "Recordings and signatures", _recordings(comparison, unit, given), "Logs", page_one=True),
        Block("terms", _rule_title(comparison), _terms(comparison, unit), "Rule", page_one=True),
    ]  # fmt: skip
    if comparison.measures or comparison.rates:
        blocks.append(Block("annex", "Every measure", _annex(comparison, unit), "Annex"))
    return frame(
        f"{_station(comparison)}: {headline(comparison)}", blocks, identity=_identity(comparison),
        provenance=_provenance(comparison), unit=unit, print_note=_print_note(comparison),
    )  # fmt: skip


def verify_command(comparison: Comparison, given: Given | None = None) -> str:
    """The command that checks the sheet, with the logs' names as the sheet tells them."""
    logs = {r.facts.log_id: r.facts.source for r in (*comparison.before, *comparison.after)}
    needs = given or Given(station=tuple(comparison.station_files))
    named = [("--station", name) for name in needs.station]
    named += [("--station-after", name) for name in needs.station_after]
    named += [("--only", needs.only)] if needs.only else []
    more = [part for option, name in named for part in (option, _quoted(clean(name, 80)))]
    return " ".join(["tracekit verify comparison.json", *(_quoted(clean(log, 80)) for log in logs.values()), *more])


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
        "acceptance": decisions, "limits": [] if decisions else limits(comparison),
    }, unit)  # fmt: skip


def _recordings(comparison: Comparison, unit: str, given: Given | None) -> str:
    columns = [
        f"{word}{f' {k + 1}' if len(side) > 1 else ''}"
        for word, side in (("Before", comparison.before), ("After", comparison.after))
        for k in range(len(side))
    ]
    logs = (*comparison.before, *comparison.after)
    rows = [(name, [tell(r) for r in logs]) for name, tell in _FACTS]
    table = render("sheet_logs.html", {"columns": columns, "rows": rows}, unit)
    picture = before_after_rows(comparison, unit)
    table += lead_picture(picture, unit) if picture else ""
    parties = ("Supplier", "Customer")
    return table + render("sheet_sign.html", {"parties": parties, "command": verify_command(comparison, given)})


def _terms(comparison: Comparison, unit: str) -> str:
    """Rule and obstacles, one below the other; what the statement covers, where the answer is long already."""
    said = [" ".join(limits(comparison))] if comparison.acceptance else []
    covers = render("sheet_lines.html", {"text": "", "lines": said}, unit)
    return f"{_rule(comparison, unit)}<h3>What stands in the way</h3>{_obstacles(comparison, unit)}{covers}"


def _rule(comparison: Comparison, unit: str) -> str:
    first = figure_of(comparison, comparison.primary)
    known = first is not None and first.margin is not None
    margin = f", margin {first.margin:.3g} {_unit(first)}".rstrip() if first is not None and known else ""
    check = comparison.plan_check
    named = measure_name(comparison.primary)
    unfixed = "" if check is not None else " Nobody agreed on it in advance: tracekit plan fixes it."
    lines = [f"Primary: {named} ({comparison.primary_source}){margin}.{unfixed}"]
    if check is not None:
        frozen = f"frozen {check.plan.frozen_at}" if check.plan.frozen_at else "not frozen"
        lines.append(f"Plan {frozen}, SHA-256 {check.plan.sha256}; unchanged since.")
        lines += check.remarks
    rule = comparison.rule.replace(comparison.primary, named)
    return render("sheet_lines.html", {"text": rule, "lines": lines}, unit)


def _rule_title(comparison: Comparison) -> str:
    return "The rule" if comparison.plan_check is None else "The rule, fixed in advance"


def _obstacles(comparison: Comparison, unit: str) -> str:
    shown = comparison.obstacles[:_MOST_OBSTACLES]
    lines = [f"{'Allowed for: ' if o.adjusted else ''}{o.text}" for o in shown]
    if len(comparison.obstacles) > len(shown):
        lines.append(f"{len(comparison.obstacles) - len(shown)} more stand in comparison.json.")
    return render("sheet_lines.html", {"text": "" if lines else "Nothing was found.", "lines": lines}, unit)


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
    return result.unit if isinstance(result, MeasureResult) else "%"


def _station(comparison: Comparison) -> str:
    sides = comparison.before or comparison.after
    return clean(sides[0].station, 40) or "Station without a name"


def _identity(comparison: Comparison) -> tuple[str, ...]:
    sides = (("before", comparison.before), ("after", comparison.after))
    cycles = [f"{count(sum(len(r.cycles) for r in side))} cycles {word}" for word, side in sides if side]
    return (_identified(comparison), *cycles, f"made {moment(comparison.created)}")


def _identified(comparison: Comparison) -> str:
    """The station, or that this is a comparison where the station has no name but that of a file."""
    station = _station(comparison)
    files = {r.facts.source.rpartition(".")[0] for r in (*comparison.before, *comparison.after)}
    return "Comparison" if station in files else station


def _provenance(comparison: Comparison) -> list[tuple[str, str]]:
    rows = [
        (f"{word} SHA-256", f"{clean(r.facts.source, 80)}: {r.facts.log_id}")
        for word, side in (("Before", comparison.before), ("After", comparison.after))
        for r in side
    ]
    rows += [(f"Station file {clean(name, 60)}", digest) for name, digest in comparison.station_files.items()]
    changed = [f"{name} = {value:g} {unit}".strip() for name, (value, unit) in comparison.options.items()]
    asked = _asked(comparison)
    rows.append(("Program", f"tracekit {comparison.version}, {comparison.created}"))
    rows.append(("Asked", "; ".join(asked)))
    rows.append(("Options", "; ".join(changed) or "thresholds all at their defaults"))
    return rows


def _asked(comparison: Comparison) -> list[str]:
    """What the comparison was asked beyond its logs: primary, plan, agreed limits and their rule, matching."""
    found = [f"primary {comparison.primary} ({comparison.primary_source})"] if comparison.verdict is not None else []
    if comparison.plan_check is not None:
        found.append(f"plan with SHA-256 {comparison.plan_check.plan.sha256[:12]}")
    found += [f"accept {clean(a.text, 80)} by the {a.rule} rule" for a in comparison.acceptance]
    found += [f"match {clean(column, 40)}" for column in comparison.matched_by]
    return found


def _print_note(comparison: Comparison) -> str:
    hashes = [
        (f"{word}: {clean(r.facts.source, 60)}", r.facts.log_id)
        for word, side in (("Before", comparison.before), ("After", comparison.after))
        for r in side[:3]
    ]
    text = f"tracekit {comparison.version}, made {moment(comparison.created)}. Annex: every measure, options."
    return render("sheet_note.html", {"text": text, "hashes": hashes})


def _quoted(name: str) -> str:
    return f'"{name}"' if any(c in name for c in " '\"&;()") else name


def _assumed(recording: Recording) -> str:
    return "" if recording.ambient_u_kpa < 1.0 else ", assumed"


def _outcomes(recording: Recording) -> str:
    words = ("held", "dropped", "missed", "incomplete")
    counts = {word: int(recording.cycles.where("outcome", word).sum()) for word in words}
    return ", ".join(f"{count(n)} {word}" for word, n in counts.items() if n)


_FACTS = (
    ("File", lambda r: clean(r.facts.source, 60)),
    ("Start", lambda r: f"{when(r)}, {r.facts.duration_s:.0f} s"),
    ("Cycles", _outcomes),
    ("Sampling", lambda r: f"every {1e3 * r.sensor.sample_interval_s:.3g} ms"),
    ("Set, reset", lambda r: settings_line(r, "set_point", "reset_point")),
    ("Supply off, on", lambda r: settings_line(r, "supply_off", "supply_on")),
    ("Ambient", lambda r: f"{r.ambient_kpa:.1f} kPa{_assumed(r)}"),
)
