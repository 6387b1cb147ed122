"""Which findings stand above info, in which order, and which sets of causes they lead."""

from collections.abc import Iterator, Mapping

from tracekit.judge.case import Case, Seen
from tracekit.judge.facts import Fact
from tracekit.judge.findings import cause_finding, fact_finding
from tracekit.judge.rank import HYPOTHESES, Posterior, rivals
from tracekit.judge.symptoms import EXPLAINS
from tracekit.model.finding import CODES, Finding
from tracekit.options.judge import JudgeOptions

_SHOWN_FROM = 0.1
"""Probability from where on something is told at all."""


def ranked(
    case: Case,
    seen: Seen,
    post: Posterior,
    repairs: tuple[Fact, ...],
    symptoms: tuple[Fact, ...],
    recording: tuple[Fact, ...],
    chances: Mapping[str, float],
    options: JudgeOptions,
) -> tuple[Finding, ...]:
    """Repair targets by chance, then symptoms, then what concerns the recording."""
    shown = frozenset(fact.code for fact in symptoms)
    named: set[str] = set()
    facts = {fact.code: fact for fact in repairs}
    causes = list(_causes(case, seen, post, facts, shown, chances, named, options))
    found = sorted([*causes, *_settings(case, post, repairs, shown, named, options)], key=lambda item: -item[0])
    others = (fact_finding(case, fact, (), fact.probability >= options.listed) for fact in (*symptoms, *recording))
    return (*(finding for _, finding in found), *others)


def _explained(code: str, shown: frozenset[str]) -> tuple[str, ...]:
    return tuple(symptom for symptom in EXPLAINS.get(code, ()) if symptom in shown)


def _causes(
    case: Case,
    seen: Seen,
    post: Posterior,
    facts: Mapping[str, Fact],
    shown: frozenset[str],
    chances: Mapping[str, float],
    named: set[str],
    options: JudgeOptions,
) -> Iterator[tuple[float, Finding]]:
    """Causes and sensor faults of the ranking, each with its rank; adds those that lead a listed set to `named`."""
    told: set[str] = set()
    for code in sorted(HYPOTHESES, key=lambda c: -post.present[c]):
        own = post.present[code]
        if (code in facts and facts[code].probability > own) or own < _SHOWN_FROM:
            continue
        others = rivals(post, code, options)
        if code in told or (named & {code, *others}):
            continue
        # a set is led by its most probable cause; what another set has told neither leads this one nor counts for it
        others = tuple(other for other in others if other not in told)
        leads = all(post.present[other] <= own for other in others)
        listed = leads and own + sum(post.present[other] for other in others) >= options.listed
        if listed:
            named.add(code)
            told |= set(others)
        finding = cause_finding(
            case, seen, code, own, others if listed else (), _explained(code, shown), listed, options.unmodelled
        )
        yield chances[code] + (1.0 if listed else 0.0), finding


def _settings(
    case: Case,
    post: Posterior,
    repairs: tuple[Fact, ...],
    shown: frozenset[str],
    named: set[str],
    options: JudgeOptions,
) -> Iterator[tuple[float, Finding]]:
    """Settings and sensors that rules found, each with its rank."""
    named = set(named)
    for fact in sorted(repairs, key=lambda one: -one.probability):
        if fact.probability < max(_SHOWN_FROM, post.present.get(fact.code, 0.0)):
            continue
        # a set is listed by what its members sum to, unless another that is listed tells of them
        rivals_too = max(fact.instead, sum(post.present.get(code, 0.0) for code in fact.alternatives))
        summed = fact.probability + (0.0 if named & set(fact.alternatives) else rivals_too)
        listed = summed >= options.listed and fact.probability >= options.fact_least
        if listed:
            named |= set(fact.alternatives)
        first = 0.5 if fact.critical or CODES[fact.code] == "sensor" else 0.0
        rank = fact.probability * 0.999 + first + (1.0 if listed else 0.0) - 0.5 * (1.0 - fact.probability)
        yield rank, fact_finding(case, fact, _explained(fact.code, shown), listed)
