"""`tracekit explain`: the handbook entry of a code, or the list of codes."""

import json
import shutil
import textwrap
from collections.abc import Iterable
from dataclasses import asdict
from typing import Annotated

import typer

from tracekit.judge import handbook
from tracekit.judge.handbook import Check, Entry, Repair
from tracekit.report.phrases import cause_name

KIND_HEADINGS = (
    ("cause", "Causes: what to repair"),
    ("symptom", "Symptoms: what a cause brings about"),
    ("setting", "Settings"),
    ("sensor", "Sensor"),
    ("recording", "Recording: faults of the log itself"),
)
WIDEST = 100


def explain(
    code: Annotated[str | None, typer.Argument(help="Code of a finding; without it, the list of codes.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the entry as JSON.")] = False,
) -> None:
    """Explain a finding: what it is, how it shows, a quick test, the repair and how to verify it."""
    if as_json:
        typer.echo(json.dumps(_as_json(code), indent=2, ensure_ascii=False))
        return
    width = min(shutil.get_terminal_size().columns, WIDEST)
    lines = _list_lines() if code is None else _entry_lines(handbook.entry(code))
    typer.echo("\n".join(line for indent, text in lines for line in _wrapped(indent, text, width)))


def _as_json(code: str | None) -> dict[str, object]:
    names = handbook.codes() if code is None else (code,)
    found = [asdict(handbook.entry(name)) for name in names]
    if code is None:
        listed = [{key: entry[key] for key in ("code", "kind", "title", "short")} for entry in found]
        return {"schema": "tracekit.explain/1", "codes": listed}
    return {"schema": "tracekit.explain/1", **found[0], "general_cautions": handbook.general_cautions()}


def _wrapped(indent: str, text: str, width: int) -> list[str]:
    """Lines no longer than `width`, but for single words that are; an empty text is an empty line."""
    later = " " * len(indent)
    return textwrap.wrap(
        text, width, initial_indent=indent, subsequent_indent=later, break_long_words=False, break_on_hyphens=False
    ) or [""]


_Lines = list[tuple[str, str]]


def _list_lines() -> _Lines:
    lines: _Lines = []
    longest = max(len(code) for code in handbook.codes())
    for kind, heading in KIND_HEADINGS:
        lines.append(("", heading))
        entries = [handbook.entry(code) for code in handbook.codes() if handbook.entry(code).kind == kind]
        lines += [(f"  {entry.code:<{longest}}  ", cause_name(entry.code)) for entry in entries]
        lines.append(("", ""))
    return [*lines, ("", "tracekit explain CODE says more of each.")]


def _entry_lines(entry: Entry) -> _Lines:
    name = cause_name(entry.code)
    also = [("", f"Also called: {entry.title}")] if entry.title != name else []
    lines: _Lines = [("", name), ("", f"{entry.code} ({entry.kind})"), *also, ("", ""), ("", entry.what)]
    lines += _section("How it shows in a log", entry.shows)
    lines += _section("What else looks like it", (_named(other.name, other.code) for other in entry.taken_for))
    lines += _check_lines("Quick test", entry.test)
    if entry.pump_test is not None:
        lines += _check_lines("Quick test with a pump or blower", entry.pump_test)
    lines += _repair_lines("Repair", entry.repair)
    if entry.pump_repair is not None:
        lines += _repair_lines("Repair with a pump or blower", entry.pump_repair)
    lines += _verify_lines(entry)
    lines += _section("Caution", (*entry.cautions, *handbook.general_cautions()))
    return [*lines, ("", ""), ("Source: ", entry.source + ".")]


def _section(heading: str, items: Iterable[str]) -> _Lines:
    return [("", ""), ("", heading), *(("  - ", item) for item in items)]


def _named(name: str, code: str) -> str:
    return f"{name} ({code})" if code else name


def _span(minutes: tuple[int, int]) -> str:
    low, high = minutes
    return f"{low} min" if low == high else f"{low} to {high} min"


def _state_line(states: tuple[handbook.State, ...], own: str) -> str:
    """What must hold in each state needed, in order, then the caution of its own."""
    known = dict(handbook.state_cautions())
    return " ".join((*(known[state] for state in states), own))


def _check_lines(heading: str, check: Check) -> _Lines:
    lines: _Lines = [("", ""), ("", f"{heading} ({_span(check.minutes)}; {', then '.join(check.state)})")]
    if check.ref in handbook.TEST_IDS:
        test = handbook.field_test(check.ref)
        lines += [("  ", f"{test.name}. {test.do}"), ("  Tool: ", test.tool), ("  Record: ", test.record)]
    else:
        lines.append(("  ", check.do))
    lines += [("  If: ", check.expect_if), ("  Otherwise: ", check.expect_else)]
    return [*lines, ("  Caution: ", _state_line(check.state, check.caution))]


def _repair_lines(heading: str, repair: Repair) -> _Lines:
    if repair.minutes[1] == 0:
        return [("", ""), ("", f"{heading}: none of its own"), ("  ", repair.do), ("  Caution: ", repair.caution)]
    where = f"{heading} ({_span(repair.minutes)}; {', then '.join(repair.state)})"
    return [("", ""), ("", where), ("  ", repair.do), ("  Caution: ", _state_line(repair.state, repair.caution))]


def _verify_lines(entry: Entry) -> _Lines:
    verify = entry.verify
    lines: _Lines = [("", ""), ("", f"How to verify ({verify.cycles} picks or more, about {verify.minutes} min)")]
    lines.append(("  ", verify.expect))
    if verify.without_baseline:
        lines.append(("  Without a baseline: ", verify.without_baseline))
    if verify.without_saving:
        lines.append(("  Without air saving: ", verify.without_saving))
    return [*lines, ("  Measures: ", ", ".join(verify.measures))]
