"""The levels of vacuum between which a log and its baseline are timed."""

import numpy as np

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.options.measure import MeasureOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class Bands:
    """Vacuum levels between which speeds are taken, shared by a log and its baseline [kPa].

    ends_at_zero  the range of one of them ends near ambient, so over-pressure is compared in neither
    """

    rise_low: float
    rise_high: float
    top_low: float
    top_high: float
    fall_high: float
    fall_low: float
    ends_at_zero: bool = False


def choose_bands(data: tuple[StationData, ...]) -> Bands:
    """Levels that usual cycles of all logs pass: evacuation at mid height and near its top, blow-off below the hold."""
    tops = []
    for one in data:
        cut = one.settings["supply_off"].value_kpa
        peak = one.usual_peak_kpa
        tops.append(min(cut, peak) if one.air_saving and cut is not None else 0.92 * peak)
    top = min(tops) if tops else 50.0
    step = 5.0
    timed = min([_timed_to(one) for one in data], default=top)
    high = max(step * np.floor(min(top - 0.8, timed) / step), 3 * step)
    return Bands(
        rise_low=max(step * np.round(0.35 * top / step), step),
        rise_high=max(step * np.round(0.75 * top / step), 3 * step),
        top_low=high - 2 * step,
        top_high=high,
        fall_high=step * np.round(0.65 * top / step),
        fall_low=max(step * np.round(0.25 * top / step), step),
        ends_at_zero=any(_ends_at_zero(one) for one in data),
    )


def _timed_to(data: StationData) -> float:
    """Vacuum above a cycle's own zero up to which the usual evacuation is timed [kPa]: just under its peak."""
    idle = data.cycles.floats("idle_vacuum_kpa")
    zero = float(np.nanmedian(idle)) if np.isfinite(idle).any() else 0.0
    return MeasureOptions().fit_to * data.usual_peak_kpa - max(zero, 0.0)


def _ends_at_zero(data: StationData) -> bool:
    """The range of the sensor or recorder ends near ambient, or where every blow-off ends: no over-pressure shows."""
    high = data.sensor.range_high_kpa
    over = data.timing["over_kpa"]
    flat = (
        np.mean(over[np.isfinite(over)] >= high - 1.2 * data.sensor.quantisation_kpa - 0.02)
        if np.isfinite(over).any()
        else 0.0
    )
    return bool(high < 1.0 or flat > 0.5)
