"""The results: what `tracekit.diagnose` gives back and what pages and files are made of."""

from collections.abc import Mapping
from dataclasses import field

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Bound, Estimate, Quantity, Withheld
from tracekit.model.finding import CauseChance, Detectable, Finding
from tracekit.model.tables import Table
from tracekit.model.trace import Assumption, LogFacts


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetLine:
    """One contribution to the uncertainty of the leak rate of a log [kPa/s]; `common` ones do not shrink with n."""

    source: str
    u_kpa_s: float
    common: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakChange:
    """How a leak has changed against a baseline where the log holds no coast, from the vacuum that evacuation tends to.

    change              isothermal dp/dt now less before, positive where the leak has grown [kPa/s]
    rise_kpa            of the ultimate pressure, the weather taken off [kPa]
    time_constant_s     of the evacuation, mean of both logs [s]
    smallest_kpa_s      a change smaller than this lies inside the interval of no change [kPa/s]
    how                 one sentence: how to get a decay on purpose, with the time it takes
    budget              what the interval is made of
    """

    change: Estimate
    rise_kpa: float
    time_constant_s: float
    smallest_kpa_s: float
    how: str
    budget: tuple[BudgetLine, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakGroup:
    """Cycles that share a leak rate, by a context column or as found in the data. `cycles` are rows of the table."""

    by: str
    label: str
    share: float
    cycles: tuple[int, ...]
    decay_rate_kpa_s: Quantity
    mechanism: str = "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class CoastShape:
    """Pooled fall of vacuum with gas warming removed, against the two expected curves, for one picture."""

    time_s: NDArray[np.float64]
    lost_kpa: NDArray[np.float64]
    lost_u_kpa: NDArray[np.float64]
    hole_kpa: NDArray[np.float64]
    porous_kpa: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakResult:
    """The leak of one station in one log.

    rate, rate_lower, rate_upper  per row of the cycles table, NaN where the cycle has no usable coast [kPa/s]
    rate_noise                    standard deviation of the rate by noise alone, same rows [kPa/s]; empty where unknown
    local_rate, local_vacuum      slope as observed and where, NaN where there is none [kPa/s, kPa]
    decay_rate                    of the log: median over held cycles, its bound, or withheld
    form_probability              posterior of hole, mixture, porous
    wall_time_constant_s          exchange of heat between gas and wall [s], NaN where not fitted
    """

    rate: NDArray[np.float64]
    rate_lower: NDArray[np.float64]
    rate_upper: NDArray[np.float64]
    local_rate: NDArray[np.float64]
    local_vacuum: NDArray[np.float64]
    decay_rate: Quantity
    mechanism: str
    evidence: str
    ref_vacuum_kpa: float
    form_probability: Mapping[str, float] = field(default_factory=dict)
    wall_time_constant_s: float = float("nan")
    groups: tuple[LeakGroup, ...] = ()
    budget: tuple[BudgetLine, ...] = ()
    shape: CoastShape | None = None
    warnings: tuple[str, ...] = ()
    rate_noise: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))


@dataclass(frozen=True, slots=True, kw_only=True)
class SuggestedSetting:
    """One setting now and suggested, in kPa and as the device takes it (`shown` with `unit` and entry form `entry`)."""

    name: str
    now_kpa: float | None
    suggested_kpa: float
    shown: float
    shown_now: float | None
    unit: str
    entry: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Constraint:
    """A rule that the settings must keep, with the margin after rounding."""

    name: str
    holds: bool
    margin_kpa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """Settings to enter; empty `settings` with a `withheld` reason where a repair must come first."""

    settings: tuple[SuggestedSetting, ...]
    constraints: tuple[Constraint, ...]
    predicted_now: Mapping[str, Estimate]
    predicted_suggested: Mapping[str, Estimate]
    replayed: Mapping[str, int]
    reasons: tuple[str, ...]
    withheld: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StationResult:
    """Everything found out about one station of a log. `baseline` is the healthy log's data where one was given.

    leak_change  change of the leak against the baseline where neither log has a coast; None where that does not apply
    """

    data: StationData
    leak: LeakResult
    leak_rate_pa_m3_s: Quantity
    leak_rate_l_min_anr: Quantity
    findings: tuple[Finding, ...]
    causes: tuple[CauseChance, ...]
    detectable: tuple[Detectable, ...]
    suggestion: Suggestion
    summary: Mapping[str, Mapping[str, float]]
    assumptions: tuple[Assumption, ...]
    limits_of_log: tuple[str, ...]
    baseline: StationData | None = None
    baseline_leak: LeakResult | None = None
    leak_change: LeakChange | Withheld | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DiagnosisRecord:
    """A whole diagnosis, before it is written. `options` lists {name: (value, unit)} of everything not at default."""

    version: str
    created: str
    logs: tuple[LogFacts, ...]
    log_assumptions: tuple[tuple[Assumption, ...], ...]
    stations: tuple[StationResult, ...]
    cycles: Table
    periods: Table
    edges: Table
    options: Mapping[str, tuple[float | str, str]] = field(default_factory=dict)


__all__ = [
    "Bound", "BudgetLine", "CauseChance", "CoastShape", "Constraint", "Detectable", "DiagnosisRecord", "Estimate",
    "Finding", "LeakGroup", "LeakResult", "Quantity", "StationData", "StationResult", "SuggestedSetting",
    "Suggestion", "Withheld",
]  # fmt: skip
