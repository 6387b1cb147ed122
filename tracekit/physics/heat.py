"""Exchange of heat between gas and wall: the virtual temperature of gas whose pressure changes fast.

Gas of pressure P in a rigid volume with walls at the ambient temperature T_a, heat exchanged with one time constant τ
(gas at constant volume and ambient pressure; the exchange goes with √x, x = P/p_a, as convection does). With u = ln P
and w = ln(T/T_a), whatever flows in at T_a or out at T, to first order in w:

    w = (2/7)(u − y),   y′ = k (u − y),   k = 1/(1.4 τ √x) + ρ,   ρ = inflow / content

y is a memory: the logarithm of pressure as the gas remembers it. Then z = P·e^(−w) is the pressure that the same
content of gas would have at ambient temperature, and it rises at exactly the isothermal rate.

Sources
[1] First law for an open system of ideal gas with a ratio of heats of 1.4 (any thermodynamics text): the pressure of a
    filled rigid vessel rises γ times as fast when no heat is exchanged.
[2] Time constant r²/(5.8 α) of a gas cylinder by conduction (first root of the Bessel function, 2.405² = 5.78).
"""

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracekit.frozen import dataclass

HEAT_RATIO = 1.4
MEMORY_SHARE = (HEAT_RATIO - 1.0) / HEAT_RATIO
DIFFUSIVITY_M2_S = 2.1e-5


def conduction_time_s(radius_mm: float, pressure_kpa: float) -> float:
    """Time constant of gas-to-wall conduction in a long cylinder [s] [2].

    radius_mm [mm], pressure_kpa absolute [kPa]. Diffusivity 2.1·10⁻⁵ m²/s at 101 kPa, inversely as the pressure.
    Convection shortens it.
    """
    return (radius_mm * 1e-3) ** 2 / (5.8 * DIFFUSIVITY_M2_S * 101.325 / pressure_kpa)


def exchange_rate_1_s(tau_s: ArrayLike, ratio: ArrayLike) -> NDArray[np.float64]:
    """K without inflow: 1/(1.4 τ √x) [1/s]; `tau_s` [s], `ratio` x = P/p_a [unitless]."""
    return np.asarray(1.0 / (HEAT_RATIO * np.asarray(tau_s, np.float64) * np.sqrt(ratio)), np.float64)


def recursion(
    factor: NDArray[np.float64], into: NDArray[np.float64], longest: int | None = None
) -> NDArray[np.float64]:
    """Sequence y[i] = factor[i]·y[i−1] + into[i] along the last axis, by doubling: log₂(n) whole-array steps.

    `factor` may broadcast against `into`; 0 restarts, after `longest` values at the latest. Stops early once products
    of factors have died out (below 10⁻⁹).
    """
    a, y = factor, into.copy()
    added, product = np.empty_like(y), np.empty_like(a)
    reach, end = 1, y.shape[-1] if longest is None else longest
    while reach < end:
        np.multiply(a[..., reach:], y[..., :-reach], out=added[..., reach:])
        y[..., reach:] += added[..., reach:]
        if 2 * reach >= end:
            break
        np.multiply(a[..., reach:], a[..., :-reach], out=product[..., reach:])
        product[..., :reach] = 0.0
        a, product = product, np.empty_like(a) if a is factor else a
        reach *= 2
        if reach > 8 and float(a.max(initial=0.0)) < 1e-9:
            break
    return y


def follow(target: NDArray[np.float64], turns: NDArray[np.float64], restart: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Solution y of y′ = k (target − y), stepped exactly with the target linear between samples, along the last axis.

    target   u, shape (..., n)
    turns    k times the step from the sample before, broadcasting against it [unitless]
    restart  where y equals the target, shape (n,)
    """
    turns, rests = np.maximum(turns, 1e-6), np.flatnonzero(restart)
    turns[..., rests] = np.inf  # nothing is left of what was before
    decay = np.negative(turns)
    np.exp(decay, out=decay)
    mean = 1.0 - decay
    mean /= turns
    late = mean - decay
    own = np.subtract(1.0, mean, out=mean)
    into = target * own
    into[..., :1] += target[..., :1] * late[..., :1]
    into[..., 1:] += target[..., :-1] * late[..., 1:]
    apart = np.diff(rests, prepend=0, append=len(restart))
    return recursion(decay, into, int(apart.max()))


def exchange_boost(log_pressure: NDArray[np.float64], memory: NDArray[np.float64]) -> NDArray[np.float64]:
    """Factor on the rate of exchange that makes the law exact in w: (1 − e^(−w))/w ≈ 1 − w/2 + w²/6.

    The exact law reads y′ = (u − y)·[(1 − e^(−w))/w / (1.4 τ √x) + (e^w − 1)/w · ρ]; cold gas takes heat faster.
    The factor of the inflow ρ is close to the inverse of this one (within 0.5 % at w = −0.25).
    Valid for |w| up to some 0.4, gas 100 K colder than the wall.
    """
    w = MEMORY_SHARE * (log_pressure - memory)
    return np.asarray(1.0 - 0.5 * w + w * w / 6.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """Equal parts of a volume with different wall exchange, as modes of their joint law.

    With y_j′ = κ_j g (u − y_j) and the content q = ln z = (5u + 2ȳ)/7, ȳ the mean of the y_j, the modes decay with
    λ_m g; a mode's share G_m of a step in q, and what the parts' own memories put into it, follow from the
    eigenvectors of the matrix diag(κ)(1 + 0.4·mean) [1].

    kappa   (n_parts,) κ of each part;  lam  (n_modes,) λ of each mode
    gain    (n_modes,) G_m, adding up to one
    take    (n_modes, n_parts) share of each part's initial memory in ȳ
    """

    kappa: NDArray[np.float64]
    lam: NDArray[np.float64]
    gain: NDArray[np.float64]
    take: NDArray[np.float64]


@cache
def wall_parts(spread_ln: float) -> Parts:
    """One part for a spread of 0, else two equal parts with time constants τ·e^(±spread) and their modes."""
    kappa = np.exp([-spread_ln, spread_ln]) if spread_ln > 0.0 else np.ones(1)
    n = len(kappa)
    share = np.full(n, 1.0 / n)
    lam, vectors = np.linalg.eig(np.diag(kappa) @ (np.eye(n) + 0.4 * np.outer(np.ones(n), share)))
    inverse = np.linalg.inv(vectors)
    weight = share @ vectors
    take = weight[:, None] * inverse
    found = {"kappa": kappa, "lam": np.real(lam), "gain": np.real(take.sum(axis=1)), "take": np.real(take)}
    for values in found.values():
        values.flags.writeable = False
    return Parts(**found)


def virtual_pressure(log_pressure: NDArray[np.float64], memory: NDArray[np.float64]) -> NDArray[np.float64]:
    """Z = P·e^(−w), w = (2/7)(u − y): the pressure at ambient temperature, in the unit of e^u."""
    return np.asarray(np.exp(log_pressure - MEMORY_SHARE * (log_pressure - memory)), np.float64)
