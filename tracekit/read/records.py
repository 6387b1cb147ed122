"""Lines that are flat records of JSON whose names stand in an order of their own in each: values side by side."""

import json
import re
from collections import Counter
from collections.abc import Sequence

from tracekit.read.nested import Nested
from tracekit.read.words import hints

_LOOKED_AT, _FEWEST, _ALIKE, _MOST = 200, 5, 0.98, 60
_VALUE = r'("(?:[^"\\\n]|\\.)*"|[^\s",{}\[\]]+)'


def find_flat(lines: Sequence[str]) -> Nested | None:
    """How flat records hold the channels, None where lines are none, have one order, or name different channels."""
    written = [line.strip() for line in lines if line.strip()]
    body = written[int(len(written) * 0.4) :][:_LOOKED_AT]
    if len(body) < _FEWEST or not body[0].startswith("{"):
        return None
    orders = Counter(order for order in map(_order, body) if order)
    named = Counter(name for order, often in orders.items() for name in order for _ in range(often))
    if len(orders) < 2 or orders.total() < _ALIKE * len(body) or not 2 <= len(named) <= _MOST:
        return None
    if min(named.values()) < _ALIKE * len(body):
        return None
    names = orders.most_common(1)[0][0]
    known = [hints(n) for n in names]
    if not any(h.weight("pressure") or h.pressure_unit is not None for h in known):
        return None
    evidence = f"flat records in {len(orders)} orders of their {len(names)} names: values stand by name"
    return Nested(names=names, pattern=_pattern(names), evidence=evidence)


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


def _pattern(names: Sequence[str]) -> bytes:
    """What finds the values of a record in whatever order they stand, as many as there are names."""
    ahead = "".join(rf"(?=[^\n]*?[{{,][ \t]*(?:{_spelled(name)})[ \t]*:[ \t]*{_VALUE})" for name in names)
    item = r'"(?:[^"\\\n]|\\.)*"[ \t]*:[ \t]*(?:"(?:[^"\\\n]|\\.)*"|[^\s",{}\[\]]+)[ \t]*'
    return (
        rf"(?m)^(?>[ \t]*){ahead}\{{[ \t]*(?:{item},[ \t]*){{{len(names) - 1}}}{item}\}}[ \t]*,?[ \t]*\r?$"
    ).encode()


def _spelled(name: str) -> str:
    return f"{re.escape(json.dumps(name, ensure_ascii=False))}|{re.escape(json.dumps(name))}"
