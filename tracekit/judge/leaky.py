"""Without a reference: is a leak one that healthy stations do not have?"""

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.effects import Effect
from tracekit.judge.evidence import Sign
from tracekit.judge.features import Features
from tracekit.judge.signs import logistic
from tracekit.model.estimate import Bound, Estimate, Withheld
from tracekit.model.result import LeakResult
from tracekit.options.judge import JudgeOptions
from tracekit.physics.air import L_MIN_ANR_PER_ML_KPA_S

Bools = NDArray[np.bool_]
_NINE_IN_TEN = 1.6449
"""Standard deviations either side of the middle that hold nine in ten."""


def leaky_sign(
    leak: LeakResult,
    volume_ml: float | None,
    band_kpa: float | None,
    has_reference: bool,
    options: JudgeOptions,
    least_kpa_s: float | None = None,
    scatter: Effect | None = None,
) -> Sign:
    """Without a reference: is the rate one that healthy stations do not have?

    By the flow that enters where the volume is known, and by how long the supply stays off: a leak that empties the
    band of air saving within a second is bad at any volume. `least_kpa_s`, the usual lower end of the single cycles'
    intervals, counts where the log's own rate is withheld. `scatter`, the logarithm of the leak's relative scatter
    from pick to pick, tells porous parts, through which sound stations leak more.
    """
    quantity = leak.decay_rate
    rate = quantity.value if isinstance(quantity, Estimate) else None
    if isinstance(quantity, Bound) and quantity.status == "lower_bound":
        rate = quantity.limit
    if isinstance(quantity, Withheld):
        rate = least_kpa_s
    if rate is None:
        return Sign(name="leaky", present=0.5 if has_reference else 0.03)
    if has_reference:
        return Sign(name="leaky", present=0.5)
    rate = max(rate, 1e-3)
    coast = _coast_odds(rate, band_kpa, options)
    if volume_ml is None:
        odds = 2.5 * np.log(rate / options.leaky_kpa_s)
        return Sign(name="leaky", present=logistic(odds if coast is None else max(odds, coast)))
    flow = L_MIN_ANR_PER_ML_KPA_S * volume_ml * rate
    usual = _of_usual_volume(flow, volume_ml, options)
    odds = _flow_odds(usual, options.healthy_most_l_min, options)
    if coast is not None and coast > odds:
        odds = 0.5 * (odds + coast)  # a small volume empties fast through a fair leak too
    through_parts = _through_parts(scatter, options)
    porous = min(_flow_odds(usual, options.porous_most_l_min, options), odds)
    present = through_parts * logistic(porous) + (1.0 - through_parts) * logistic(odds)
    return Sign(name="leaky", present=present, text=f"{flow:.2g} L/min ANR")


def _through_parts(scatter: Effect | None, options: JudgeOptions) -> float:
    """Probability that the usual leak goes through the parts, from how much it differs from pick to pick."""
    return 0.0 if scatter is None else logistic((scatter.now - float(np.log(options.porous_scatter))) / 0.1)


def _of_usual_volume(flow_l_min: float, volume_ml: float, options: JudgeOptions) -> float:
    """The flow of a station of usual volume that is as much of a leak [L/min].

    Small stations have small cups: what is usual grows with their rims, as the third root of the volume (geometry).
    Larger ones have more cups too.
    """
    ratio = options.usual_volume_ml / volume_ml
    return flow_l_min * float(np.cbrt(ratio) if ratio > 1.0 else np.sqrt(ratio))


def mixed_products(features: Features, upper: Bools, volume_ml: float | None, options: JudgeOptions) -> bool:
    """Whether two groups differ by no more than part types do, and the leakier leaks no more than sound stations."""
    rate = np.where(features.held, features.values["decay"], np.nan)
    high, low = rate[upper & np.isfinite(rate)], rate[~upper & np.isfinite(rate)]
    if volume_ml is None or not len(high) or not len(low):
        return False
    flow = _of_usual_volume(L_MIN_ANR_PER_ML_KPA_S * volume_ml * float(np.median(high)), volume_ml, options)
    ratio = float(np.median(high) / max(float(np.median(low)), 1e-3))
    return flow < options.healthy_most_l_min and ratio < options.parts_differ


def _flow_odds(flow_l_min: float, most_l_min: float, options: JudgeOptions) -> float:
    """Log-odds of a leaking station against a healthy one, by the flow (of a usual volume): any size against usual.

    Nine in ten healthy ones leak no more than `most_l_min`, as few less than the least.
    """
    middle = 0.5 * np.log(options.healthy_least_l_min * most_l_min)
    spread = np.log(most_l_min / options.healthy_least_l_min) / (2.0 * _NINE_IN_TEN)
    sizes = np.log(options.leak_most_l_min / options.healthy_least_l_min)
    healthy = -0.5 * max((np.log(flow_l_min) - middle) / spread, 0.0) ** 2 - np.log(spread * np.sqrt(2.0 * np.pi))
    return float(np.clip(-np.log(sizes) - healthy, -3.5, 4.5))


def _coast_odds(rate_kpa_s: float, band_kpa: float | None, options: JudgeOptions) -> float | None:
    """The same by the time that the leak takes to empty a band of air saving that is no narrow one."""
    if band_kpa is None or band_kpa < options.band_kpa:
        return None
    return float(np.clip(2.5 * np.log(options.short_coast_s * rate_kpa_s / band_kpa), -3.5, 4.5))
