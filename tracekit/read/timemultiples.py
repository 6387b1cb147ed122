"""Units of time written with a factor: "x100us", "0.1 ms", "1e-4 s", "100 µs/count"."""

import re

from tracekit.errors import UsageError
from tracekit.units import TimeUnit, time_unit

_FACTOR = r"(?P<factor>\d+(?:[.,]\d+)?(?:e[+-]?\d+)?|10\^-?\d+)"
_BEFORE = re.compile(
    rf"(?:[x*×·]\s?)?{_FACTOR}\s?(?:[x*×·]\s?)?(?P<unit>[^\W\d]+)(?:\s?(?:/|per)\s?(?:count|tick|digit|lsb|inc)s?)?",
    re.IGNORECASE,
)
_BEHIND = re.compile(rf"(?P<unit>[^\W\d]+)\s?[x*×·]\s?{_FACTOR}", re.IGNORECASE)


def find_time_multiple(text: str) -> TimeUnit | None:
    """The unit that a text writes as a multiple of a known one, the size of a count; None where it does not."""
    written = text.strip().strip("[]()")
    match = _BEFORE.fullmatch(written) or _BEHIND.fullmatch(written)
    if match is None:
        return None
    try:
        unit = time_unit(match["unit"])
    except UsageError:
        return None
    factor = match["factor"].replace(",", ".")
    size = float(f"1e{factor[3:]}") if factor.startswith("10^") else float(factor)
    return TimeUnit(symbol=written, seconds=size * unit.seconds) if size > 0 else None
