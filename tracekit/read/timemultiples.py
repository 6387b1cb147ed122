"""Units of time written with a factor: "x100us", "0.1 ms", "1e-4 s", "100 µs/count"."""

import re

from tracekit.errors import UsageError
from tracekit.units import TimeUnit, time_unit

_FACTOR = r"(?P<factor>1/\d+|10\^-?\d+|\d+(?:[.,]\d+)?(?:e[+-]?\d+)?)"
_BEFORE = re.compile(
    rf"(?:[x*×·]\s?)?{_FACTOR}\s?(?:[x*×·]\s?)?(?P<unit>[^\W\d]+)(?:\s?(?:/|per)\s?(?:count|tick|digit|lsb|inc)s?)?",
    re.IGNORECASE,
)
_BEHIND = re.compile(r"(?P<unit>[^\W\d]+)\s?(?P<sign>[x*×·/])\s?(?P<factor>\d+)", re.IGNORECASE)


def factor_behind(text: str) -> TimeUnit | None:
    """The size of a count where a factor stands behind a unit of time, if it is what the readings are multiplied by.

    It may be meant the other way round; None where none stands there.
    """
    match = _BEHIND.fullmatch(text.strip().strip("[]()"))
    try:
        unit = time_unit(match["unit"]) if match is not None else None
    except UsageError:
        return None
    if match is None or unit is None or int(match["factor"]) == 0:
        return None
    factor = float(match["factor"])
    size = unit.seconds * factor if match["sign"] == "/" else unit.seconds / factor
    return TimeUnit(symbol=text, seconds=size)


def find_time_multiple(text: str) -> TimeUnit | None:
    """The unit that a text writes as a multiple of a known one, the size of a count; None where it does not."""
    written = text.strip().strip("[]()")
    match = _BEFORE.fullmatch(written)
    if match is None:
        return None
    try:
        unit = time_unit(match["unit"])
    except UsageError:
        return None
    factor = match["factor"].replace(",", ".")
    whole, _, part = factor.partition("/")
    size = float(f"1e{factor[3:]}") if factor.startswith("10^") else float(whole) / float(part or 1)
    return TimeUnit(symbol=written, seconds=size * unit.seconds) if size > 0 else None
