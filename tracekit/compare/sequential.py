"""Looks at the data while it grows, with the error rate kept: group-sequential bounds, computed here.

The error rate is spent over the looks as O'Brien and Fleming's rule would in the limit, by the spending function of
Lan and DeMets [1]: hardly any at the first looks, most at the last. The bounds follow by recursive integration over
the values at which the trial goes on [2]. Statistics at the looks behave as a Brownian motion in information.

Sources
[1] Lan, DeMets: Discrete sequential boundaries for clinical trials, Biometrika 70 (1983) 659–663.
[2] Armitage, McPherson, Rowe: Repeated significance tests on accumulating data, J. R. Stat. Soc. A 132 (1969) 235–244.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_POINTS = 241
_REACH = 9.0
_HIGHEST_Z = 8.0


def spent(information: float, one_sided: float) -> float:
    """Error rate spent at a share `information` of the final information, 0 < information ≤ 1 [1]."""
    from scipy.special import ndtr, ndtri

    return float(2.0 * ndtr(-ndtri(1.0 - one_sided / 2.0) / np.sqrt(information)))


def bounds_at(information: Sequence[float], one_sided: float) -> tuple[float, ...]:
    """Upper bounds z for each look, information rising to 1, that are crossed by chance with rate `one_sided` [2]."""
    found: list[float] = []
    done = 0.0
    nodes, density = np.zeros(1), np.ones(1)
    before = 0.0
    for share in information:
        step = np.sqrt(share - before)
        due = max(spent(share, one_sided) - done, 0.0)
        z = _bound(nodes, density, step, np.sqrt(share), due)
        found.append(z)
        done += _crossing(nodes, density, step, z * np.sqrt(share))
        nodes, density = _onward(nodes, density, step, z * np.sqrt(share), share, 0.0)
        before = share
    return tuple(found)


def chance_of_crossing(information: Sequence[float], bounds: Sequence[float], drift: float) -> float:
    """Chance of crossing a bound at any look when z at the end is expected to be `drift`."""
    nodes, density = np.zeros(1), np.ones(1)
    before, crossed = 0.0, 0.0
    for share, z in zip(information, bounds, strict=True):
        step = np.sqrt(share - before)
        away = drift * (share - before)
        crossed += _crossing(nodes + away, density, step, z * np.sqrt(share))
        nodes, density = _onward(nodes + away, density, step, z * np.sqrt(share), share, drift)
        before = share
    return crossed


def drift_for(information: Sequence[float], bounds: Sequence[float], power: float) -> float:
    """Expected z at the end for which the bounds are crossed with chance `power`."""
    low, high = 0.0, 12.0
    for _ in range(50):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if chance_of_crossing(information, bounds, middle) >= power else (middle, high)
    return high


def information_of(shares: Sequence[float]) -> tuple[float, ...]:
    """Information, of that at the end, when AFTER has these shares of its cycles and BEFORE has all of its own.

    With equal scatter the variance of a difference is proportional to 1 + 1/share.
    """
    return tuple(2.0 * f / (1.0 + f) for f in shares)


def _bound(nodes: Floats, density: Floats, step: float, root: float, due: float) -> float:
    """The z beyond which exactly `due` of the paths lie; the highest z where nothing is due."""
    low, high = -_HIGHEST_Z, _HIGHEST_Z
    if _crossing(nodes, density, step, high * root) >= due:
        return _HIGHEST_Z
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _crossing(nodes, density, step, middle * root) > due else (low, middle)
    return 0.5 * (low + high)


def _crossing(nodes: Floats, density: Floats, step: float, limit: float) -> float:
    """Chance of ending beyond `limit` one step on; `density` holds weights at `nodes`."""
    from scipy.special import ndtr

    return float(np.sum(density * ndtr((nodes - limit) / step)))


def _onward(
    nodes: Floats, density: Floats, step: float, limit: float, share: float, drift: float
) -> tuple[Floats, Floats]:
    """Weights of the paths that go on, at new nodes below `limit`, by Simpson's rule."""
    middle, reach = drift * share, _REACH * np.sqrt(share)
    low = min(middle - reach, limit - 1.0)
    high = min(limit, middle + reach)
    at = np.linspace(low, high, _POINTS)
    weight = np.where(np.arange(_POINTS) % 2, 4.0, 2.0) * (high - low) / (3.0 * (_POINTS - 1))
    weight[[0, -1]] /= 2.0
    gaps = (at[:, None] - nodes[None, :]) / step
    kernel = np.exp(-0.5 * gaps**2) / (step * np.sqrt(2.0 * np.pi))
    return at, np.asarray(weight * (kernel @ density), np.float64)
