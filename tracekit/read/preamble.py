"""What the free lines above the header say: interval between samples, units, a sensor's scale."""

import re
from collections.abc import Sequence

from tracekit.frozen import dataclass
from tracekit.read.scales import SensorScale, find_scale
from tracekit.read.started import Started, find_start
from tracekit.read.told import bared, pressure_sentence, with_split_units
from tracekit.read.words import fold
from tracekit.units import PressureUnit, Sense, find_pressure_unit

_PAIR = re.compile(r"(?P<key>[^:=;\t,]{1,60}?)(?:[^\S\t]*+[:=;\t,]\s*+|\s{2,}+)(?P<value>\S.*)")
_SENTENCE = re.compile(
    r"(?P<key>[^\W\d][^\d:=;,\t]{1,60}?)\s(?P<value>\d[\d.,e+-]{0,20}\s?[^\W\d_]{1,6})", re.IGNORECASE
)
_LONGEST = 1000
_QUANTITY = re.compile(r"(?P<number>\d+(?:[.,]\d+)?(?:e-?\d+)?)[\s,;\t]*(?P<unit>(?:[^\W\d_]|/)*)")
_INTERVAL_WORDS = (
    "interval", "intervall", "abtastzeit", "abtastinterv", "period", "periode", "zykluszeit", "takt", "sampletime",
    "samplingtime", "schrittweite", "deltat", "δt", "horizontalresolution", "increment", "passo", "cyclus",
    "采样间隔", "采样周期", "サンプリング間隔", "サンプリング周期", "샘플링간격", "интервал", "период",
)  # fmt: skip
_SAMPLE_WORDS = ("sampl", "abtast", "scan", "采样", "サンプリング", "muestr", "campion", "echantillon")
_RATE_WORDS = (
    "rate", "frequency", "frequenz", "freq", "abtastrate", "frecuencia", "frequenza", "cadence", "frequence",
    "taktfrequenz", "samplerate", "samplingrate", "采样频率", "采样率", "サンプリング周波数", "частота",
)  # fmt: skip
_TIME_FACTORS = {
    "s": 1.0, "sec": 1.0, "seconds": 1.0, "second": 1.0, "sek": 1.0, "ms": 1e-3, "msec": 1e-3, "us": 1e-6,
    "µs": 1e-6, "μs": 1e-6, "usec": 1e-6, "ns": 1e-9, "min": 60.0,
    "с": 1.0, "сек": 1.0, "мс": 1e-3, "мкс": 1e-6, "秒": 1.0, "毫秒": 1e-3, "ミリ秒": 1e-3,
}  # fmt: skip
_COUNT_WORDS = frozenset({
    "clock", "clockrate", "clockfrequency", "counterclock", "timerclock", "timebase", "zeitbasis", "basedetemps",
    "basedetiempos", "baseditempi", "tick", "ticks", "ticklength", "tickrate", "timer", "timerresolution",
    "timeresolution", "zeitauflosung",
})  # fmt: skip
_RATE_FACTORS = {"hz": 1.0, "khz": 1e3, "s/s": 1.0, "sps": 1.0, "/s": 1.0, "1/s": 1.0, "ks/s": 1e3}
_RATE_KEYS = ("fs", "f_s", "fsample", "samplerate", "sample_rate", "samplingrate", "sampling_rate")
_ZONE_WORDS = (
    "timezone",
    "zeitzone",
    "fuseauhoraire",
    "zonahoraria",
    "fusoorario",
    "tijdzone",
    "utcoffset",
    "时区",
    "タイムゾーン",
)
_ZONE = re.compile(r"(?:UTC|GMT)?\s?(?P<offset>[+-]\d{1,2}(?::?\d{2})?)|(?P<name>[A-Z]\w+/[A-Z][\w/+-]+|UTC|GMT|Z)")
_PRESSURE_WORDS = ("pressure", "druck", "pression", "presion", "pressione", "unit", "einheit", "unite", "unidad")


@dataclass(frozen=True, slots=True, kw_only=True)
class Preamble:
    """Facts of the preamble, None where it does not tell them, with the lines they stand in.

    started  when the recording began
    count_s  what may be the size of a count of time: a clock or a time base
    zone  of the stamps: a name, or hours and minutes from UTC such as "+01:00"; empty where it is not told
    """

    interval_s: float | None = None
    interval_line: str = ""
    pressure_unit: PressureUnit | None = None
    pressure_sense: Sense | None = None
    unit_line: str = ""
    scale: SensorScale | None = None
    started: Started | None = None
    zone: str = ""
    count_s: float | None = None


def read_preamble(lines: Sequence[str]) -> Preamble:
    """Facts of the free lines above the header; lines longer than any that tells a fact are left out."""
    lines = [line for line in lines if len(line) <= _LONGEST]
    intervals: list[tuple[float, str, bool]] = []
    unit, sense, unit_line, zone, counts = None, None, "", "", list[float]()
    for line in with_split_units(lines):
        match = _PAIR.match(bared(line)) or _SENTENCE.fullmatch(bared(line))
        if match is None:
            continue
        key, value = fold(match["key"]).replace(" ", ""), match["value"]
        found = _interval_s(key, fold(value))
        if found is not None:
            intervals.append((found, line.strip(), any(word in key for word in _SAMPLE_WORDS)))
        counts += _count_s(key, fold(value))
        zone = zone or _zone(key, value)
        known = find_pressure_unit(value.strip(' "[]')) or find_pressure_unit(value.strip(' "[]').split(" ")[-1])
        if known is not None and unit is None and any(w in key for w in _PRESSURE_WORDS):
            (unit, sense), unit_line = known, line.strip()
    if unit is None and (said := pressure_sentence(lines)) is not None:
        unit, sense, unit_line = said
    interval, interval_line = _agreed(intervals)
    return Preamble(
        interval_s=interval,
        interval_line=interval_line,
        pressure_unit=unit,
        pressure_sense=sense,
        unit_line=unit_line,
        scale=find_scale(lines),
        started=find_start(lines),
        zone=zone,
        count_s=counts[0] if len(set(counts)) == 1 else None,
    )


def _count_s(key: str, value: str) -> list[float]:
    """The size of a count that a line may tell as its only fact; empty where it tells none."""
    quantity = _QUANTITY.fullmatch(value.strip(' "'))
    number = float(quantity["number"].replace(",", ".")) if quantity is not None else 0.0
    if quantity is None or number <= 0 or key.strip("#; ") not in _COUNT_WORDS:
        return []
    if quantity["unit"] in _RATE_FACTORS:
        return [1.0 / (number * _RATE_FACTORS[quantity["unit"]])]
    return [number * _TIME_FACTORS[quantity["unit"]]] if quantity["unit"] in _TIME_FACTORS else []


def _zone(key: str, value: str) -> str:
    """The zone that a line tells, empty where it tells none."""
    match = _ZONE.fullmatch(value.strip(' "')) if any(word in key for word in _ZONE_WORDS) else None
    if match is None:
        return ""
    if match["name"]:
        return "UTC" if match["name"] in ("GMT", "Z") else match["name"]
    hours, minutes = match["offset"][1:3].rstrip(":"), match["offset"][3:].replace(":", "")[-2:]
    return f"{match['offset'][0]}{int(hours):02d}:{int(minutes or 0):02d}"


def _agreed(intervals: Sequence[tuple[float, str, bool]]) -> tuple[float | None, str]:
    """The interval that all lines give, or all that speak of samples; None where they differ."""
    sampled = [i for i in intervals if i[2]] or list(intervals)
    if not sampled or max(i[0] for i in sampled) > 1.001 * min(i[0] for i in sampled):
        return None, ""
    return sampled[0][0], sampled[0][1]


def _interval_s(key: str, value: str) -> float | None:
    """Seconds between samples from one line; without a unit, in key or value, a part of a second alone is one."""
    quantity = _QUANTITY.search(value)
    if quantity is None:
        return None
    number = float(quantity["number"].replace(",", "."))
    in_key = re.search(r"[\[(/_]\s*((?:[^\W\d_]|/)+)\s*[\])]?$", key)
    told = in_key[1] if in_key and in_key[1] in {**_TIME_FACTORS, **_RATE_FACTORS} else ""
    unit = quantity["unit"] or told
    if number <= 0:
        return None
    bare = key.strip("#; ")
    if (any(word in key for word in _RATE_WORDS) or bare in _RATE_KEYS) and unit in _RATE_FACTORS:
        return 1.0 / (number * _RATE_FACTORS[unit])
    if bare in _RATE_KEYS and not unit:
        return 1.0 / number
    if _says_interval(key) and unit in _TIME_FACTORS:
        return number * _TIME_FACTORS[unit]
    if _says_interval(key) and not unit and number < 1.0:
        return number
    if _says_interval(key) and unit in _RATE_FACTORS:
        return 1.0 / (number * _RATE_FACTORS[unit])
    return None


def _says_interval(key: str) -> bool:
    """True for a key that names the time between samples; short words must be the whole key, a unit aside."""
    bare = re.sub(r"[\[(/_].*$", "", key)
    return bare in ("dt", "ts", "pas", "delta") or any(word in key for word in _INTERVAL_WORDS)
