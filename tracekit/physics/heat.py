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

import numpy as np
from numpy.typing import ArrayLike, NDArray

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


def recursion(factor: NDArray[np.float64], into: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sequence y[i] = factor[i]·y[i−1] + into[i] along the last axis, by doubling: log₂(n) whole-array steps.

    `factor` 0 restarts. Stops early once products of factors have died out (below 10⁻⁹).
    """
    a, y = factor.copy(), into.copy()
    reach, n = 1, y.shape[-1]
    while reach < n:
        y[..., reach:] += a[..., reach:] * y[..., :-reach]
        a[..., reach:] *= a[..., :-reach].copy()
        a[..., :reach] = 0.0
        reach *= 2
        if float(a.max(initial=0.0)) < 1e-9:
            break
    return y


def follow(target: NDArray[np.float64], turns: NDArray[np.float64], restart: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Y of y′ = k (target − y), stepped exactly with the target linear between samples, along the last axis.

    target   u, shape (..., n)
    turns    k times the step from the sample before, shape (..., n) [unitless]
    restart  where y equals the target, shape (n,)
    """
    decay = np.exp(-turns)
    mean = np.where(turns > 1e-6, (1.0 - decay) / np.maximum(turns, 1e-6), 1.0 - 0.5 * turns)
    before = np.concatenate([target[..., :1], target[..., :-1]], axis=-1)
    into = target * (1.0 - mean) + before * (mean - decay)
    return recursion(np.where(restart, 0.0, decay), np.where(restart, target, into))


def gas_memory(
    log_pressure: NDArray[np.float64],
    exchange_1_s: NDArray[np.float64],
    inflow_1_s: NDArray[np.float64],
    step_s: NDArray[np.float64],
    restart: NDArray[np.bool_],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The rate k and the memory y of a recorded pressure, both of shape (n,).

    The law that is exact in w reads y′ = (u − y)·[(1 − e^(−w))/w / (1.4 τ √x) + (e^w − 1)/w · ρ]. A first pass to
    first order gives w, a second one uses it. Valid for |w| up to some 0.4, gas 100 K colder than the wall.

    log_pressure   u [unitless];  exchange_1_s  1/(1.4 τ √x) [1/s];  inflow_1_s  ρ [1/s]
    step_s         time since the sample before [s];  restart  where the gas has the temperature of the ambient
    """
    first = follow(log_pressure, (exchange_1_s + inflow_1_s) * step_s, restart)
    w = MEMORY_SHARE * (log_pressure - first)
    curved = w * w / 6.0 + 1.0
    rate = exchange_1_s * (curved - 0.5 * w) + inflow_1_s * (curved + 0.5 * w)
    return rate, follow(log_pressure, rate * step_s, restart)


def virtual_pressure(log_pressure: NDArray[np.float64], memory: NDArray[np.float64]) -> NDArray[np.float64]:
    """Z = P·e^(−w), w = (2/7)(u − y): the pressure at ambient temperature, in the unit of e^u."""
    return np.asarray(np.exp(log_pressure - MEMORY_SHARE * (log_pressure - memory)), np.float64)
