"""A reading that is flat at the deep end of the range: how surely the range cuts it, and what that makes unknown."""

from dataclasses import replace
from math import erf, sqrt

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import SensorFacts, SettingInForce, StationData

_DEEPEST_SIGMAS = 3.0
"""Standard deviations over the mean that some reading of a hold surpasses, also where noise is slow."""
_LEAST_SHARE = 0.06
_SHALLOW_KPA = -20.0
"""A range that ends nearer to ambient is a choice, not a fault (common practice, no source)."""


def unexplained_share(sensor: SensorFacts) -> float:
    """Share of samples flat at the deepest reading, less what noise and the recorder's step alone put there.

    Readings that scatter by σ have some that lie 3 σ deeper than their mean. If the deepest of all steps of width q
    reaches that far, its upper edge lies q/σ - 3 standard deviations from the mean, and Φ(q/σ - 3) of the readings of
    a steady hold lie in it. Half as many again are allowed for. A step far wider than the noise explains any share.
    """
    if not sensor.noise_kpa > 0.0:
        return sensor.clipped_low_share - _LEAST_SHARE if sensor.quantisation_kpa <= 0.0 else -1.0
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


def withhold_beyond_range(data: StationData) -> StationData:
    """The same station without what lies beyond a range that ends too soon.

    The vacuum that the evacuation tends to, and settings that edges show at the end of the range: they switch at some
    deeper vacuum, which the station file may name.
    """
    cut = cut_cycles(data)
    if not cut.any():
        return data
    end = end_of_range_kpa(data.sensor)
    cycles = data.cycles
    settings = {name: _of_file(setting, end) for name, setting in data.settings.items()}
    told = [name for name, setting in settings.items() if setting is not data.settings[name]]
    names = ", ".join(("ultimate_vacuum_kpa", *told))
    note = (
        f"Readings end at {-data.sensor.range_low_kpa:.1f} kPa and stay there while the vacuum moves on. "
        f"Withheld: {names}. Set the recorder or the sensor to a deeper range."
    )
    return replace(
        data,
        cycles=cycles.with_columns(
            ultimate_vacuum_kpa=np.where(cut, np.nan, cycles.floats("ultimate_vacuum_kpa")),
            ultimate_extrapolated=np.where(cut, -1, cycles.codes("ultimate_extrapolated")),
        ),
        settings=settings,
        cycle_settings={
            name: np.where(level >= end, _filed(settings[name]), level) for name, level in data.cycle_settings.items()
        },
        notes=(*data.notes, note),
    )


def _of_file(setting: SettingInForce, end_kpa: float) -> SettingInForce:
    """A setting as the station file gives it where edges show it at the end of the range."""
    if setting.source != "edges" or setting.value_kpa is None or setting.value_kpa < end_kpa:
        return setting
    file = setting.station_file_kpa
    source = "absent" if file is None else "station file"
    return SettingInForce(value_kpa=file, source=source, station_file_kpa=file)


def _filed(setting: SettingInForce) -> float:
    """What the station file says of a setting [kPa], NaN where it says nothing."""
    return float("nan") if setting.station_file_kpa is None else setting.station_file_kpa
