"""The [channels] of a station file: which column is what, and what the data cannot tell about it."""

from collections.abc import Mapping
from typing import Any

from tracekit.errors import nearest
from tracekit.model.station import Channel
from tracekit.read.station_check import Faults, check_table, describe, is_measurable, unquoted
from tracekit.read.station_keys import CHANNELS
from tracekit.units import PERCENT, PRESSURE_UNITS, find_pressure_unit

_NAMES = (*CHANNELS, "context")
_TWO_POINTS = 2


def read_channels(table: Mapping[str, object], faults: Faults) -> tuple[dict[str, Channel], tuple[str, ...]]:
    """The channels by name, and the context columns. What is at fault is kept in `faults` and left out."""
    channels: dict[str, Channel] = {}
    for name, value in table.items():
        if name == "context":
            continue
        if name not in CHANNELS:
            faults.add("channels", name, "unknown channel", "a known channel", nearest(name, _NAMES))
            continue
        channel = _channel(name, value, faults)
        if channel is not None:
            channels[name] = channel
    context = _context(table.get("context", []), faults)
    _check_used_once(channels, context, faults)
    return channels, context


def _channel(name: str, value: object, faults: Faults) -> Channel | None:
    if name == "release" and value in ("none", "internal"):
        return Channel(absent=value == "none", internal=value == "internal")
    if isinstance(value, str) and value.strip():
        return Channel(column=value)
    if not isinstance(value, dict):
        todo = f'Write {name} = {{ column = "AI1" }}.'
        faults.add("channels", name, f"found {describe(value)}", "the name of a column, or a table", todo)
        return None
    extra = ("scale",) if name == "pressure" else ()
    sound = check_table("channels", CHANNELS[name], value, faults, within=name, extra=extra)
    if name == "pressure":
        sound.update(_pressure_unit(sound, faults))
        sound["scale"] = _scale(value.get("scale", []), faults)
    if name == "supply":
        _check_pulse(value, faults)
    return Channel(**sound)


def _pressure_unit(sound: Mapping[str, Any], faults: Faults) -> dict[str, str | None]:
    """The unit by its symbol, with the sense where the unit says one ("bara")."""
    text = sound.get("unit")
    if text is None:
        return {}
    if text.strip() == PERCENT:
        return {"unit": PERCENT, "sense": sound.get("sense") or "vacuum"}
    found = find_pressure_unit(text)
    if found is None:
        hint = nearest(text, [u.symbol for u in PRESSURE_UNITS])
        faults.add("channels", "pressure", f'unit is the text "{text}"', "a unit of pressure", hint)
        return {"unit": None}
    unit, sense = found
    given = sound.get("sense")
    if given and sense and given != sense:
        wanted = "the same sense in both"
        faults.add("channels", "pressure", f'unit "{text}" beside sense "{given}"', wanted, "Correct one of the two.")
    return {"unit": unit.symbol, "sense": given or sense}


def _scale(value: object, faults: Faults) -> tuple[tuple[float, float], ...]:
    """Points (raw, pressure) of a straight scale or of one with bends, in rising order of raw; empty if at fault."""
    if value == []:
        return ()
    points = [pair for pair in map(_pair, value if isinstance(value, list) else [None]) if pair is not None]
    complete = isinstance(value, list) and len(points) == len(value)
    if not complete or len(points) < _TWO_POINTS or len({raw for raw, _ in points}) < len(points):
        wanted = "two or more pairs of raw value and pressure, each raw value once"
        todo = "Write scale = [[4.0, 0.0], [20.0, -101.3]]."
        if "..." in str(value):
            todo = 'Put numbers in the place of "...": what the sensor reads, and the kPa of gauge pressure there.'
        faults.add("channels", "pressure", f"scale is {describe(value)} that does not fit", wanted, todo)
        return ()
    return tuple(sorted(points))


def _pair(value: object) -> tuple[float, float] | None:
    numbers = [unquoted(v) for v in value] if isinstance(value, list) else []
    good = [float(v) for v in numbers if is_measurable(v)]
    return (good[0], good[1]) if len(good) == len(numbers) == _TWO_POINTS else None


def _check_pulse(value: Mapping[str, object], faults: Faults) -> None:
    pulse = value.get("signal") == "pulse"
    if pulse and "off_column" not in value:
        faults.add("channels", "supply", 'signal = "pulse" without off_column', "both coils", "Add off_column.")
    if "off_column" in value and not pulse:
        todo = 'Add signal = "pulse", or leave off_column out.'
        faults.add("channels", "supply", "off_column without pulse", "a valve with two coils", todo)


def _context(value: object, faults: Faults) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(v, str) and v.strip() for v in value):
        todo = 'Write context = ["recipe"].'
        faults.add("channels", "context", f"found {describe(value)}", "a list of column names", todo)
        return ()
    return tuple(dict.fromkeys(value))


def _check_used_once(channels: Mapping[str, Channel], context: tuple[str, ...], faults: Faults) -> None:
    uses: dict[str, list[str]] = {}
    for name, channel in channels.items():
        for column in (channel.column, channel.off_column):
            if column is not None:
                uses.setdefault(column, []).append(name)
    for column in context:
        uses.setdefault(column, []).append("context")
    for column, names in uses.items():
        if len(names) > 1 and not set(names) <= {"station", "context"}:
            found = f'the column "{column}" is also {names[0]}'
            faults.add("channels", names[-1], found, "each column once", "Name another column, or leave one out.")
