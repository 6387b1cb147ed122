"""What a repair has to bring back: the reference of a finding's own measures, with the spread that it had."""

import math

import numpy as np

from tracekit.model.finding import Evidence, Finding
from tracekit.model.result import StationResult
from tracekit.report.levels import EVACUATION, timed
from tracekit.report.view import middle
from tracekit.report.words import digits, place_of_interval, plain

CALLED = {
    "open_cup_vacuum_kpa": "open-cup vacuum", "release_peak_kpa": "over-pressure", "residual_vacuum_kpa": "vacuum left",
    "response_delay_s": "response delay", "idle_vacuum_kpa": "idle vacuum", "noise_kpa": "noise",
}  # fmt: skip
"""The word by which a goal names a measure that every cycle has."""
SPEED = "time constant of the evacuation"
_AGAIN = 0.05  # of a reference's evacuation time: as quick again (common practice, no source)
_MOST = 2  # goals of one repair


def goals_back(result: StationResult, source: Finding) -> tuple[tuple[str, str], ...]:
    """Names and goals of what the finding holds against a reference, as in "open-cup vacuum at most 7 kPa, now 20 kPa".

    A goal lies at the reference, widened by its spread from cycle to cycle, and never beyond half the way from now.
    """
    own = ((_name(e, result), _goal(e, result, source)) for e in source.evidence)
    return tuple((name, goal) for name, goal in own if name and goal)[:_MOST]


def replaces(name: str, clause: str) -> bool:
    """True where a goal of this name stands for a clause about the same, the evacuation's speed included."""
    return name in clause or (name.startswith("evacuation") and clause.startswith(SPEED))


def _name(fact: Evidence, result: StationResult) -> str:
    return plain(timed(EVACUATION, result)) if fact.measure == EVACUATION else CALLED.get(fact.measure, "")


def _goal(fact: Evidence, result: StationResult, source: Finding) -> str:
    name, base, lower, upper = _name(fact, result), fact.reference, fact.lower, fact.upper
    if not name or base is None or lower is None or upper is None or lower <= base <= upper:
        return ""
    spread = _spread(fact, result, source)
    if spread is None:
        return ""
    sign = 1.0 if fact.value > base else -1.0
    limit = sign * min(sign * base + spread, sign * (base + fact.value) / 2.0)
    place = place_of_interval(lower, upper)
    said, now = _toward(limit, place, sign), digits(fact.value, place)
    if said == now:
        said = _toward(limit, place - 1, sign)
    return f"{name} at {'most' if sign > 0 else 'least'} {said} {fact.unit}, now {now} {fact.unit}"


def _spread(fact: Evidence, result: StationResult, source: Finding) -> float | None:
    """How far from its median the reference's measure lies in one cycle of 20; None without a reference's cycles."""
    assert fact.reference is not None
    if fact.measure == EVACUATION:
        return _AGAIN * fact.reference if fact.reference_source in {"baseline", "earlier cycles"} else None
    if fact.reference_source == "baseline" and result.baseline is not None:
        values = result.baseline.cycles.floats(fact.measure)
    elif fact.reference_source == "earlier cycles" and source.onset_cycle:
        values = result.data.cycles.floats(fact.measure)[: source.onset_cycle]
    else:
        return None
    if not np.isfinite(values).any():
        return 0.0
    low, mid, high = middle(values)
    return high - mid if fact.value > fact.reference else mid - low


def _toward(limit: float, place: int, sign: float) -> str:
    """The limit at a decimal place, rounded to the side of what is now: else a sound station could miss it."""
    unit = 10.0**place
    return digits(sign * math.ceil(sign * limit / unit - 1e-9) * unit, place)
