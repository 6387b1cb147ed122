"""Which causes compete with the first finding, which is there beside it, and how likely each is."""

from tracekit.model.finding import Finding
from tracekit.model.result import StationResult
from tracekit.report.doubt import beside_leak
from tracekit.report.phrases import NOTHING
from tracekit.report.second import SURE, second_fault


def rival_of(result: StationResult, main: Finding) -> str | None:
    """The code that the evidence cannot tell from the main one: a rival within a factor of two.

    A rival that is itself found with confidence is no rival: both are there (see `second_fault`).
    """
    chances = {c.code: c.chance for c in result.causes}
    own = chances.get(main.code, main.confidence)
    named = [c for c in main.alternatives if chances.get(c, own) * 2.0 >= own]
    near = [c for c, p in chances.items() if c not in NOTHING and p * 2.0 >= own]
    beside = {f.code for f in result.findings if f.confidence >= SURE}
    if (second := second_fault(result, main)) is not None:
        beside.add(second.code)
    found = [c for c in dict.fromkeys([*named, *near]) if c != main.code and c not in beside]
    return max(found, key=lambda c: chances.get(c, own), default=None)


def runner_up(result: StationResult, main: Finding) -> str | None:
    """The next likely cause, of at least 1 in 20."""
    others = [c for c in result.causes if c.code not in (main.code, *NOTHING) and c.chance >= 0.05]
    return max(others, key=lambda c: c.chance).code if others else None


def chance_of(result: StationResult, finding: Finding) -> float:
    """The chance that a finding is the first to repair; its confidence where the causes do not list it."""
    return next((c.chance for c in result.causes if c.code == finding.code), finding.confidence)


def told_second(result: StationResult, main: Finding) -> Finding | None:
    """A second fault that the verdict names beside the first: a sure one, or one that "either … or" would hide."""
    second = second_fault(result, main)
    if second is None or second.confidence >= SURE:
        return second
    rival = rival_of(result, main)
    return second if rival is not None and beside_leak(result, main, rival) is None else None
