"""Which cycles are kept sample by sample: few of a long log, so that memory does not grow with it."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import Excerpt
from tracekit.segment.hold import DROPPED, HELD, MISSED
from tracekit.segment.samples import Samples

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Arrays = Mapping[str, NDArray[Any]]

_MOST_SAMPLES = 20_000  # of one cycle


def _ranks(cycles: Arrays, number: Ints) -> tuple[tuple[str, int, Floats], ...]:
    """Kinds of cycles, the first ones first where not all find room: how many of each, and what ranks highest.

    NaN where a cycle is not of the kind. Of equal cycles the earlier one ranks higher.
    """
    dropped, held, missed = (cycles["outcome"] == code for code in (DROPPED, HELD, MISSED))
    early = -number.astype(np.float64)
    twos = np.where(number > 0, number & -number, 1 << 62).astype(np.float64)
    return (
        ("chatter", 1, np.where(cycles["chatter_edges"] > 0, cycles["chatter_edges"], np.nan)),
        ("drop", 8, np.where(dropped, early, np.nan)),
        ("drop", 4, np.where(dropped, -early, np.nan)),
        ("missed", 2, np.where(missed, early, np.nan)),
        ("retry", 2, np.where(cycles["attempts"] > 1, early, np.nan)),
        ("weak", 2, np.where(held, -cycles["hold_min_vacuum_kpa"], np.nan)),
        ("slow", 2, np.asarray(cycles["evacuation_time_s"], np.float64)),
        ("usual", 3, early),
        ("usual", 8, twos),  # the number of a cycle by its largest power of two: spread evenly over the log
    )


class ExcerptKeeper:
    """Keeps the cycles that matter of all stretches, and some usual ones from the whole log.

    These are the first and the last losses, the first misses and retries, the worst chatter, the weakest holds and
    the slowest evacuations. What is kept does not depend on the stretches.
    """

    def __init__(self) -> None:
        """Nothing is kept yet."""
        self._kept: list[list[tuple[float, int, Excerpt]]] = []

    def take(self, samples: Samples, starts: Ints, stop: int, cycles: Arrays, before: int) -> None:
        """Look at the next cycles, which begin at `starts` and end at `stop`; `cycles` are their columns.

        `before` cycles came before them.
        """
        ends = np.append(starts[1:], stop)
        kinds = _ranks(cycles, before + np.arange(len(starts)))
        self._kept = self._kept or [[] for _ in kinds]
        for kept, (why, most, rank) in zip(self._kept, kinds, strict=True):
            some = np.flatnonzero(np.isfinite(rank))
            for i in some[np.argsort(-rank[some], kind="stable")][:most].tolist():
                if len(kept) == most and float(rank[i]) <= kept[-1][0]:
                    break
                excerpt = _excerpt(samples, int(starts[i]), int(ends[i]), before + i, why)
                kept.append((float(rank[i]), before + i, excerpt))
                kept.sort(key=lambda one: (-one[0], one[1]))
                del kept[most:]

    @property
    def excerpts(self) -> tuple[Excerpt, ...]:
        """What is kept, each cycle once, by kind and cycle."""
        found: dict[int, Excerpt] = {}
        for kept in self._kept:
            for _, number, excerpt in sorted(kept, key=lambda one: one[1]):
                found.setdefault(number, excerpt)
        return tuple(found.values())


def _excerpt(samples: Samples, start: int, end: int, number: int, why: str) -> Excerpt:
    """Every sample of a cycle, up to what one may have."""
    own = slice(start, min(end, start + _MOST_SAMPLES))
    return Excerpt(
        cycle=number,
        why=why,
        time_s=samples.time[own].copy(),
        pressure_kpa=-samples.vacuum[own],
        present=samples.present[own].astype(np.int8),
    )
