"""The atmosphere, and states to which flows of air are referred.

Sources
[1] ISO 2533:1975, standard atmosphere below 11 km: 288.15 K, 101.325 kPa, −6.5 K/km; from memory, not verified beyond
    the table values in the tests.
[2] ISO 8778: standard reference atmosphere (ANR) 100 kPa, 20 °C, 65 % relative humidity.
[3] DIN 1343: normal state 101.325 kPa, 0 °C.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

SEA_LEVEL_KPA = 101.325
SEA_LEVEL_K = 288.15
LAPSE_K_M = 0.0065
EXPONENT = 9.80665 / (287.05287 * LAPSE_K_M)
EARTH_RADIUS_M = 6_356_766.0
ANR_KPA, ANR_K = 100.0, 293.15
NORMAL_KPA, NORMAL_K = 101.325, 273.15
L_MIN_ANR_PER_ML_KPA_S = 0.0006
"""Flow of a fall by 1 kPa/s in 1 mL at 20 °C: V·dp/dt over 100 kPa [L/min ANR] [2]."""


def standard_pressure_kpa(altitude_m: ArrayLike) -> NDArray[np.float64]:
    """Pressure of the standard atmosphere at a geopotential altitude [kPa] [1].

    altitude_m from −2 000 to 11 000 m; geometric heights below 3 km differ by less than 0.02 %. Weather moves the
    true pressure by some ±3 kPa.
    """
    height = np.asarray(altitude_m, np.float64)
    return np.asarray(SEA_LEVEL_KPA * (1.0 - LAPSE_K_M * height / SEA_LEVEL_K) ** EXPONENT)


def geopotential_m(geometric_m: ArrayLike) -> NDArray[np.float64]:
    """Geopotential altitude of a geometric height above sea level [m] [1]."""
    z = np.asarray(geometric_m, np.float64)
    return np.asarray(EARTH_RADIUS_M * z / (EARTH_RADIUS_M + z))


def anr_l_min(throughput_pa_m3_s: ArrayLike, temperature_k: float) -> NDArray[np.float64]:
    """Volume flow at the reference state from a throughput pV at a temperature [L/min ANR] [2].

    q = Q·(293.15 K/T)/100 kPa. At 20 °C 1 Pa·m³/s is 0.6 L/min.
    """
    return np.asarray(np.asarray(throughput_pa_m3_s, np.float64) * (ANR_K / temperature_k) * 60e3 / (ANR_KPA * 1e3))


def throughput_of_anr_pa_m3_s(flow_l_min: ArrayLike, temperature_k: float) -> NDArray[np.float64]:
    """Throughput pV at a temperature from a flow at the reference state [Pa·m³/s]; the inverse of `anr_l_min` [2]."""
    return np.asarray(np.asarray(flow_l_min, np.float64) * (temperature_k / ANR_K) * ANR_KPA * 1e3 / 60e3)


def anr_of_normal(flow_normal: ArrayLike) -> NDArray[np.float64]:
    """A flow at the normal state [3] as a flow at the reference state [2], in the same unit."""
    return np.asarray(np.asarray(flow_normal, np.float64) * (NORMAL_KPA / ANR_KPA) * (ANR_K / NORMAL_K))


def reference_vacuum_ratio(ref_vacuum_kpa: float, ambient_kpa: ArrayLike) -> NDArray[np.float64]:
    """Absolute over ambient pressure at a vacuum of `ref_vacuum_kpa` below ambient [unitless]."""
    return np.asarray(1.0 - ref_vacuum_kpa / np.asarray(ambient_kpa, np.float64))
