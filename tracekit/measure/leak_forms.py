"""The forms that a leak's path may have: holes with several critical ratios, pores, half of each.

Each of them is tried with several shares by which the volume gives way to vacuum. A bellows cup loses volume as vacuum
grows, and what it gives back on the way up holds the pressure down a second time: with V = V₀ − w·v and d(pV)/dt = Q,
dp/dt = Q/(V₀ + w·(p_a − 2v)), so that a leak's dp/dt grows by s = 2w/V per kPa of vacuum beyond its flow's own growth.
Forms that are tried stand in C order of (share, form).
"""

import numpy as np

from tracekit.measure.leak_bins import Floats, Ints
from tracekit.physics.flow import laminar_factor, subsonic_factor

HOLES = (0.2, 0.3, 0.4, 0.5)
NAMES = ("hole", "hole", "hole", "hole", "mixture", "porous")
PRIOR = np.array([0.1875, 0.1875, 0.1875, 0.1875, 0.10, 0.15])
"""Most leaks are gaps at cups and fittings, and so is what a healthy station loses. Of four calls about leaks one is
about parts, which are porous, rough, warped or gripped at an edge: half of these by pores (common practice, no
source)."""
PRIOR.flags.writeable = False
SHRINK_1_KPA = ((0.0, 0.60), (0.0016, 0.20), (0.0034, 0.20))
"""Growth s of dp/dt per kPa of vacuum as the volume gives way, with its prior probability: none with flat cups, hoses
and pipes; bellows by which a station loses 5 and 10 % of its volume over 60 kPa (common practice, no source)."""
TRIED = len(SHRINK_1_KPA) * len(NAMES)
MOST_LN = 0.3
"""Most that a volume giving way changes a rate by on the way to the reference [ln]."""
ALIKE = 1e-9
"""Relative difference of flows that no coast can tell: its largest part in a log-likelihood is some 10⁻⁴."""
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


def giving_way(flow: Floats, beyond_kpa: Floats) -> Floats:
    """φ of every form (n_forms, n) with every share, shape (n_tried, n); `beyond_kpa` is vacuum less the reference."""
    grown = np.exp([np.clip(s * beyond_kpa, -MOST_LN, MOST_LN) for s, _ in SHRINK_1_KPA])
    return np.asarray((grown[:, None, :] * flow).reshape(TRIED, -1))


def few_of(flow: Floats) -> tuple[Ints, Floats]:
    """A few rows of φ (n_tried, n), and what of each makes up every row to ALIKE, shape (n_tried, n_few).

    Over the pressures of a coast the forms are so alike that a handful, chosen by what the others leave of them, holds
    all: pivoted orthogonalisation (Gram and Schmidt).
    """
    left, few, directions = flow.copy(), list[int](), list[Floats]()
    enough = ALIKE * float(np.abs(flow).max(initial=0.0))
    while len(few) < len(flow) and float(np.abs(left).max(initial=0.0)) > enough:
        few.append(int(np.argmax(np.einsum("fn,fn->f", left, left))))
        directions.append(left[few[-1]] / np.sqrt(left[few[-1]] @ left[few[-1]]))
        left -= np.outer(left @ directions[-1], directions[-1])
    along = flow @ np.stack(directions, axis=1)
    return np.array(few, np.int64), np.asarray(np.linalg.solve(along[few].T, along.T).T, np.float64)


def prior_of_tried() -> Floats:
    """Prior probability of every form with every share, shape (n_tried,)."""
    return np.asarray(np.outer([p for _, p in SHRINK_1_KPA], PRIOR).ravel())


def parted(models: Ints) -> tuple[Ints, Ints, Ints]:
    """Node, place among the shares and form of models in C order of (node, share, form)."""
    tried = models % TRIED
    return models // TRIED, tried // len(NAMES), tried % len(NAMES)


def row_of(models: Ints) -> Ints:
    """Place of a model among those without shares, in C order of (node, form)."""
    node, _, form = parted(models)
    return np.asarray(node * len(NAMES) + form)


def carried(models: Ints, beyond_kpa: Floats) -> Floats:
    """What a rate fitted without a share becomes at the reference with a model's own, shape (n_models, n) [unitless].

    A coast tells the rate of its own vacuum, `beyond_kpa` from the reference.
    """
    share = np.array([s for s, _ in SHRINK_1_KPA])[parted(models)[1]]
    return np.asarray(np.exp(-np.clip(share[:, None] * beyond_kpa, -MOST_LN, MOST_LN)))


def shares(weights: Floats, tail: float = 1.0) -> dict[str, float]:
    """Probability of hole, mixture and porous from the weights of the forms that were tried, shape (n_tried,).

    tail   what the log-likelihoods are divided by for what is not known of the warming's shape. The rate keeps the
           undivided weights: they differ little in it, where the tail hides which of them is right.
    """
    of_form = weights.reshape(-1, len(NAMES)).sum(axis=0)
    of_form = PRIOR * (of_form / PRIOR) ** (1.0 / tail)
    of_form /= of_form.sum()
    return {
        name: float(sum(w for w, n in zip(of_form, NAMES, strict=True) if n == name)) for name in dict.fromkeys(NAMES)
    }


def first_best(cost: Floats) -> int:
    """Place of the least cost in C order, the first of those that differ by last bits [cost: negative log-likelihood].

    Holes choked over a whole coast have the same flow: their costs tie, and rounding must not choose between them.
    """
    return int(np.argmax(cost <= np.min(cost) + TIE))
