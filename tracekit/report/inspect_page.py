"""The page of `tracekit inspect`: what was understood of a log, why, what is open, and the recipe to read it by."""

import re
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from tracekit.model.answers import answer_lines, answers
from tracekit.model.result import StationResult
from tracekit.model.trace import PRESENT_BIT, RELEASE_BIT, SUPPLY_BIT, Assumption
from tracekit.model.understood import FirstSeconds, OpenQuestion, Understood
from tracekit.options.report import ReportOptions
from tracekit.report.frame import Block, frame, render
from tracekit.report.plot import Axis, Column, Label, Picture, Plot, across, bars, finish, line, upward
from tracekit.report.sections import can_show, lead_picture
from tracekit.report.text import NBSP, clean, evidence_words
from tracekit.report.view import Floats, spaced
from tracekit.report.words import Num, Text, chance, count, role, say

_PLAIN = ReportOptions()
_LANES = (("supply", SUPPLY_BIT), ("release", RELEASE_BIT), ("part present", PRESENT_BIT))
_MOST_POINTS, _MOST_NUMBERS, _MOST_PICTURES = 2400, 200, 3


def inspection_page(
    inspection: Understood, results: Sequence[StationResult] = (), options: ReportOptions = _PLAIN
) -> str:
    """The whole page; `results` is what a diagnosis of the same log gave, for what it can and cannot show."""
    unit = options.unit
    pictures = [p for one in inspection.pictures[:_MOST_PICTURES] if (p := first_seconds(one, unit)) is not None]
    lead = "".join(lead_picture(p, unit) for p in pictures)
    blocks = [Block("answer", "", _answer(inspection, unit), beside=lead, page_one=True)]
    if inspection.assumptions:
        rows = [_row(a) for a in sorted(inspection.assumptions, key=lambda a: a.confidence)]
        read = render("inspect_read.html", {"rows": rows}, unit)
        blocks.append(Block("read", "How the file was read, and why", read, "Read"))
    if inspection.facts is not None and inspection.facts.warnings:
        notes = render("notes.html", {"lines": [clean(w, 400) for w in inspection.facts.warnings]}, unit)
        blocks.append(Block("notes", "What to know about this file", notes, "Notes"))
    for number, result in enumerate(results):
        name = f", {clean(result.data.station, 40)}" if len(results) > 1 else ""
        title = f"What this log can and cannot show{name}"
        blocks.append(Block(f"shows-{number}", title, can_show(result, unit), "Limits"))
    recipe = {"text": inspection.station_file, "short": in_force(inspection.station_file)}
    blocks.append(Block("recipe", "The recipe to read it by", render("inspect_recipe.html", recipe), "Recipe"))
    source = clean(inspection.source, 60)
    return frame(
        f"{source}: what was understood", blocks, identity=(source, "what was understood", _length(inspection)),
        provenance=_provenance(inspection), unit=unit,
    )  # fmt: skip


def in_force(station_file: str) -> str:
    """The lines of a station file that are in force, with the names of their tables."""
    kept: list[str] = []
    for text in station_file.splitlines():
        if not text.strip() or text.startswith("#"):
            continue
        if text.startswith("[") and kept and kept[-1].startswith("["):
            kept.pop()
        kept.append(text)
    return "\n".join(kept[:-1] if kept and kept[-1].startswith("[") else kept)


def readings(question: OpenQuestion) -> list[tuple[str, str]]:
    """The answers that a question leaves open: what each would mean, and the line that chooses it."""
    return answers(question)


def _answer(inspection: Understood, unit: str) -> str:
    questions = [
        {"found": _capital(clean(found, 300)), "readings": [{"means": m, "line": line_} for m, line_ in choices]}
        for found, choices in answer_lines(inspection.questions)
    ]
    return render("inspect_answer.html", {
        "headline": _headline(inspection), "lead": _lead(inspection), "sure": _least_sure(inspection.assumptions),
        "questions": questions,
    }, unit)  # fmt: skip


def _headline(inspection: Understood) -> str:
    n = len({q.found for q in inspection.questions})
    if n:
        return f"{count(n)} thing{'s' if n > 1 else ''} must be answered first"
    layout = inspection.layout
    if layout is None:
        return "The log could not be read"
    there = [w for w, has in (("supply", layout.has_supply), ("release", layout.has_release),
                              ("part present", layout.has_present)) if has]  # fmt: skip
    return "The log can be read as it is" if there else "Only the pressure can be read: no valve, no output"


def _lead(inspection: Understood) -> str:
    facts = inspection.facts
    if facts is None:
        return "Nothing was measured yet. Choose the line that is true, put it into the station file, read again."
    step = facts.interval_median_s
    every = f"{step * 1e3:.3g}{NBSP}ms" if step < 1.0 else f"{step:.3g}{NBSP}s"
    out = f", {count(facts.rows_rejected)} left out" if facts.rows_rejected else ""
    gaps = f" {count(len(facts.gaps))} gaps." if facts.gaps else " No gap."
    return f"{_channels(inspection)}{count(facts.rows_used)} rows used{out}; a sample every {every}.{gaps}"


def _channels(inspection: Understood) -> str:
    """Which signals were found, a sentence with a blank behind it; empty where there are none."""
    layout = inspection.layout
    if layout is None:
        return ""
    there = (("supply", layout.has_supply), ("release", layout.has_release), ("part present", layout.has_present))
    names = ["Pressure", *(word for word, has in there if has)]
    return f"{', '.join(names[:-1])} and {names[-1]}. " if len(names) > 1 else ""


def _least_sure(assumptions: Sequence[Assumption]) -> str:
    if not assumptions:
        return ""
    worst = min(assumptions, key=lambda a: a.confidence)
    if worst.confidence >= 0.975:
        return "Every decision is nearly sure."
    return f"Least sure: {clean(worst.what, 60)}, taken as {clean(worst.value, 60)}, chance {chance(worst.confidence)}."


def _row(a: Assumption) -> dict[str, str]:
    return {
        "what": _capital(role(clean(a.what, 120))), "value": clean(a.value, 120), "chance": chance(a.confidence),
        "why": evidence_words(a.evidence),
    }  # fmt: skip


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _length(inspection: Understood) -> str:
    return f"{inspection.facts.duration_s:.4g}{NBSP}s" if inspection.facts is not None else ""


def _provenance(inspection: Understood) -> list[tuple[str, str]]:
    rows = [("File", clean(inspection.source, 200))]
    facts = inspection.facts
    if facts is None:
        return rows
    rows += [("SHA-256", facts.log_id), ("Rows", f"{count(facts.rows_read)} read, {count(facts.rows_used)} used")]
    rows.append(("Smallest step", f"{facts.quantisation_kpa:.3g} kPa"))
    for r in facts.rejections[:12]:
        lines = ", ".join(map(str, r.first_lines[:5]))
        rows.append(
            ("Left out", f"{count(r.rows)}: {clean(r.reason, 100)}" + (f" (first lines {lines})" if lines else ""))
        )
    return rows


def first_seconds(one: FirstSeconds, unit: str = "kPa") -> Picture | None:
    """The first seconds as understood: vacuum above, the digitals as lanes beneath; None without a reading."""
    good = np.isfinite(one.pressure_kpa)
    if good.sum() < 2:
        return None
    time_s, vacuum = one.time_s[good] - one.time_s[0], -one.pressure_kpa[good]
    lanes = [(name, (one.digital & bit) > 0) for name, bit in _LANES]
    lanes = [(name, on) for name, on in lanes if on.any()]
    kept = _thinned(vacuum)
    words: tuple[Text, Text] = (
        say(
            "{}: the first {} as understood.", clean(one.station, 40), Num(value=float(time_s[-1]), unit="s", step=1.0)
        ),
        ("Line: vacuum. Bars beneath: while a channel is on, as recorded.",),
    )
    rows = tuple((round(float(time_s[i]), 4), float(vacuum[i])) for i in spaced(kept, _MOST_NUMBERS))
    columns = (Column(name="time", unit="s"), Column(name="vacuum", unit="kPa"))
    plot = _plot(time_s[kept], vacuum[kept], one.time_s - one.time_s[0], lanes)
    name = re.sub(r"[^a-z0-9]+", "-", one.station.casefold()).strip("-") or "station"
    return finish(f"first-{name}", words, plot, columns, rows, len(time_s), unit)


def _thinned(vacuum: Floats) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Rows that keep the lowest and highest reading of every stretch."""
    if len(vacuum) <= _MOST_POINTS:
        return np.arange(len(vacuum))
    cuts = np.linspace(0, len(vacuum), _MOST_POINTS // 2 + 1).astype(np.int64)
    ends = [(a + int(np.argmin(vacuum[a:b])), a + int(np.argmax(vacuum[a:b]))) for a, b in pairwise(cuts.tolist())]
    return np.unique(np.array(ends, np.int64))


def _plot(time_s: Floats, vacuum: Floats, all_s: Floats, lanes: Sequence[tuple[str, np.ndarray]]) -> Plot:
    low, high = min(0.0, float(vacuum.min())), float(vacuum.max())
    room = max(high - low, 1.0)
    x = Axis(low=0.0, high=max(float(time_s[-1]), 1e-6), unit="s", name="seconds")
    y = Axis(low=low - 0.13 * room * (len(lanes) + 0.3), high=high + 0.03 * room, unit="kPa", name="{} of vacuum")
    marks = [line(across(x, time_s), upward(y, vacuum), "thin usual")]
    labels = []
    for k, (name, on) in enumerate(lanes):
        level = low - 0.13 * room * (k + 0.8)
        edges = np.flatnonzero(np.diff(np.concatenate(([0], on.astype(np.int8), [0]))))
        start, stop = all_s[edges[::2]], all_s[np.minimum(edges[1::2], len(all_s) - 1)]
        at = upward(y, np.full(len(start), level))
        marks.append(bars(across(x, start), across(x, stop), at, "r5 ink"))
        labels.append(Label(x=x.high, y=level, lines=(name,), style="", dx=6))
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), style="tall")
