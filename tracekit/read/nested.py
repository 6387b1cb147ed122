"""Lines that are records of JSON with records or lists inside them, alike in every line: their values side by side."""

import json
import re
from collections import Counter
from collections.abc import Iterator, Sequence

from tracekit.frozen import dataclass
from tracekit.read.headers import is_unit
from tracekit.read.words import hints

Path = tuple[str | int, ...]
Leaf = str | float | bool | None

_LOOKED_AT, _FEWEST, _ALIKE, _MOST = 100, 5, 0.9, 60
_BARE = frozenset({"value", "val", "v", "state", "level", "reading", "raw", "data"})
_VALUE = r'("(?:[^"\\\n]|\\.)*"|[^\s",{}\[\]]+)'


@dataclass(frozen=True, slots=True, kw_only=True)
class Nested:
    """The names of the values of every record by place, empty for those left out, and what takes the values out."""

    names: tuple[str, ...]
    pattern: bytes
    evidence: str


def find_nested(written: Sequence[str]) -> Nested | None:
    """How records inside records hold the channels; None where lines are no such records, or differ in their form.

    `written` are the lines that hold something, without blanks at their ends.
    """
    body = written[int(len(written) * 0.4) :][:_LOOKED_AT]
    if len(body) < _FEWEST or not body[0].startswith(("{", "[")):
        return None
    made = [record for record in map(_record, body) if record is not None]
    if len(made) < _ALIKE * len(body):
        return None
    found = [list(_leaves(record, ())) for record in made]
    forms = Counter(tuple(path for path, _ in leaves) for leaves in found)
    paths, count = forms.most_common(1)[0]
    if count < _ALIKE * len(body) or not 2 <= len(paths) <= _MOST or max(map(len, paths)) < 2:
        return None
    alike = [k for k, leaves in enumerate(found) if tuple(path for path, _ in leaves) == paths]
    names = _names(paths, [[found[k][place][1] for k in alike] for place in range(len(paths))])
    known = [hints(n) for n in names if n]
    if not any(h.weight("pressure") or h.pressure_unit is not None for h in known):
        return None
    evidence = f"records inside records: {len(known)} values stand side by side, in the order of the first record"
    return Nested(names=tuple(n for n in names if n), pattern=_pattern(made[alike[0]], names), evidence=evidence)


def _record(line: str) -> dict[str, object] | None:
    """The record that a line is, None where it is none."""
    start = line.lstrip("[").strip()
    for text in (line.rstrip(","), start.rstrip(","), start.rstrip(",").removesuffix("]")):
        try:
            made = json.loads(text)
        except (ValueError, RecursionError):
            continue
        if isinstance(made, dict):
            return made
    return None


def _leaves(made: object, path: Path) -> Iterator[tuple[Path, Leaf]]:
    if isinstance(made, dict):
        for key, value in made.items():
            yield from _leaves(value, (*path, key))
    elif isinstance(made, list):
        for place, value in enumerate(made):
            yield from _leaves(value, (*path, place))
    elif made is None or isinstance(made, str | float | int):
        yield path, made


def _names(paths: Sequence[Path], values: Sequence[Sequence[Leaf]]) -> list[str]:
    """Names by the last word of the way that tells something, by the whole way where those are alike.

    A unit beside a value stands behind the value's name and is no column of its own.
    """
    units = {p[:-1]: str(own[0]) for p, own in zip(paths, values, strict=True) if len(p) > 1 and _is_unit(own)}
    named = [p for p, own in zip(paths, values, strict=True) if not (len(p) > 1 and _is_unit(own))]
    short = {p: _told(p) for p in named}
    counts = Counter(short.values())
    whole = {p: name if counts[name] == 1 else " ".join(map(str, p)) for p, name in short.items()}
    told = {p: f"{name} [{units[p[:-1]]}]" if p[:-1] in units else name for p, name in whole.items()}
    return [told.get(p, "") for p in paths]


def _is_unit(values: Sequence[Leaf]) -> bool:
    first = values[0]
    return isinstance(first, str) and first != "" and is_unit(first) and all(v == first for v in values)


def _told(path: Path) -> str:
    """The last part of a way without words such as "value"; a place in a list stands behind the list's name."""
    parts = [p for p in path if not (isinstance(p, str) and p.casefold() in _BARE)] or list(path)
    last = parts[-1]
    return last if isinstance(last, str) else f"{parts[-2] if len(parts) > 1 else ''}[{last}]"


def _pattern(record: object, names: Sequence[str]) -> bytes:
    """What finds the values of lines that are made like a record."""
    left = iter(names)
    inside = r"[ \t]*".join(_tokens(record, left))
    return (r"(?m)^[ \t\[]*" + inside + r"[ \t]*\]?,?[ \t\]]*\r?$").encode()


def _tokens(made: object, names: Iterator[str]) -> Iterator[str]:
    """The parts of a record, each as a pattern; values without a name are passed over."""
    if isinstance(made, dict | list):
        items = list(made.items()) if isinstance(made, dict) else [("", v) for v in made]
        yield r"\{" if isinstance(made, dict) else r"\["
        for place, (key, value) in enumerate(items):
            if place:
                yield ","
            if isinstance(made, dict):
                yield f"(?:{re.escape(json.dumps(key, ensure_ascii=False))}|{re.escape(json.dumps(key))})"
                yield ":"
            yield from _tokens(value, names)
        yield r"\}" if isinstance(made, dict) else r"\]"
    else:
        yield _VALUE if next(names) else _VALUE.replace("(", "(?:", 1)


def without_nesting(text: bytes, nested: Nested) -> bytes:
    """Lines of values parted by commas; a line that is another record stays as it is."""
    return re.sub(nested.pattern, b",".join(b"\\g<%d>" % (k + 1) for k in range(len(nested.names))), text)
