"""Free lines that say a fact in two parts, or as a sentence."""

import re
from collections.abc import Sequence

from tracekit.read.multiples import find_multiple, find_spelled
from tracekit.read.words import fold
from tracekit.units import PressureUnit, Sense, find_pressure_unit

_LEAD, _TAIL = " \t\"#;%/*'", ' \t";,'
_LONGEST = 500  # a fact's line is short; an expression that looks ahead would take long over a long one
_UNIT_OF = re.compile(
    r"(?P<of>[^:=;\t,]*?)(?:unit|einheit|unite|unidad|unita|eenheid)s?\s*[:=;\t,]\s*(?P<unit>[^\W\d]{1,4})"
)
_NUMBER_OF = re.compile(r"(?P<of>[^:=;\t,]*)[:=;\t,]\s*\d+(?:[.,]\d+)?")
_SENTENCE = re.compile(
    r"(?:^\W*|[,;:.(]\s*|\b(?:all|the|cup|vacuum|alle|die|les|las|le|todas|tutte|toutes)\s+)"
    r"(?:pressures?|vacuum|druck|drucke|druecke|unterdruck|pressions?|presion(?:es)?|pressioni?)\b[^:;,.\d]{0,30}?"
    r"\b(?:in|en)\s+(?P<unit>[^\W\d][^\s,;.()]*(?:\s?\([^\W\d_]+\))?)(?!\s*(?:/|per\b|pro\b|par\b|por\b))"
)


def bared(line: str) -> str:
    """A free line without its marks of a comment, quotes and empty cells; of a very long one the beginning."""
    line = line[:_LONGEST].strip()
    if line[:1] in ("{", '"') and '":' in line:  # a member of an object of JSON
        line = line.lstrip("{ ").rstrip("}, ").replace('":', ":")
    return line.lstrip(_LEAD).rstrip(_TAIL)


def with_split_units(lines: Sequence[str]) -> list[str]:
    """The lines, with the unit that a line of its own tells ("Interval unit: ms") behind the number of its fact."""
    units: dict[str, set[str]] = {}
    for line in lines:
        match = _UNIT_OF.fullmatch(fold(bared(line)))
        if match is not None and _squeezed(match["of"]):
            units.setdefault(_squeezed(match["of"]), set()).add(match["unit"])
    if not units:
        return list(lines)
    return [_with_unit(line, units) for line in lines]


def _with_unit(line: str, units: dict[str, set[str]]) -> str:
    match = _NUMBER_OF.fullmatch(fold(bared(line)))
    own = units.get(_squeezed(match["of"]), set()) if match is not None else set()
    return f"{line.rstrip(' ;,' + chr(9) + chr(34))} {min(own)}" if len(own) == 1 else line


def _squeezed(text: str) -> str:
    return re.sub(r"[\s_.-]", "", text)


def pressure_sentence(lines: Sequence[str]) -> tuple[PressureUnit, Sense | None, str] | None:
    """Unit, sense and line of a sentence such as "all pressures in mbar (gauge)"; None where sentences differ."""
    found: list[tuple[PressureUnit, Sense | None, str]] = []
    for line in lines:
        for match in _SENTENCE.finditer(fold(line)):
            text = match["unit"]
            known = find_pressure_unit(text) or find_multiple(text) or find_spelled(text)
            if known is not None:
                found.append((*known, line.strip()))
    return found[0] if len({(unit.kpa, sense) for unit, sense, _ in found}) == 1 else None
