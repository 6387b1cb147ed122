"""Units of time written with a factor: "x100us", "0.1 ms", "1e-4 s", "100 µs/count"."""

import re
import unicodedata

from tracekit.errors import UsageError
from tracekit.units import TimeUnit, time_unit

_FACTOR = r"(?P<factor>1/\d+|10\^-?\d+|\d+(?:[.,]\d+)?(?:e[+-]?\d+)?)"
_BEFORE = re.compile(
    rf"(?:[x*×·]\s?)?{_FACTOR}\s?(?:[x*×·]\s?)?(?P<unit>[^\W\d]+)(?:\s?(?:/|per)\s?(?:count|tick|digit|lsb|inc)s?)?",
    re.IGNORECASE,
)
_BEHIND = re.compile(r"(?<![^\W\d])(?P<unit>[^\W\d]+?)\s*(?P<sign>[x*×·/])\s?(?P<factor>\d+)(?![^\W_])", re.IGNORECASE)
_NEAR = re.compile(rf"(?<![\w.,]){_FACTOR}\s?(?P<unit>[^\W\d_]+)(?!\w)", re.IGNORECASE)
_TRAILING = re.compile(
    rf"(?:\bin\s+|/\s*|(?<!\w)(?=[x*×·]))(?P<size>(?:[x*×·]\s?)?{_FACTOR}\s?[^\W\d_]+)\s*$", re.IGNORECASE
)


def doubtful_factors(name: str) -> tuple[TimeUnit, ...]:
    """The sizes of a count that a factor beside a unit of time in a name may mean; empty where none is beside one.

    A factor behind the unit may be what the readings are multiplied by or what multiplies them: both are named.
    """
    bare = re.sub(r"[\[\]()<>{}]", "  ", unicodedata.normalize("NFKC", name))
    found = []
    for match in _BEHIND.finditer(bare):
        unit, factor = _known(match["unit"]), float(match["factor"])
        if unit is not None and factor > 0:
            sizes = unit.seconds / factor, unit.seconds * factor
            found += [TimeUnit(symbol=match[0].strip(), seconds=s) for s in sizes[:: -1 if match["sign"] == "/" else 1]]
    for match in () if found else _NEAR.finditer(bare):
        size = find_time_multiple(match[0])
        found += [] if size is None else [size]
    return tuple(found)


def trailing_multiple(name: str) -> TimeUnit | None:
    """The size of a count that stands behind a name: "time in 10 ms", "time x0.1ms", "time/10ms"."""
    match = _TRAILING.search(unicodedata.normalize("NFKC", name))
    return find_time_multiple(match["size"]) if match is not None else None


def _known(unit: str) -> TimeUnit | None:
    try:
        return time_unit(unit)
    except UsageError:
        return None


def find_time_multiple(text: str) -> TimeUnit | None:
    """The unit that a text writes as a multiple of a known one, the size of a count; None where it does not."""
    written = text.strip().strip("[]()")
    match = _BEFORE.fullmatch(written)
    if match is None:
        return None
    unit = _known(match["unit"])
    if unit is None:
        return None
    factor = match["factor"].replace(",", ".")
    whole, _, part = factor.partition("/")
    size = float(f"1e{factor[3:]}") if factor.startswith("10^") else float(whole) / float(part or 1)
    return TimeUnit(symbol=written, seconds=size * unit.seconds) if size > 0 else None
