"""Which column is the pressure, in what unit and sense."""

from dataclasses import replace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.model.station import Channel
from tracekit.model.trace import Assumption
from tracekit.options.evidence import EVIDENCE
from tracekit.read.asks import ask_sense, ask_unit, raw_unit, strange_unit
from tracekit.read.columns import Column
from tracekit.read.head import Head, Question, finite, spread
from tracekit.read.scales import SensorScale, find_scale
from tracekit.units import PERCENT, PRESSURE_UNITS, PressureUnit, Sense, pressure_unit

CANONICAL = "pressure_kpa"
NEAR_ZERO_KPA = 6.0
AMBIENT_KPA = (78.0, 107.0)
_MOST_VACUUM_KPA = 96.0
_DEEP_KPA = 8.0
_BINS = 50
_APART_KPA = 2.0
_LEAST_ABSOLUTE_KPA = 3.0
SENTINELS = (
    -9999.0, -999.9, -999.0, -99.99, 999.9, 9999.0, 99999.0, 32767.0, -32768.0, 65535.0, 6999.0, 7999.0,
    3276.7, -3276.8, 6553.5, 327.67, -327.68, 655.35,
)  # fmt: skip
"""Numbers that loggers write where there is no reading (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PressurePlan:
    """How a column becomes gauge pressure: `factor`·raw + `offset_kpa`, or along the points of a scale.

    absolute     the sensor is absolute, `offset_kpa` takes ambient off
    ambient_kpa  that ambient pressure [kPa]
    points       (raw, kPa) of a scale; they win over factor and offset, and give a pressure in `sense`
    usual        raw readings of the first rows lie between; a sentinel outside is no reading
    unit, sense  of the raw readings, as a station file writes them; empty where a scale is given
    beside       a second column: the reading is the middle of both, the lowest and the highest of a stretch
    doubts       what speaks against a unit, sense or scale that the station file gives
    """

    column: str
    factor: float = 1.0
    offset_kpa: float = 0.0
    points: tuple[tuple[float, float], ...] = ()
    absolute: bool = False
    ambient_kpa: float | None = None
    usual: tuple[float, float] = (-np.inf, np.inf)
    unit: str = ""
    sense: str = ""
    beside: str = ""
    assumptions: tuple[Assumption, ...] = ()
    doubts: tuple[str, ...] = ()

    def kpa(self, raw: NDArray[np.float64]) -> NDArray[np.float64]:
        """Gauge pressure [kPa] of raw values, shape (n,)."""
        if self.points:
            raw = _along(raw, self.points)
        if self.factor == 1.0 and self.offset_kpa == 0.0:
            return raw
        return raw * self.factor + self.offset_kpa


def _along(raw: NDArray[np.float64], points: tuple[tuple[float, float], ...]) -> NDArray[np.float64]:
    """Straight lines through the points, the outer ones carried on."""
    x, y = (np.array(v) for v in zip(*points, strict=True))
    inner = np.asarray(np.interp(raw, x, y), np.float64)
    low = y[0] + (raw - x[0]) * (y[1] - y[0]) / (x[1] - x[0])
    high = y[-1] + (raw - x[-1]) * (y[-1] - y[-2]) / (x[-1] - x[-2])
    return np.asarray(np.where(raw < x[0], low, np.where(raw > x[-1], high, inner)), np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ambient:
    """Ambient pressure as the station file tells it, or None [kPa]."""

    kpa: float | None
    source: str


def plan_pressure(
    column: Column, head: Head, given: Channel | None, ambient: Ambient
) -> tuple[PressurePlan | None, list[Question]]:
    """How a column becomes gauge pressure, or what to ask."""
    if column.kind != "number" or len(column.values) == 0:
        found_text = f'"{column.name}" holds no numbers'
        return None, [Question(found=found_text, line='pressure = { column = "...", unit = "kPa", sense = "gauge" }')]
    if given is not None and given.scale:
        return _scaled(column, given, ambient)
    unit, unit_why, sense = _unit(column, head, given)
    raw = without_sentinels(column.values)
    scale = find_scale([column.name]) or head.preamble.scale
    if unit is None and scale is not None and raw_unit(column).casefold() == scale.raw_unit.casefold():
        return _by_preamble(column, scale, ambient)
    guess = None
    if unit is None:
        guess = _absolute_unit(column, raw) if sense in (None, "absolute") else None
        if guess is None:
            return None, [ask_unit(column)]
        unit_why = f"rests at {highest_stable(raw):.4g}, which is ambient only in {guess.symbol}"
        unit = guess
        confidence = 0.8
    else:
        confidence = 1.0 if given is not None and given.unit else 0.97
    facts = [Assumption(what=f"unit of {column.name}", value=unit.symbol, evidence=unit_why, confidence=confidence)]
    if guess is not None:
        found: tuple[Sense, str, float] | None = ("absolute", "it rests at ambient pressure", 0.9)
    elif given is not None and given.sense:
        found = (cast("Sense", given.sense), "station file", 1.0)
    else:
        found = _sense(raw * unit.kpa, column, sense)
    if found is None:
        return None, [ask_sense(column, unit, raw)]
    if found[0] == "absolute" and not (given is not None and given.sense):
        _check_ambient(raw * unit.kpa, column.name, head.name, ambient)
    facts.append(Assumption(what=f"sense of {column.name}", value=found[0], evidence=found[1], confidence=found[2]))
    if column.beside:
        value = f'middle of "{column.name}" and "{column.beside}"'
        facts.append(Assumption(what="pressure", value=value, evidence="lowest and highest by name", confidence=0.9))
    plan = _plan(column, unit, found[0], raw, ambient, facts)
    return replace(plan, usual=spread(raw), unit=unit.symbol, sense=found[0], beside=column.beside), []


def _unit(column: Column, head: Head, given: Channel | None) -> tuple[PressureUnit | None, str, Sense | None]:
    """Unit, where it comes from, and the sense that goes with it."""
    sense = column.hints.sense
    said = given.unit if given is not None else None
    named = column.hints.says_vacuum or column.hints.weight("pressure") >= EVIDENCE.name_weight
    if said == PERCENT or (column.hints.percent and said is None and named):
        told = cast("Sense | None", given.sense) if given is not None else None
        return PressureUnit(PERCENT, 1.01325), "station file" if said else "per cent of vacuum", told or "vacuum"
    if said:
        return pressure_unit(said), "station file", sense
    if column.hints.pressure_unit is not None:
        return column.hints.pressure_unit, f'stands with the name "{column.name}"', sense
    if head.preamble.pressure_unit is not None:
        return head.preamble.pressure_unit, head.preamble.unit_line, sense or head.preamble.pressure_sense
    return None, "", sense


def _absolute_unit(column: Column, raw: NDArray[np.float64]) -> PressureUnit | None:
    """The unit in which the level at rest is ambient pressure, where only one of very different size is.

    Only Pa, hPa and mmHg put ambient where no current loop, voltage or share lies. Whole numbers may be counts of a
    converter, except in Pa with a name that says pressure. A unit that is written and not known is asked for. No
    generator of a cup leaves less than some 3 kPa: readings that go down to nothing rest at no vacuum.
    """
    level = highest_stable(raw)
    low, _ = spread(raw)
    if level is None or low < 0 or raw_unit(column) or strange_unit(column):
        return None
    named = column.hints.weight("pressure") >= 0.9 or column.hints.sense == "absolute"
    whole = column.profile.whole or bool((raw[:1000] == np.rint(raw[:1000])).all())
    known = ("Pa", "hPa", "mmHg") if not whole else (("Pa",) if named else ())
    fits = [u for u in PRESSURE_UNITS if u.symbol in known and 95.0 <= level * u.kpa <= 105.0]
    fits = [u for u in fits if low * u.kpa > _LEAST_ABSOLUTE_KPA]
    return fits[0] if len({round(u.kpa, 6) for u in fits}) == 1 else None


def _sense(kpa: NDArray[np.float64], column: Column, named: Sense | None) -> tuple[Sense, str, float] | None:
    """Sense by name and idle level, None where they leave it open or contradict each other."""
    known = finite(kpa)
    if len(known) == 0:
        return ("gauge", "no reading in the first rows", 0.5) if column.name == CANONICAL else None
    low, high = spread(known)
    near_zero = float((np.abs(known) < NEAR_ZERO_KPA).mean())
    shown = f"readings from {low:.1f} to {high:.1f} kPa but for the outermost 1 %, {near_zero:.0%} of them near zero"
    shows = looks(known, low, high, near_zero)
    if shows == "" and stays(known) and named != "absolute" and abs(low) < NEAR_ZERO_KPA:
        return ("gauge", "it stays near zero, so that the sense makes no difference; " + shown, 0.6)
    if column.name == CANONICAL:
        return ("gauge", "tracekit's own name for it; " + shown, 1.0) if shows in ("", "gauge") else None
    if named == "absolute":
        return ("absolute", "its name; " + shown, 0.97) if low > -2.0 and high > 60.0 else None
    if named == "gauge":
        return ("gauge", "its name; " + shown, 0.97) if shows == "gauge" else None
    if shows == "gauge":
        return ("gauge", shown, 0.97)
    if shows == "vacuum":
        says = column.hints.says_vacuum or named == "vacuum"
        return ("vacuum", ("its name; " if says else "") + shown, 0.97 if says else 0.9)
    if shows == "absolute" and named is None:
        return ("absolute", f"rests at {ambient_level(kpa)[0]:.1f} kPa; " + shown, 0.95)
    return None


def stays(kpa: NDArray[np.float64]) -> bool:
    """True where all readings are as good as the same: a stuck sensor, or a line without vacuum."""
    low, high = float(kpa.min()), float(kpa.max())
    return high - low < 1e-3 * max(1.0, abs(low), abs(high))


def looks(kpa: NDArray[np.float64], low: float, high: float, near_zero: float) -> str:
    """The sense that finite readings show, shape (n,), empty where they show none.

    The vacuum of a hold lasts, a burst of blow-off does not: where readings go both ways, the lasting way is vacuum.
    """
    lasting_low, lasting_high = float((kpa < low / 2).mean()), float((kpa > high / 2).mean())
    if low < -_DEEP_KPA and low > -115.0 and (high < _DEEP_KPA or (-low > 1.5 * high and lasting_low > lasting_high)):
        return "gauge"
    rests = highest_stable(kpa) is not None
    at_ambient = rests and AMBIENT_KPA[0] <= ambient_level(kpa)[0] <= AMBIENT_KPA[1]
    if at_ambient and low > _LEAST_ABSOLUTE_KPA and near_zero < 0.02:
        return "absolute"
    deep = _DEEP_KPA < high <= _MOST_VACUUM_KPA and high > -1.5 * low
    if deep and (low > -_DEEP_KPA or high > 40.0) and near_zero > 0.02 and lasting_high > 0.03:
        return "vacuum" if not (at_ambient and low > -2.0 and near_zero < 0.1) else ""
    return ""


def highest_stable(values: NDArray[np.float64]) -> float | None:
    """The highest level at which readings rest, None where they rest nowhere."""
    return resting_level(values, usual=False)


def ambient_level(kpa: NDArray[np.float64]) -> tuple[float, float]:
    """The level of an absolute pressure at ambient, and that near its top at which it rests longest [kPa].

    The highest level, unless no weather gives it, as in blow-off: then the longest. Where both could be ambient they
    differ: a cup that sucks air rests below ambient, blow-off rests above it.
    """
    top, usual = highest_stable(kpa), resting_level(kpa, usual=True)
    if top is None or usual is None:
        level = spread(kpa)[1]
        return level, level
    return (usual if top > AMBIENT_KPA[1] else top), usual


def resting_level(values: NDArray[np.float64], *, usual: bool, share: float = 0.01) -> float | None:
    """The highest level at which readings rest, or the most usual one of the upper quarter.

    share  least part of the readings at rest that makes a level

    A reading rests where its neighbours two rows before and after differ from it by less than 2 % of the range.
    """
    known = finite(values)
    low, high = spread(known)
    if len(known) < 8:
        return None
    if high - low < 1e-6 * max(abs(high), 1.0):
        return high
    width = 0.02 * (high - low)
    near = np.abs(known[4:] - known[2:-2]) < width
    near &= np.abs(known[2:-2] - known[:-4]) < width
    resting = known[2:-2][near]
    if len(resting) < 5:
        return None
    within = np.clip(resting, low, high)
    if within.max() - within.min() < 1e-6 * max(abs(high), 1.0):
        return float(np.median(within))
    counts, edges = np.histogram(within, bins=_BINS)
    enough = np.nonzero(counts >= max(share * len(resting), 5))[0]
    if len(enough) == 0:
        return None
    top = int(enough[-1])
    if usual and top >= _BINS * 3 // 4:
        top = _BINS * 3 // 4 + int(np.argmax(counts[_BINS * 3 // 4 :]))
    inside = resting[(resting >= edges[max(top - 1, 0)]) & (resting <= edges[top + 1] + width)]
    return float(np.median(inside))


def without_sentinels(raw: NDArray[np.float64]) -> NDArray[np.float64]:
    """Readings with NaN for numbers that stand for no reading, shape (n,)."""
    return np.where(np.isin(raw, SENTINELS), np.nan, raw)


def _plan(
    column: Column,
    unit: PressureUnit,
    sense: Sense,
    raw: NDArray[np.float64],
    ambient: Ambient,
    facts: list[Assumption],
) -> PressurePlan:
    if sense == "gauge":
        return PressurePlan(column=column.name, factor=unit.kpa, assumptions=tuple(facts))
    if unit.symbol == PERCENT:
        level = ambient.kpa or 101.325
        why = f"per cent of {level:g} kPa, {ambient.source if ambient.kpa else 'standard atmosphere'}"
        facts.append(Assumption(what="ambient", value=f"{level:g} kPa", evidence=why, confidence=0.7))
        plan = PressurePlan(column=column.name, factor=-level / 100.0, ambient_kpa=level, assumptions=tuple(facts))
        return plan if sense == "vacuum" else replace(plan, factor=level / 100.0, offset_kpa=-level, absolute=True)
    if sense == "vacuum":
        return PressurePlan(column=column.name, factor=-unit.kpa, assumptions=tuple(facts))
    plan = PressurePlan(column=column.name, factor=unit.kpa, assumptions=tuple(facts))
    return _below_ambient(plan, raw * unit.kpa, ambient)


def _below_ambient(plan: PressurePlan, kpa: NDArray[np.float64], ambient: Ambient) -> PressurePlan:
    """Take ambient off an absolute pressure."""
    level, source, confidence = ambient.kpa, ambient.source, 1.0
    doubts = plan.doubts
    if level is None:
        level, usual = ambient_level(kpa)
        source, confidence = "highest stable level of the log", 0.8
        if abs(level - usual) > _APART_KPA:
            source = (
                f"highest stable level of the log; it rests longer at {usual:.1f} kPa, which is ambient if that above "
                "it is blow-off: ambient_kpa under [station] of a station file settles it"
            )
            confidence = 0.5
            doubts = (*doubts, f"ambient is taken as {level:.1f} kPa, the {source}")
        if not AMBIENT_KPA[0] <= level <= AMBIENT_KPA[1]:
            source, confidence = f"standard atmosphere; the log rests at {level:.1f} kPa, which is no ambient", 0.4
            level = 101.325
    fact = Assumption(what="ambient", value=f"{level:.2f} kPa", evidence=source, confidence=confidence)
    facts = (*plan.assumptions, fact)
    return replace(plan, offset_kpa=-level, absolute=True, ambient_kpa=level, assumptions=facts, doubts=doubts)


def _check_ambient(kpa: NDArray[np.float64], column: str, log: str, ambient: Ambient) -> None:
    """Raise LogReadError where an absolute pressure never rests at ambient and the station file does not give it."""
    if ambient.kpa is not None:
        return
    level = ambient_level(kpa)[0]
    if not AMBIENT_KPA[0] <= level <= AMBIENT_KPA[1]:
        found = f'the absolute pressure "{column}" never rests at ambient; its highest level is {level:.1f} kPa'
        expected = f"a level from {AMBIENT_KPA[0]:g} to {AMBIENT_KPA[1]:g} kPa"
        todo = "Put this into a station file and give it with --station:\n    [station]\n    ambient_kpa = 101.3"
        raise LogReadError(message(log, found, expected, todo))


def _scaled(column: Column, given: Channel, ambient: Ambient) -> tuple[PressurePlan, list[Question]]:
    """The points of a scale give kPa, or the unit that stands with them."""
    size = pressure_unit(given.unit).kpa if given.unit and given.unit != PERCENT else 1.0
    points = tuple((raw, value * size) for raw, value in given.scale)
    value = ", ".join(f"{raw:g} is {kpa:g} kPa" for raw, kpa in points)
    fact = Assumption(what=f"scale of {column.name}", value=value, evidence="station file", confidence=1.0)
    usual = spread(without_sentinels(column.values))
    plan = PressurePlan(column=column.name, points=points, usual=usual, assumptions=(fact,))
    if given.sense == "vacuum":
        return replace(plan, factor=-1.0), []
    return (_below_ambient(plan, _along(column.values, points), ambient) if given.sense == "absolute" else plan), []


def _by_preamble(column: Column, scale: SensorScale, ambient: Ambient) -> tuple[PressurePlan | None, list[Question]]:
    """The scale that stands above the columns; the readings must show the sense that it gives, or that is said."""
    kpa = _along(without_sentinels(column.values), scale.points)
    found = _sense(kpa, column, scale.sense or column.hints.sense)
    if found is None:
        return None, [ask_unit(column)]
    plan, _ = _scaled(column, Channel(scale=scale.points, sense=found[0]), ambient)
    facts = [replace(plan.assumptions[0], evidence=scale.line, confidence=0.95), *plan.assumptions[1:]]
    facts.append(Assumption(what=f"sense of {column.name}", value=found[0], evidence=found[1], confidence=found[2]))
    return replace(plan, sense=found[0], assumptions=tuple(facts)), []
