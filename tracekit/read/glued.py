"""Samples whose signals mean something else from some time on: two exports that were put together without a header.

No station does this by itself: from one edge to the next a signal stands where another one, or its other level, stood,
or every pick and the switch of the part pass another vacuum by the factor between two units.
"""

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.trace import PRESENT_BIT, RELEASE_BIT, SUPPLY_BIT, Block
from tracekit.options.answers import ANSWERS
from tracekit.read.answers import Floats, shares
from tracekit.read.head import cycle_rows
from tracekit.read.otherunit import unit_turn
from tracekit.units import PRESSURE_UNITS

_BITS: Mapping[str, int] = {"supply": SUPPLY_BIT, "release": RELEASE_BIT, "part_present": PRESENT_BIT}


@dataclass(frozen=True, slots=True)
class _Edges:
    """Rows of the edges to one level, shape (n,), and the vacuum before, at and after them, shape (n, 3)."""

    rows: NDArray[np.int64]
    around: Floats

    def unlike(self, other: "_Edges") -> tuple[NDArray[np.int64], NDArray[np.int8]]:
        """Rows of edges, and 1 where they are like the first ones of another kind, -1 where like their own, else 0."""
        nearer = _distance(self.around, self.around) - _distance(self.around, other.around)
        return self.rows, ((nearer > ANSWERS.changed_apart).astype(np.int8) - (nearer < -ANSWERS.changed_apart))


def find_glued(blocks: Sequence[Block]) -> str:
    """What changes from some time on, empty where nothing does for sure."""
    known = shares(blocks)
    if known is None:
        return ""
    time_s, share, digital, _ = known
    length = cycle_rows(share)
    if length is None:
        return ""
    window = int(np.clip(0.06 * length, 2, 400))
    edges = {name: _both_edges((digital & bit > 0).view(np.uint8), share, window) for name, bit in _BITS.items()}
    for name, (up, down) in edges.items():
        row = _turn([(up, down), (down, up)])
        if row is not None:
            return f"{name} turned over (0 for 1) from about {time_s[row]:.1f} s on"
    for one, other in itertools.combinations(edges, 2):
        pairs = list(zip(edges[one], edges[other], strict=True))
        row = _turn([*pairs, *((b, a) for a, b in pairs)], sides=2)
        if row is not None:
            return f"{one} and {other} exchanged from about {time_s[row]:.1f} s on"
    return _other_unit(time_s, share, digital)


def find_other_unit(blocks: Sequence[Block], zero_kpa: float) -> str:
    """Where all readings change by the factor between two units, whatever the signals do; empty where they do not.

    zero_kpa  how far the zero of the readings lies below that of a gauge pressure
    """
    turn = unit_turn(np.concatenate([b.pressure_kpa for b in blocks]) + zero_kpa) if blocks else None
    if turn is None:
        return ""
    at_s = float(np.concatenate([b.time_s for b in blocks])[turn.row])
    return f"pressure in another unit (by {turn.factor:.3g}) from about {at_s:.1f} s on"


def _both_edges(levels: NDArray[np.uint8], share: Floats, window: int) -> tuple[_Edges, _Edges]:
    steps = np.diff(levels.astype(np.int8))
    return _edges(np.flatnonzero(steps > 0), share, window), _edges(np.flatnonzero(steps < 0), share, window)


def _edges(rows: NDArray[np.int64], share: Floats, window: int) -> _Edges:
    rows = rows[(rows >= window) & (rows < len(share) - window)]
    return _Edges(rows, np.stack([share[rows - window], share[rows], share[rows + window]], axis=1))


def _distance(around: Floats, like: Floats) -> Floats:
    """How far edges are from the nearest of the first ones of some kind, as the largest difference, shape (n,)."""
    first = like[: ANSWERS.changed_first]
    if not len(first) or not len(around):
        return np.full(len(around), np.inf)
    return np.asarray(np.abs(around[:, None, :] - first[None]).max(axis=2).min(axis=1), np.float64)


def _turn(pairs: Sequence[tuple[_Edges, _Edges]], sides: int = 1) -> int | None:
    """The row from which on edges are like others, as those were before, and not like themselves; None without.

    sides  in how many parts the pairs are looked at: each must show the turn, and no edge may speak against it
    """
    if any(len(a.rows) < ANSWERS.role_edges for pair in pairs for a in pair):
        return None
    told = [one.unlike(other) for one, other in pairs]
    rows = np.concatenate([r for r, _ in told])
    likes = np.concatenate([k for _, k in told])
    order = np.argsort(rows, kind="stable")
    rows, likes = rows[order], likes[order]
    turned = np.flatnonzero(likes > 0)
    if not len(turned):
        return None
    start = int(rows[turned[0]])
    before, after = likes[rows < start], likes[rows >= start]
    if len(before) < ANSWERS.changed_edges:
        return None
    own = float((before < 0).mean()) * len(after)  # edges like themselves that would have come
    if own < 2 * ANSWERS.changed_edges or (after < 0).any() or (after > 0).sum() < ANSWERS.changed_share * own:
        return None
    per = len(told) // 2 if sides == 2 else 1
    groups = [told[i : i + per] for i in range(0, len(told), per)]
    enough = [sum(int((k[r >= start] > 0).sum()) for r, k in group) >= ANSWERS.changed_edges for group in groups]
    return start if all(enough) else None


def _other_unit(time_s: Floats, share: Floats, digital: NDArray[np.uint8]) -> str:
    """Told where the vacuum at which the part comes changes by the factor between two units, and that of picks too."""
    supply, part = ((digital & bit > 0).view(np.uint8) for bit in (SUPPLY_BIT, PRESENT_BIT))
    starts, comes = (np.flatnonzero((s[1:] == 1) & (s[:-1] == 0)) + 1 for s in (supply, part))
    if min(len(starts), len(comes)) < ANSWERS.changed_edges * 2:
        return ""
    at = share[comes]
    depth = np.maximum.reduceat(share, comes)
    sizes = sorted({u.kpa for u in PRESSURE_UNITS})
    factors = np.array([a / b for a, b in itertools.permutations(sizes, 2) if max(a / b, b / a) > ANSWERS.unit_least])
    for cut in range(ANSWERS.changed_edges, len(comes) - ANSWERS.changed_edges + 1):
        step = depth[cut] / max(depth[cut - 1], 1e-9)
        if not max(step, 1 / max(step, 1e-9)) > ANSWERS.unit_least / 1.5:
            continue
        parts = [(values[:cut], values[cut:]) for values in (depth, at)]
        if not all(_close(side) for side in parts[0]):
            continue
        ratios = [float(np.median(b) / max(np.median(a), 1e-9)) for a, b in parts]
        near = np.abs(factors / max(ratios[0], 1e-9) - 1) < ANSWERS.unit_close
        if near.any() and abs(ratios[1] / ratios[0] - 1) < 0.5:
            return f"pressure in another unit (by {ratios[0]:.3g}) from about {time_s[comes[cut]]:.1f} s on"
    return ""


def _close(values: Floats) -> bool:
    """True for picks of much the same depth."""
    return bool(np.abs(values / max(float(np.median(values)), 1e-9) - 1).max() < ANSWERS.unit_spread)
