"""The forms that a leak's path may have: holes with several critical ratios, pores, half of each."""

import numpy as np

from tracekit.measure.leak_bins import Floats
from tracekit.physics.flow import laminar_factor, subsonic_factor

HOLES = (0.2, 0.3, 0.4, 0.5)
NAMES = ("hole", "hole", "hole", "hole", "mixture", "porous")
PRIOR = np.array([0.1875, 0.1875, 0.1875, 0.1875, 0.10, 0.15])
"""Most leaks are gaps at cups and fittings, and so is what a healthy station loses. Of four calls about leaks one is
about parts, which are porous, rough, warped or gripped at an edge: half of these by pores (common practice, no
source)."""
PRIOR.flags.writeable = False
TIE = 1e-6
"""Difference of log-likelihoods that is none."""
MIDDLE = 1
"""Place of the form that rough passes use: a hole with b = 0.3."""


def relative_flow(pressure_kpa: Floats, ambient_kpa: float, ref_vacuum_kpa: float) -> Floats:
    """φ: flow of every form at a pressure over its flow at the reference vacuum, shape (n_forms, n) [unitless]."""
    ratio, at_ref = pressure_kpa / ambient_kpa, 1.0 - ref_vacuum_kpa / ambient_kpa
    holes = [subsonic_factor(ratio, b) / subsonic_factor(at_ref, b) for b in HOLES]
    pores = laminar_factor(ratio) / laminar_factor(at_ref)
    return np.stack([*holes, 0.5 * (holes[MIDDLE] + pores), pores])


def shares(weights: Floats) -> dict[str, float]:
    """Probability of hole, mixture and porous from the weights of the forms, shape (n_forms,)."""
    return {
        name: float(sum(w for w, n in zip(weights, NAMES, strict=True) if n == name)) for name in dict.fromkeys(NAMES)
    }


def first_best(cost: Floats) -> int:
    """Place of the least cost in C order, the first of those that differ by last bits [cost: negative log-likelihood].

    Holes choked over a whole coast have the same flow: their costs tie, and rounding must not choose between them.
    """
    return int(np.argmax(cost <= np.min(cost) + TIE))
