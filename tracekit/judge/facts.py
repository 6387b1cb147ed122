"""One rule's answer: how probable a condition is, with its evidence, before it becomes a finding."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.finding import Evidence


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """A condition that a rule looked at.

    explained_by  causes that would bring it about: repair them first
    alternatives  causes that this log cannot tell from it
    instead       probability that one of them is there instead
    cycles        rows of the cycles table that show it
    """

    code: str
    probability: float
    evidence: tuple[Evidence, ...] = ()
    cycles: tuple[int, ...] = ()
    explained_by: tuple[str, ...] = ()
    alternatives: tuple[str, ...] = ()
    instead: float = 0.0
    reason: str = ""
    critical: bool = False


def middle(values: NDArray[np.float64]) -> float:
    """Median of the finite values, NaN where there are none."""
    seen = values[np.isfinite(values)]
    return float(np.median(seen)) if len(seen) else float("nan")


def known(value: float) -> float | None:
    """A value, None where it is not finite."""
    return value if np.isfinite(value) else None


def rows(flag: NDArray[np.bool_] | Sequence[int]) -> tuple[int, ...]:
    """Row numbers of a flag."""
    return tuple(int(i) for i in np.flatnonzero(np.asarray(flag)))
