"""Which cycles are kept sample by sample: few of a long log, so that memory does not grow with it."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracekit.model.cycle import Excerpt

_MOST = {"drop": 8, "chatter": 1, "usual": 3}


def output_edges(excerpt: Excerpt) -> int:
    """How often the output changes in it."""
    return int(np.count_nonzero(np.diff(excerpt.present)))


class ExcerptKeeper:
    """Keeps the first losses, the first cycles and the worst chatter of all stretches, in order of time."""

    def __init__(self) -> None:
        """Nothing is kept yet."""
        self._left = dict(_MOST)
        self._kept: list[Excerpt] = []
        self._worst: Excerpt | None = None

    def take(self, excerpts: Sequence[Excerpt], cycles_before: int) -> None:
        """Look at those of the next stretch, whose cycles are numbered from 0."""
        for excerpt in excerpts:
            if excerpt.why == "chatter":
                if self._worst is None or output_edges(excerpt) > output_edges(self._worst):
                    self._worst = replace(excerpt, cycle=excerpt.cycle + cycles_before)
            elif self._left[excerpt.why] > 0:
                self._left[excerpt.why] -= 1
                self._kept.append(replace(excerpt, cycle=excerpt.cycle + cycles_before))

    @property
    def excerpts(self) -> tuple[Excerpt, ...]:
        """What is kept, by kind and cycle, the worst chatter last."""
        ordered = sorted(self._kept, key=lambda excerpt: (excerpt.why, excerpt.cycle))
        return (*ordered, *(() if self._worst is None else (self._worst,)))
