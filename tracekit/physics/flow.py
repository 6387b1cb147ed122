"""Flow of air through a hole (ISO 6358) and through pores or a long thin path (laminar).

Sources
[1] ISO 6358-1:2013, flow-rate characteristics of components: sonic conductance C, critical pressure ratio b,
    subsonic index 0.5. The reference state is that of ISO 8778 (100 kPa, 20 °C).
[2] Compressible Hagen-Poiseuille flow and Darcy's law: the throughput of a long thin path is proportional to the
    difference of the squared pressures.
[3] The isentropic nozzle of any gas-dynamics text (critical pressure ratio 0.5283 for a ratio of heats of 1.4).
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

GAS_CONSTANT_J_KG_K = 287.05
HEAT_RATIO = 1.4
REFERENCE_KPA = 100.0
REFERENCE_K = 293.15
IDEAL_CRITICAL_RATIO = (2.0 / (HEAT_RATIO + 1.0)) ** (HEAT_RATIO / (HEAT_RATIO - 1.0))


def subsonic_factor(ratio: ArrayLike, critical_ratio: ArrayLike, index: float = 0.5) -> NDArray[np.float64]:
    """Flow through a hole over its choked flow, ISO 6358 [1].

    ratio           pressure behind the hole over pressure before it, 0–1 [unitless]
    critical_ratio  b: 0.2–0.5 for real parts, 0.528 for an ideal nozzle [unitless]
    index           subsonic index m, 0.5 where the data sheet says nothing [unitless]
    Valid for ratio ≤ 1; beyond it the flow is taken as 0.
    """
    b = np.asarray(critical_ratio, np.float64)
    beyond = np.clip((np.asarray(ratio, np.float64) - b) / (1.0 - b), 0.0, 1.0)
    return np.asarray((1.0 - beyond**2) ** index, np.float64)


def laminar_factor(ratio: ArrayLike) -> NDArray[np.float64]:
    """Flow through pores or a long thin path over the flow into a perfect vacuum, 1 − x² [2].

    ratio is the pressure behind the path over the pressure before it [unitless]. Valid while the path stays laminar
    (Reynolds number below some 2000) and the gas keeps the temperature of the wall.
    """
    x = np.clip(np.asarray(ratio, np.float64), 0.0, 1.0)
    return np.asarray(1.0 - x**2, np.float64)


def hole_throughput_pa_m3_s(
    conductance_dm3_s_bar: ArrayLike, critical_ratio: float, ambient_kpa: float, pressure_kpa: ArrayLike
) -> NDArray[np.float64]:
    """PV flow at 20 °C from ambient through a hole into `pressure_kpa` absolute [Pa·m³/s], ISO 6358 [1].

    The sonic conductance C is in dm³/(s·bar) of air at reference conditions; no density is needed, because
    Q = 100 kPa · C · p_a. Valid for air at 20 °C before the hole; else multiply by √(293.15 K / T).
    """
    c_m3_s_pa = np.asarray(conductance_dm3_s_bar, np.float64) * 1e-8
    choked = REFERENCE_KPA * 1e3 * c_m3_s_pa * ambient_kpa * 1e3
    ratio = np.asarray(pressure_kpa, np.float64) / ambient_kpa
    return np.asarray(choked * subsonic_factor(ratio, critical_ratio), np.float64)


def hole_conductance_dm3_s_bar(diameter_mm: ArrayLike, discharge: ArrayLike = 1.0) -> NDArray[np.float64]:
    """Sonic conductance of a round hole [dm³/(s·bar)], from the choked isentropic nozzle [3].

    diameter_mm [mm]; discharge coefficient [unitless], 0.6–1 for real edges. 0.1560·d² for an ideal nozzle.
    """
    half = (HEAT_RATIO + 1.0) / (2.0 * (HEAT_RATIO - 1.0))
    speed = np.sqrt(HEAT_RATIO * GAS_CONSTANT_J_KG_K * REFERENCE_K) * (2.0 / (HEAT_RATIO + 1.0)) ** half
    area_m2 = np.pi / 4.0 * (np.asarray(diameter_mm, np.float64) * 1e-3) ** 2
    volume_m3_s_pa = area_m2 * speed * np.asarray(discharge, np.float64) / (REFERENCE_KPA * 1e3)
    return np.asarray(volume_m3_s_pa * 1e8, np.float64)


def nozzle_mass_flow_kg_s(
    diameter_mm: float, before_kpa: float, behind_kpa: ArrayLike, temperature_k: float = REFERENCE_K
) -> NDArray[np.float64]:
    """Mass flow of an ideal (isentropic) nozzle [kg/s]; pressures absolute [kPa], temperature before it [K] [3].

    Valid for dry air as an ideal gas; choked below the critical pressure ratio 0.5283.
    """
    g = HEAT_RATIO
    ratio = np.clip(np.asarray(behind_kpa, np.float64) / before_kpa, IDEAL_CRITICAL_RATIO, 1.0)
    area_m2 = np.pi / 4.0 * (diameter_mm * 1e-3) ** 2
    bracket = 2.0 * g / (g - 1.0) * (ratio ** (2.0 / g) - ratio ** ((g + 1.0) / g))
    return np.asarray(area_m2 * before_kpa * 1e3 / np.sqrt(GAS_CONSTANT_J_KG_K * temperature_k) * np.sqrt(bracket))


def capillary_throughput_pa_m3_s(
    diameter_mm: float, length_mm: float, before_kpa: float, behind_kpa: ArrayLike, viscosity_pa_s: float = 1.82e-5
) -> NDArray[np.float64]:
    """Throughput of a laminar capillary [Pa·m³/s] at the gas's temperature, πd⁴(p₁² − p₂²)/(256 µ L) [2].

    Pressures absolute [kPa], diameter and length [mm], viscosity [Pa·s] (air at 20 °C: 18.2 µPa·s).
    Valid below a Reynolds number of some 2000 and for a length of many diameters.
    """
    d, length = diameter_mm * 1e-3, length_mm * 1e-3
    squares = (before_kpa * 1e3) ** 2 - (np.asarray(behind_kpa, np.float64) * 1e3) ** 2
    return np.asarray(np.pi * d**4 * squares / (256.0 * viscosity_pa_s * length), np.float64)
