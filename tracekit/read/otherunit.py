"""Readings that go on in another unit from some row on, without a word of it: all of them, by the factor of two units.

A cup that loses its vacuum reaches the less sooner: an evacuation to a tenth takes a tenth of the time. Where cycles
are as deep by such a factor and their evacuations, or their ends, last as long as before, only the unit has changed.
"""

import itertools

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.options.answers import ANSWERS
from tracekit.read.columns import Column
from tracekit.read.head import Head, cycle_rows
from tracekit.read.pressure import without_sentinels
from tracekit.units import PRESSURE_UNITS

Floats = NDArray[np.float64]

_COARSE, _CYCLES, _SIDE, _ALIKE = 24, 1.3, 3, 0.8
"""Pieces of a first look, cycles in a piece of the second, fewest pieces on a side, share of them that are alike."""
_LOW, _HIGH, _ROWS, _LONGER, _OFFSET, _SAME = 0.2, 0.8, 1.5, 0.35, 0.1, 0.05
"""Of the way up, between which it is timed; rows and share by which times of one length differ; level at rest that is
no zero, as a share of the highest, and by how much two such levels are the same (no source)."""
_SIZES = sorted({u.kpa for u in PRESSURE_UNITS})
_FACTORS = np.array([a / b for a, b in itertools.permutations(_SIZES, 2) if max(a / b, b / a) > ANSWERS.unit_least])


@dataclass(frozen=True, slots=True)
class UnitTurn:
    """The row from which on readings are others by a factor."""

    row: int
    factor: float


def check_other_unit(head: Head, column: Column) -> None:
    """Raise LogReadError where the readings of a column go on in another unit from some row on."""
    turn = unit_turn(without_sentinels(column.values)) if column.kind == "number" else None
    if turn is None:
        return
    what = f"pressure in another unit (by {turn.factor:.3g})"
    found = f'{what} from about row {turn.row + 1} on in "{column.name}"'
    todo = "Part the file there and read each part by itself, or export it anew."
    raise LogReadError(message(head.name, found, "one unit throughout", todo))


def unit_turn(raw: Floats) -> UnitTurn | None:
    """Where readings change by the factor between two units and by nothing else, None where they do not for sure.

    raw  readings, shape (n,), whose zero is that of their unit: gauge pressure, vacuum or absolute pressure
    """
    known = np.flatnonzero(np.isfinite(raw))
    size = np.abs(raw[known])
    if not _far_apart(size, len(size) // _COARSE):
        return None
    lengths = [n for part in np.array_split(size, 3) if (n := cycle_rows(part)) is not None]
    rows = int(np.ceil(_CYCLES * float(np.median(lengths)))) if lengths else 0
    if not rows or len(size) < (2 * _SIDE + 1) * rows or not _far_apart(size, rows):
        return None
    cut, factor = _cut(_tops(size, rows))
    if not cut or not (np.abs(_FACTORS / factor - 1.0) < ANSWERS.unit_close).any():
        return None
    if not _same_course(size[: (cut - 1) * rows], size[(cut + 2) * rows :], factor):
        return None
    near = slice((cut - 1) * rows, (cut + 2) * rows)
    above = np.flatnonzero(size[near] > np.sqrt(factor) * np.median(_tops(size, rows)[:cut]))
    place = int(above[-1]) + 1 if factor < 1.0 else int(above[0])
    return UnitTurn(int(known[min(near.start + place, len(known) - 1)]), factor)


def _tops(size: Floats, rows: int) -> Floats:
    """The largest reading in each piece of so many rows."""
    count = len(size) // rows
    return np.asarray(size[: count * rows].reshape(count, rows).max(axis=1), np.float64)


def _far_apart(size: Floats, rows: int) -> bool:
    """True where pieces differ by as much as units do: nearly all logs need no other look."""
    if rows < 1:
        return False
    tops = _tops(size, rows)
    return bool(tops.min() * ANSWERS.unit_least / 1.5 < tops.max())


def _cut(tops: Floats) -> tuple[int, float]:
    """The piece before which and after which pieces are most alike, 0 without any, and how much the latter are more."""
    best, found = 0, (0, 1.0)
    for cut in range(_SIDE, len(tops) - _SIDE):
        before, after = tops[:cut], tops[cut + 1 :]
        middles = float(np.median(before)), float(np.median(after))
        if min(middles) <= 0.0:
            continue
        sides = zip((before, after), middles, strict=True)
        fit = [np.abs(side / middle - 1.0) < ANSWERS.unit_spread for side, middle in sides]
        alike = int(sum(f.sum() for f in fit))
        step = float(tops[cut + 1] / tops[cut - 1]) / (middles[1] / middles[0])
        if alike > best and all(f.mean() >= _ALIKE for f in fit) and abs(step - 1.0) < ANSWERS.unit_spread:
            best, found = alike, (cut, middles[1] / middles[0])
    return found


def _same_course(before: Floats, after: Floats, factor: float) -> bool:
    """True where cycles go the same way in the same time but for the factor, which no change of the station does.

    An absolute pressure lies off zero at rest and in a hold: both by the same factor. Of others the time counts.
    """
    ends = [np.quantile(side, [0.02, 0.98]) for side in (before, after)]
    if any(high <= low for low, high in ends):
        return False
    lows = [float(low / high) for low, high in ends]
    if abs(lows[0] - lows[1]) > _SAME:
        return False
    if min(lows) > _OFFSET:
        return True
    shares = [(side - low) / (high - low) for side, (low, high) in zip((before, after), ends, strict=True)]
    told = False
    for turned in (False, True):
        first, second = (_rise_rows(s[::-1] if turned else s) for s in shares)
        if first is None or second is None:
            continue
        most = max(_ROWS, _LONGER * max(first, second))
        if abs(first - second) > most:
            return False
        told |= abs(first - first * min(factor, 1.0 / factor)) > most
    return told


def _rise_rows(share: Floats) -> float | None:
    """Median rows from the last one that is low to the first one that is high, None for fewer than four rises."""
    sure = np.flatnonzero((share < _LOW) | (share > _HIGH))
    high = share[sure] > _HIGH
    rises = np.flatnonzero(high[1:] & ~high[:-1])
    return float(np.median(sure[rises + 1] - sure[rises])) if len(rises) >= ANSWERS.role_edges else None
