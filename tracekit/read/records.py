"""Lines that are flat records of JSON whose names differ in their order, or of which some are left out."""

import json
import re
from collections import Counter
from collections.abc import Sequence

from tracekit.options.evidence import EVIDENCE
from tracekit.read.keyed import Shared, in_one_row
from tracekit.read.nested import Nested

_VALUE = r'("(?:[^"\\\n]|\\.)*"|[^\s",{}\[\]]+)'


def find_flat(written: Sequence[str]) -> Nested | None:
    """How flat records hold the channels, None where lines are none, or all name the same in one order.

    `written` are the lines that hold something, without blanks at their ends.
    """
    body = written[int(len(written) * EVIDENCE.skipped_share) :]
    if len(body) < EVIDENCE.fewest_lines or not body[0].startswith("{"):
        return None
    orders = Counter(order for order in map(_order, written) if order)
    if len(orders) < 2 or orders.total() < EVIDENCE.alike_lines * len(written):
        return None
    shared = in_one_row(orders, orders.total())
    if not shared.names:
        return None
    evidence = f"flat records that name {len(shared.names)} values in {len(orders)} ways: values stand by name"
    return Nested(names=shared.names, pattern=_pattern(shared), evidence=evidence)


def _order(line: str) -> tuple[str, ...]:
    """The names of a flat record as they stand; empty for a line that is none, or names something twice."""
    try:
        pairs = json.loads(line.rstrip(","), object_pairs_hook=list)
    except (ValueError, RecursionError):
        return ()
    if not isinstance(pairs, list) or any(not isinstance(p, tuple) or isinstance(p[1], list) for p in pairs):
        return ()
    names = tuple(name for name, _ in pairs)
    return names if len(set(names)) == len(names) else ()


def _pattern(shared: Shared) -> bytes:
    """What finds the values of a record in whatever order they stand, nothing for those that it lacks."""
    found = [(n, rf"(?=[^\n]*?[{{,][ \t]*(?:{_spelled(n)})[ \t]*:[ \t]*{_VALUE})") for n in shared.names]
    ahead = "".join(pattern if n in shared.always else rf"(?:{pattern}|)" for n, pattern in found)
    known = "|".join(map(_spelled, shared.names))
    item = rf'(?:{known})[ \t]*:[ \t]*(?:"(?:[^"\\\n]|\\.)*"|[^\s",{{}}\[\]]+)[ \t]*'
    return rf"(?m)^(?>[ \t]*){ahead}\{{[ \t]*{item}(?:,[ \t]*{item})*\}}[ \t]*,?[ \t]*\r?$".encode()


def _spelled(name: str) -> str:
    return f"{re.escape(json.dumps(name, ensure_ascii=False))}|{re.escape(json.dumps(name))}"
