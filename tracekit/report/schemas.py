"""JSON Schemas (draft 2020-12) of every file that tracekit writes, made from the records and columns themselves.

Keys may be added to a file at any time, so no schema forbids others; those named here keep their meaning.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import get_args

from tracekit.errors import UsageError, message, nearest
from tracekit.model.finding import CODES, FindingKind, Severity
from tracekit.model.tables import CYCLES, EDGES, OUTCOMES, PERIODS, Column

Schema = dict[str, object]

DRAFT = "https://json-schema.org/draft/2020-12/schema"
SETTINGS = ("set_point", "reset_point", "supply_off", "supply_on")
MEASURE_VERDICTS = ("better", "worse", "equivalent", "undecided")
VERDICTS = ("demonstrated", "not_demonstrated", "worse", "no_change")
PREDICTIONS = (
    "evacuation_time_s", "missed_share", "false_drop_share", "chatter_edges_per_hold", "supply_switches_per_hold",
    "supply_switches_per_hour", "supply_on_share", "air_l_anr_per_cycle",
)  # fmt: skip

_NUMBER: Schema = {"type": "number"}
_COUNT: Schema = {"type": "integer", "minimum": 0}
_TEXT: Schema = {"type": "string"}
_SHARE: Schema = {"type": "number", "minimum": 0, "maximum": 1}
_TIME: Schema = {"type": "string", "format": "date-time"}
_HASH: Schema = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
_QUANTITY: Schema = {"$ref": "#/$defs/quantity"}
_WITHHELD: Schema = {"$ref": "#/$defs/withheld"}


def schema_names() -> tuple[str, ...]:
    """The files that have a schema."""
    return tuple(_SCHEMAS)


def schema(name: str) -> Schema:
    """The JSON Schema of the file `name`: a JSON document, or the rows of a table.

    Raises UsageError naming the nearest known one.
    """
    if name not in _SCHEMAS:
        raise UsageError(message("schema", f'"{name}"', "a file of tracekit", nearest(name, _SCHEMAS)))
    return _SCHEMAS[name]()


def _object(required: Mapping[str, object], optional: Mapping[str, object] | None = None) -> Schema:
    properties = {**required, **(optional or {})}
    return {"type": "object", "properties": properties, "required": list(required)}


def _list(items: Mapping[str, object]) -> Schema:
    return {"type": "array", "items": items}


def _table_of(values: Mapping[str, object]) -> Schema:
    return {"type": "object", "additionalProperties": values}


def _one_of(words: tuple[str, ...]) -> Schema:
    return {"enum": list(words)}


def _or_withheld(given: Schema) -> Schema:
    says_withheld = {"type": "object", "properties": {"status": {"const": "withheld"}}, "required": ["status"]}
    return {"if": says_withheld, "then": _WITHHELD, "else": given}


def _document(name: str, required: Mapping[str, object], optional: Mapping[str, object] | None = None) -> Schema:
    """A whole file, with its own name in `schema`."""
    body = _object({"schema": {"const": f"tracekit.{name}/1"}, **required}, optional)
    return {"$schema": DRAFT, "title": f"{name}.json", **body, "$defs": _definitions()}


def _definitions() -> Schema:
    """The forms of a quantity: an estimate, a bound, or withheld with its reason."""
    tail = {"level": _SHARE, "unit": _TEXT, "n": _COUNT, "method": _TEXT}
    withheld = _object({"status": {"const": "withheld"}, "reason": {"type": "string", "minLength": 1}})
    estimate = _object({"value": _NUMBER, "lower": _NUMBER, "upper": _NUMBER, **tail})
    lower = _object({"status": {"const": "lower_bound"}, "lower": _NUMBER, **tail})
    upper = _object({"status": {"const": "upper_bound"}, "upper": _NUMBER, **tail})
    no_value: Schema = {"not": {"required": ["value"]}}
    bounds = [{**lower, **no_value}, {**upper, **no_value}]
    return {"withheld": withheld, "quantity": {"oneOf": [estimate, *bounds, {"$ref": "#/$defs/withheld"}]}}


def _diagnosis() -> Schema:
    option = _object({"value": {"type": ["number", "string", "boolean"]}, "unit": _TEXT})
    return _document("diagnosis", {
        "tool": _object({"name": {"const": "tracekit"}, "version": _TEXT}),
        "created": _TIME,
        "options": _table_of(option),
        "logs": _list(_log()),
        "stations": _list(_station()),
    })  # fmt: skip


def _log() -> Schema:
    interval = _object({}, {"median": _NUMBER, "p95": _NUMBER, "max": _NUMBER})
    return _object(
        {
            "log_id": _HASH, "source": {"type": "string", "pattern": "^(?!/|[A-Za-z]:)"},
            "rows_read": _COUNT, "rows_used": _COUNT, "rows_rejected": _COUNT,
            "sample_interval_s": interval,
            "gaps": _list(_object({"start_s": _NUMBER, "end_s": _NUMBER})),
            "assumptions": _list(_assumption()),
            "warnings": _list(_TEXT),
        },
        {"start": _TIME, "end": _TIME, "duration_s": _NUMBER, "quantisation_kpa": _NUMBER},
    )  # fmt: skip


def _assumption() -> Schema:
    return _object({"what": _TEXT, "value": _TEXT, "evidence": _TEXT, "confidence": _SHARE})


def _station() -> Schema:
    setting = _object({"value": _NUMBER, "source": _TEXT}, {"station_file": _NUMBER})
    smallest = _object({"measure": _TEXT, "value": _NUMBER, "unit": _TEXT})
    return _object({
        "station": _TEXT,
        "settings": _object({f"{name}_kpa": _or_withheld(setting) for name in SETTINGS}),
        "summary": _summary(),
        "leak": _leak(),
        "detectable": _list(_object({"code": _code(), "smallest": _or_withheld(smallest), "why": _TEXT})),
        "causes": _list(_object({"code": _TEXT, "chance": _SHARE, "reason": _TEXT})),
        "findings": _list(_finding()),
        "suggestion": _or_withheld(_object(_tuning_keys())),
    })  # fmt: skip


def _summary() -> Schema:
    measure = _object({"median": _NUMBER, "unit": _TEXT}, {"p05": _NUMBER, "p95": _NUMBER})
    return _object({"cycles": _COUNT, **dict.fromkeys(OUTCOMES, _COUNT), "measures": _table_of(measure)})


def _leak() -> Schema:
    group = {"by": _TEXT, "label": _TEXT, "share": _SHARE, "cycles": _COUNT, "decay_rate_kpa_s": _QUANTITY}
    return _object({
        "decay_rate_kpa_s": _QUANTITY, "leak_rate_pa_m3_s": _QUANTITY, "leak_rate_l_min_anr": _QUANTITY,
        "ref_vacuum_kpa": _NUMBER,
        "mechanism": _one_of(("hole", "porous", "undecided")),
        "evidence": _TEXT,
        "groups": _list(_object(group)),
    }, {"change_from_baseline": _QUANTITY})  # fmt: skip


def _code() -> Schema:
    return _one_of(tuple(CODES))


def _finding() -> Schema:
    evidence = _object(
        {"measure": _TEXT, "value": _or_withheld(_NUMBER), "unit": _TEXT}, {"reference": _NUMBER, "cycles": _COUNT}
    )
    step = {"do": _TEXT, "expect_if": _TEXT, "expect_else": _TEXT, "minutes": _COUNT, "caution": _TEXT}
    return _object(
        {
            "code": _code(),
            "kind": _one_of(get_args(FindingKind)),
            "severity": _one_of(get_args(Severity)),
            "confidence": _SHARE,
            "share": _SHARE,
            "title": _TEXT,
            "evidence": _list(evidence),
            "alternatives": _list(_code()),
            "explains": _list(_code()),
            "next_steps": _list(_object(step)),
        },
        {"onset_cycle": _COUNT},
    )


def _tuning_keys() -> dict[str, object]:
    display = _object({"value": _NUMBER, "unit": _TEXT, "from": _TEXT})
    setting = _object({"kpa": _NUMBER, "display": display})
    settings = _object({}, dict.fromkeys(SETTINGS, setting))
    predicted = _object({}, dict.fromkeys(PREDICTIONS, _QUANTITY))
    replayed = ("drops_avoided", "drops_left", "edges_avoided", "edges_left")
    return {
        "settings_now": settings,
        "settings_suggested": _or_withheld(settings),
        "predicted": _object({"now": predicted, "suggested": predicted}),
        "constraints": _list(_object({"name": _TEXT, "holds": {"type": "boolean"}}, {"margin_kpa": _NUMBER})),
        "reasons": _list(_TEXT),
        "replayed": _object({}, dict.fromkeys(replayed, _COUNT)),
    }


def _tuning() -> Schema:
    return _document("tuning", _tuning_keys())


def _comparison() -> Schema:
    measure = _object(
        {"before": _QUANTITY, "after": _QUANTITY, "difference": _QUANTITY, "verdict": _one_of(MEASURE_VERDICTS)},
        {"margin": _NUMBER, "cycles_needed": _or_withheld(_COUNT)},
    )
    rate = _object({"before": _QUANTITY, "after": _QUANTITY})
    return _document("comparison", {
        "measures": _table_of(measure),
        "rates": _object({"drop_share": rate, "miss_share": rate}),
        "obstacles": {"type": "array"},
        "primary": _TEXT,
        "rule": _TEXT,
        "verdict": _one_of(VERDICTS),
    })  # fmt: skip


def _plan() -> Schema:
    return _document("plan", {
        "measure": _TEXT, "margin": _NUMBER, "power": _SHARE, "cycles": _COUNT, "sample_interval_s": _NUMBER,
        "looks": _list(_object({"cycles": _COUNT, "bound": _NUMBER})), "rule": _TEXT, "sha256": _HASH,
    })  # fmt: skip


def _volume() -> Schema:
    line = _object({"source": _TEXT, "u": _NUMBER, "share": _SHARE})
    return _document("volume", {"volume_ml": _QUANTITY, "budget": _list(line), "warnings": _list(_TEXT)})


def _trend() -> Schema:
    date: Schema = {"type": "string"}
    crossing = _object({"date": date}, {"earliest": date, "latest": date})
    measure = _object(
        {
            "unit": _TEXT, "slope_per_day": _QUANTITY,
            "steps": _list(_object({"time": date, "before": _NUMBER, "after": _NUMBER})),
            "alarms": _list(_object({"time": date, "kind": _TEXT, "rule": _TEXT})),
        },
        {
            "relative_slope_per_day": _QUANTITY, "p_value": _SHARE, "test": _TEXT, "limit": _NUMBER,
            "crossing": _or_withheld(crossing),
        },
    )  # fmt: skip
    event = _object({"time": date, "text": _TEXT, "source": _TEXT})
    station = _object({
        "station": _TEXT, "days": _COUNT, "cycles": _COUNT, "events": _list(event), "measures": _table_of(measure),
    })  # fmt: skip
    return _document("trend", {"stations": _list(station)})


def _rows(name: str, columns: tuple[Column, ...]) -> Schema:
    """A table as a list of rows; every cell may be missing, which is null."""
    properties = {column.name: _cell(column) for column in columns}
    items = {"type": "object", "properties": properties, "required": [column.name for column in columns]}
    return {"$schema": DRAFT, "title": name, "type": "array", "items": items}


def _cell(column: Column) -> Schema:
    kind = {"float": "number", "int": "integer", "bool": "boolean", "category": "string", "time": "string"}[column.kind]
    cell: Schema = {"type": [kind, "null"], "description": column.meaning}
    if column.unit:
        cell["unit"] = column.unit
    if column.values:
        cell["enum"] = [*column.values, None]
    if column.kind == "time":
        cell["format"] = "date-time"
    return cell


_SCHEMAS: Mapping[str, Callable[[], Schema]] = MappingProxyType({
    "diagnosis": _diagnosis,
    "tuning": _tuning,
    "comparison": _comparison,
    "plan": _plan,
    "volume": _volume,
    "trend": _trend,
    "cycles": lambda: _rows("cycles", CYCLES),
    "periods": lambda: _rows("periods", PERIODS),
    "edges": lambda: _rows("edges", EDGES),
})  # fmt: skip
