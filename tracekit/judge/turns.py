"""Does a group of cycles come with a nest or a part type: by turns, or with what the log says beside each cycle?"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import StationData

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
_MOST_NESTS = 16
"""Nests that are picked from by turns, at most (common practice, no source)."""
_PER_KIND = 3
"""Cycles of each kind on average, from where on a kind is no name of its own."""
_MOST = 6.0
"""Nats that a pattern counts for at most."""
_CONTEXT = "context_"


def pattern_nats(data: StationData, group: Bools, seen: Bools) -> float:
    """How much better nests or part types tell which cycles are of the group than chance does [nats], from 0 to 6.

    A group that chance made out of one keeps to neither. Each kind has a share of its own to fit, and several ways of
    telling kinds are tried: both are paid for.
    """
    rows = np.flatnonzero(seen)
    inside = group[rows]
    if not inside.any() or inside.all():
        return 0.0
    alone = _nats(np.zeros(len(rows), np.int64), inside)
    kinds = list(_kinds(data, rows))
    gains = [
        _nats(kind, inside) - alone - 0.5 * float(kind.max()) * float(np.log(len(rows)))
        for kind in kinds
        if len(rows) >= _PER_KIND * (int(kind.max()) + 1)
    ]
    return float(np.clip(max(gains, default=0.0) - np.log(max(len(kinds), 1)), 0.0, _MOST))


def _kinds(data: StationData, rows: Ints) -> Iterator[Ints]:
    """Ways of telling kinds of cycles, each shape (n_rows,): turns of two to sixteen, and every column of context."""
    for count in range(2, _MOST_NESTS + 1):
        yield np.asarray(rows % count, np.int64)
    for name in data.cycles.data:
        if name.startswith(_CONTEXT):
            yield np.unique(data.cycles.codes(name)[rows], return_inverse=True)[1].astype(np.int64)


def _nats(kind: Ints, inside: Bools) -> float:
    """Log-likelihood of the group where each kind has the share of it that it shows."""
    of_kind, hits = np.bincount(kind).astype(np.float64), np.bincount(kind, inside).astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = hits * np.log(hits / of_kind) + (of_kind - hits) * np.log1p(-hits / of_kind)
    return float(np.nansum(parts))
