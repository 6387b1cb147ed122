"""The first screen in a terminal: 80 columns, 24 lines, readable on any console."""

import textwrap
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from tracekit.model.result import DiagnosisRecord, StationResult
from tracekit.options.report import ReportOptions
from tracekit.report.entries import leave_words, setting_entries, why_leave
from tracekit.report.exact import exact_of, exactly, facts_of
from tracekit.report.flow import leak_as_air
from tracekit.report.markup import numbers_plain
from tracekit.report.passed import Passed, passed_by, with_limits
from tracekit.report.phrases import cause_name
from tracekit.report.rivals import chance_of, rival_of, told_second
from tracekit.report.second import SURE, second_fault
from tracekit.report.steps_told import Step
from tracekit.report.text import ascii_only, clean
from tracekit.report.todo import TO_LOG, lasting, steps
from tracekit.report.verdict import verdict
from tracekit.report.view import main_finding
from tracekit.report.words import Num, chance, count, plain

WIDTH, HEIGHT = 80, 24
_INDENT = "  "
_PLAIN = ReportOptions()


def first_screen(
    record: DiagnosisRecord,
    page_path: Path | None,
    *,
    options: ReportOptions = _PLAIN,
    colour: bool = False,
    encoding: str = "utf-8",
    limits: Sequence[Passed] = (),
) -> str:
    """Verdict, first cause with its chance, first step, settings and where the page is, in 80 by 24 characters.

    page_path  the page, None where none was written
    colour     True marks headline and caution with the terminal's bold and inverse; no colour codes otherwise
    encoding   of the console; whatever it cannot write becomes plain ASCII
    limits     of the station files that are passed: the first step knows of them
    """
    unit = options.unit
    lines = _one(record.stations[0], unit, limits) if len(record.stations) == 1 else _many(record, unit, limits)
    where = f"Page: {page_path}"
    tail = ["", where] if page_path is not None else []
    room = HEIGHT - 1 - len(tail) - len(where) // WIDTH
    if len(lines) > room:
        lines = [*lines[: room - 1], f"{_INDENT}The rest is on the page."]
    text = "\n".join(_fitting(line, encoding) for line in [*lines, *tail])
    return _lit(text) if colour else text


def _one(result: StationResult, unit: str, limits: Sequence[Passed]) -> list[str]:
    passed = passed_by(limits, result.data.station)
    said, first = with_limits(verdict(result), passed), steps(result, passed)[0]
    known = exact_of([*facts_of(result.findings), *(part for part in said.lead if isinstance(part, Num))])
    write = partial(numbers_plain, unit=unit, exact=lambda num: exactly(num, known))
    name = clean(result.data.station, WIDTH - 3 - len(said.headline)) or "Station without a name"
    cause = _cause(result)
    reasons = said.reasons.partition("Cause: ")[0].rstrip() if cause else said.reasons  # told once, in the next line
    air = leak_as_air(result)
    told = [*_wrapped(plain(said.lead, unit)), *(_wrapped(plain(air, unit)) if air else [])]
    lines = [*told, *_wrapped(f"{said.action} {reasons}".rstrip())]
    return [f"{name}: {said.headline}.", *lines, *cause, "", *_first_step(first, write), "", *_settings(result, write)]


def _cause(result: StationResult) -> list[str]:
    main = main_finding(result)
    if main is None:
        return []
    second = told_second(result, main)
    if second is not None:
        start = "To repair" if min(main.confidence, second.confidence) >= SURE else "Perhaps both"
        told = (f"{cause_name(f.code)}, chance {chance(f.confidence)}" for f in (main, second))
        return _wrapped(f"{start}: 1. {'; 2. '.join(told)}.")
    p = main.confidence if second_fault(result, main) is not None else chance_of(result, main)
    sure = f"Cause: {cause_name(main.code)}, {chance(p)} likely"
    rival = rival_of(result, main)
    return _wrapped(f"{sure}; not told apart from: {cause_name(rival).lower()}." if rival else f"{sure}.")


def _first_step(step: Step, write: Callable[[str], str]) -> list[str]:
    lines = _wrapped(f"First: {write(step.act)}{lasting(step)}.", "")
    how = step.how.partition(TO_LOG)[0].strip()  # how to record it is on the page
    lines += _wrapped(write(how))[:3] if how else []
    for seen, means in step.results:
        lines += _wrapped(write(f"{seen}: {means}." if seen else f"{means}."))[:2]
    lines += _wrapped(f"Caution: {step.caution}") if step.caution else []
    return lines


def _settings(result: StationResult, write: Callable[[str], str]) -> list[str]:
    entries = setting_entries(result)
    if not entries:
        return _wrapped(f"{leave_words(result)} {write(why_leave(result))}", "")
    width = max(len(_label(e)) for e in entries)
    rows = [f"{_INDENT}{_label(e):{width}}  {_change(e)} {e['unit']}".rstrip() for e in entries]
    return ["Settings to enter:", *rows]


def _change(entry: dict[str, str]) -> str:
    return f"stays {entry['new']}" if entry["now"] == entry["new"] else f"{entry['now']} -> {entry['new']}"


def _label(entry: dict[str, str]) -> str:
    return f"{entry['name']}, {entry['entry']}" if entry["entry"] else entry["name"]


def _many(record: DiagnosisRecord, unit: str, limits: Sequence[Passed]) -> list[str]:
    """One line or two per station, the worst first."""
    order = ("critical", "major", "minor", "info")
    own = [(passed_by(limits, r.data.station), r) for r in record.stations]
    told = [(with_limits(verdict(r), passed), steps(r, passed)[0], r) for passed, r in own]
    said = sorted(told, key=lambda one: order.index(one[0].severity))
    lines = [f"{count(len(said))} stations, the worst first:"]
    for words, first, result in said:
        lines.append(f"{clean(result.data.station, 20)}: {words.headline}. {words.action}"[:WIDTH])
        lines += (
            _first_step(first, partial(numbers_plain, unit=unit))[:1] if words.severity in ("critical", "major") else []
        )
    return lines


def _wrapped(text: str, indent: str = _INDENT) -> list[str]:
    return textwrap.wrap(text, WIDTH - len(indent), initial_indent=indent, subsequent_indent=indent + "  ") or [""]


def _fitting(line: str, encoding: str) -> str:
    """The line as the console can write it; without no-break spaces, which some consoles show as boxes."""
    text = line.replace("\u00a0", " ").replace("\u202f", " ")
    try:
        text.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return ascii_only(text)
    return text


def _lit(text: str) -> str:
    first, _, rest = text.partition("\n")
    lines = [f"\x1b[7m{line}\x1b[0m" if line.lstrip().startswith("Caution:") else line for line in rest.split("\n")]
    return "\n".join([f"\x1b[1m{first}\x1b[0m", *lines])
