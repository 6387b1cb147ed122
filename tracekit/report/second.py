"""A second thing to repair beside the first: both are told on the first screen."""

from tracekit.model.finding import Finding
from tracekit.model.result import StationResult
from tracekit.report.phrases import cause_name, phrase, without_article
from tracekit.report.view import LEAKS, REPAIRABLE, main_finding
from tracekit.report.words import chance, strength

SURE = 0.8
"""The confidence from which on a second fault is told as one, not as a possibility."""


def second_fault(result: StationResult, main: Finding) -> Finding | None:
    """What else is more likely there than not, beside the first finding; a rival of it is no second fault."""
    others = [f for f in result.findings if f.kind in REPAIRABLE and f.code != main.code and f.severity != "info"]
    return next((f for f in others if f.code not in main.alternatives), None)


def sure_second(result: StationResult, main: Finding) -> Finding | None:
    """A second fault of which there is little doubt."""
    second = second_fault(result, main)
    return second if second is not None and second.confidence >= SURE else None


def both_headlines(main: Finding, second: Finding) -> list[str]:
    """Ways to say that two faults are there, from the fullest to one that always fits."""
    word = strength(min(main.confidence, second.confidence))
    first, other = (without_article(phrase(f.code).short) for f in (main, second))
    if word:
        start, both = f"{word.capitalize()} {first}", f"{first} and {other}"
        return [f"{word.capitalize()} two faults: {both}", f"{start} and {other}", f"{start}, and one more"]
    return [f"Two faults: {first} and {other}", f"Two faults, the first: {first}"]


def second_words(second: Finding) -> str:
    """The second fault in the line of urgency."""
    named = called(second)
    if second.confidence >= SURE:
        return f"Second: {named}."
    return f"{'Probably' if strength(second.confidence) == 'probably' else 'Perhaps'} also {named}."


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
