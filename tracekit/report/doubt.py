"""What a log leaves open: a leak with nothing to hold it against, a leak beside another cause, a late onset."""

import math
from collections.abc import Mapping

import numpy as np

from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.finding import Finding
from tracekit.model.result import StationResult
from tracekit.options.judge import JudgeOptions
from tracekit.physics.air import L_MIN_ANR_PER_ML_KPA_S
from tracekit.report.view import LEAKS, fault_of_log, main_finding, median, middle, symptom
from tracekit.report.words import Num, of_quantity

RUNNING = "Machine running"
"""How the caution of a step begins for which the machine runs."""
_JUDGE = JudgeOptions()
NEARLY_ALL = 0.95
"""The share of cycles from which on a finding is about all of them."""
PERHAPS = 0.15
"""The chance of a leak from which on "nothing wrong shows" would say too much."""
_BAND = ("supply_off", "supply_on")
_SOME_REFILLED, _RISEN, _COMPARED = 0.1, 1.5, ("evacuation_time_s", "release_time_s", "decay_rate_kpa_s")


def since(main: Finding, total: int) -> str:
    """From which cycle on a finding holds, where it holds for all from there to the end; else empty."""
    onset = main.onset_cycle
    whole = bool(onset) and sorted(main.cycles) == list(range(onset or 0, total))
    return f" since cycle {onset}" if whole else ""


def untold_leak(result: StationResult) -> bool:
    """True where nothing is found without a baseline, yet the leak is more than healthy stations usually have.

    By the flow that enters, at the usual volume where none is known, or by refills in some of the holds that come soon:
    a long hold needs refills at healthy stations too. Where this log would have shown a leak of no size, half of the
    healthy stations leak less than what is asked about.
    """
    quiet = main_finding(result) is None and symptom(result) is None and fault_of_log(result) is None
    rate = of_quantity(result.leak.decay_rate)
    if not quiet or result.baseline is not None or rate is None or rate.bound == "less than":
        return False
    held = result.data.cycles.where("outcome", "held")
    refilled = np.bincount(
        result.data.periods.codes("cycle")[result.data.periods.where("kind", "recharge")], minlength=len(held) + 1
    )[: len(held)]
    often = bool(held.any()) and float((refilled[held] > 0).mean()) >= _SOME_REFILLED
    return (often and _empties_soon(result, rate)) or _flow_l_min(result, rate) > _most_l_min(result)


def leak_size_shown(result: StationResult) -> bool:
    """True where a leak of some size would have been listed from this log."""
    return any(d.code == "leak_steady" and d.smallest is not None for d in result.detectable)


def _most_l_min(result: StationResult) -> float:
    """The flow above which nobody can call a leak usual [L/min ANR]."""
    least, most = _JUDGE.healthy_least_l_min, _JUDGE.healthy_most_l_min
    return most if leak_size_shown(result) else math.sqrt(least * most)


def leak_chance(result: StationResult) -> float:
    """The chance that some leak is what to repair."""
    return sum(c.chance for c in result.causes if c.code in LEAKS)


def _empties_soon(result: StationResult, rate: Num) -> bool:
    """True where the leak takes vacuum from supply off to supply on within the longer of the usual limits."""
    off, on = (s.value_kpa if (s := result.data.settings.get(n)) is not None else None for n in _BAND)
    return off is not None and on is not None and off - on < 2.0 * _JUDGE.short_coast_s * rate.value


def _flow_l_min(result: StationResult, rate: Num) -> float:
    """The leak as the flow of a station of usual volume: what is usual grows with the root of the volume."""
    usual = L_MIN_ANR_PER_ML_KPA_S * _JUDGE.usual_volume_ml * rate.value
    flow = result.leak_rate_l_min_anr
    return float(np.sqrt(flow.value * usual)) if isinstance(flow, Estimate) and flow.value > 0.0 else usual


def leak_risen(result: StationResult) -> bool:
    """True where vacuum falls clearly faster than in the baseline: both intervals apart, and by half as much again."""
    if result.baseline_leak is None:
        return False
    now, then = of_quantity(result.leak.decay_rate), of_quantity(result.baseline_leak.decay_rate)
    if now is None or then is None or now.bound or then.bound:
        return False
    apart = (now.lower or now.value) > (then.upper or then.value)
    return apart and now.value > _RISEN * then.value


def beside_leak(result: StationResult, main: Finding, rival: str | None) -> str | None:
    """The cause beside a leak that has risen, where only one of the two that compete lets air in; else None.

    "Either … or" would say that one of them is not there, while the leak itself is measured.
    """
    if main.kind != "cause" or not leak_risen(result):
        return None
    chances: Mapping[str, float] = {c.code: c.chance for c in result.causes}
    if main.code in LEAKS:
        return rival if rival is not None and rival not in LEAKS else None
    leaks = sum(p for code, p in chances.items() if code in LEAKS)
    return main.code if leaks * 2.0 >= chances.get(main.code, main.confidence) else None


def told_by_log(result: StationResult, main: Finding) -> bool:
    """True where a leak is told by the log's own estimate, of all its cycles, and not by what its finding compares."""
    some_only = main.share < NEARLY_ALL and any(e.measure == "decay_rate_kpa_s" for e in main.evidence)
    return main.code in LEAKS and not some_only and not isinstance(result.leak.decay_rate, Withheld)


def others_differ(result: StationResult, main: Finding) -> bool:
    """True where cycles that the finding does not name differ from the baseline in the way of the named ones.

    The median of the others then lies outside the middle 90 % of the baseline, on the same side as the named ones'.
    """
    n = len(result.data.cycles)
    named = np.zeros(n, np.bool_)
    named[[c for c in main.cycles if 0 <= c < n]] = True
    if result.baseline is None or not named.any() or named.all():
        return False
    for name in _COMPARED:
        low, mid, high = middle(result.baseline.cycles.floats(name)) if _has(result, name) else (np.nan,) * 3
        own = result.data.cycles.floats(name) if _has(result, name) else np.full(n, np.nan)
        there, rest = median(own[named]) - mid, median(own[~named])
        if (rest > high and there > 0.0) or (rest < low and there < 0.0):
            return True
    return False


def _has(result: StationResult, name: str) -> bool:
    return name in {c.name for c in result.data.cycles.columns}
