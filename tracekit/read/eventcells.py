"""Cells that tell an event, "supply ON", and names of signals beside their levels: the levels of one signal."""

import re

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.read.columns import Column
from tracekit.read.levels import level_of_change
from tracekit.read.values import column_numbers, is_texty, word_codes, word_levels
from tracekit.read.words import hints

_PARTS = re.compile(r"\s*[;,+|&]\s*")
_LAST = re.compile(r"(?P<name>.*?[^\s:=_-])\s*[\s:=_-]\s*(?P<level>[^\s:=_-]+)")
_TURNED = re.compile(
    r"\s+(?:was |is |has )?(?:switched|turned|changed(?: to)?|set(?: to)?|goes|went|is|was|=>|->|→)$", re.IGNORECASE
)
_TWICE = re.compile(r"(?P<level>[\s:=_-][01])\s?\((?P<word>[^()]{1,12})\)?$")
"""A level and the word for it, "1 (ON)"."""
_FIRST = re.compile(r"(?P<level>[^\s:=_-]+)[\s:]+(?P<name>.*[^\s:=_-])")


def parts_of(cell: str) -> list[tuple[str, int]]:
    """Signals that a cell names and their levels; empty where one of its parts names none."""
    found = []
    for part in _PARTS.split(cell.strip()):
        event = _event(part)
        if event is None:
            return []
        found.append(event)
    return found


def _event(part: str) -> tuple[str, int] | None:
    """The signal of a part and its level, which stands behind its name or before it."""
    found = []
    twice = _TWICE.search(part)
    if twice is not None and _level(twice["word"]) in (None, int(twice["level"][1:])):
        part = part[: twice.end("level")]
    for form in (_LAST, _FIRST):
        match = form.fullmatch(part)
        level = None if match is None else _level(match["level"])
        if match is not None and level is not None:
            found.append((_TURNED.sub("", match["name"]), level))
    return max(found, key=lambda event: max(hints(event[0]).roles.values(), default=0.0), default=None)


def _level(word: str) -> int | None:
    return int(word) if word in ("0", "1") else level_of_change(word)


def event_levels(array: pa.Array, signal: str) -> NDArray[np.int8]:
    """The level to which each row switches a signal, -1 where it does not, shape (n,)."""
    codes, words = word_codes(array)
    table = [next((v for name, v in reversed(parts_of(w)) if name == signal), -1) for w in words]
    return np.array([*table, -1], np.int8)[codes]


def listed_levels(names: pa.Array, levels: pa.Array, column: Column, signal: str) -> NDArray[np.int8]:
    """The same where a column of names stands beside one of levels, shape (n,)."""
    codes, words = word_codes(names)
    own = np.array([*(w.strip() == signal for w in words), False])[codes]
    if is_texty(levels) and column.kind != "number":
        known = change_levels(levels)
    else:
        values = column_numbers(levels, column.profile.form)
        known = np.where(np.isfinite(values), (values != 0).astype(np.int8), np.int8(-1))
    return np.where(own, known, np.int8(-1))


def change_levels(array: pa.Array) -> NDArray[np.int8]:
    """Levels of a column of words that tell changes, -1 where one means neither, shape (n,)."""
    _, words = word_codes(array)
    return word_levels(array, {w.strip(): v for w in words if (v := level_of_change(w)) is not None})
