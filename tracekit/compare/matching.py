"""Matching by part type: parts that leak by nature must not pass for a change of the station."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.compare.values import SideValues, part_types
from tracekit.frozen import dataclass
from tracekit.model.comparison import Recordings
from tracekit.options.compare import CompareOptions

Floats = NDArray[np.float64]

PREFIX = "context_"


@dataclass(frozen=True, slots=True, kw_only=True)
class PartMix:
    """Part types of both sides by the columns that match them.

    shares   part type and its share of cycles before and after
    common   part types with enough cycles on both sides
    """

    columns: tuple[str, ...] = ()
    shares: tuple[tuple[str, float, float], ...] = ()
    common: tuple[str, ...] = ()

    @property
    def differs(self) -> float:
        """Total variation between the two mixes, 0 to 1."""
        return sum(abs(before - after) for _, before, after in self.shares) / 2.0


def part_mix(before: Recordings, after: Recordings, asked: Sequence[str], options: CompareOptions) -> PartMix:
    """The part mix by the columns asked for, else by the first context column that tells part types apart.

    A column serves where it has 2 to `part_types` values and the common ones hold half of the cycles of each side.
    """
    if asked:
        named = tuple(c if c.startswith(PREFIX) else PREFIX + c for c in asked)
        return _mix(before, after, named, options)
    for column in _context_columns(before, after):
        mix = _mix(before, after, (column,), options)
        held_before = sum(before_share for part, before_share, _ in mix.shares if part in mix.common)
        held_after = sum(after_share for part, _, after_share in mix.shares if part in mix.common)
        if 2 <= len(mix.shares) <= options.part_types and min(held_before, held_after) >= 0.5:
            return mix
    return PartMix()


def match_parts(sides: tuple[SideValues, SideValues], mix: PartMix) -> tuple[SideValues, SideValues]:
    """Both sides without the differences between part types, weighted to one and the same mix.

    Each part type is moved by the mean of its two medians; types that only one side has are left out.
    """
    if not mix.columns:
        return sides
    both = [s for s in mix.common if all((side.parts == s).any() for side in sides)]
    kept = [_only(side, both) for side in sides]
    if not both:
        return kept[0], kept[1]
    counts = np.array([[np.sum(side.parts == part) for part in both] for side in kept], np.float64)
    medians = np.array([[np.median(side.values[side.parts == part]) for part in both] for side in kept])
    target = counts.sum(axis=0) / counts.sum()
    level = medians.mean(axis=0)
    offset = level - float(np.sum(target * level))
    moved = [_moved(side, both, offset, target / (n / n.sum())) for side, n in zip(kept, counts, strict=True)]
    return moved[0], moved[1]


def _context_columns(before: Recordings, after: Recordings) -> list[str]:
    names = [c.name for c in before[0].cycles.columns if c.name.startswith(PREFIX) and c.kind == "category"]
    return [n for n in names if all(n in r.cycles.data for r in (*before, *after))]


def _mix(before: Recordings, after: Recordings, columns: tuple[str, ...], options: CompareOptions) -> PartMix:
    labels = [np.concatenate([part_types(r, columns) for r in side]) for side in (before, after)]
    known = sorted(set(labels[0].tolist()) | set(labels[1].tolist()))
    counts = [[int(np.sum(side == part)) for side in labels] for part in known]
    totals = [max(1, len(side)) for side in labels]
    shares = tuple((p, c[0] / totals[0], c[1] / totals[1]) for p, c in zip(known, counts, strict=True))
    common = tuple(p for p, c in zip(known, counts, strict=True) if min(c) >= options.part_cycles)
    return PartMix(columns=columns, shares=shares, common=common)


def _only(side: SideValues, parts: Sequence[str]) -> SideValues:
    kept = np.isin(side.parts, np.array(parts, np.str_)) if parts else np.zeros(len(side), bool)
    return replace(
        side, values=side.values[kept], weights=side.weights[kept], log=side.log[kept], parts=side.parts[kept]
    )


def _moved(side: SideValues, parts: Sequence[str], offset: Floats, weight: Floats) -> SideValues:
    """Each value less the offset of its part, with the weight of its part."""
    position = np.searchsorted(np.array(sorted(parts), np.str_), side.parts)
    order = np.argsort(np.array(parts, np.str_))
    return replace(side, values=side.values - offset[order][position], weights=weight[order][position])
