"""The blocks of a station's page: each a function from the result to finished HTML."""

import math
import textwrap
from collections import Counter
from dataclasses import replace

from tracekit.frozen import dataclass
from tracekit.model.estimate import Withheld
from tracekit.model.finding import CODES
from tracekit.model.result import LeakResult, StationResult
from tracekit.model.trace import Assumption
from tracekit.report.cautions import CAUTIONS
from tracekit.report.entries import leave_words, setting_entries, why_leave
from tracekit.report.flow import leak_as_air
from tracekit.report.frame import render
from tracekit.report.levels import BLOW_OFF, EVACUATION, timed
from tracekit.report.markup import numbers
from tracekit.report.measures import measure, setting
from tracekit.report.passed import Passed, with_limits
from tracekit.report.phrases import cause_name
from tracekit.report.plot import Cell, Column, Picture
from tracekit.report.rivals import rival_of
from tracekit.report.ruled import LIKELY
from tracekit.report.steps_told import GOAL, Step
from tracekit.report.text import clean, escape, evidence_words, whole
from tracekit.report.todo import TO_LOG, steps, to_record
from tracekit.report.urgent import cannot_answer
from tracekit.report.verdict import verdict
from tracekit.report.view import LEAKS, codes_present, main_finding
from tracekit.report.words import Num, Text, chance, html, is_pressure, of_estimate, plain, role

_FIRST_SCREEN_PX, _MOST_HEADED, _MANY_STEPS = 616, 4, 5
_RECIPE = "To get a decay on purpose:"


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
    without: str


def answer(result: StationResult, unit: str, limits: tuple[Passed, ...] = ()) -> str:
    """Verdict, lead, limits that are passed, urgency, first step and settings: the first screen."""
    said = with_limits(verdict(result), limits)
    entries = setting_entries(result)
    first, shortened = _first_step(result, limits)
    return render("answer.html", {
        "headline": said.headline, "lead": _lead_html(said.lead, unit), "action": said.action, "reasons": said.reasons,
        "passed": [html(one.said, unit) for one in limits], "flow": html(leak_as_air(result), unit),
        "step": _lowered(first), "shortened": shortened, "entries": entries, "leave": why_leave(result),
        "rather": leave_words(result),
        "one_unit": entries[0]["unit"] if len({e["unit"] for e in entries}) == 1 else "",
    }, unit)  # fmt: skip


def what_to_do(result: StationResult, unit: str, limits: tuple[Passed, ...] = ()) -> str:
    """All steps in order and the reasons of suggested settings."""
    entered = setting_entries(result)
    reasons = [r for r in result.suggestion.reasons if r.strip() and entered]
    if entered and not reasons:
        reasons = [f"{setting(s.name)}: {s.reason}" for s in result.suggestion.settings if s.reason]
    told = not _left_out(*_first_step(result, limits), steps(result, limits)[0])
    return render("steps.html", {"steps": steps(result, limits), "reasons": reasons, "told": told}, unit)


def steps_in_full(result: StationResult, unit: str, limits: tuple[Passed, ...] = ()) -> str:
    """All steps again for the second sheet, where the first has room for their acts and cautions alone; else empty."""
    return what_to_do(result, unit, limits) if len(steps(result, limits)) >= _MANY_STEPS else ""


def _left_out(first: Step, shortened: bool, whole: Step) -> bool:
    """True where the first screen lacks more of a step than what is recorded, which stands on no first sheet."""
    how = whole.how.partition(TO_LOG)[0].strip()
    outcomes = [pair for pair in (*whole.results, *whole.more) if pair[0] != GOAL]
    return shortened and (how not in first.how or len(first.results) < len(outcomes))


def _lead_html(text: Text, unit: str) -> str:
    """The lead with the pressures inside its words marked too, so that the unit switch reaches them."""
    return "".join(_marked(part, unit) if isinstance(part, str) else html((part,), unit) for part in text)


def _marked(part: str, unit: str) -> str:
    """Words with their pressures marked; the spaces at their ends are kept."""
    stripped = part.strip(" ")
    before, after = part[: len(part) - len(part.lstrip(" "))], part[len(part.rstrip(" ")) :] if stripped else ""
    return f"{before}{numbers(stripped, unit)}{after}"


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
        "record": to_record(result), "seen": (), **_smallest(result, unit),
    }, unit)  # fmt: skip


def shown_alone(result: StationResult) -> list[str]:
    """Causes that a log like this shows without anything to hold it against, in lower case."""
    compared = {d.code for d in result.detectable}
    own = [c.code for c in result.causes if CODES.get(c.code) == "cause" and c.code not in compared]
    return [cause_name(code).lower() for code in CODES if code in own]


def can_show(result: StationResult, unit: str) -> str:
    """The smallest change per cause that a log would have shown, and the causes that it could not, with the reason."""
    hidden = _by_reason([(cause_name(d.code), d.why) for d in result.detectable if d.smallest is None])
    return render("limits.html", {
        "hidden": hidden, "lines": (), "record": to_record(result), "seen": shown_alone(result),
        **_smallest(result, unit),
    }, unit)  # fmt: skip


def assumed(reading: tuple[Assumption, ...], station: tuple[Assumption, ...], budget: Picture | None, unit: str) -> str:
    """What was assumed of the station, how the file was read, each the least sure first, and the leak's budget."""
    return render("assumed.html", {
        "station": _assumption_rows(station), "reading": _assumption_rows(reading),
        "budget": shown(budget, unit) if budget else None,
    }, unit)  # fmt: skip


def _assumption_rows(assumptions: tuple[Assumption, ...]) -> list[dict[str, str]]:
    ordered = sorted({(a.what, a.value): a for a in assumptions}.values(), key=lambda a: a.confidence)
    return [
        {
            "what": whole(role(a.what)).rstrip("."), "value": clean(a.value, 120),
            "evidence": evidence_words(a.evidence),
            "sure": "" if a.confidence >= 0.975 else f"Sure: {chance(a.confidence)}.",
        }
        for a in ordered
    ]  # fmt: skip


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
        columns=columns, rows=rows, shown=picture.shown, without=picture.without,
    )  # fmt: skip


def _cell(value: Cell, column: Column, unit: str) -> str:
    if value is None:
        return '<td class="n">–</td>'
    if isinstance(value, str):
        return f"<td>{escape(value)}</td>"
    if isinstance(value, int):
        return f'<td class="n">{value}</td>'
    step = column.step or (0.001 if column.unit == "s" else 0.01)
    num = Num(value=value, unit=column.unit, step=step, bare=True)
    return html((num,), unit, "td").replace('class="q"', 'class="n q"') if is_pressure(column.unit) else (
        f'<td class="n">{html((num,), unit)}</td>'
    )  # fmt: skip


def _lowered(step: Step) -> dict[str, object]:
    """A step whose act follows "First:"."""
    act = step.act
    lowered = act if act[1:2].isupper() else act[:1].lower() + act[1:]
    return {"act": lowered, "how": step.how, "minutes": step.minutes, "results": step.results, "caution": step.caution}


def _first_step(result: StationResult, limits: tuple[Passed, ...]) -> tuple[Step, bool]:
    """The first step as the first screen holds it, and whether something of it stands under Steps alone."""
    said = verdict(result)
    above = 56 + 27 * _lines(said.headline, 24) + 23 * _lines(plain(said.lead), 39)
    above += 23 * _lines(f"{said.action} {said.reasons}", 39) + 8
    flow = plain(leak_as_air(result))
    above += sum(23 * _lines(text, 39) + 4 for text in (flow, *(one.text for one in limits)) if text)
    entries = setting_entries(result)
    below = (
        40 + 72 * -(-len(entries) // 2)
        if entries
        else 34 + 23 * _lines(f"{leave_words(result)} {why_leave(result)}", 38)
    )
    return _short_step(steps(result, limits)[0], _FIRST_SCREEN_PX - above - below)


def _short_step(step: Step, room_px: int) -> tuple[Step, bool]:
    """The step as far as a phone's first screen holds it: act, caution and both outcomes always; how, and what else
    may come out, only with room.

    An act goes on in a how that begins with "Then", so that one stays. What is left out stands under Steps.
    """
    fixed = 20 * _lines(f"First: {step.act}, 10 min", 32) + 14
    fixed += (
        20 * _lines(step.caution, 40) if len(step.caution) > 150 else 21 * _lines(f"Caution: {step.caution}")
    ) + 14
    left = room_px - fixed
    outcomes = sum(23 * _lines(f"{seen}: {means}") for seen, means in step.results)
    how = step.how if step.how.startswith("Then ") or outcomes + 23 * _lines(step.how) <= left else ""
    left -= outcomes + 23 * _lines(how)
    named = tuple((seen, means) for seen, means in step.more if seen != GOAL)
    more = named if sum(23 * _lines(f"{seen}: {means}") for seen, means in named) <= left else ()
    short = replace(step, how=how, results=(*step.results, *more), more=())
    return short, bool((step.how and not how) or step.more != more)


def _lines(text: str, wide: int = 38) -> int:
    """Lines that a text takes on a phone with `wide` characters a line."""
    return len(textwrap.wrap(text, wide))


_PATHS = {"hole": "a hole or lip", "porous": "pores of the part", "mixture": "both"}


def _hidden(result: StationResult) -> list[dict[str, str]]:
    """What is withheld and which causes this log could not have shown."""
    rows: list[dict[str, str]] = []
    leak = result.leak
    if isinstance(leak.decay_rate, Withheld):
        rows.append({"name": "Fall of vacuum with the supply closed", "why": whole(leak.decay_rate.reason)})
    elif leak.mechanism == "undecided" and leak.evidence and _leaks(result):
        rows.append({"name": "Hole or pores: undecided", "why": _paths(leak) or whole(leak.evidence)})
    rows += _leak_change(result)
    if isinstance(result.leak_rate_l_min_anr, Withheld):
        rows.append({"name": "Leak in litres per minute", "why": whole(result.leak_rate_l_min_anr.reason)})
    told = _told_codes(result)
    unseen = [d for d in result.detectable if d.smallest is None and d.code not in told]
    rows += _by_reason([(cause_name(d.code), d.why) for d in unseen])
    if cannot_answer(result) and not rows:
        rows.append({"name": "Anything", "why": "No cycle was found in this log."})
    return _recipe_once(rows)


def _paths(leak: LeakResult) -> str:
    """The paths that the fall fits, the likeliest first, with their chances in words; empty where none are known."""
    known = sorted(((p, form) for form, p in leak.form_probability.items() if form in _PATHS), reverse=True)
    if len(known) < len(_PATHS):
        return ""
    told = ", ".join(f"{_PATHS[form]} {chance(p)}" for p, form in known)
    return (
        f"The fall fits more than one path: {told}. On a flat plate pores let nothing in, a worn lip does."
    )


def _recipe_once(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Rows of one reason together, and the way to a decay told by the first that tells it."""
    together: dict[str, list[str]] = {}
    recipes: dict[str, str] = {}
    for row in rows:
        why, start, rest = row["why"].partition(_RECIPE)
        together.setdefault(why.strip(), []).append(row["name"])
        if start and not recipes:
            recipes[why.strip()] = start + rest
    return [{"name": _listed(names), "why": f"{why} {recipes.get(why, '')}".strip()} for why, names in together.items()]


def _told_codes(result: StationResult) -> set[str]:
    """Causes that the page names as found or as rivals: of those the log has shown something."""
    main = main_finding(result)
    rival = rival_of(result, main) if main is not None else None
    likely = {c.code for c in result.causes if c.chance >= LIKELY}
    return codes_present(result) | likely | ({rival} if rival is not None else set())


def _leak_change(result: StationResult) -> list[dict[str, str]]:
    """What can be said of a leak without coasts: its change against the baseline."""
    found = result.leak_change
    if found is None:
        return []
    if isinstance(found, Withheld):
        return [{"name": "Change of the leak against the baseline", "why": whole(found.reason)}]
    unclear = found.change.lower <= 0.0 <= found.change.upper
    number = "none shown" if unclear else plain((of_estimate(found.change),))
    least = plain((Num(value=found.smallest_kpa_s, unit="kPa/s", step=_two(found.smallest_kpa_s)),))
    why = f"From the deepest vacuum that suction makes. A change below {least} would not show. {whole(found.how)}"
    return [{"name": f"Change of the leak against the baseline: {number}", "why": why}]


def _by_reason(pairs: list[tuple[str, str]]) -> list[dict[str, str]]:
    """Names that share a reason, in one entry each."""
    together: dict[str, list[str]] = {}
    for name, why in pairs:
        together.setdefault(whole(why), []).append(name)
    return [_told(names, why) for why, names in together.items()]


def _told(names: list[str], why: str) -> dict[str, str]:
    """Names with their reason; where they are many the reason heads them."""
    listed = _listed(names)
    if len(set(names)) <= _MOST_HEADED:
        return {"name": listed, "why": why}
    return {"name": why.rstrip("."), "why": f"{listed}."}


def _listed(names: list[str]) -> str:
    """As in "Leaking check valve, slow supply valve"."""
    first, *others = dict.fromkeys(names)
    return ", ".join([first, *(n[:1].lower() + n[1:] for n in others)])


def _leaks(result: StationResult) -> bool:
    main = main_finding(result)
    return main is not None and main.code in LEAKS


def _smallest(result: StationResult, unit: str) -> dict[str, object]:
    """The rows of the smallest changes; a reason that several share is told once, above the table."""
    seen = [d for d in result.detectable if d.smallest is not None]
    common = Counter(whole(d.why) for d in seen).most_common(1)
    usual = common[0][0] if common and common[0][1] > 1 else ""
    rows = [
        {
            "name": cause_name(d.code),
            "measure": html(_measured(d.measure, result), unit),
            "size": html((Num(value=d.smallest or 0.0, unit=d.unit, step=_two(d.smallest or 0.0)),), unit),
            "why": "" if whole(d.why) == usual else whole(d.why),
        }
        for d in seen
    ]
    return {"smallest": rows, "usual": usual, "reasons": any(row["why"] for row in rows)}


def _measured(name: str, result: StationResult) -> Text:
    """A measure as the limits of a log name it, a time between two levels with its levels."""
    return timed(name, result) if name in (EVACUATION, BLOW_OFF) else (measure(name).name,)


def _two(value: float) -> float | None:
    return float(10.0 ** (math.floor(math.log10(abs(value))) - 1)) if value else None
