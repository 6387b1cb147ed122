"""Which columns may be the pressure."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracekit.options.evidence import EVIDENCE
from tracekit.read.asks import raw_unit, strange_unit
from tracekit.read.columns import Column
from tracekit.read.head import Head, cycle_rows, finite, spread
from tracekit.read.pairs import means_or_extremes
from tracekit.read.pressure import CANONICAL, NEAR_ZERO_KPA, looks, without_sentinels

_FEED_KPA, _WEATHER_KPA = 150.0, 1.0
"""Above which no ambient lies, and what weather moves by in a log at most [kPa] (common practice)."""
_AMBIENT = frozenset({
    "ambient", "atmosphere", "atmospheric", "barometer", "barometric", "baro", "umgebung", "luftdruck",
    "umgebungsdruck", "ambiante", "ambiente", "atmospherique", "atmosferica", "omgeving", "omgevning", "otoczenia",
})  # fmt: skip
"""Words for the pressure around a station, folded (from memory, not verified)."""


def pressure_columns(head: Head, time: tuple[str, ...]) -> list[Column]:
    """Columns that may be the pressure, by their names; failing such, the only one with many values."""
    analogue = [c for c in head.columns if c.kind == "number" and c.name not in time and c.levels > 2]
    named = [
        c for c in analogue
        if c.hints.weight("other") <= 1
        and (c.hints.weight("pressure") or c.hints.pressure_unit or (c.hints.percent and c.hints.says_vacuum))
    ]  # fmt: skip
    named = [c for c in named if not _rises_evenly(c)]
    if named and all(map(_is_feed, named)):  # whatever it is called, the one that is no compressed air
        named = [c for c in analogue if c.hints.pressure_unit and not _is_feed(c) and not _rises_evenly(c)] or named
    if len(named) > 1:
        named = [c for c in named if not _is_feed(c)] or named
        best = max(map(_naming, named))
        known = [c for c in named if _naming(c) >= best - 0.3]
        named = known + [c for c in named if _naming(c) < best - 0.3 and _rivals(c, known)]
    raw = _raw_beside(named, analogue) if named else []
    if named:
        return raw if raw and all(map(_is_feed, named)) else _moving_first([*named, *raw])
    stretches = means_or_extremes([c for c in analogue if c.hints.weight("pressure") or c.hints.pressure_unit])
    if stretches:
        return [column if other is None else _middle(column, other) for column, other in stretches]
    flat = [c for c in head.columns if c.kind == "number" and c.name not in time and _is_flat(c)]
    if flat:
        return flat
    return _unnamed(analogue)


def _rivals(column: Column, known: Sequence[Column]) -> bool:
    """True for a column in a written unit that alone would be taken for the pressure, whatever better known names say.

    The words of a name are no proof: a second circuit may be called "Vacuum 2" in English beside the station's own
    pressure in a language that nobody foresaw.
    """
    unit = column.hints.pressure_unit
    if unit is None or not _AMBIENT.isdisjoint(column.hints.tokens):
        return False
    kpa = finite(without_sentinels(column.values)) * unit.kpa
    if len(kpa) == 0 or _range_kpa(column) < EVIDENCE.still_share * max(map(_range_kpa, known)):
        return False
    return looks(kpa, *spread(kpa), float((np.abs(kpa) < NEAR_ZERO_KPA).mean())) != ""


def _raw_beside(named: Sequence[Column], analogue: Sequence[Column]) -> list[Column]:
    """Columns that pick and let go again and again where all that are named a pressure stand still or are air lines."""
    if not all(map(_stands, named)):
        return []
    others = [c for c in _unnamed(analogue) if raw_unit(c) or not strange_unit(c)]
    return [c for c in others if not any(c is n for n in named) and cycle_rows(c.values) is not None]


def _stands(column: Column) -> bool:
    """True for an air line, weather, or what else does not pick and let go."""
    if _is_feed(column) or cycle_rows(column.values) is None:
        return True
    return column.hints.pressure_unit is not None and _range_kpa(column) < _WEATHER_KPA


def _unnamed(analogue: Sequence[Column]) -> list[Column]:
    """Columns of many values that no word and no counting makes something else."""
    found = [c for c in analogue if c.levels > 8 and c.hints.weight("other") <= 1]
    return [c for c in found if not _counts_up(c) and not (c.profile.whole and c.hints.weight("time") >= 0.5)]


def _moving_first(columns: list[Column]) -> list[Column]:
    """Readings that hardly move behind those that do, and without those of them that are named ambient."""
    ranges = [_range_kpa(c) for c in columns]
    still = [r < EVIDENCE.still_share * max(ranges) for r in ranges]
    moving = [c for c, rests in zip(columns, still, strict=True) if not rests]
    resting = [c for c, rests in zip(columns, still, strict=True) if rests and _AMBIENT.isdisjoint(c.hints.tokens)]
    return moving + resting


def _range_kpa(column: Column) -> float:
    """How far readings go, without their outermost ones; in their own unit where none is known."""
    low, high = spread(without_sentinels(column.values))
    unit = column.hints.pressure_unit
    return (high - low) * (unit.kpa if unit is not None else 1.0)


def _rises_evenly(column: Column) -> bool:
    """True for numbers that rise by the same step from row to row, as no pressure does: times of a channel."""
    steps = np.diff(finite(column.values))
    if len(steps) < EVIDENCE.fewest_lines or not (steps > 0).all():
        return False
    usual = float(np.median(steps))
    return float((np.abs(steps - usual) <= EVIDENCE.even_steps * usual).mean()) >= EVIDENCE.always


def _is_feed(column: Column) -> bool:
    """True for a pressure in a written unit that always lies above any ambient: compressed air."""
    unit = column.hints.pressure_unit
    return unit is not None and spread(without_sentinels(column.values))[0] * unit.kpa > _FEED_KPA


def _is_flat(column: Column) -> bool:
    """True for a column whose name and unit say pressure and which takes one or two values: a stuck sensor."""
    said = column.hints.pressure_unit is not None or column.name == CANONICAL
    return said and 0 < column.levels <= 2 and column.hints.weight("other") <= 1


def _middle(low: Column, high: Column) -> Column:
    """A column of lowest readings that stands for the middle between them and the highest of another column."""
    return replace(low, values=(low.values + high.values) / 2, beside=high.name)


def _naming(column: Column) -> float:
    return column.hints.weight("pressure") + (0.5 if column.hints.pressure_unit else 0.0)


def _counts_up(column: Column) -> bool:
    steps = np.diff(finite(column.values))
    return len(steps) > 0 and bool((steps >= 0).all())
