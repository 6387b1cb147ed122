"""The JSON Schema of a station file, made from its table of keys. TOML maps to JSON one to one."""

from collections.abc import Sequence

from tracekit.read.station_keys import CHANNELS, CUP, HOSE, LIMIT, LIMIT_NAMES, SECTIONS, SETTINGS, Key

Schema = dict[str, object]

_DRAFT = "https://json-schema.org/draft/2020-12/schema"
_TYPES = {"number": "number", "whole": "integer", "flag": "boolean", "text": "string", "words": "array"}


def station_schema() -> Schema:
    """The JSON Schema (draft 2020-12) of a station file; unknown keys are refused, as the reader does."""
    properties: Schema = {name: _closed(keys) for name, keys in SECTIONS.items()}
    properties["station"] = _closed(SECTIONS["station"], {"hoses": _list(_closed(HOSE)), "cups": _list(_closed(CUP))})
    entry = {"type": "string", "pattern": f"^(absolute|(below|above) ({'|'.join(SETTINGS)}))$"}
    properties["display"] = _closed(
        SECTIONS["display"], {"entry": {**_closed(()), "properties": dict.fromkeys(SETTINGS, entry)}}
    )
    properties["channels"] = _channels()
    properties["limits"] = {**_closed(()), "properties": dict.fromkeys(LIMIT_NAMES, _closed(LIMIT))}
    return {"$schema": _DRAFT, "title": "station file", **_closed(()), "properties": properties}


def _channels() -> Schema:
    pair = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
    extra: dict[str, Schema] = {"pressure": {"scale": {"type": "array", "items": pair, "minItems": 2}}}
    column = {"type": "string", "minLength": 1}
    channels: Schema = {
        name: {"anyOf": [column, _closed(keys, extra.get(name, {}))]} for name, keys in CHANNELS.items()
    }
    channels["context"] = _list({"type": "string"})
    return {**_closed(()), "properties": channels}


def _closed(keys: Sequence[Key], extra: Schema | None = None) -> Schema:
    properties = {key.name: _value(key) for key in keys} | (extra or {})
    return {"type": "object", "properties": properties, "additionalProperties": False}


def _list(items: Schema) -> Schema:
    return {"type": "array", "items": items}


def _value(key: Key) -> Schema:
    value: Schema = {"type": _TYPES[key.kind], "description": key.meaning}
    bounds = {"exclusiveMinimum": key.above, "minimum": key.at_least, "maximum": key.at_most}
    value |= {name: bound for name, bound in bounds.items() if bound is not None}
    if key.unit:
        value["unit"] = key.unit
    if key.kind == "words":
        value["items"] = {"enum": list(key.choices)} if key.choices else {"type": "string"}
    elif key.choices:
        value["enum"] = list(key.choices)
    return value
