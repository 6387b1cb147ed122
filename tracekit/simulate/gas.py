"""Flows between volumes, written for the simulator alone.

Units inside the simulator: pressure in kPa absolute, volume in mL, throughput Q = d(pV)/dt in kPa·mL/s
(1 Pa·m³/s = 1000 kPa·mL/s). Conductances C are sonic conductances in dm³/(s·bar) at 293.15 K, b critical ratios.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GAMMA = 1.4
REFERENCE_KPA = 100.0  # reference pressure of sonic conductance, ISO 8778 (from memory, not verified)
REFERENCE_K = 293.15
Q_PER_C_KPA = 1000.0  # throughput [kPa·mL/s] of C = 1 dm³/(s·bar) per kPa upstream when choked
Q_PER_L_MIN = REFERENCE_KPA * 1000.0 / 60.0  # throughput [kPa·mL/s] of 1 L/min at reference conditions
Q_PER_PA_M3_S = 1000.0
LINEAR_FROM = 0.99  # pressure ratio above which a flow is taken as linear in the pressure difference


def between(value: Array, low: float, high: float) -> Array:
    """`value` kept within limits, as numpy.clip but without its overhead on short arrays."""
    return np.asarray(np.minimum(np.maximum(value, low), high), np.float64)


def rows(*parts: Array) -> Array:
    """Arrays of shape (n,) as the rows of one, as numpy.stack but without its overhead on short arrays."""
    joined = np.empty((len(parts), len(parts[0])))
    for k, part in enumerate(parts):
        joined[k] = part
    return joined


def choked_share(ratio: Array, b: Array | float) -> Array:
    """Flow over choked flow at pressure ratio `ratio` = downstream/upstream, the ellipse of ISO 6358 (0…1)."""
    beyond = np.maximum(ratio - b, 0.0) / (1.0 - b)
    return np.asarray(np.sqrt(np.maximum(1.0 - beyond * beyond, 0.0)), np.float64)


def orifice_flow(
    upstream_kpa: Array | float, downstream_kpa: Array | float, c: Array | float, b: Array | float
) -> Array:
    """Throughput [kPa·mL/s] through C, b from upstream gas at 293.15 K, counted at that temperature."""
    ratio = np.asarray(downstream_kpa, np.float64) / upstream_kpa
    return np.asarray(Q_PER_C_KPA * np.asarray(c) * upstream_kpa * choked_share(ratio, b), np.float64)


def secant(p_one: Array, p_two: Array, c: Array, b: Array) -> Array:
    """Q/(p_one − p_two) [mL/s] of ISO 6358 elements, finite where the pressures meet; same shape as the arguments."""
    high = np.maximum(p_one, p_two)
    ratio = np.minimum(np.minimum(p_one, p_two) / high, LINEAR_FROM)
    return np.asarray(Q_PER_C_KPA * c * choked_share(ratio, b) / (1.0 - ratio), np.float64)


def laminar_flow(upstream_kpa: Array | float, downstream_kpa: Array | float, kappa: Array | float) -> Array:
    """Throughput [kPa·mL/s] through pores: kappa·(p₁² − p₂²), kappa in mL/(s·kPa)."""
    high, low = np.asarray(upstream_kpa, np.float64), np.asarray(downstream_kpa, np.float64)
    return np.asarray(kappa * (high * high - low * low), np.float64)
