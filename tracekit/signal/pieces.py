"""Long arrays gone through piece by piece, so that what is worked out of them takes no more memory at once."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

TOGETHER = 1 << 16
"""Values of a piece: its arrays stay near the processor, and there are few pieces."""


def whole_runs(labels: NDArray[np.integer], least: int = TOGETHER) -> Iterator[slice]:
    """Slices of ascending labels, shape (n,): at least so many in each but the last, and no run of equals is cut."""
    begin = 0
    while begin < len(labels):
        end = begin + least
        stop = len(labels) if end >= len(labels) else int(np.searchsorted(labels, labels[end - 1], side="right"))
        yield slice(begin, stop)
        begin = stop
