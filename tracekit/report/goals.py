"""The goal of a repair: once, in the figures of the page, of the measure that the finding rests on."""

import re
from collections.abc import Callable, Sequence
from dataclasses import replace

from tracekit.frozen import dataclass
from tracekit.model.finding import Finding
from tracekit.model.result import StationResult
from tracekit.report.back import goals_back, replaces
from tracekit.report.doubt import told_by_log
from tracekit.report.some_picks import two_rates
from tracekit.report.steps_told import GOAL, Step
from tracekit.report.view import LEAKS, median
from tracekit.report.words import Num, digits, of_quantity, place_of_interval

_CALLED = {
    "decay_rate_kpa_s": "fall", "open_cup_vacuum_kpa": "open-cup vacuum", "release_peak_kpa": "over-pressure",
    "residual_vacuum_kpa": "vacuum left", "response_delay_s": "response delay", "idle_vacuum_kpa": "idle vacuum",
    "noise_kpa": "noise", "ultimate_vacuum_kpa": "ultimate vacuum",
    "pump_time_constant_s": "time constant of the evacuation",
}  # fmt: skip
"""The word by which a goal names the measure."""
_EXPECT = "Expect"
_NOW = re.compile(r"(?<=, now )(\d+(?:\.\d+)?)(?= ([^\s;.]+))")
_AT_MOST = re.compile(r"at most \d+(?:\.\d+)? kPa/s")
_HALF = re.compile(r"[Tt]he fall with the supply off is less than half of what it was\.?\s*")
_TENTHS = -1  # the decimal place in which the verdict tells two rates
_SAME = 1.0  # of an interval: medians that differ by less are one measure, taken over other cycles


@dataclass(frozen=True, slots=True)
class _Figure:
    """A figure with an interval in which the page tells a measure; `called` is its word in a goal."""

    called: str
    num: Num


def as_told(step: Step, result: StationResult, source: Finding) -> Step:
    """The step with its goal of the measure, and with what is now in the figures, in which the page tells both."""
    figures, back = _figures(result, source), goals_back(result, source)

    def said(pair: tuple[str, str]) -> tuple[str, str]:
        if pair[0] != GOAL:
            return pair
        left = [one for one in _clauses(pair) if not any(replaces(name, one) for name, _ in back)]
        return (GOAL, "; ".join([*(goal for _, goal in back), *(_in_figures(one, figures) for one in left)]))

    return _said_once(_mapped(_with_goal(step, bool(back)), said))


def _with_goal(step: Step, wanted: bool) -> Step:
    """The step with room for a goal, where what it expects has no figures though the finding has a reference."""
    pairs = (*step.results, *step.more)
    if not wanted or all(seen != _EXPECT for seen, _ in pairs) or any(seen == GOAL for seen, _ in pairs):
        return step
    return replace(step, more=(*step.more, (GOAL, "")))


def tight(step: Step, proof: Step) -> Step:
    """A step with an outcome "tight" says which fall counts as tight: the one that the proof of the repair asks for."""
    goals = [_AT_MOST.findall(text) for seen, text in (*proof.results, *proof.more) if seen == GOAL]
    most = next((found[0] for found in goals if found), "")
    if not most:
        return step

    def said(pair: tuple[str, str]) -> tuple[str, str]:
        seen, means = pair
        return (f"Tight ({most}){seen.removeprefix('Tight')}", means) if seen.startswith("Tight") else pair

    return _mapped(step, said)


def _mapped(step: Step, said: Callable[[tuple[str, str]], tuple[str, str]]) -> Step:
    return replace(step, results=tuple(map(said, step.results)), more=tuple(map(said, step.more)))


def _clauses(pair: tuple[str, str]) -> list[str]:
    return pair[1].split("; ") if pair[1] else []


def _said_once(step: Step) -> Step:
    """The step without "half of what it was" where its goal tells how much the fall may be: two goals are none."""
    pairs = (*step.results, *step.more)
    if not any(seen == GOAL and "fall" in told for seen, told in pairs):
        return step

    def kept(told: Sequence[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
        cleared = ((seen, text if seen == GOAL else _HALF.sub("", text)) for seen, text in told)
        return tuple(pair for pair in cleared if pair[1])

    return replace(step, results=kept(step.results), more=kept(step.more))


def _figures(result: StationResult, source: Finding) -> list[_Figure]:
    """The figures with intervals in which a page tells a finding's measures, first the leak as the verdict has it."""
    leak = of_quantity(result.leak.decay_rate)
    fast = two_rates(result) if source.code in LEAKS else None
    fall = _CALLED["decay_rate_kpa_s"]
    if fast is not None:  # what stands between the two is the rate of no cycle
        low, high = median(result.leak.rate[~fast]), median(result.leak.rate[fast])
        return [_Figure(fall, Num(value=high, unit="kPa/s", lower=low, upper=high, step=0.1))]
    by_log = leak is not None and (told_by_log(result, source) or source.code not in LEAKS)
    own = [_Figure(fall, leak)] if by_log and leak is not None else []
    own += [
        _Figure(_CALLED[e.measure], Num(value=e.value, unit=e.unit, lower=e.lower, upper=e.upper))
        for e in source.evidence
        if e.measure in _CALLED
    ]
    return [f for f in own if f.num.lower is not None and f.num.upper is not None and f.num.upper > f.num.lower]


def _in_figures(clause: str, figures: Sequence[_Figure]) -> str:
    """A goal with what is now as the page tells the same measure."""
    same = [figure.num for figure in figures if figure.called in clause]
    return _NOW.sub(lambda match: _told(match, same), clause)


def _told(match: re.Match[str], figures: Sequence[Num]) -> str:
    """A figure as the page has it: with the digits that its interval leaves."""
    value, last = float(match[1]), 10.0 ** -len(match[1].partition(".")[2])
    near: list[tuple[float, str]] = []
    for place, num in enumerate(figures):
        lower, upper = num.lower or 0.0, num.upper or 0.0
        away = max(abs(value - num.value) - last / 2.0, 0.0) / (upper - lower)
        if num.unit == match[2] and away <= _SAME:
            last_digit = _TENTHS if num.step else place_of_interval(lower, upper)
            near.append((away if place else 0.0, digits(num.value, last_digit)))
    return min(near, key=lambda one: one[0])[1] if near else match[1]
