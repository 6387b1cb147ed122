"""Every key of a station file: type, range, meaning and an example, once.

The reader checks against these tables, the writer comments a file from them, and the JSON Schema is made of them.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal, get_args

from tracekit.frozen import dataclass
from tracekit.model.finding import Severity
from tracekit.model.tables import CYCLES
from tracekit.units import PRESSURE_UNITS, SENSES, TIME_UNITS

KeyKind = Literal["number", "whole", "flag", "text", "words"]

SETTINGS = ("set_point", "reset_point", "supply_off", "supply_on")
RATES = ("supply_switches_per_hour", "drop_share", "miss_share")


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key: its kind, unit, range (`above` is exclusive, the others inclusive), known words, meaning, example."""

    name: str
    kind: KeyKind
    meaning: str
    example: str = ""
    unit: str = ""
    above: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    choices: tuple[str, ...] = ()


def expected(key: Key) -> str:
    """What may stand at a key, in words."""
    if key.choices:
        return ("a list of " if key.kind == "words" else "one of ") + ", ".join(key.choices)
    if key.kind == "flag":
        return "true or false"
    if key.kind in ("text", "words"):
        return "text in quotes" if key.kind == "text" else "a list of texts in quotes"
    bounds = [f"above {key.above:g}"] if key.above is not None else []
    bounds += [f"at least {key.at_least:g}"] if key.at_least is not None else []
    bounds += [f"at most {key.at_most:g}"] if key.at_most is not None else []
    noun = "a number" if key.kind == "number" else "a whole number"
    return " ".join(part for part in (noun, " and ".join(bounds), f"[{key.unit}]" if key.unit else "") if part)


def _vacuum(name: str, meaning: str, example: str) -> Key:
    return Key(
        name=name, kind="number", unit="kPa of vacuum, positive", above=0, at_most=110, meaning=meaning, example=example
    )


STATION = (
    Key(name="name", kind="text", meaning="name of the station, as in the log's station column", example='"Loader 2"'),
    Key(name="volume_ml", kind="number", unit="ml", above=0, at_most=1e6, example="60.0",
        meaning="volume under vacuum; or give hoses and cups to compute it from"),
    Key(name="volume_rel_u", kind="number", at_least=0, at_most=1, example="0.10",
        meaning="relative standard uncertainty of the volume"),
    Key(name="ambient_kpa", kind="number", unit="kPa absolute", at_least=40, at_most=115, example="100.8",
        meaning="absolute ambient pressure; or give altitude_m"),
    Key(name="altitude_m", kind="number", unit="m", at_least=-500, at_most=9000, example="150",
        meaning="height above the sea, where ambient_kpa is unknown"),
    Key(name="temperature_c", kind="number", unit="°C", at_least=-40, at_most=80, example="20",
        meaning="temperature around the station"),
    Key(name="timezone", kind="text", example='"Europe/Lisbon"', meaning="zone of time stamps without one"),
    Key(name="source", kind="text", choices=("ejector", "pump", "blower"), example='"ejector"',
        meaning="what makes the vacuum: ejector, pump or blower"),
    Key(name="sensor_at", kind="text", choices=("generator", "cup"), example='"generator"',
        meaning="side of the filter at which the sensor sits: generator or cup"),
    Key(name="cups_per_circuit", kind="whole", at_least=1, at_most=10000, example="1",
        meaning="cups on one vacuum circuit"),
    Key(name="supply_group", kind="text", example='"north main"', meaning="stations that share a compressed-air line"),
    Key(name="ref_vacuum_kpa", kind="number", unit="kPa of vacuum, positive", above=0, at_most=100, example="60",
        meaning="vacuum at which leaks are stated"),
    Key(name="recording", kind="text", choices=("continuous", "triggered"), example='"continuous"',
        meaning="continuous, or triggered: pieces with pauses between"),
    Key(name="surroundings", kind="words", example='["damp"]', meaning="what acts on the station from outside"),
)  # fmt: skip

SETTING_KEYS = (
    _vacuum("set_point_kpa", "part present comes on", "56.0"),
    _vacuum("reset_point_kpa", "part present goes off", "51.0"),
    _vacuum("supply_off_kpa", "air saving cuts the supply", "68.0"),
    _vacuum("supply_on_kpa", "air saving resumes the supply", "62.0"),
    Key(name="guard_kpa", kind="number", unit="kPa", at_least=0, at_most=50, example="1.0",
        meaning="least distance from reset point to supply on"),
    Key(name="adjustable", kind="words", choices=SETTINGS, example='["set_point", "reset_point"]',
        meaning="settings that may be changed"),
)  # fmt: skip

DISPLAY = (
    Key(name="unit", kind="text", choices=tuple(u.symbol for u in PRESSURE_UNITS), example='"kPa"',
        meaning="pressure unit of the device at which settings are entered"),
    Key(name="step", kind="number", above=0, example="0.1", meaning="smallest step that it takes, in its unit"),
    Key(name="negative", kind="flag", example="true", meaning="it shows vacuum as negative numbers"),
)  # fmt: skip

LOAD = (
    Key(name="needed_vacuum_kpa", kind="number", unit="kPa of vacuum, positive", above=0, at_most=110, example="40.0",
        meaning="vacuum that holds the load; wins over the rest"),
    Key(name="mass_kg", kind="number", unit="kg", above=0, example="2.0", meaning="mass of the part"),
    Key(name="acceleration_m_s2", kind="number", unit="m/s²", at_least=0, example="5.0",
        meaning="highest acceleration"),
    Key(name="cups", kind="whole", at_least=1, example="4", meaning="cups that carry the part"),
    Key(name="cup_diameter_mm", kind="number", unit="mm", above=0, example="40.0",
        meaning="diameter of the area under vacuum, not of the rim"),
    Key(name="friction", kind="number", above=0, at_most=2, example="0.5", meaning="friction of cup on part"),
    Key(name="orientation", kind="text", choices=("horizontal", "vertical"), example='"horizontal"',
        meaning="the gripped face: horizontal or vertical"),
    Key(name="safety_factor", kind="number", at_least=1, example="2.0", meaning="safety factor of the grip"),
)  # fmt: skip

PRICE = (
    Key(name="nozzle_flow_l_min_anr", kind="number", unit="L/min ANR", above=0, example="100.0",
        meaning="air that the generator uses while the supply is on"),
    Key(name="energy_kwh_per_m3_anr", kind="number", unit="kWh/m³", above=0, example="0.12",
        meaning="energy for compressed air"),
    Key(name="price_per_kwh", kind="number", at_least=0, example="0.20", meaning="price of energy, in any currency"),
)  # fmt: skip

LIMIT = (
    Key(name="max", kind="number", meaning="a value above is a finding"),
    Key(name="min", kind="number", meaning="a value below is a finding"),
    Key(name="severity", kind="text", choices=get_args(Severity), meaning="how grave it is"),
)

HOSE = (
    Key(name="inner_mm", kind="number", unit="mm", above=0, at_most=500, meaning="inner diameter"),
    Key(name="length_m", kind="number", unit="m", above=0, at_most=1000, meaning="length"),
    Key(name="count", kind="whole", at_least=1, meaning="how many"),
)
CUP = (
    Key(name="volume_ml", kind="number", unit="ml", above=0, meaning="volume of one cup under vacuum"),
    Key(name="count", kind="whole", at_least=1, meaning="how many"),
)

DATE_ORDERS = ("day first", "month first", "year first")
_COLUMN = Key(name="column", kind="text", meaning="name of the log's column")
_ON_LEVEL = Key(name="on_level", kind="whole", at_least=0, at_most=1, meaning="the level that means on")

CHANNELS: Mapping[str, tuple[Key, ...]] = MappingProxyType({
    "time": (
        _COLUMN,
        Key(name="unit", kind="text", choices=tuple(u.symbol for u in TIME_UNITS), meaning="unit"),
        Key(name="interval_s", kind="number", unit="s", above=0, meaning="from row to row, where no column tells time"),
        Key(name="date_order", kind="text", choices=DATE_ORDERS, meaning="which number of a date comes first"),
        Key(name="digitals_late_s", kind="number", unit="s", at_least=-86400, at_most=86400,
            meaning="how late digitals are stamped, those of a second file if there is one; below 0 for early ones"),
    ),
    "pressure": (
        _COLUMN,
        Key(name="unit", kind="text", meaning="unit"),
        Key(name="sense", kind="text", choices=SENSES, meaning="gauge, absolute or vacuum"),
    ),
    "supply": (
        _COLUMN, _ON_LEVEL,
        Key(name="signal", kind="text", choices=("valve", "request", "pulse"), meaning="valve, request or pulse"),
        Key(name="off_column", kind="text", meaning="column of the off coil of a pulse valve"),
    ),
    "release": (_COLUMN, _ON_LEVEL),
    "part_present": (_COLUMN, _ON_LEVEL),
    "station": (_COLUMN,),
})  # fmt: skip

SECTIONS: Mapping[str, tuple[Key, ...]] = MappingProxyType({
    "station": STATION, "settings": SETTING_KEYS, "display": DISPLAY, "load": LOAD, "price": PRICE,
})  # fmt: skip

LIMIT_NAMES: tuple[str, ...] = (*(c.name for c in CYCLES if c.kind in ("float", "int") and c.name != "cycle"), *RATES)
