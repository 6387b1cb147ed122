"""Two clocks in one file: how far they run apart."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.model.station import Channel
from tracekit.read.head import Head, Question
from tracekit.read.rising import distinct, rises
from tracekit.read.timeplan import TimePlan, seconds_of, times_of

_KNOWN, _FAR_PPM = 0.85, 30_000.0
"""Surer clocks are compared; crystals and controllers' clocks run apart by much less than 3 % (no source)."""
_TOLD_PPM = 1000.0  # a clock that runs apart by more spoils durations by more than they are known (no source)
_CHANGES = 0.6
_LEAST_PPM, _FEWEST, _SURE = 20.0, 200, 3.0
_FEWEST_CYCLES = 12  # times of another clock that is read once a cycle


def ratio_of(
    own_s: NDArray[np.float64], other_s: NDArray[np.float64], fewest: int = _FEWEST
) -> tuple[float, float] | None:
    """How much faster the second of two clocks runs, and the least that would show, both in ppm; None for too few rows.

    The distance of the two is compared between the first and the last quarter of the rows. Both of shape (n,), NaN
    where a row has no time.
    """
    known = np.isfinite(own_s) & np.isfinite(other_s)
    own, apart = own_s[known], other_s[known] - own_s[known]
    quarter = len(own) // 4
    if quarter < fewest // 4:
        return None
    first, last = apart[:quarter], apart[-quarter:]
    span = float(np.median(own[-quarter:]) - np.median(own[:quarter]))
    if not span > 0:
        return None
    with np.errstate(over="ignore", invalid="ignore"):  # a damaged time may be beyond measure
        drift = (float(last.mean()) - float(first.mean())) / span
        inside = np.linspace(-0.5, 0.5, quarter) * drift * span / 3.0
        scatter = float(np.hypot((first - inside).std(), (last - inside).std()))
    if not np.isfinite(drift + scatter):
        return None
    return drift * 1e6, max(_LEAST_PPM, _SURE * 1e6 * scatter / np.sqrt(quarter) / span)


def _runs(plan: TimePlan, seconds: NDArray[np.float64]) -> bool:
    return plan.kind != "number" or distinct(seconds) > _CHANGES


def _ratio(own_s: NDArray[np.float64], other: TimePlan, other_s: NDArray[np.float64]) -> tuple[float, float] | None:
    """The same for a clock of the file; one that stands still between cycles is compared where it moves on."""
    if not rises(other_s, wraps=False):
        return None
    if _runs(other, other_s):
        return ratio_of(own_s, other_s)
    moves = np.nonzero(np.diff(other_s) > 0)[0] + 1
    return ratio_of(own_s[moves], other_s[moves], _FEWEST_CYCLES)


def _told(ppm: float) -> str:
    size = f"{abs(ppm) / 1e4:.3g} %" if abs(ppm) >= 1e4 else f"{abs(ppm):.0f} ppm"
    return f"{size} {'faster' if ppm > 0 else 'slower'}"


def _compared(head: Head) -> str:
    """What of the file was compared."""
    return "over all rows" if head.whole else f"over the first {head.rows} rows"


def _doubt(own: str, name: str, told: str) -> str:
    return (
        f'"{own}" and "{name}" are two clocks, of which the second runs {told}: times and durations are those of '
        f'"{own}"; time = {{ column = "{name}" }} under [channels] of a station file takes the other'
    )


def with_second_clock(head: Head, plan: TimePlan, given: Channel | None) -> tuple[TimePlan, list[Question]]:
    """The plan of time with what another clock of the file says, and a question where the two differ by far.

    A clock is a column of stamps, or of numbers whose name tells their unit; it may be read once a cycle alone.
    """
    if plan.kind == "row":
        return plan, []
    own_s = seconds_of(head, plan)
    for other, other_s in times_of(head, None):
        if not set(other.columns).isdisjoint(plan.columns) or other.confidence < _KNOWN:
            continue
        found = _ratio(own_s, other, other_s)
        if found is None or abs(found[0]) < found[1]:
            continue
        name, own = other.columns[0], plan.columns[0]
        told = f"{_told(found[0])} {_compared(head)}"
        if abs(found[0]) > _FAR_PPM and given is None:
            text = f'"{own}" and "{name}" are two clocks, of which the second runs {told}'
            return plan, [Question(found=text, line=f'time = {{ column = "{own}" }}   # or "{name}"')]
        evidence = f'{plan.evidence}; "{name}" beside it runs {told}'
        doubts = (*plan.doubts, *([_doubt(own, name, told)] if abs(found[0]) > _TOLD_PPM else []))
        return replace(plan, evidence=evidence, confidence=min(plan.confidence, 0.9), doubts=doubts), []
    return plan, []
