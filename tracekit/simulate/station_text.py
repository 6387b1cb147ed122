"""The station file that belongs to a simulated log."""

from collections.abc import Mapping
from typing import Any

ALTITUDE_M = 60.0


def station_text(truth: Mapping[str, Any], *, one_day: bool = True) -> str:
    """TOML text of what a plant would know of the station: name, volume, weather, sensor's place, settings at first.

    `truth` is the truth of one log. The weather belongs to that log; for a file that serves logs of several days
    (`one_day` false) the altitude stands in its place.
    """
    station = truth["station"]
    lines = [
        "[station]",
        f"name = {_quoted(station['name'])}",
        f"volume_ml = {station['volume_m3'] * 1e6:.4g}",
        f"ambient_kpa = {station['ambient_kpa']:.5g}" if one_day else f"altitude_m = {ALTITUDE_M:g}",
        f"temperature_c = {station['ambient_temperature_k'] - 273.15:.3g}",
        f'sensor_at = "{"generator" if station["sensor"]["side"] == "ejector" else "cup"}"',
        "",
        "[settings]",
        f"set_point_kpa = {station['set_point_kpa']:g}",
        f"reset_point_kpa = {station['reset_point_kpa']:g}",
    ]
    if station["air_saving"]:
        lines += [f"supply_off_kpa = {station['cut_off_kpa']:g}", f"supply_on_kpa = {station['resume_kpa']:g}"]
    return "\n".join([*lines, *_channels(station)]) + "\n"


def _channels(station: Mapping[str, Any]) -> list[str]:
    """What the data of unusual wirings do not tell by themselves."""
    lines = []
    if station["supply_signal"] != "valve":
        coil = ', off_column = "off_coil"' if station["supply_signal"] == "pulse" else ""
        lines.append(f'supply = {{ column = "supply", signal = "{station["supply_signal"]}"{coil} }}')
    if not station["release_logged"]:
        lines.append('release = "none"')
    return ["", "[channels]", *lines] if lines else []


def _quoted(text: str) -> str:
    """A TOML basic string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
