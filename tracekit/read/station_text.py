"""Writes a commented station file, ready to be edited and read again."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import fields
from types import MappingProxyType

from tracekit.model.station import Channel, Station
from tracekit.read.station_keys import SECTIONS, Key

_COMMENT_COLUMN = 40
_HEAD = """\
# Station file of tracekit. Every line is optional: a line that starts with # is not in force.
# Vacuum is written as a positive number of kPa below ambient.
"""
_CHANNEL_EXAMPLES: Mapping[str, tuple[str, str]] = MappingProxyType({
    "time": ('"t"',
             "only what the data cannot tell, or tells wrongly; also unit, interval_s, date_order, digitals_late_s"),
    "pressure": ('{ column = "AI1", unit = "kPa", sense = "gauge" }',
                 "gauge, absolute or vacuum; of raw values: scale = [[4.0, 0.0], [20.0, -101.3]]"),
    "supply": ('{ column = "DI0", on_level = 1, signal = "valve" }',
               "on_level: the level at which vacuum is made; signal: valve, request, or pulse with off_column"),
    "release": ('{ column = "DI1" }', 'or "none", or "internal" where the device blows off by itself'),
    "part_present": ('{ column = "DI2", on_level = 1 }', "output of the pressure switch"),
    "station": ('"station"', "column that names the station"),
    "context": ('["recipe"]', "columns carried to the cycles: part type, shift, nest, tool"),
})  # fmt: skip


def default_text() -> str:
    """A station file in which every key stands as a comment, with its meaning and an example."""
    return station_text(Station(), {})


def station_text(station: Station, comments: Mapping[str, str], *, without: Sequence[str] = ()) -> str:
    """A station file that reads back as `station`; channels `without` have no line, not even as a comment.

    `comments` replaces the printed meaning of a key, by "section.key", for example the evidence for it under
    "channels.supply"; values at their default and keys that are not given stand as comments.
    """
    parts = [_HEAD]
    for name in ("station", "settings", "display"):
        parts.append(_section(name, getattr(station, name), comments))
        if name == "display":
            parts[-1] += _line("entry", dict(station.display.entry) or None, '{ reset_point = "below set_point" }',
                               comments.get("display.entry", "per setting; absent: absolute"))  # fmt: skip
    parts.append(_channels(station, comments, without))
    parts.append(_section("load", station.load, comments))
    parts.append(_limits(station, comments))
    parts.append(_section("price", station.price, comments))
    return "\n".join(parts)


def _section(name: str, record: object, comments: Mapping[str, str]) -> str:
    lines = [_field(name, key, record, comments) for key in SECTIONS[name]]
    return f"[{name}]\n" + "".join(lines)


def _field(section: str, key: Key, record: object, comments: Mapping[str, str]) -> str:
    value = None if record is None else getattr(record, key.name)
    if record is not None and value == _default_of(record, key.name):
        value = None
    unit = f" [{key.unit}]" if key.unit else ""
    return _line(key.name, value, key.example, comments.get(f"{section}.{key.name}", key.meaning + unit))


def _default_of(record: object, name: str) -> object:
    return next(f.default for f in fields(record) if f.name == name)  # type: ignore[arg-type]


def _line(name: str, value: object, example: str, meaning: str) -> str:
    shown = f"# {name} = {example}" if value is None else f"{name} = {_toml(value)}"
    comment = "".join(c if c.isprintable() else " " for c in meaning)
    return f"{shown:<{_COMMENT_COLUMN}}  # {comment}".rstrip() + "\n"


def _toml(value: object) -> str:
    """A value as TOML. Text is escaped as JSON does, which TOML shares, and DEL besides."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_toml_key(k)} = {_toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, Sequence):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return repr(value)


def _toml_key(name: str) -> str:
    bare = name.replace("_", "a").replace("-", "a")
    return name if bare.isascii() and bare.isalnum() else _toml(name)


def _channels(station: Station, comments: Mapping[str, str], without: Sequence[str]) -> str:
    lines = []
    for name, (example, meaning) in _CHANNEL_EXAMPLES.items():
        if name in without:
            continue
        channel = station.channels.get(name)
        value: object = list(station.context) or None
        if name != "context":
            value = None if channel is None else _channel(channel)
        lines.append(_line(name, value, example, comments.get(f"channels.{name}", meaning)))
    return "[channels]\n" + "".join(lines)


def _channel(channel: Channel) -> object:
    """A channel in its shortest form."""
    if channel.absent or channel.internal:
        return "none" if channel.absent else "internal"
    default = Channel()
    names = [f.name for f in fields(channel) if f.name not in ("absent", "internal")]
    table = {n: getattr(channel, n) for n in names if getattr(channel, n) != getattr(default, n)}
    return table["column"] if list(table) == ["column"] else table


def _limits(station: Station, comments: Mapping[str, str]) -> str:
    if not station.limits:
        meaning = "keys are columns of cycles, or supply_switches_per_hour, drop_share, miss_share"
        return "[limits]\n" + _line("decay_rate_kpa_s", None, '{ max = 4.0, severity = "major" }', meaning)
    lines = []
    for name, limit in station.limits.items():
        bounds = {"max": limit.max, "min": limit.min, "severity": limit.severity}
        value = {key: bound for key, bound in bounds.items() if bound is not None}
        lines.append(_line(name, value, "", comments.get(f"limits.{name}", "")).replace("  # \n", "\n"))
    return "[limits]\n" + "".join(lines)
