"""Which columns of a log with a row per reading hold tags, values, units."""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column
from tracekit.read.digitals import filled_cells
from tracekit.read.head import Head, finite
from tracekit.read.headers import is_unit
from tracekit.read.pairs import HIGHEST, LOWEST, MEANS
from tracekit.read.rising import rises
from tracekit.read.values import column_numbers, word_codes
from tracekit.read.words import fold, hints
from tracekit.units import find_pressure_unit

MOST_TAGS, MIXED_SHARE, _SAID = 400, 0.6, 0.9
_UNIT_NAMES = frozenset({
    "unit", "units", "einheit", "unite", "unidad", "unidade", "unita", "eenheid", "jednostka", "jednotka", "enhet",
    "enhed", "yksikko", "birim", "uom", "eu", "engineering unit", "единица", "единицы", "单位", "単位", "단위",
})  # fmt: skip
"""What a column of units is called, folded (from memory, not verified)."""


def without_time(values: Sequence[Column]) -> list[Column]:
    """The one of two columns of numbers without names that does not go on as time does; empty where both or none do."""
    left = [c for c in values if c.kind != "number" or not rises(c.values, wraps=False)]
    return left if len(left) == 1 else []


def shares_tags(column: Column, tag: Column) -> bool:
    """True for a column of stations, several of which have the same tags."""
    whole = column.kind == "number" and column.profile.whole and column.levels <= MOST_TAGS
    if column.hints.weight("station") < 0.9 or not (whole or column.kind == "text"):
        return False
    return len(tags_of(tag.array, column.array)[1]) > len(tags_of(tag.array, None)[1])


def tags_of(tags: pa.Array, stations: pa.Array | None) -> tuple[NDArray[np.int64], list[str]]:
    """Positions of the tags of some rows in a list of them, -1 where missing, with the station before each."""
    codes, words = word_codes(tags)
    names = [w.strip() for w in words]
    if stations is None:
        return codes, names
    places, where = word_codes(stations)
    both = np.where((codes >= 0) & (places >= 0), places * len(names) + codes, -1)
    known, index = np.unique(both, return_inverse=True)
    first = int(len(known) > 0 and known[0] < 0)
    pairs = [divmod(k, len(names)) for k in known[first:].tolist()]
    return index.reshape(-1) - first, [f"{where[s].strip().removesuffix('.0')} {names[t]}" for s, t in pairs]


def by_turns(first: Column, second: Column) -> bool:
    """True where every row has its value in one of two columns, never in both: numbers here, levels there."""
    return not (filled_cells(first.array) & filled_cells(second.array)).any()


def values_among(columns: Sequence[Column]) -> list[Column]:
    """Columns of values: those that are called so, else those of numbers, some with words among them."""
    values = [c for c in columns if not c.hints.weight("time") and not holds_units(c)]
    named = [c for c in values if c.hints.weight("value") >= 0.9]
    return named or _middles([c for c in values if c.kind == "number" or _mixed(c)])


def _middles(columns: Sequence[Column]) -> list[Column]:
    """The column of averages where the others are lowest and highest readings; else all."""
    averages = [c for c in columns if not MEANS.isdisjoint(c.hints.tokens)]
    extremes = [c for c in columns if not (LOWEST | HIGHEST).isdisjoint(c.hints.tokens)]
    return averages if len(averages) == 1 and len(extremes) == len(columns) - 1 > 0 else list(columns)


def names_channels(column: Column) -> bool:
    """True where the words are names of channels, one of them a pressure."""
    known = [hints(word) for word in column.words]
    valves = any(h.weight("supply") >= 0.9 for h in known) and any(h.pressure_unit is not None for h in known)
    if column.hints.weight("station") >= 1 and not column.hints.weight("tag") and not valves:
        return False
    pressures = [h for h in known if h.weight("pressure") >= 0.9 or h.pressure_unit is not None]
    return bool(pressures) and (column.hints.weight("tag") >= 0.9 or len(known) > len(pressures))


def _mixed(column: Column) -> bool:
    """True for words among numbers, as where levels are written beside readings."""
    if column.kind not in ("text", "level"):
        return False
    return bool(np.isfinite(column_numbers(column.array, column.profile.form)).mean() > 1 - MIXED_SHARE)


def holds_units(column: Column) -> bool:
    """True for a column of units, or one that is called so and holds that of a pressure among others."""
    if column.kind != "text":
        return False
    if all(is_unit(w) for w in column.words):
        return True
    said = fold(column.name) in _UNIT_NAMES
    return said and any(find_pressure_unit(w.strip("[](){}<> ")) is not None for w in column.words)


def named_table(head: Head, texts: Sequence[Column]) -> list[Column]:
    """The column of tags where the header says so, "VarName" beside "VarValue", whatever the channels are called.

    One of them takes many values: where none does the table lists events.
    """
    tags = [c for c in texts if c.hints.weight("tag") >= _SAID > c.hints.weight("value")]
    valued = [c for c in head.columns if c.kind not in ("stamp", "moment", "empty")]
    values = [c for c in valued if c.hints.weight("value") >= _SAID]
    if len(tags) != 1 or len(values) != 1 or values[0] is tags[0]:
        return []
    codes, words = tags_of(tags[0].array, None)
    numbers = column_numbers(values[0].array, values[0].profile.form)
    most = max((len(np.unique(finite(numbers[codes == k]))) for k in range(len(words))), default=0)
    return tags if most > EVIDENCE.signal_levels else []
