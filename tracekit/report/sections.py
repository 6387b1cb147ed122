"""The blocks of a station's page: each a function from the result to finished HTML."""

import math
from dataclasses import dataclass

from tracekit.model.estimate import Withheld
from tracekit.model.finding import CauseChance, Detectable, Finding
from tracekit.model.result import StationResult, SuggestedSetting
from tracekit.model.trace import Assumption
from tracekit.report.cautions import CAUTIONS
from tracekit.report.frame import render
from tracekit.report.measures import measure, setting, setting_names
from tracekit.report.phrases import NOTHING, cause_name
from tracekit.report.plot import Cell, Column, Picture
from tracekit.report.text import MINUS, clean, escape
from tracekit.report.todo import Step, steps, to_record
from tracekit.report.verdict import cannot_answer, verdict
from tracekit.report.view import LEAKS, main_finding, symptom
from tracekit.report.words import Num, chance, html, is_pressure, strength

_LINE_AT_360, _FIRST_LINES, _FIRST_LINES_WITH_SETTINGS = 36, 9, 7


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    """A picture's parts as HTML."""

    id: str
    heading: str
    caption: str
    html: str
    columns: tuple[dict[str, object], ...]
    rows: tuple[tuple[str, ...], ...]
    shown: int


def answer(result: StationResult, unit: str) -> str:
    """Verdict, lead, urgency, first step and settings: the first screen."""
    said = verdict(result)
    entries = setting_entries(result)
    first, shortened = _first_step(result)
    return render("answer.html", {
        "headline": said.headline, "lead": html(said.lead, unit), "action": said.action, "reasons": said.reasons,
        "step": _lowered(first), "shortened": shortened, "entries": entries, "leave": why_leave(result),
        "one_unit": entries[0]["unit"] if len({e["unit"] for e in entries}) == 1 else "",
    }, unit)  # fmt: skip


def what_to_do(result: StationResult, unit: str) -> str:
    """All steps in order and the reasons of suggested settings."""
    reasons = [r for r in result.suggestion.reasons if r.strip()]
    if result.suggestion.settings and not reasons:
        reasons = [f"{setting(s.name)}: {s.reason}" for s in result.suggestion.settings if s.reason]
    told = not _first_step(result)[1]
    return render("steps.html", {"steps": steps(result), "reasons": reasons, "told": told}, unit)


def why_this_cause(result: StationResult, unit: str) -> str:
    """Causes with their chances, "something else" completing the sum, and what else was found."""
    return render("causes.html", {"causes": _causes(result.causes), "others": _others(result)}, unit)


def has_causes(result: StationResult) -> bool:
    """True where there is anything to say about causes."""
    return bool(result.causes) or bool(_others(result))


def evidence(pictures: tuple[Picture, ...], unit: str) -> str:
    """Pictures in pairs, the last over the whole width."""
    return render("evidence.html", {"pictures": [shown(p, unit) for p in pictures], "wide": True}, unit)


def lead_picture(picture: Picture, unit: str) -> str:
    """The picture beside the verdict."""
    return render("evidence.html", {"pictures": [shown(picture, unit)], "wide": False}, unit)


def limits(result: StationResult, unit: str) -> str:
    """What this log cannot show, why, and how to record one that shows more."""
    return render("limits.html", {
        "hidden": _hidden(result), "lines": [clean(t, 300) for t in result.limits_of_log],
        "record": to_record(result), "smallest": _smallest(result.detectable, unit),
    }, unit)  # fmt: skip


def assumed(assumptions: tuple[Assumption, ...], budget: Picture | None, unit: str) -> str:
    """What was assumed, the least sure first, and what widens the leak's interval."""
    ordered = sorted({(a.what, a.value): a for a in assumptions}.values(), key=lambda a: a.confidence)
    rows = [
        {
            "what": _whole(a.what).rstrip("."), "value": clean(a.value, 120), "evidence": _whole(a.evidence),
            "sure": "" if a.confidence >= 0.975 else f"Chance {chance(a.confidence)}.",
        }
        for a in ordered
    ]  # fmt: skip
    return render("assumed.html", {"assumptions": rows, "budget": shown(budget, unit) if budget else None}, unit)


def cautions() -> str:
    """All cautions."""
    return render("cautions.html", {"cautions": CAUTIONS})


def shown(picture: Picture, unit: str) -> _Shown:
    """A picture with its words and numbers as HTML."""
    columns = tuple(
        {
            "name": c.name, "unit": c.unit, "pressure": is_pressure(c.unit), "number": c.name != "outcome",
            "shown": unit + c.unit[3:] if is_pressure(c.unit) else c.unit,
        }
        for c in picture.columns
    )  # fmt: skip
    rows = tuple(tuple(_cell(v, c, unit) for v, c in zip(row, picture.columns, strict=True)) for row in picture.rows)
    return _Shown(
        id=picture.id, heading=html(picture.heading, unit), caption=html(picture.caption, unit), html=picture.html,
        columns=columns, rows=rows, shown=picture.shown,
    )  # fmt: skip


def _cell(value: Cell, column: Column, unit: str) -> str:
    if value is None:
        return '<td class="n">–</td>'
    if isinstance(value, str):
        return f"<td>{escape(value)}</td>"
    if isinstance(value, int):
        return f'<td class="n">{value}</td>'
    step = 0.001 if column.unit == "s" else 0.01
    num = Num(value=value, unit=column.unit, step=step, bare=True)
    return html((num,), unit, "td").replace('class="q"', 'class="n q"') if is_pressure(column.unit) else (
        f'<td class="n">{html((num,), unit)}</td>'
    )  # fmt: skip


def _lowered(step: Step) -> dict[str, object]:
    """A step whose act follows "First:"."""
    act = step.act
    lowered = act if act[1:2].isupper() else act[:1].lower() + act[1:]
    return {"act": lowered, "how": step.how, "minutes": step.minutes, "results": step.results, "caution": step.caution}


def _first_step(result: StationResult) -> tuple[Step, bool]:
    """The first step as the first screen holds it, and whether something of it stands under Steps alone."""
    lines = _FIRST_LINES_WITH_SETTINGS if setting_entries(result) else _FIRST_LINES
    return _short_step(steps(result)[0], lines)


def _short_step(step: Step, lines: int) -> tuple[Step, bool]:
    """The step as far as a phone's first screen holds it; the caution always whole, the rest stands under Steps."""
    room = lines - _lines(step.caution, 9) - _lines(step.act, 7) + 1
    pairs = sum(_lines(f"{seen}  {means}") for seen, means in step.results)
    how = step.how if pairs + _lines(step.how) <= room else ""
    results = step.results
    while len(results) > 1 and sum(_lines(f"{a}  {b}") for a, b in results) > room:
        results = results[:-1]
    short = Step(act=step.act, how=how, minutes=step.minutes, results=results, caution=step.caution)
    return short, bool((step.how and not how) or len(results) < len(step.results) or step.more)


def _lines(text: str, extra: int = 0) -> int:
    """Lines that a text takes on a phone."""
    return -(-(len(text) + extra) // _LINE_AT_360) if text else 0


def setting_entries(result: StationResult) -> list[dict[str, str]]:
    """Settings to enter, in the device's own terms."""
    rows = result.suggestion.settings if result.suggestion.withheld is None else ()
    decimals = max((_decimals(s) for s in rows), default=0)
    return [
        {
            "name": setting(s.name), "entry": setting_names(clean(s.entry, 30)) if s.entry else "",
            "now": _typographic(f"{s.shown_now:.{decimals}f}") if s.shown_now is not None else "not known",
            "new": _typographic(f"{s.shown:.{decimals}f}"), "typed": f"{s.shown:.{decimals}f}",
            "unit": clean(s.unit, 10),
        }
        for s in rows
    ]  # fmt: skip


def _decimals(s: SuggestedSetting) -> int:
    """Decimals that the device's own numbers need; at least one in kPa."""
    least = 1 if s.unit == "kPa" else 0
    values = [v for v in (s.shown, s.shown_now) if v is not None]
    needed = [len(f"{v:.3f}".rstrip("0").partition(".")[2]) for v in values]
    return max([least, *needed])


def _typographic(figure: str) -> str:
    return figure.replace("-", MINUS)


def why_leave(result: StationResult) -> str:
    """Why no setting is to be entered, a sentence."""
    reason = clean(result.suggestion.withheld or "", 90).rstrip(".")
    if reason:
        return f"{reason[:1].upper()}{reason[1:]}."
    return "No setting calls for a change."


def _causes(causes: tuple[CauseChance, ...]) -> list[dict[str, object]]:
    known = sorted((c for c in causes if c.code not in NOTHING), key=lambda c: -c.chance)
    rest = max(0.0, 1.0 - sum(c.chance for c in known))
    likely = [c for c in known if c.chance >= 0.005]
    named = [(cause_name(c.code), c.chance, clean(c.reason, 200)) for c in likely[:8]]
    other = next(
        (clean(c.reason, 200) for c in causes if c.code in NOTHING and c.reason), "What the log does not tell apart."
    )
    left = rest + sum(c.chance for c in likely[8:]) + sum(c.chance for c in known if c.chance < 0.005)
    rows = [*named, ("Something else, or nothing", left, other)] if left >= 0.005 or not named else named
    return [{"name": n, "chance": chance(p), "boxes": _boxes(p), "reason": why} for n, p, why in rows]


def _boxes(p: float) -> int:
    """Filled boxes of ten: all only where the chance is near one, none only where it is near none."""
    if p >= 0.975 or p < 0.05:
        return 10 if p >= 0.975 else 0
    return min(9, max(1, math.floor(p * 10.0 + 0.5)))


def _others(result: StationResult) -> list[dict[str, str]]:
    """Every finding but the one of the verdict, with how sure it is and its first step."""
    first = main_finding(result) or symptom(result)
    return [_other(f) for f in result.findings if f is not first][:10]


def _other(f: Finding) -> dict[str, str]:
    word = strength(f.confidence)
    words = {"": "Found.", "either": "Perhaps."}.get(word, word[:1].upper() + word[1:] + ".")
    step = clean(f.next_steps[0].do, 200).partition(". ")[0].rstrip(".") + "." if f.next_steps else ""
    note = "For information." if f.severity == "info" else words
    return {"title": clean(f.title, 100).rstrip("."), "words": f"{note} {step}".strip()}


def _hidden(result: StationResult) -> list[dict[str, str]]:
    """What is withheld and which causes this log could not have shown."""
    rows: list[dict[str, str]] = []
    leak = result.leak
    if isinstance(leak.decay_rate, Withheld):
        rows.append({"name": "Fall of vacuum with the supply closed", "why": _whole(leak.decay_rate.reason)})
    elif leak.mechanism == "undecided" and leak.evidence and _leaks(result):
        rows.append({"name": "Hole or pores: undecided", "why": _whole(leak.evidence)})
    if isinstance(result.leak_rate_l_min_anr, Withheld):
        rows.append({"name": "Leak in litres per minute", "why": _whole(result.leak_rate_l_min_anr.reason)})
    rows += [{"name": cause_name(d.code), "why": _whole(d.why)} for d in result.detectable if d.smallest is None]
    if cannot_answer(result) and not rows:
        rows.append({"name": "Anything", "why": "No cycle was found in this log."})
    return rows


def _leaks(result: StationResult) -> bool:
    main = main_finding(result)
    return main is not None and main.code in LEAKS


def _whole(text: str) -> str:
    line = clean(text, 260).rstrip(".")
    return f"{line[:1].upper()}{line[1:]}." if line else ""


def _smallest(detectable: tuple[Detectable, ...], unit: str) -> list[dict[str, str]]:
    rows = []
    for d in detectable:
        if d.smallest is not None:
            size = Num(value=d.smallest, unit=d.unit, step=_two(d.smallest))
            rows.append(
                {
                    "name": cause_name(d.code),
                    "measure": measure(d.measure).name,
                    "size": html((size,), unit),
                    "why": _whole(d.why),
                }
            )
    return rows


def _two(value: float) -> float | None:
    return float(10.0 ** (math.floor(math.log10(abs(value))) - 1)) if value else None
