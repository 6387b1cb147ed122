"""Why evacuations are slow here and there: a generator that is weak just then, or a leak."""

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.effects import robust_spread
from tracekit.judge.evidence import Sign
from tracekit.judge.features import Bands, Features
from tracekit.judge.signs import logistic

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_NO_OPEN = 1.5
"""Of the usual open cup's vacuum, what no generator reaches on one: the cup had met its part (common practice)."""
_WEAKER, _WEAKER_SPREADS, _FEWEST_WEAKER = 0.1, 5.0, 2
"""Share and spreads by which the open cup of one cycle is far weaker, and how many such are no chance (no source)."""
_ENOUGH = 5
"""Slow cycles of which none is weaker, that tell against a weak generator: dips begin at any time (no source)."""
_WEAKER_Z = 4.0
"""Standard errors by which the open cup of slow cycles reads less than that of the others, from where on it counts."""


def _error(values: Floats, *groups: Bools) -> float:
    """Standard error of a difference of medians of groups of cycles."""
    return 1.25 * float(np.hypot(*(robust_spread(values[s]) / np.sqrt(s.sum()) for s in groups)))


def tight_scatter_sign(features: Features, slow: Bools, bands: Bands) -> Sign:
    """Slow evacuations in whose holds the vacuum falls no faster than in the others: no leak made them slow.

    A leak that slows the evacuation from one level to another shows in the coasts of the same hold: to take a band of
    b kPa from t to t' it lets in b/t − b/t' kPa/s. Without coasts it shows in where the hold ends: a suction that falls
    off evenly to nothing at U, of which the leak takes the share 1 − t/t' in the middle m of the band, ends that share
    of U − m sooner. Known only where half of the slow cycles tell either.
    """
    rise = features.values["rise"]
    for name, told in (("decay", "leak no more than the rest"), ("ultimate", "reach as deep as the rest")):
        values = features.values[name] if name == "decay" else -features.values[name]
        known = features.held & np.isfinite(values) & np.isfinite(rise)
        inside, others = known & slow, known & ~slow
        if inside.sum() < max(3, 0.5 * slow.sum()) or others.sum() < 4:
            continue
        needed = max(_needed(name, features, inside, others, bands), 1e-9)
        more = float(np.median(values[inside]) - np.median(values[others]))
        width = max(_error(values, inside, others) / needed, 0.1)
        return Sign(
            name="tight_scatter", present=float(np.clip(logistic((0.5 - more / needed) / width), 0.02, 0.98)),
            text=f"{int(inside.sum())} slow evacuations whose holds {told}",
        )  # fmt: skip
    return Sign(name="tight_scatter", present=0.5)


def _needed(name: str, features: Features, inside: Bools, others: Bools, bands: Bands) -> float:
    """What a leak that slows as much does to a measure: to its decay [kPa/s], or to the end of the hold [kPa]."""
    rise = features.values["rise"]
    if name == "decay":
        speed = (bands.rise_high - bands.rise_low) * np.exp(-rise)
        return float(np.median(speed[others]) - np.median(speed[inside]))
    taken = -float(np.expm1(np.median(rise[others]) - np.median(rise[inside])))
    middle = 0.5 * (bands.rise_high + bands.rise_low)
    return taken * (float(np.median(features.values["ultimate"][others])) - middle)


def weak_open_sign(features: Features, slow: Bools) -> Sign:
    """Slow evacuations that came from a weaker open cup than the others did: the generator was weak just then.

    How deep an open cup reads is set by the generator's flow, and no part touches the cup yet. A dip of the supply
    begins at any time, in some cycles before the contact and in others after it: two far weaker ones are enough. Else
    known only where half of the slow cycles show it.
    """
    level = features.values["open"]
    inside, others = (np.isfinite(level) & some for some in (slow, features.held & ~slow))
    if others.any():
        inside &= level < _NO_OPEN * max(float(np.median(level[others])), 1.0)
    far = _far_weaker(level, inside, others) if others.sum() >= _ENOUGH + 1 else 0
    if far >= _FEWEST_WEAKER:
        return Sign(name="weak_open", present=0.97, text=f"before {far} slow evacuations the open cup is far weaker")
    if inside.sum() < max(3, 0.5 * slow.sum()) or others.sum() < _ENOUGH + 1:
        return Sign(name="weak_open", present=0.5)
    lower = float(np.median(level[others]) - np.median(level[inside]))
    z = lower / float(np.hypot(_error(level, inside, others), features.floor["open"]))
    return Sign(
        name="weak_open",
        present=float(np.clip(logistic(1.5 * (z - _WEAKER_Z)), 0.02 if inside.sum() >= _ENOUGH else 0.2, 0.99)),
        text=f"before {int(inside.sum())} slow evacuations the open cup reads {lower:.2g} kPa less than usual",
    )  # fmt: skip


def _far_weaker(level: Floats, inside: Bools, others: Bools) -> int:
    """How many of some cycles read far less at the open cup than the others do."""
    usual = float(np.median(level[others]))
    least = max(_WEAKER_SPREADS * robust_spread(level[others]), _WEAKER * usual)
    return int((level[inside] < usual - least).sum())
