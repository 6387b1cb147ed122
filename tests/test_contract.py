"""The names that other programs rely on: typed here by hand, so that no change of a name goes unseen."""

import json

import jsonschema
import pytest
import stories

from tracekit.cli import COMMANDS
from tracekit.errors import UsageError
from tracekit.model.finding import CODES
from tracekit.model.tables import CYCLES, EDGES, PERIODS
from tracekit.read.station_file import parse_station
from tracekit.read.station_schema import station_schema
from tracekit.read.station_text import default_text
from tracekit.report.arrow import arrow_table
from tracekit.report.json import diagnosis_json, suggestion_json
from tracekit.report.schemas import schema, schema_names

CYCLE_UNITS = {
    "log_id": "", "station": "", "cycle": "", "start_s": "s", "end_s": "s", "start_time": "UTC", "outcome": "",
    "set_point_reached": "", "attempts": "", "response_delay_s": "s", "contact_s": "s", "open_cup_vacuum_kpa": "kPa",
    "evacuation_time_s": "s", "seal_time_s": "s", "pump_time_constant_s": "s", "ultimate_vacuum_kpa": "kPa",
    "ultimate_extrapolated": "", "peak_vacuum_kpa": "kPa", "hold_vacuum_kpa": "kPa", "hold_min_vacuum_kpa": "kPa",
    "hold_start_s": "s", "hold_end_s": "s", "decay_rate_kpa_s": "kPa/s", "decay_rate_lower_kpa_s": "kPa/s",
    "decay_rate_upper_kpa_s": "kPa/s", "decay_local_kpa_s": "kPa/s", "decay_local_vacuum_kpa": "kPa",
    "leak_rate_pa_m3_s": "Pa·m³/s", "leak_rate_lower_pa_m3_s": "Pa·m³/s", "leak_rate_upper_pa_m3_s": "Pa·m³/s",
    "coasts": "", "supply_switches": "", "supply_on_time_s": "s", "output_edges": "", "chatter_edges": "",
    "chatter_frequency_hz": "Hz", "drop_s": "s", "drop_kind": "", "release_time_s": "s", "residual_vacuum_kpa": "kPa",
    "release_peak_kpa": "kPa", "idle_vacuum_kpa": "kPa", "noise_kpa": "kPa",
}  # fmt: skip
PERIOD_UNITS = {
    "log_id": "", "station": "", "cycle": "", "kind": "", "start_s": "s", "end_s": "s", "samples": "",
    "vacuum_start_kpa": "kPa", "vacuum_end_kpa": "kPa", "slope_kpa_s": "kPa/s", "slope_se_kpa_s": "kPa/s", "used": "",
    "reason": "",
}  # fmt: skip
EDGE_UNITS = {"log_id": "", "station": "", "cycle": "", "time_s": "s", "signal": "", "value": "", "chatter": ""}
WORDS = {
    "outcome": {"held", "dropped", "missed", "incomplete"},
    "drop_kind": {"sudden", "gradual"},
    "kind": {"idle", "open", "evacuate", "coast", "recharge", "steady", "release"},
    "signal": {"supply", "release", "part_present"},
}
CONTRACT_CODES = {
    "cause": "leak_steady leak_part_dependent check_valve_leak release_valve_leak flow_restricted exhaust_restricted"
    " supply_pressure_low supply_pressure_dips supply_pulsation supply_valve_slow supply_valve_passing release_weak"
    " collision_or_peel motion_dips part_not_presented",
    "symptom": "part_dropped part_missed seal_lost_partly switch_chatter supply_short_cycling supply_never_cuts"
    " release_slow",
    "setting": "set_point_too_high set_point_too_low hysteresis_too_small supply_on_below_reset supply_band_too_narrow"
    " supply_off_unreachable timeout_too_short valves_overlap",
    "sensor": "sensor_zero_shift sensor_noisy sensor_stuck sensor_slow sensor_clipped",
    "recording": "log_undersampled log_gaps clock_step channel_missing channel_inverted supply_is_request",
}
CONTRACT_COMMANDS = [
    "inspect", "diagnose", "tune", "trend", "compare", "verify", "plan", "volume", "simulate", "history", "watch",
    "explain", "schema",
]  # fmt: skip
CONTRACT_KEYS = {
    "diagnosis": {"schema", "tool", "created", "options", "logs", "stations"},
    "tuning": {
        "schema", "settings_now", "settings_suggested", "predicted", "constraints", "reasons", "replayed",
    },
    "comparison": {"schema", "measures", "rates", "obstacles", "primary", "rule", "verdict"},
    "plan": {"schema", "measure", "margin", "power", "cycles", "sample_interval_s", "looks", "rule", "sha256"},
    "volume": {"schema", "volume_ml", "budget", "warnings"},
    "trend": {"schema", "stations"},
}  # fmt: skip
STATION_KEYS = {
    "station", "settings", "summary", "leak", "detectable", "causes", "findings", "suggestion",
}  # fmt: skip
LOG_KEYS = {
    "log_id", "source", "rows_read", "rows_used", "rows_rejected", "start", "end", "duration_s", "sample_interval_s",
    "quantisation_kpa", "gaps", "assumptions", "warnings",
}  # fmt: skip
FINDING_KEYS = {
    "code", "kind", "severity", "confidence", "share", "onset_cycle", "title", "evidence", "alternatives", "explains",
    "next_steps",
}  # fmt: skip
STORIES = ("torn_cup", "healthy", "no_baseline", "chattering", "dropping", "by_part", "slow_suction", "no_digitals",
           "unmeasurable", "withheld", "hostile", "many")  # fmt: skip


@pytest.mark.parametrize(
    ("columns", "units"), [(CYCLES, CYCLE_UNITS), (PERIODS, PERIOD_UNITS), (EDGES, EDGE_UNITS)], ids=["cycles", "periods", "edges"]
)
def test_columns(columns: tuple, units: dict[str, str]) -> None:
    """The tables start with the columns of the contract, in its order and units."""
    assert {column.name: column.unit for column in columns[: len(units)]} == units
    assert [column.name for column in columns[: len(units)]] == list(units)
    for column in columns:
        if column.name in WORDS:
            assert set(column.values) == WORDS[column.name], column.name


def test_codes() -> None:
    """Every code of the contract is known, with its kind."""
    wanted = {code: kind for kind, codes in CONTRACT_CODES.items() for code in codes.split()}
    assert {code: CODES[code] for code in wanted} == wanted


def test_commands() -> None:
    """Every command of the contract is listed."""
    assert [name for name, _ in COMMANDS][: len(CONTRACT_COMMANDS)] == CONTRACT_COMMANDS


@pytest.mark.parametrize(("name", "keys"), CONTRACT_KEYS.items())
def test_top_keys(name: str, keys: set[str]) -> None:
    """Each JSON file requires the keys of the contract, and its own name."""
    shown = schema(name)
    assert set(shown["required"]) == keys
    assert shown["properties"]["schema"] == {"const": f"tracekit.{name}/1"}


def test_inner_keys() -> None:
    """Logs, stations and findings have the keys of the contract."""
    diagnosis = schema("diagnosis")["properties"]
    assert set(diagnosis["logs"]["items"]["properties"]) >= LOG_KEYS
    assert set(diagnosis["stations"]["items"]["properties"]) >= STATION_KEYS
    assert set(diagnosis["stations"]["items"]["properties"]["findings"]["items"]["properties"]) >= FINDING_KEYS


@pytest.mark.parametrize("name", schema_names())
def test_schemas_are_schemas(name: str) -> None:
    """Every schema is valid by draft 2020-12 and prints as JSON."""
    jsonschema.Draft202012Validator.check_schema(json.loads(json.dumps(schema(name))))


def test_unknown_schema() -> None:
    """An unknown name is refused with the nearest known one."""
    with pytest.raises(UsageError, match=r'"diagnose"; expected a file of tracekit. Did you mean "diagnosis"'):
        schema("diagnose")


def _nulls_for_dates(rows: list[dict]) -> list[dict]:
    return [{**row, "start_time": None} if "start_time" in row else row for row in rows]


@pytest.mark.parametrize("story", STORIES)
def test_a_diagnosis_fits_its_schemas(story: str) -> None:
    """`diagnosis.json` and the rows of the tables are what their schemas say, whatever the station's state."""
    record = getattr(stories, story)()
    jsonschema.validate(json.loads(json.dumps(diagnosis_json(record))), schema("diagnosis"))
    for name in ("cycles", "periods", "edges"):
        rows = arrow_table(getattr(record, name), name).slice(0, 50).to_pylist()
        jsonschema.validate(_nulls_for_dates(rows), schema(name))


def test_a_suggestion_fits_its_schema() -> None:
    """A suggestion with settings, and one withheld, are a tuning file but for its name."""
    for withheld in (None, "Repair the leak first."):
        document = {"schema": "tracekit.tuning/1", **suggestion_json(stories.suggestion(withheld=withheld))}
        jsonschema.validate(json.loads(json.dumps(document, default=tuple)), schema("tuning"))


@pytest.mark.parametrize(
    ("change", "match"),
    [
        (lambda d: d.pop("logs"), "'logs' is a required property"),
        (lambda d: d["stations"][0]["leak"].update(decay_rate_kpa_s=None), "None is not valid under any"),
        (lambda d: d["stations"][0]["leak"].update(decay_rate_kpa_s={"status": "withheld"}), "is not valid under any"),
        (lambda d: d["stations"][0]["findings"][0].update(code="leak"), "'leak' is not one of"),
        (lambda d: d["stations"][0]["findings"][0].update(confidence=1.2), "1.2 is greater than the maximum"),
        (lambda d: d["logs"][0].update(source="/logs/x.csv"), "does not match"),
    ],
)
def test_the_schema_refuses_what_breaks_the_contract(change, match: str) -> None:
    """A missing key, a bare null, an unknown code, an impossible confidence or a path is no diagnosis."""
    document = json.loads(json.dumps(diagnosis_json(stories.torn_cup())))
    change(document)
    with pytest.raises(jsonschema.ValidationError, match=match):
        jsonschema.validate(document, schema("diagnosis"))


def test_the_station_schema_agrees_with_the_reader() -> None:
    """What the reader takes fits the schema, and an unknown key is refused by both."""
    import tomllib

    text = "\n".join(line.removeprefix("# ") for line in default_text().splitlines() if "=" in line or line.startswith("["))
    text = text.replace("altitude_m", "# altitude_m")
    parse_station(text, "all.toml")
    document = tomllib.loads(text)
    assert len(document) == 7
    jsonschema.validate(document, station_schema())
    document["settings"]["set"] = 3
    with pytest.raises(jsonschema.ValidationError, match="'set' was unexpected"):
        jsonschema.validate(document, station_schema())
