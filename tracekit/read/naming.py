"""Lines that name every value: "t=0.01;p=-57.3", "10:17:14 INFO vacuum_kPa=-57.3 suction=1", flat records of JSON."""

import re
from collections.abc import Sequence

from tracekit.frozen import dataclass
from tracekit.read.cells import is_reading
from tracekit.read.sniff import split
from tracekit.read.words import hints

_CELL = re.compile(r"""\{?\s*["']?(?P<name>[^\W\d][^=:;,|"']{0,40}?)["']?\s?(?P<sign>[=:])\s?(?P<value>.*)""")
_BRACKETS = rb"(?m)^([ \t]*)\[([^\[\]\n]*)\]"
_LOOKED_AT, _FEWEST, _ALIKE = 200, 5, 0.98


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """Fields of which some hold "name=value": the names by place, empty where there is none, and what to take out."""

    names: tuple[str, ...]
    pattern: bytes
    evidence: str


def find_named(filled: Sequence[str]) -> Named | None:
    """How fields name their values, None where they do not: names alike in every row, a pressure among them.

    `filled` are the lines that hold something.
    """
    body = filled[int(len(filled) * 0.4) :][:_LOOKED_AT]
    if len(body) < _FEWEST or not any(sign in body[0] for sign in "=:"):
        return None
    for delimiter in (";", "\t", "|", ",", " "):
        rows = [split(line, delimiter) for line in body]
        size = len(rows[-1])
        alike = [r for r in rows if len(r) == size]
        if size < 2 or len(alike) < _ALIKE * len(rows):
            continue
        names = tuple(_name_at([r[k] for r in alike]) for k in range(size))
        known = [hints(n) for n in names if n]
        pressures = [h for h in known if h.weight("pressure") >= 0.9 or h.pressure_unit is not None]
        if pressures and len(pressures) < len(known):
            steps = "".join(rf"""(?>([^\n]*?)["']?(?<!\w){re.escape(n)}["']?[ \t]?[=:][ \t]?)""" for n in names if n)
            # a run of blanks is taken whole: tried from each of its places, a long one would cost its square
            pattern = rf"(?m)^[ \t]*+\{{?[ \t]*+{steps}(?>((?:[^\n \t]|[ \t]++)*?)[ \t]*+\}}?,?\r?$)".encode()
            return Named(names=names, pattern=pattern, evidence=f"{len(known)} fields of every line name their value")
    return None


def _name_at(cells: Sequence[str]) -> str:
    """The name that the cells of one place share before their values; empty where they name nothing."""
    found = [_CELL.fullmatch(c.strip().rstrip("}")) for c in cells]
    names = {m["name"].strip() for m in found if m is not None}
    sound = sum(1 for m in found if m is not None and is_reading(m["value"].strip().strip('"')))
    return names.pop() if len(names) == 1 and sound >= _ALIKE * len(cells) else ""


def without_names(text: bytes, named: Named) -> bytes:
    """Lines without the names of their values; a line that names others, or in another order, stays as it is.

    Square brackets about what stands first, a stamp mostly, go too.
    """
    text = re.sub(_BRACKETS, rb"\1\2", text)
    places = range(1, sum(map(bool, named.names)) + 2)
    return re.sub(named.pattern, b"".join(b"\\g<%d>" % k for k in places), text)
