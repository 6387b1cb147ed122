"""Checking of single tables of a station file: every fault is kept, none stops the rest."""

import math
import sys
from collections.abc import Mapping, Sequence
from typing import Any, TypeGuard

from tracekit.errors import message, nearest
from tracekit.frozen import dataclass
from tracekit.read.station_keys import SECTIONS, Key, expected


@dataclass(frozen=True, slots=True, kw_only=True)
class Faults:
    """Collects the faults of one station file, each with file, line and key.

    `lines` gives the line of a (section, key); `found` grows with every fault.
    """

    file: str
    lines: Mapping[tuple[str, str], int]
    found: list[str]

    def add(self, section: str, key: str, what: str, wanted: str, todo: str) -> None:
        """Keep one fault at `[section] key`; an empty key means the section itself."""
        line = self.lines.get((section, key)) or self.lines.get((section, ""))
        place = [self.file, f"line {line}"] if line else [self.file]
        self.found.append(message(", ".join([*place, f"[{section}] {key}".strip()]), what, wanted, todo))


def describe(value: object) -> str:
    """A TOML value as found, short."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'the text "{value[:40]}"'
    if isinstance(value, float) or is_measurable(value):
        return f"{value:g}"
    if isinstance(value, int):
        return f"a number of {len(str(value))} signs"
    return "a list" if isinstance(value, list) else "a table" if isinstance(value, dict) else "a date or time"


def is_measurable(value: object) -> TypeGuard[int | float]:
    """Whether a TOML value is a number that a float can hold; whole numbers of TOML have no end."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return abs(value) <= sys.float_info.max


def unquoted(value: object) -> object:
    """A number that was written in place of "...", its quotes left standing; any other value as it is."""
    if not isinstance(value, str):
        return value
    try:
        number = float(value)
    except ValueError:
        return value
    return number if math.isfinite(number) else value


def check_table(
    section: str,
    keys: Sequence[Key],
    table: Mapping[str, object],
    faults: Faults,
    *,
    within: str = "",
    extra: tuple[str, ...] = (),
) -> dict[str, Any]:
    """The sound values of a table by key. Unknown keys, wrong types and values out of range become faults.

    `within` names the entry where the table is an inline one; keys in `extra` are checked elsewhere.
    """
    known = {key.name: key for key in keys}
    sound: dict[str, Any] = {}
    for name, value in table.items():
        place = within or name
        if name in extra:
            continue
        if name not in known:
            todo = _other_section(section, name) or nearest(name, [*known, *extra])
            faults.add(section, place, f'unknown key "{name}"', "a known key", todo)
            continue
        numeric = known[name].kind in ("number", "whole")
        good = _sound(known[name], unquoted(value) if numeric and section == "channels" else value)
        if good is None:
            faults.add(section, place, _found(within, name, value), expected(known[name]), _todo(known[name], value))
        else:
            sound[name] = good
    return sound


def _found(within: str, name: str, value: object) -> str:
    return f"{name} is {describe(value)}" if within else f"found {describe(value)}"


def _other_section(section: str, name: str) -> str:
    homes = [other for other, keys in SECTIONS.items() if other != section and name in {k.name for k in keys}]
    return f"It belongs to [{homes[0]}]." if homes else ""


def _sound(key: Key, value: object) -> object | None:
    """The value in its Python type, or None where it may not stand at this key."""
    if key.kind == "flag":
        return value if isinstance(value, bool) else None
    if key.kind == "text":
        good = isinstance(value, str) and value.strip() != "" and (not key.choices or value in key.choices)
        return value if good else None
    if key.kind == "words":
        texts = isinstance(value, list) and all(
            isinstance(v, str) and (not key.choices or v in key.choices) for v in value
        )
        return tuple(value) if texts and isinstance(value, list) else None
    if not is_measurable(value):
        return None
    if key.kind == "whole" and value != int(value):
        return None
    if not _in_range(key, value):
        return None
    return int(value) if key.kind == "whole" else float(value)


def _in_range(key: Key, value: float) -> bool:
    return (
        (key.above is None or value > key.above)
        and (key.at_least is None or value >= key.at_least)
        and (key.at_most is None or value <= key.at_most)
    )


def _todo(key: Key, value: object) -> str:
    numeric = key.kind in ("number", "whole")
    if numeric and isinstance(value, str):
        return "Write the number without quotes and without its unit."
    if numeric and is_measurable(value) and "positive" in key.unit and value < 0:
        return f"Write {-value:g}: tracekit counts vacuum as a positive number."
    if key.kind == "text" and isinstance(value, str) and key.choices:
        return nearest(value, key.choices)
    if key.kind == "text" and not isinstance(value, str):
        return "Put it in quotes."
    return "Correct the value, or leave the key out."
