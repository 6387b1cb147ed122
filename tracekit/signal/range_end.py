"""A reading that is flat at the deep end of the range: how surely the range cuts it."""

from math import erf, sqrt

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import SensorFacts, StationData

_DEEPEST_SIGMAS = 3.0
"""Standard deviations over the mean that some reading of a hold surpasses, also where noise is slow."""
_LEAST_SHARE = 0.06
_LEAST_NOISE_KPA = 1e-3
"""Readings that scatter by less are smoothed or made up: their holds may be flat anywhere (common practice)."""
_SHALLOW_KPA = -20.0
"""A range that ends nearer to ambient is a choice, not a fault (common practice, no source)."""


def unexplained_share(sensor: SensorFacts) -> float:
    """Share of samples flat at the deepest reading, less what noise and the recorder's step alone put there.

    Readings that scatter by σ have some that lie 3 σ deeper than their mean. If the deepest of all steps of width q
    reaches that far, its upper edge lies q/σ - 3 standard deviations from the mean, and Φ(q/σ - 3) of the readings of
    a steady hold lie in it. Half as many again are allowed for. A step far wider than the noise explains any share, and
    so do readings without noise.
    """
    if not sensor.noise_kpa > _LEAST_NOISE_KPA:
        return -1.0
    edge = sensor.quantisation_kpa / sensor.noise_kpa - _DEEPEST_SIGMAS
    by_chance = 0.5 * (1.0 + erf(edge / sqrt(2.0)))
    return sensor.clipped_low_share - max(_LEAST_SHARE, 1.5 * by_chance)


def range_cuts(sensor: SensorFacts) -> bool:
    """Whether the range of the sensor or recorder ends above the vacuum that the station reaches."""
    return sensor.range_low_kpa <= _SHALLOW_KPA and unexplained_share(sensor) > 0.0


def end_of_range_kpa(sensor: SensorFacts) -> float:
    """Vacuum from which a reading may lie at the deep end of the range [kPa]; infinite where the range cuts nothing."""
    if not range_cuts(sensor):
        return float("inf")
    return -sensor.range_low_kpa - max(sensor.quantisation_kpa, 2.0 * sensor.noise_kpa, 0.05)


def cut_cycles(data: StationData) -> NDArray[np.bool_]:
    """Cycles whose deepest reading is the end of the range, shape (n_cycles,)."""
    return np.asarray(data.cycles.floats("peak_vacuum_kpa") >= end_of_range_kpa(data.sensor), np.bool_)
