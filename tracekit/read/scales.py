"""Two points of a sensor's scale in free lines: "4 mA = 0 kPa, 20 mA = -100 kPa", "0..10 V = 0..-1 bar"."""

import re
from collections.abc import Sequence

from tracekit.frozen import dataclass
from tracekit.read.multiples import find_spelled
from tracekit.units import Sense

_NUMBER = r"(?<!\d)[-+\u2212]?\d++(?:[.,]\d++)?"  # figures are taken whole: a long run of them costs its length
_RAW = r"(?P<raw>mA|mV|V|counts?|digits?|inc|LSB)"
_IS = r"\s*(?:=+>?|->|→|:|≙|≅|is|entspricht|corresponds to)\s*"
_TO = r"\s*(?:\.{2,3}|…|–|to|bis|a|à|до|~)\s*"
_UNIT = r"(?P<unit>[^\W\d_][^\s,;|\t\"]*(?:\s(?:abs|rel|gauge|absolut\w*|relativ\w*)\w*)?)"
_POINT = re.compile(rf"(?P<at>{_NUMBER})\s*{_RAW}{_IS}(?P<value>{_NUMBER})\s*{_UNIT}", re.IGNORECASE)
_RANGE = re.compile(
    rf"(?P<low>{_NUMBER})(?:{_TO}|\s*-\s*)(?P<high>{_NUMBER})\s*{_RAW}{_IS}"
    rf"(?P<first>{_NUMBER}){_TO}(?P<last>{_NUMBER})\s*{_UNIT}",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorScale:
    """Points (raw, kPa) of a straight scale, the unit of the raw readings, the sense where it is said, the line."""

    raw_unit: str
    points: tuple[tuple[float, float], ...]
    sense: Sense | None
    line: str


def find_scale(lines: Sequence[str]) -> SensorScale | None:
    """The scale that free lines tell, None where they tell none or several."""
    found = [s for line in lines if (s := _of_line(line)) is not None]
    if not found:
        joint = _of_line("; ".join(lines))
        return joint if joint is not None and len(joint.points) == 2 else None
    return found[0] if all(s.points == found[0].points for s in found) else None


def _of_line(line: str) -> SensorScale | None:
    pairs, units, raws = [], [], []
    for m in _RANGE.finditer(line):
        pairs += [(m["low"].lstrip("-"), m["first"]), (m["high"], m["last"])]
        units.append(m["unit"])
        raws.append(m["raw"])
    for m in _POINT.finditer(line) if not pairs else ():
        pairs.append((m["at"], m["value"]))
        units.append(m["unit"])
        raws.append(m["raw"])
    known = {find_spelled(u.strip("()[]. ")) for u in units}
    if len(pairs) != 2 or len(known) != 1 or len({r.casefold() for r in raws}) != 1:
        return None
    unit = known.pop()
    points = sorted((_value(raw), _value(value)) for raw, value in pairs)
    if unit is None or points[0][0] == points[1][0] or points[0][1] == points[1][1]:
        return None
    scaled = tuple((raw, value * unit[0].kpa) for raw, value in points)
    return SensorScale(raw_unit=raws[0], points=scaled, sense=unit[1], line=line.strip())


def _value(text: str) -> float:
    return float(text.replace(",", ".").replace("\u2212", "-"))
