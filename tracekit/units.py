"""Units of pressure, time and flow, and the three senses in which a pressure is given.

The tables are closed: a unit is in them or it is refused. Inside tracekit `_kpa` is always kPa, a vacuum is a
positive number of kPa below ambient, and a `pressure_kpa` is gauge, negative below ambient.

Sources
-------
1. Factors of the pressure units: definitions of the SI brochure and ISO 80000-4; conventional mercury column
   13595.1 kg/m³, water column 1000 kg/m³, standard gravity 9.80665 m/s².
2. Reference state of a flow "ANR", 100 kPa and 20 °C: ISO 8778.
3. Normal state of a flow "N", 101.325 kPa and 0 °C: DIN 1343.
"""

import re
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import UsageError, message, nearest
from tracekit.frozen import dataclass

Sense = Literal["gauge", "absolute", "vacuum"]
Number = TypeVar("Number", float, NDArray[np.float64])

SENSES: tuple[Sense, ...] = ("gauge", "absolute", "vacuum")
PERCENT = "%"

STANDARD_GRAVITY_M_S2 = 9.80665
ABSOLUTE_ZERO_C = -273.15
ANR_PRESSURE_KPA, ANR_TEMPERATURE_K = 100.0, 293.15
NORMAL_PRESSURE_KPA, NORMAL_TEMPERATURE_K = 101.325, 273.15
_L_MIN_PER_M3_S = 60_000.0


@dataclass(frozen=True, slots=True)
class PressureUnit:
    """A unit of pressure: its symbol, its size [kPa] and the other spellings by which it is known, in lower case."""

    symbol: str
    kpa: float
    spellings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TimeUnit:
    """A unit of time: its symbol, its size [s] and the other spellings by which it is known, in lower case."""

    symbol: str
    seconds: float
    spellings: tuple[str, ...] = ()


_INCH_M, _POUND_KG = 0.0254, 0.45359237

PRESSURE_UNITS: tuple[PressureUnit, ...] = (
    PressureUnit("kPa", 1.0, ("kilopascal", "kilopascals")),
    PressureUnit("Pa", 1e-3, ("pascal", "pascals")),
    PressureUnit("hPa", 0.1, ("hectopascal",)),
    PressureUnit("mbar", 0.1, ("millibar", "mb")),
    PressureUnit("bar", 100.0, ("bars",)),
    PressureUnit("MPa", 1e3, ("megapascal",)),
    PressureUnit("psi", _POUND_KG * STANDARD_GRAVITY_M_S2 / _INCH_M**2 / 1e3, ("lbf/in2", "lb/in2")),
    PressureUnit(
        "inHg", 13595.1 * STANDARD_GRAVITY_M_S2 * _INCH_M / 1e3, ('"hg', "in.hg", "inchhg", "inchesofmercury")
    ),
    PressureUnit("mmHg", 13595.1 * STANDARD_GRAVITY_M_S2 * 1e-6, ("mm.hg",)),
    PressureUnit("Torr", 101.325 / 760.0, ()),
    PressureUnit("mmH2O", STANDARD_GRAVITY_M_S2 * 1e-3, ("mmwc", "mmws", "mmwg", "mmaq")),
    PressureUnit("kgf/cm2", STANDARD_GRAVITY_M_S2 * 10.0, ("kg/cm2", "kp/cm2", "at")),
    PressureUnit("inH2O", STANDARD_GRAVITY_M_S2 * _INCH_M, ("inwc", "inwg", '"h2o')),
    PressureUnit("mH2O", STANDARD_GRAVITY_M_S2, ("mwc", "mws")),
    PressureUnit("atm", 101.325, ()),
)

TIME_UNITS: tuple[TimeUnit, ...] = (
    TimeUnit("s", 1.0, ("sec", "secs", "second", "seconds")),
    TimeUnit("ms", 1e-3, ("msec", "msecs", "millisecond", "milliseconds")),
    TimeUnit("us", 1e-6, ("µs", "μs", "usec", "microsecond", "microseconds")),
    TimeUnit("ns", 1e-9, ("nsec", "nanosecond", "nanoseconds")),
    TimeUnit("min", 60.0, ("mins", "minute", "minutes")),
    TimeUnit("h", 3600.0, ("hr", "hrs", "hour", "hours")),
    TimeUnit("d", 86400.0, ("day", "days")),
)

_SUFFIX = re.compile(r"(?P<unit>.*?)(?P<sense>\(?(?:gauge|abs|absolute|rel|relative|vac|vacuum|g|a)\)?)?$")
_SENSE_OF: tuple[tuple[str, Sense], ...] = (
    ("gauge", "gauge"), ("g", "gauge"), ("rel", "gauge"), ("relative", "gauge"),
    ("abs", "absolute"), ("absolute", "absolute"), ("a", "absolute"),
    ("vac", "vacuum"), ("vacuum", "vacuum"),
)  # fmt: skip


def _plain(text: str) -> str:
    """A unit as written by hand, without blanks, brackets and superscripts, in lower case."""
    flat = text.strip().strip("[]").replace("²", "2").replace("₂", "2").replace("^", "").casefold()
    return re.sub(r"[\s_]+", "", flat)


def _known_pressure(flat: str) -> PressureUnit | None:
    return next((u for u in PRESSURE_UNITS if flat == u.symbol.casefold() or flat in u.spellings), None)


def find_pressure_unit(text: str) -> tuple[PressureUnit, Sense | None] | None:
    """The unit that `text` writes, and the sense where it says one ("barg", "mbar abs", "inHg vac"); None if unknown.

    Upper and lower case do not matter.
    """
    flat = _plain(text)
    whole = _known_pressure(flat.strip("()"))
    if whole is not None:
        return whole, None
    match = _SUFFIX.fullmatch(flat)
    if match is None or not match["sense"]:
        return None
    unit = _known_pressure(match["unit"])
    return None if unit is None else (unit, dict(_SENSE_OF)[match["sense"].strip("()")])


def pressure_unit(text: str) -> PressureUnit:
    """The unit that `text` writes.

    Raises UsageError naming the units known where there is none.
    """
    found = find_pressure_unit(text)
    if found is None:
        hint = nearest(text, [u.symbol for u in PRESSURE_UNITS])
        raise UsageError(message("pressure unit", f'found "{text}"', "a unit of pressure", hint))
    return found[0]


def time_unit(text: str) -> TimeUnit:
    """The unit of time that `text` writes.

    Raises UsageError naming the units known where there is none.
    """
    flat = _plain(text).strip("().")
    found = next((u for u in TIME_UNITS if flat == u.symbol or flat in u.spellings), None)
    if found is None:
        hint = nearest(text, [u.symbol for u in TIME_UNITS])
        raise UsageError(message("time unit", f'found "{text}"', "a unit of time", hint))
    return found


def gauge_kpa(value: Number, unit: PressureUnit, sense: Sense, ambient_kpa: float) -> Number:
    """Gauge pressure [kPa], negative below ambient, of a reading in `unit` and `sense`.

    `ambient_kpa` is the absolute ambient pressure; only the absolute sense uses it.
    """
    scaled = value * unit.kpa
    if sense == "gauge":
        return scaled
    return scaled - ambient_kpa if sense == "absolute" else -scaled


def shown_pressure(gauge_pressure_kpa: Number, unit: PressureUnit, sense: Sense, ambient_kpa: float) -> Number:
    """A reading in `unit` and `sense` of a gauge pressure [kPa]; the inverse of `gauge_kpa`."""
    if sense == "gauge":
        return gauge_pressure_kpa / unit.kpa
    if sense == "absolute":
        return (gauge_pressure_kpa + ambient_kpa) / unit.kpa
    return -gauge_pressure_kpa / unit.kpa


def percent_vacuum(gauge_pressure_kpa: Number, ambient_kpa: float) -> Number:
    """Vacuum as a share of ambient [%]; above 100 the reading is impossible at that ambient pressure."""
    return gauge_pressure_kpa * (-100.0 / ambient_kpa)


def gauge_from_percent_kpa(percent: Number, ambient_kpa: float) -> Number:
    """Gauge pressure [kPa] of a percent vacuum."""
    return percent * (-ambient_kpa / 100.0)


def kelvin(temperature_c: float) -> float:
    """Absolute temperature [K]."""
    return temperature_c - ABSOLUTE_ZERO_C


def flow_l_min_anr(throughput_pa_m3_s: Number, temperature_c: float) -> Number:
    """Volume flow at 100 kPa and 20 °C [L/min ANR] of a throughput at `temperature_c` [Pa·m³/s]; source 2."""
    share = ANR_TEMPERATURE_K / kelvin(temperature_c) / (ANR_PRESSURE_KPA * 1e3)
    return throughput_pa_m3_s * (share * _L_MIN_PER_M3_S)


def throughput_pa_m3_s(flow_anr_l_min: Number, temperature_c: float) -> Number:
    """Throughput at `temperature_c` [Pa·m³/s] of a volume flow at reference conditions [L/min ANR]; source 2."""
    share = kelvin(temperature_c) / ANR_TEMPERATURE_K * ANR_PRESSURE_KPA * 1e3
    return flow_anr_l_min * (share / _L_MIN_PER_M3_S)


def anr_from_normal_l_min(flow_normal_l_min: Number) -> Number:
    """Volume flow [L/min ANR] of one at 101.325 kPa and 0 °C [NL/min]; sources 2 and 3."""
    ratio = NORMAL_PRESSURE_KPA / ANR_PRESSURE_KPA * ANR_TEMPERATURE_K / NORMAL_TEMPERATURE_K
    return flow_normal_l_min * ratio


def mbar_l_s(throughput: Number) -> Number:
    """Throughput in mbar·L/s of one in Pa·m³/s."""
    return throughput * 10.0
