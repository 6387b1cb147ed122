"""Settings in force with what is not known about them.

A threshold that a fast crossing tells is known only to the distance that vacuum moves while the switch answers.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from tracekit.model.cycle import SettingInForce, StationData
from tracekit.model.tuning import Known
from tracekit.options.tune import TuneOptions

NAMES = ("set_point", "reset_point", "supply_off", "supply_on")
_LOOP_ANSWER_S = 0.012  # a loop samples every 2 to 10 ms (common practice, no source)


def known_settings(data: StationData, options: TuneOptions) -> Mapping[str, Known]:
    """The settings whose value is known at all, by name."""
    found = {}
    for name in NAMES:
        setting = data.settings.get(name)
        if setting is None or setting.value_kpa is None or not np.isfinite(setting.value_kpa):
            continue
        if name.startswith("supply") and not data.air_saving and setting.source != "station file":
            continue
        below, above = _doubt(data, name, setting, options)
        value = setting.value_kpa
        found[name] = Known(name=name, value=value, low=value - below, high=value + above)
    point, reset = found.get("set_point"), found.get("reset_point")
    if point is not None and reset is not None:
        found["set_point"], found["reset_point"] = _ordered(point, reset)
    return found


def _ordered(point: Known, reset: Known) -> tuple[Known, Known]:
    """The same with the reset point not over the set point, since no switch resets above that."""
    if reset.value > point.value:
        both = min(reset.value, point.high)  # as high as the set point may lie
        point, reset = replace(point, value=both), replace(reset, value=both, low=min(reset.low, both))
    return point, replace(reset, high=max(min(reset.high, point.high), reset.value))


def _doubt(data: StationData, name: str, setting: SettingInForce, options: TuneOptions) -> tuple[float, float]:
    """How far the true threshold may lie under and over the value named [kPa]."""
    if setting.station_file_kpa is not None and setting.spread_kpa == 0.0:
        return 0.0, 0.0
    spread = setting.spread_kpa + data.sensor.noise_kpa
    value = setting.value_kpa or 0.0
    if name == "set_point":
        return spread + speed_kpa_s(data, value, rising=True) * options.answer_s, spread
    if name == "supply_off":
        moved = speed_kpa_s(data, value, rising=True) * _LOOP_ANSWER_S
        return spread + moved, spread
    if name == "supply_on":
        return spread, spread
    slow = np.isfinite(data.cycle_settings["reset_point"]).sum() >= 3
    return spread, spread if slow else spread + speed_kpa_s(data, value, rising=False) * options.answer_s


def speed_kpa_s(data: StationData, level_kpa: float, *, rising: bool) -> float:
    """Usual speed of vacuum near a level in the evacuation or in the release [kPa/s]; 500 where none shows.

    500 kPa/s empties a usual circuit in 0.1 s (common practice, no source).
    """
    times = data.rise_s if rising else data.fall_s
    levels = data.levels_kpa
    if len(levels) < 3 or not times.size:
        return 500.0
    steps = np.diff(times, axis=1) * (1.0 if rising else -1.0)
    shown = np.isfinite(steps).sum(axis=0) >= 3
    if not shown.any():
        return 500.0
    usual = np.array([np.nanmedian(steps[:, i]) if shown[i] else np.nan for i in range(steps.shape[1])])
    middles = 0.5 * (levels[1:] + levels[:-1])
    near = int(np.nanargmin(np.where(shown, np.abs(middles - level_kpa), np.nan)))
    return float((levels[near + 1] - levels[near]) / max(float(usual[near]), data.sensor.sample_interval_s / 10.0))
