"""A second thing to repair beside the first: both are told on the first screen."""

import numpy as np

from tracekit.model.finding import Finding
from tracekit.model.result import StationResult
from tracekit.report.doubt import NEARLY_ALL
from tracekit.report.phrases import cause_name, phrase, without_article
from tracekit.report.view import LEAKS, REPAIRABLE, main_finding
from tracekit.report.words import chance, strength

DROPPED = "part_dropped"
SURE = 0.8
"""The confidence from which on a second fault is told as one, not as a possibility."""


def second_fault(result: StationResult, main: Finding) -> Finding | None:
    """What else is more likely there than not, beside the first finding; a rival of it is no second fault."""
    others = [f for f in result.findings if f.kind in REPAIRABLE and f.code != main.code and f.severity != "info"]
    return next((f for f in others if f.code not in main.alternatives), None)


def both_headlines(main: Finding, second: Finding) -> list[str]:
    """Ways to say that two faults are there, from the fullest to one that always fits."""
    word = {"either": "perhaps"}.get(told := strength(min(main.confidence, second.confidence)), told)
    first, other = (without_article(phrase(f.code).short) for f in (main, second))
    if word:
        start, both = f"{word.capitalize()} {first}", f"{first} and {other}"
        full = [f"{word.capitalize()} two faults: {both}", f"{word.capitalize()} both {both}"]
        return [*full, f"{start} and {other}", f"{start}, and one more"]
    return [f"Two faults: {first} and {other}", f"Two faults, the first: {first}"]


def second_words(result: StationResult, second: Finding, *, likely: bool = False) -> str:
    """The second fault in the line of urgency, with rivals about as likely; with `likely` its chance."""
    named, sure = called(second), f", {chance(second.confidence)} likely" if likely else ""
    others = rivals_of_second(result, second)
    if others:
        return f"Second: {named} or {phrase(others[0]).rival}."
    if second.confidence >= SURE:
        return f"Second: {named}{sure}."
    return f"{'Probably' if strength(second.confidence) == 'probably' else 'Perhaps'} also {named}{sure}."


def drops_by(result: StationResult, main: Finding, second: Finding) -> Finding | None:
    """The one of two faults that names the dropped cycles alone; None where neither or both do.

    A fault of every cycle may take part in a drop; the one whose cycles are those of the drops is what drops the parts.
    """
    lost = set(np.flatnonzero(result.data.cycles.where("outcome", "dropped")).tolist())
    few = NEARLY_ALL * len(result.data.cycles)
    apart = [f for f in (main, second) if len(f.cycles) < few and DROPPED in f.explains]
    named = [f for f in apart if lost and lost <= set(f.cycles)]
    return named[0] if len(named) == 1 else None


def rivals_of_second(result: StationResult, second: Finding) -> list[str]:
    """Codes that the evidence cannot tell from a second fault, at least half as likely; leaks stay one leak."""
    chances = {c.code: c.chance for c in result.causes}
    own = chances.get(second.code, second.confidence)
    return [c for c in second.alternatives if c not in LEAKS and 2.0 * chances.get(c, 0.0) >= own > 0.0]


def called(finding: Finding) -> str:
    """A fault in a few words; a leak whose place is open is called a leak."""
    if finding.code in LEAKS and any(code in LEAKS for code in finding.alternatives):
        return "a leak, place open"
    return without_article(phrase(finding.code).short)


_SHARED = "The chances in the table add up to one: they tell which to repair first, not whether it is there."


def both_told(result: StationResult) -> str:
    """How sure each of two faults is, and what the chances of the table mean then; empty where one is told."""
    main = main_finding(result)
    second = second_fault(result, main) if main is not None else None
    if main is None or second is None:
        return ""
    first, other = (f"{cause_name(f.code).lower()}, chance {chance(f.confidence)}" for f in (main, second))
    if second.confidence >= SURE:
        return f"Two faults are there: {first}; and {other}. {_SHARED}"
    return f"Here is {first}; perhaps also {other}. {_SHARED}"
