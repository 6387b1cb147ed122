"""Groups of cycles that seem to leak more and only fall for a moment: in part of the holds a move lets air in."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.judge.coasting import coasting, last_or_middle, spread
from tracekit.judge.evidence import Sign
from tracekit.judge.features import Features
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
_MOST = 1000
"""Holds of a group that are looked at."""
_EVENED_S, _WARMED_S = 0.1, 0.3
"""So long after a cut volumes have evened out, and gas has warmed (common practice, no source)."""
_LEAST = 3
"""Holds that tell of a group."""
_PRESENT = 0.999
"""Of a group that stands apart by its rates and not by what it leaks in between (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Falls:
    """Of every cycle, NaN where no coast shows it, shape (n_cycles,).

    usual      speed of the falling vacuum [kPa/s]
    fastest_s  when it fell fastest after the hold began
    """

    usual: Floats
    fastest_s: Floats


def moved_sign(data: StationData, features: Features, upper: Bools, options: JudgeOptions) -> Sign | None:
    """Do the cycles in `upper`, whose rates are higher, fall for a moment and leak in between as the others do?

    None where they leak more all the time, or where too few show what they do in between. Falls at one time of the
    holds, or at two, are the machine's.
    """
    rate = features.values["decay"]
    others = features.held & ~upper
    falls = _falls(data, spread(upper, _MOST) | spread(others, _MOST))
    shown = np.isfinite(falls.usual)
    if (upper & shown).sum() < max(_LEAST, 0.5 * min(upper.sum(), _MOST)) or (others & shown).sum() < _LEAST:
        return None
    seen = np.isfinite(rate)
    if not (upper & seen).any() or not (others & seen).any():
        return None
    more = float(np.median(rate[upper & seen]) - np.median(rate[others & seen]))
    between = float(np.median(falls.usual[upper & shown]) - np.median(falls.usual[others & shown]))
    if between > options.moved_share * more:
        return None
    at_s = falls.fastest_s[upper & np.isfinite(falls.fastest_s)]
    text = (
        f"in {int(upper.sum())} holds vacuum falls fast for a moment, {np.median(at_s):.2g} s after they began, "
        "and in between no faster than in the others"
    )
    fixed = _at_two_times(at_s, options.moved_within_s)
    return Sign(name="travel_dips" if fixed >= options.moved_fixed else "own_dips", present=_PRESENT, text=text)


def without_moved(features: Features, moved: Bools) -> Features:
    """The same without the rates of cycles that a move makes: they are no leak's."""
    rate = np.where(moved, np.nan, features.values["decay"])
    return replace(features, values={**features.values, "decay": rate})


def _falls(data: StationData, cycles: Bools) -> _Falls:
    """How the vacuum of some cycles falls in their coasts."""
    pairs = coasting(data, cycles)
    pairs = pairs.where(pairs.after_cut_s > _EVENED_S)
    usual, fastest_s = np.full(len(data.cycles), np.nan), np.full(len(data.cycles), np.nan)
    settled = pairs.where(pairs.after_cut_s > _WARMED_S)
    rows, median = last_or_middle(settled.speed_kpa_s, settled.hold, 0.5)
    usual[rows] = settled.speed_kpa_s[median]
    rows, top = last_or_middle(pairs.speed_kpa_s, pairs.hold, 1.0)
    fastest_s[rows] = pairs.since_s[top]
    return _Falls(usual=usual, fastest_s=fastest_s)


def _at_two_times(at_s: Floats, within_s: float) -> float:
    """Share of the times that lie within `within_s` of one of two of them, the best ones."""
    near = np.abs(at_s[:, None] - at_s[None, :]) <= within_s
    one = near[int(np.argmax(near.sum(axis=1)))]
    two = one | near[int(np.argmax((near & ~one).sum(axis=1)))]
    return float(np.mean(two))
