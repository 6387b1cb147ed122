"""What a log whose digitals were written late cannot say: withheld, and the leak told how late an edge may be."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracekit.model.cycle import SettingInForce, StationData
from tracekit.model.trace import DigitalLag
from tracekit.options.measure import MeasureOptions

AT_EDGES = (
    "response_delay_s", "open_cup_vacuum_kpa", "evacuation_time_s", "seal_time_s", "release_time_s",
    "residual_vacuum_kpa", "idle_vacuum_kpa", "hold_min_vacuum_kpa",
)  # fmt: skip
"""Columns that are a time from an edge, or a reading in a window that an edge bounds while the pressure moves."""

FROM_SUPPLY = ("pump_time_constant_s", "ultimate_vacuum_kpa")
"""Columns of an evacuation whose beginning is lost where the supply itself shows the lag."""

_RELEASES = 5
_MOMENT_S = 0.15
"""A blow-off that came before a late command has ended most of the vacuum by then, or all of it."""


def withhold_late(data: StationData, lags: Sequence[DigitalLag], options: MeasureOptions) -> StationData:
    """The same station without what edges that come late would make wrong.

    One scan writes all digitals, and a lag shows in one of them before it does in another (an open cup hides that of
    the supply): what is late in one counts as late in all. By how much is known from below only, since the valve's own
    delay hides as much of it; so nothing is moved or corrected. `late_s` of the result is the most that it may be.
    Settings are not read from such edges: those of the station file stand. Where vacuum comes before the supply command
    and yet every blow-off waits for its own, nothing is late: vacuum was made before it was asked for.
    """
    if not lags or (all(lag.signal == "supply" for lag in lags) and _releases_wait(data, options)):
        return data
    late_s = max(lag.lag_s + 2.0 * lag.u_s for lag in lags) + options.late_hidden_s
    cycles = data.cycles
    nothing = np.full(len(cycles), np.nan)
    columns = (*AT_EDGES, *(FROM_SUPPLY if any(lag.signal == "supply" for lag in lags) else ()))
    settings = {name: _of_file(setting) for name, setting in data.settings.items()}
    return replace(
        data,
        cycles=cycles.with_columns(**dict.fromkeys(columns, nothing)),
        rise_s=np.full_like(data.rise_s, np.nan),
        fall_s=np.full_like(data.fall_s, np.nan),
        settings=settings,
        cycle_settings={
            name: np.full(len(cycles), np.nan if (v := settings[name].value_kpa) is None else v)
            for name in data.cycle_settings
        },
        timing={
            **data.timing,
            "idle_rise_kpa": nothing,
            **({"tends_to_kpa": nothing} if "ultimate_vacuum_kpa" in columns else {}),
        },
        late_s=late_s,
        notes=(*data.notes, _told(lags, columns, late_s)),
    )


def _releases_wait(data: StationData, options: MeasureOptions) -> bool:
    """Whether most holds still have their vacuum at the release command: of a late one the blow-off came before."""
    release_s = data.timing["release_s"][np.isfinite(data.timing["release_s"]) & data.cycles.where("outcome", "held")]
    if len(release_s) < _RELEASES or not len(data.bins.time_s):
        return False
    vacuum = -data.bins.pressure_kpa
    just = np.maximum(np.searchsorted(data.bins.time_s, release_s) - 1, 0)  # a bin lies on one side of a command
    now, before = vacuum[just], np.interp(release_s - _MOMENT_S, data.bins.time_s, vacuum)
    return bool(np.median(now / np.maximum(before, 1.0)) > options.prompt_share)


def _of_file(setting: SettingInForce) -> SettingInForce:
    """A setting as the station file gives it, where edges gave it before."""
    if setting.source != "edges":
        return setting
    file = setting.station_file_kpa
    source = "absent" if file is None else "station file"
    return SettingInForce(value_kpa=file, source=source, station_file_kpa=file)


def _told(lags: Sequence[DigitalLag], columns: Sequence[str], late_s: float) -> str:
    """What a reader should know."""
    least_s = max(lag.lag_s for lag in lags)
    signals = " and ".join(lag.signal for lag in lags)
    return (
        f"The digitals were written {least_s:.2g} to {late_s:.2g} s late, as the pressure shows before the edges of "
        f"{signals}. Withheld: {', '.join(columns)} and the settings that edges would show. Coasts are used up to "
        f"{late_s:.2g} s before their end. Let the logger stamp digitals and pressure together."
    )
