"""Closed forms of isothermal decay and evacuation, and what follows from them. x is absolute over ambient pressure.

Sources
[1] V·dp/dt = Q for isothermal gas in a rigid volume, with the flows of `physics.flow`, integrated.
[2] Evacuation by a constant suction flow S towards an end pressure p_u: V·dp/dt = −S (p − p_u) + Q, integrated.
[3] Two volumes joined by a conductance: the difference decays exponentially, the content stays.
[4] 40 CFR 1065.644, vacuum-decay leak verification: Q = V·T_ref·Δ(p/T)/Δt, with the temperatures of the gas.
[5] Air saving: a saw-tooth between two thresholds, each overshot by slope times delay.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def _floats(values: ArrayLike) -> Floats:
    """Values as an array of floats."""
    return np.asarray(values, np.float64)


def hole_time_s(start: ArrayLike, end: ArrayLike, rate_1_s: ArrayLike, critical_ratio: float) -> Floats:
    """Time in which x rises from `start` to `end` through a hole [s] [1].

    rate_1_s  dx/dt while the flow is choked: choked throughput over (volume · ambient) [1/s]
    x rises linearly up to b, then u = (x − b)/(1 − b) = sin(k (t − t_b)/(1 − b)). Valid for 0 ≤ x ≤ 1, isothermal.
    """
    return np.asarray((_hole_clock(end, critical_ratio) - _hole_clock(start, critical_ratio)) / _floats(rate_1_s))


def _hole_clock(ratio: ArrayLike, b: float) -> Floats:
    """k·t at which x reaches `ratio`, counted from x = b."""
    x = np.asarray(ratio, np.float64)
    beyond = (1.0 - b) * np.arcsin(np.clip((x - b) / (1.0 - b), 0.0, 1.0))
    return np.asarray(np.where(x <= b, x - b, beyond))


def hole_ratio(time_s: ArrayLike, start: ArrayLike, rate_1_s: ArrayLike, critical_ratio: float) -> Floats:
    """Ratio x after `time_s` [s] of decay through a hole from `start`, the inverse of `hole_time_s`; ends at 1 [1]."""
    b = critical_ratio
    clock = _hole_clock(start, b) + np.asarray(rate_1_s, np.float64) * np.asarray(time_s, np.float64)
    beyond = b + (1.0 - b) * np.sin(np.clip(clock / (1.0 - b), 0.0, np.pi / 2.0))
    return np.asarray(np.where(clock <= 0.0, b + clock, beyond))


def laminar_time_s(start: ArrayLike, end: ArrayLike, kappa_1_s: ArrayLike) -> Floats:
    """Time in which x rises from `start` to `end` through pores: (artanh x₁ − artanh x₀)/κ [s] [1].

    kappa_1_s  dx/dt at a perfect vacuum [1/s]. Valid for 0 ≤ x < 1, isothermal, laminar.
    """
    return np.asarray((np.arctanh(_floats(end)) - np.arctanh(_floats(start))) / _floats(kappa_1_s))


def laminar_ratio(time_s: ArrayLike, start: ArrayLike, kappa_1_s: ArrayLike) -> Floats:
    """Ratio x after `time_s` [s] of decay through pores, from `start`: tanh(κt + artanh x₀) [1]."""
    return np.asarray(np.tanh(np.arctanh(start) + np.asarray(kappa_1_s) * np.asarray(time_s)))


def throughput_pa_m3_s(volume_ml: float, rate_kpa_s: ArrayLike) -> Floats:
    """Leak rate V·dp/dt of isothermal gas [Pa·m³/s]; 1 mL·kPa/s = 10⁻³ Pa·m³/s [1]."""
    return np.asarray(1e-3 * volume_ml * np.asarray(rate_kpa_s, np.float64))


def corrected_throughput_pa_m3_s(
    volume_ml: float,
    pressures_kpa: tuple[float, float],
    temperatures_k: tuple[float, float],
    duration_s: float,
    reference_k: float,
) -> float:
    """Leak rate from two states of the gas, each with its own temperature, at `reference_k` [Pa·m³/s] [4]."""
    content = pressures_kpa[1] / temperatures_k[1] - pressures_kpa[0] / temperatures_k[0]
    return 1e-3 * volume_ml * reference_k * content / duration_s


def volume_ml(extra_flow_pa_m3_s: ArrayLike, rate_without_kpa_s: ArrayLike, rate_with_kpa_s: ArrayLike) -> Floats:
    """Volume from two decays, the second through a known extra flow: V = Q/(s₁ − s₀) [mL] [1].

    Both rates [kPa/s] belong to one pressure, and the extra flow [Pa·m³/s] to the same.
    """
    return np.asarray(1e3 * _floats(extra_flow_pa_m3_s) / (_floats(rate_with_kpa_s) - _floats(rate_without_kpa_s)))


def evacuation_time_s(tau_s: ArrayLike, start_kpa: ArrayLike, end_kpa: ArrayLike, ultimate_kpa: ArrayLike) -> Floats:
    """Time of an evacuation from `start_kpa` to `end_kpa` absolute, τ·ln((p₀ − p_u)/(p − p_u)) [s] [2].

    tau_s = V/S [s]; ultimate_kpa is the pressure it tends to [kPa absolute]. Valid for a constant S.
    """
    left = (_floats(start_kpa) - _floats(ultimate_kpa)) / (_floats(end_kpa) - _floats(ultimate_kpa))
    return np.asarray(_floats(tau_s) * np.log(left))


def ultimate_kpa(no_leak_kpa: ArrayLike, rate_kpa_s: ArrayLike, tau_s: ArrayLike) -> Floats:
    """Pressure at which an evacuation ends with a leak: p_u + s·τ [kPa absolute] [2].

    rate_kpa_s is the leak as isothermal dp/dt at that pressure, tau_s = V/S.
    """
    return _floats(no_leak_kpa) + _floats(rate_kpa_s) * _floats(tau_s)


def rate_of_ultimate_kpa_s(rise_kpa: ArrayLike, tau_s: ArrayLike) -> Floats:
    """Change of leak behind a rise of the ultimate pressure: Δs = Δp_u/τ [kPa/s], the inverse of `ultimate_kpa` [2]."""
    return _floats(rise_kpa) / _floats(tau_s)


def evened_out_kpa(
    time_s: ArrayLike, first_kpa: float, second_kpa: float, volumes_ml: tuple[float, float], conductance_ml_s: float
) -> tuple[Floats, Floats]:
    """Pressures of two volumes joined by a conductance, after `time_s` [s], without leak [kPa] [3].

    The conductance [mL/s] is the flow of volume per time over the difference of pressures, as if it were constant;
    isothermal. Both tend to the mean of the pressures weighted by the volumes, with time constant
    V₁V₂/((V₁ + V₂)·G).
    """
    one, two = volumes_ml
    level = (one * first_kpa + two * second_kpa) / (one + two)
    tau = one * two / ((one + two) * conductance_ml_s)
    apart = (first_kpa - second_kpa) * np.exp(-np.asarray(time_s, np.float64) / tau)
    return np.asarray(level + apart * two / (one + two)), np.asarray(level - apart * one / (one + two))


def air_saving_period_s(
    band_kpa: float, decay_kpa_s: float, recharge_kpa_s: float, on_delay_s: float = 0.0, off_delay_s: float = 0.0
) -> float:
    """Period of the saw-tooth between supply-off and supply-on [s] [5].

    Both slopes positive [kPa/s]. The swing is the band plus the overshoots, decay·on_delay + recharge·off_delay.
    """
    swing = band_kpa + decay_kpa_s * on_delay_s + recharge_kpa_s * off_delay_s
    return swing / decay_kpa_s + swing / recharge_kpa_s
