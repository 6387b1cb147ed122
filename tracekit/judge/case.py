"""What the judgement of one station looks at."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.judge.effects import Comparison, Effect
from tracekit.judge.evidence import Sign
from tracekit.model.cycle import StationData
from tracekit.model.result import LeakResult
from tracekit.model.station import Station
from tracekit.model.trace import Layout, LogFacts

Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A station's log with all that is known about it; `blanked_leak` is its leak with the cup on a flat plate."""

    data: StationData
    leak: LeakResult
    station: Station
    layout: Layout
    facts: LogFacts
    baseline: StationData | None = None
    baseline_leak: LeakResult | None = None
    blanked_leak: LeakResult | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """Measured evidence: effects, signs and the cycles that show each sign."""

    effects: Mapping[str, Effect]
    signs: tuple[Sign, ...]
    cycles: Mapping[str, Bools]
    comparison: Comparison
