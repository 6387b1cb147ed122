"""Lists above the rows that say what columns, or the bits of a word, are."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from tracekit.errors import LogReadError, message
from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column, Profile, padded_hex
from tracekit.read.headers import is_unit
from tracekit.read.words import hints, tokens_of

_SAYS_BITS = re.compile(r"\bbits?(?:\b|\d)", re.IGNORECASE)
_SAYS_UNITS = re.compile(r"\bunits?\b", re.IGNORECASE)
_BIT = re.compile(
    r"(?:\bbit\s*|[:;,|]\s*)(?P<place>\d{1,2})(?:\s*[=:]\s*|\s+)(?P<name>[^\W\d][^,;|\t\"]*)", re.IGNORECASE
)
_CELLS = re.compile(r"\s*[\t;,|=]\s*|\s*:\s+|\s{2,}")
_BITS_DOWN = re.compile(r"\b\d{1,2}\s?(?:\.\.|:|-)\s?0\b")
_FIGURES = re.compile(r"[0-9A-Fa-f]{1,8}")
_FEWEST, _MOST_STATES = 2, 64


def with_legends(columns: Sequence[Column], preamble: Sequence[str]) -> tuple[Column, ...]:
    """The columns with what lists above them say of their names and bits; names stay as the header has them."""
    if not preamble:
        return tuple(columns)
    told = _channels({c.name for c in columns}, preamble)
    units = _units_above(columns, preamble)
    told = {**{name: (name, unit) for name, unit in units.items() if unit}, **told}
    named = [_described(c, told) for c in columns]
    words = [c for c in named if _may_be_word(c)]
    lines = [line for line in preamble if _SAYS_BITS.search(line)]
    bits = {line: {int(m["place"]): m["name"].strip() for m in _BIT.finditer(line)} for line in lines}
    for line, found in bits.items():
        own = [c for c in words if re.search(rf"(?<!\w){re.escape(c.name)}(?!\w)", line)] or words
        if len(own) == 1 and found:
            place = next(k for k, c in enumerate(named) if c is own[0])
            named[place] = replace(named[place], bits={**named[place].bits, **found})
            words[next(k for k, c in enumerate(words) if c is own[0])] = named[place]
    return tuple(named)


def _channels(names: set[str], preamble: Sequence[str]) -> Mapping[str, tuple[str, str]]:
    """What lines say of columns that they begin with, and the units behind; empty where fewer than two do."""
    found: dict[str, tuple[str, str]] = {}
    for line in preamble:
        cells = [c.strip(' "') for c in _CELLS.split(line.strip(" #;*"))]
        rest = [c for c in cells[1:] if any(map(str.isalpha, c))]
        if cells[0] in names and rest and cells[0] not in found:
            found[cells[0]] = (rest[0], next((c for c in rest[1:] if is_unit(c)), ""))
    return found if len(found) >= _FEWEST else {}


def _units_above(columns: Sequence[Column], preamble: Sequence[str]) -> Mapping[str, str]:
    """The units of columns without one that a line of units for all columns but the first tells, as scopes write it."""
    for line in preamble:
        cells = [c.strip(' "') for c in re.split(r"[;,\t]", line)]
        if len(cells) == len(columns) > 1 and _SAYS_UNITS.search(cells[0]) and all(map(is_unit, cells[1:])):
            return {c.name: unit for c, unit in zip(columns[1:], cells[1:], strict=True) if not c.unit.strip()}
    return {}


def check_numbered(columns: Sequence[Column], preamble: Sequence[str], name: str) -> None:
    """Raise LogReadError for a row per reading whose channel is a number that lines above the header name."""
    for column in columns if preamble else ():
        if not _may_be_word(column) or column.levels < _FEWEST:
            continue
        told = _channels({f"{v:.0f}" for v in np.unique(column.values[np.isfinite(column.values)])}, preamble)
        known = [hints(text, unit) for text, unit in told.values()]
        if len(told) == column.levels and any(h.weight("pressure") and h.pressure_unit for h in known):
            shown = ", ".join(f'{number} is "{text}"' for number, (text, _) in told.items())
            found = f'"{column.name}" holds numbers of channels, which lines above the header name: {shown}'
            todo = "Write the names in the place of the numbers, or export a column for each channel."
            raise LogReadError(message(name, found, "names of channels beside their values", todo))


def _described(column: Column, told: Mapping[str, tuple[str, str]]) -> Column:
    """A column that a list describes, unless its own name says more."""
    if column.name not in told or any(w >= 1 for w in column.hints.roles.values()):
        return column
    name, unit = told[column.name]
    unit = column.unit if column.unit.strip("-– ") else unit
    return replace(column, unit=unit, hints=hints(name, unit))


def padded_words(
    profiles: Sequence[Profile], names: Sequence[str], samples: Sequence[Sequence[str]], preamble: Sequence[str]
) -> list[Profile]:
    """The profiles with base 16 for words that a legend of bits names and whose figures are padded, without a mark."""
    lines = [line for line in preamble if _SAYS_BITS.search(line)]
    found = list(profiles)
    for place, (profile, name) in enumerate(zip(profiles, names, strict=True)):
        told = any(re.search(rf"(?<!\w){re.escape(name)}(?!\w)", line) for line in lines)
        plain = profile.kind == "number" and profile.whole and profile.form.base == 10
        written = [s[place].strip() for s in samples if len(s) == len(names)]
        bare = [cell.replace(" ", "") for cell in written]
        if (plain or profile.kind == "text") and _is_binary(name, bare, parted=bare != written):
            found[place] = replace(profile, kind="number", whole=True, form=replace(profile.form, base=2, mark=""))
        elif "hex" in tokens_of(name) and any(bare) and all(_FIGURES.fullmatch(cell) for cell in bare if cell):
            found[place] = replace(profile, kind="number", whole=True, form=replace(profile.form, base=16, mark=""))
        elif told and plain and padded_hex([s[place].strip() for s in samples if len(s) == len(names)]):
            found[place] = replace(profile, form=replace(profile.form, base=16))
    return found


def _is_binary(name: str, cells: Sequence[str], *, parted: bool) -> bool:
    """True for cells of as many figures 0 and 1 each, of several kinds, or where the name counts bits down to 0.

    Few figures that blanks part are rather a state each.
    """
    widths, kinds = {len(c) for c in cells}, set(cells)
    if len(widths) != 1 or not all(set(c) <= {"0", "1"} for c in kinds):
        return False
    most, named = widths.pop(), _BITS_DOWN.search(name) is not None
    led = any(c.startswith("0") for c in kinds) and not parted  # no number is written so
    return len(kinds) > 1 and (most > 1 if named else most >= EVIDENCE.binary_figures - led and len(kinds) > 2)


def _may_be_word(column: Column) -> bool:
    return column.kind == "number" and column.profile.whole and 1 < column.levels <= _MOST_STATES
