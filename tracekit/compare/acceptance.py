"""Acceptance against an agreed limit by the decision rules of JCGM 106.

Guarded acceptance keeps a guard band of the expanded uncertainty (one-sided 2.5 %) from the limit, so that the risk of
accepting a station that does not conform is at most 2.5 %. Simple acceptance takes the value at its word; on the
limit the risk is one half. The probability of conformity is that of the interval's distribution.

Source: JCGM 106:2012, Evaluation of measurement data – The role of measurement uncertainty in conformity assessment.
"""

import re

from tracekit.compare.counts import exact_limits
from tracekit.compare.difference import Difference, bounds, difference_of, p_above, p_below
from tracekit.compare.judging import Question, side_fit, side_quantity, still_side
from tracekit.compare.measures import MEASURES, RATES, measure_named
from tracekit.compare.rates import rate_counts
from tracekit.compare.values import leak_of
from tracekit.errors import UsageError, message, nearest
from tracekit.frozen import dataclass
from tracekit.model.comparison import Acceptance, Decision, Recordings, Side
from tracekit.model.estimate import Estimate, Quantity, Withheld

_FORM = re.compile(r"\s*([a-z0-9_]+)\s*(<=|>=|<|>)\s*([-+]?[0-9]*\.?[0-9]+(?:[eE][-+]?[0-9]+)?)\s*")
RULES = ("guarded", "simple")


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """An agreed limit: measure, operator (<= or >=) and limit in the measure's unit."""

    text: str
    measure: str
    operator: str
    limit: float
    unit: str


def read_demand(text: str) -> Demand:
    """A limit as written on the command line, `decay_rate_kpa_s<=2`.

    Raises UsageError where it is not of that form or names no known measure.
    """
    found = _FORM.fullmatch(text)
    if found is None:
        raise UsageError(
            message("--accept", f'"{text}"', "a measure, <= or >=, and a number", 'Write "decay_rate_kpa_s<=2".')
        )
    name, operator, number = found.groups()
    measure = measure_named(name)
    if measure is None and name not in RATES:
        known = [*(m.column for m in MEASURES), *RATES]
        raise UsageError(message("--accept", f'"{name}"', "a measure that can be compared", nearest(name, known)))
    unit = measure.unit if measure else ""
    return Demand(text=text.strip(), measure=name, operator=operator[0] + "=", limit=float(number), unit=unit)


def accept(demand: Demand, side: Recordings, word: Side, rule: str, question: Question) -> Acceptance:
    """The decision on one side's recordings by `rule`, guarded or simple."""
    if demand.measure in RATES:
        return _accept_rate(demand, side, word, rule, question)
    measure = measure_named(demand.measure)
    if measure is None:
        raise UsageError(message("--accept", f'"{demand.measure}"', "a known measure", "See tracekit schema cycles."))
    reasons = [q.reason for r in side if isinstance(q := leak_of(measure, r), Withheld)]
    fit = side_fit(measure, side, question)
    if reasons or isinstance(fit, str):
        return _undecided(demand, word, rule, reasons[0] if reasons else str(fit))
    alone = difference_of(still_side(fit), fit)
    low, high = bounds(alone, question.options.one_sided)
    conformity = _conformity(alone, demand)
    quantity = side_quantity(fit, measure.unit, question.options)
    return _decided(demand, word, rule, quantity, (fit.median, low, high), conformity)


def _conformity(alone: Difference, demand: Demand) -> float:
    """Probability that the true median keeps the limit."""
    return 1.0 - (p_below(alone, demand.limit) if demand.operator == "<=" else p_above(alone, demand.limit))


def _accept_rate(demand: Demand, side: Recordings, word: Side, rule: str, question: Question) -> Acceptance:
    """The decision on a share of cycles, from its exact limits; conformity with the flat prior of JCGM 106."""
    from scipy.special import betainc

    counted = rate_counts(demand.measure, side)
    if counted is None:
        return _undecided(demand, word, rule, "no whole cycle in the log")
    events, cycles = counted
    low, high = exact_limits(events, cycles, question.options.one_sided)
    below = float(betainc(events + 1, cycles - events + 1, min(max(demand.limit, 0.0), 1.0)))
    quantity = Estimate(value=events / cycles, lower=low, upper=high, unit="", n=cycles, method="exact")
    conformity = below if demand.operator == "<=" else 1.0 - below
    return _decided(demand, word, rule, quantity, (events / cycles, low, high), conformity)


def _decided(
    demand: Demand, word: Side, rule: str, quantity: Quantity, figures: tuple[float, float, float], conformity: float
) -> Acceptance:
    value, low, high = figures
    far, near = (high, low) if demand.operator == "<=" else (low, high)
    decision: Decision
    if rule == "simple":
        decision, band = ("accepted" if _keeps(demand, value) else "rejected"), 0.0
    else:
        decision = "accepted" if _keeps(demand, far) else "undecided" if _keeps(demand, near) else "rejected"
        band = abs(far - value)
    return Acceptance(
        text=demand.text, measure=demand.measure, operator=demand.operator, limit=demand.limit, unit=demand.unit,
        side=word, rule=rule, quantity=quantity, decision=decision, guard_band=band, conformity=conformity,
        risk=_risk(decision, rule, conformity),
    )  # fmt: skip


def _keeps(demand: Demand, value: float) -> bool:
    return value <= demand.limit if demand.operator == "<=" else value >= demand.limit


def _risk(decision: Decision, rule: str, conformity: float) -> str:
    """What the decision risks, in words, with the figure of this recording."""
    wrong = 1.0 - conformity if decision == "accepted" else conformity
    figure = f"{100 * wrong:.1f} %" if wrong >= 0.001 else "under 0.1 %"
    if decision == "accepted":
        general = "by the guarded rule at most 2.5 %" if rule == "guarded" else "by the simple rule up to 50 %"
        return f"Customer's risk, that the station does not conform although it is accepted: {figure}; {general}."
    if decision == "rejected":
        return f"Producer's risk, that the station conforms although it is rejected: {figure}."
    return f"The interval spans the limit. Chance that the station conforms: {100 * conformity:.0f} %."


def _undecided(demand: Demand, word: Side, rule: str, reason: str) -> Acceptance:
    return Acceptance(
        text=demand.text, measure=demand.measure, operator=demand.operator, limit=demand.limit, unit=demand.unit,
        side=word, rule=rule, quantity=Withheld(reason), decision="undecided", guard_band=float("nan"),
        conformity=float("nan"), risk=f"{reason[:1].upper()}{reason[1:]}.",
    )  # fmt: skip
