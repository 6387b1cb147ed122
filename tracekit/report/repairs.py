"""Steps after a test: after which outcome a repair comes, what repairs the causes that a test may find instead."""

from dataclasses import replace

from tracekit.model.finding import Finding, NextStep
from tracekit.model.result import StationResult
from tracekit.report.phrases import cause_name, phrase
from tracekit.report.rivals import runner_up
from tracekit.report.ruled import LIKELY
from tracekit.report.steps_told import STEP_MOST, Step, step_of
from tracekit.report.text import clean

_NEXT, _MOST_OTHERS, _MAY_BE = "look into the next likely cause", 3, 0.075
_NO_RIVAL = "record again: the new page tells what is left"
_LOCK = "Lock out, dump the air, vent the vacuum and prove zero energy first. Receivers store energy."
_WORKED = ("The test above finds no fault any more", "Every part holds at low speed")


def conditional(steps: list[Step], result: StationResult, source: Finding) -> list[Step]:
    """The steps of a finding with its repair made to depend on what the tests before it find.

    It names the repairs of other causes of some weight too, so that no outcome is a dead end.
    """
    at = next((k for k, step in enumerate(steps) if k and _is_repair(step)), None)
    named = [_next_named(step, result, source) for step in steps]
    if at is None:
        return named
    finds = "If the test finds" if at == 1 else "If the tests find"
    own = replace(named[at], act=f"{finds} {phrase(source.code).noun}: {_lowered(named[at].act)}")
    own = replace(own, more=(*own.more, *_other_repairs(result, source)))
    return [*named[:at], own, *named[at + 1 :]]


def named(result: StationResult, source: Finding) -> bool:
    """True where the page names what the first tests are about: the finding alone, or a rival of some chance."""
    chances = {c.code: c.chance for c in result.causes}
    return not source.alternatives or any(chances.get(code, 1.0) >= LIKELY for code in source.alternatives)


def own_first(steps: list[Step], result: StationResult, source: Finding) -> list[Step]:
    """The steps with the finding's own test first; tests for causes that the page hardly names follow its repair."""
    own = next((c.test for c in result.causes if c.code == source.code), None)
    at = next((k for k, step in enumerate(steps) if k and _is_repair(step)), None)
    if own is None or at is None:
        return conditional(steps, result, source)
    rest = [replace(s, act=f"If that changes nothing: {_lowered(s.act)}") for s in steps[:at]]
    first, repair, *after = conditional([step_of(own), *steps[at:]], result, source)
    return [first, repair, *(_next_named(s, result, source) for s in rest), *after]


def locked_once(steps: tuple[Step, ...]) -> tuple[Step, ...]:
    """Each lock-out after the first in a line that points to it, so that what differs stands out."""
    first = next((k for k, step in enumerate(steps) if step.caution.startswith(_LOCK)), len(steps))
    short = f"Lock out, vent and prove zero energy as in step {first + 1}."
    return tuple(
        replace(s, caution=s.caution.replace(_LOCK, short, 1)) if k > first else s for k, s in enumerate(steps)
    )


def _is_repair(step: Step) -> bool:
    return any(seen in _WORKED for seen, _ in step.results)


def _next_named(step: Step, result: StationResult, source: Finding) -> Step:
    """The step with the next likely cause called by its name."""
    rival = runner_up(result, source)
    told = f"{phrase(rival).rival} next" if rival is not None else _NO_RIVAL

    def said(pair: tuple[str, str]) -> tuple[str, str]:
        return (pair[0], told if pair[1] == _NEXT else pair[1])

    return replace(step, results=tuple(map(said, step.results)), more=tuple(map(said, step.more)))


def _other_repairs(result: StationResult, source: Finding) -> tuple[tuple[str, str], ...]:
    """What repairs the causes that the tests may find instead, the likeliest first."""
    others = [c for c in result.causes if c.chance >= _MAY_BE and c.code != source.code]
    repairs = [(c.code, c.repair) for c in sorted(others, key=lambda c: -c.chance) if c.repair is not None]
    return tuple((f"{cause_name(code)} instead", _in_short(repair)) for code, repair in repairs[:_MOST_OTHERS])


def _in_short(repair: NextStep) -> str:
    """The first sentence of a repair with its minutes."""
    act = _lowered(clean(repair.do, STEP_MOST).partition(". ")[0].rstrip("."))
    return act if act.endswith("min)") else f"{act} ({repair.minutes} min)"


def _lowered(act: str) -> str:
    return act if act[1:2].isupper() else clean(act[:1].lower() + act[1:], 400)
