"""Moments in which some coasts fall and come back: with the supply off motion does that, a leak does not."""

import numpy as np

from tracekit.frozen import dataclass
from tracekit.model.result import StationResult
from tracekit.report.falls import Fall, fall_of
from tracekit.report.view import Floats, Indices, Mask, median, touched
from tracekit.report.words import Num, Text, say

_LEAST_KPA, _OF_SCATTER, _MOST, _ABOUT = 0.5, 6.0, 3, 6
_LAST = list[tuple[StationResult, "tuple[CoastDip, ...]"]]()


@dataclass(frozen=True, slots=True)
class CoastDip:
    """When [s from where the fall settles] one coast in twenty or more falls by how much more than the median [kPa]."""

    at_s: float
    depth_kpa: float


def coast_dips(result: StationResult) -> tuple[CoastDip, ...]:
    """Dips of some coasts, in their order; those that the baseline has too are left out.

    What was found of the last result is kept until `forget`, since a page asks for it in several places.
    """
    for known, dips in _LAST:
        if known is result:
            return dips
    found = _found(result)
    _LAST[:] = [(result, found)]
    return found


def forget() -> None:
    """Keep nothing of the last result."""
    _LAST.clear()


def _found(result: StationResult) -> tuple[CoastDip, ...]:
    part = touched(result)
    here = fall_of(result.data, result.leak, part)
    if here is None:
        return ()
    base = None
    if result.baseline is not None and result.baseline_leak is not None:
        base = fall_of(result.baseline, result.baseline_leak, None)
    return dips_between(here, base)


def dips_between(here: Fall, base: Fall | None) -> tuple[CoastDip, ...]:
    """Dips of a log's falls beyond those of another's, the deepest three at most."""
    local = _beyond(here)
    if base is not None:
        usual = np.interp(here.time_s, base.time_s, _beyond(base), left=0.0, right=0.0)
        local = np.where(local > 2.0 * np.maximum(usual, 0.0), local, 0.0)
    scatter = 1.4826 * median(np.abs(local))
    dips = [_dip(here, local, run) for run in _inner_runs(local > max(_LEAST_KPA, _OF_SCATTER * scatter))]
    dips = [dip for dip in dips if dip.depth_kpa >= _LEAST_KPA]  # what lies above what is usual about it is no dip
    deepest = sorted(dips, key=lambda dip: -dip.depth_kpa)[:_MOST]
    return tuple(sorted(deepest, key=lambda dip: dip.at_s))


def _dip(here: Fall, local: Floats, run: Indices) -> CoastDip:
    """The deepest moment of a run, as deep as it lies under what is usual about it."""
    k = int(run[np.argmax(local[run])])
    about = here.high[max(k - _ABOUT, 0) : k + _ABOUT + 1]
    return CoastDip(float(here.time_s[k]), float(here.high[k]) - median(about))


def dips_told(dips: tuple[CoastDip, ...], against_baseline: bool) -> Text:
    """As in "In some cycles vacuum dips by 1.4 kPa after 0.9 s and by 1.5 kPa after 1.7 s; not in the baseline."."""
    parts = [
        say("by {} after {}", Num(value=d.depth_kpa, unit="kPa", step=0.1), Num(value=d.at_s, unit="s", step=0.1))
        for d in dips
    ]
    joined: Text = tuple(piece for k, part in enumerate(parts) for piece in ((" and ", *part) if k else part))
    return (
        "In some cycles vacuum dips ",
        *joined,
        "; not in the baseline." if against_baseline else " and comes back.",
    )


def _beyond(fall: Fall) -> Floats:
    """By how much the deepest twentieth lies under the median, above what it does most of the time [kPa]."""
    apart = fall.high - fall.mid
    return np.asarray(apart - median(apart), np.float64)


def _inner_runs(flag: Mask) -> list[Indices]:
    """Runs of true that begin after the first value and end before the last: what comes back."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flag.astype(np.int8), [0]))))
    return [np.arange(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if a > 0 and b < len(flag)]
