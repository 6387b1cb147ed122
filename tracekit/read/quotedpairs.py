"""Lines of names and values, some of them quoted: ts=2025-03-18T09:14:07Z msg="sample taken" pressure="-57.3 kPa"."""

import re
from collections import Counter
from collections.abc import Sequence

from tracekit.options.evidence import EVIDENCE
from tracekit.read.keyed import Keyed, has_pressure

_NAME = r"[^\W\d][^\s=\";]{0,60}+"
_VALUE = r"\"?+((?:(?<=\")[^\"\n;]*+|(?<!\")[^\s\";]*+))\"?+"
_PAIR = re.compile(rf"({_NAME})={_VALUE}(?:,?[ \t]++|$)")


def find_quoted_pairs(written: Sequence[str]) -> Keyed | None:
    """How lines hold names and values, None where none is quoted, or where they do not stand in one order.

    `written` are the lines that hold something, without blanks at their ends.
    """
    body = written[int(len(written) * EVIDENCE.skipped_share) :]
    if len(body) < EVIDENCE.fewest_lines or '="' not in "\n".join(body):
        return None
    orders = Counter(order for order in map(_names, body) if order)
    names, count = orders.most_common(1)[0] if orders else ((), 0)
    sound = 2 <= len(names) <= EVIDENCE.most_named and len(set(names)) == len(names) and has_pressure(names)
    if not sound or count < EVIDENCE.alike_lines * len(body):
        return None
    pairs = r",?[ \t]++".join(rf"{re.escape(name)}={_VALUE}" for name in names)
    evidence = f"{len(names)} names and values in every line, some of them quoted"
    return Keyed(names=names, pattern=rf"(?m)^[ \t]*+{pairs}[ \t]*+\r?$".encode(), evidence=evidence)


def _names(line: str) -> tuple[str, ...]:
    """The names of a line that holds nothing but names and values; empty for others."""
    found, place = [], 0
    while place < len(line):
        pair = _PAIR.match(line, place)
        if pair is None:
            return ()
        found.append(pair[1])
        place = pair.end()
    return tuple(found)
