"""What a range that ends too soon makes unknown: the vacuum beyond it is withheld."""

from dataclasses import replace

import numpy as np

from tracekit.model.cycle import SettingInForce, StationData
from tracekit.signal.range_end import cut_cycles, end_of_range_kpa


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
        timing={**data.timing, "tends_to_kpa": np.where(cut, np.nan, data.timing["tends_to_kpa"])},
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
