"""Records of the comparison, of its plan and of the volume from two decays."""

from collections.abc import Mapping
from dataclasses import field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import SensorFacts, SettingInForce
from tracekit.model.estimate import Estimate, Quantity, Withheld
from tracekit.model.tables import Table
from tracekit.model.trace import LogFacts

Verdict = Literal["better", "worse", "equivalent", "undecided"]
Overall = Literal["demonstrated", "not_demonstrated", "worse", "no_change"]
Decision = Literal["accepted", "rejected", "undecided"]
Direction = Literal["lower", "higher"]
Side = Literal["before", "after"]


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldRows:
    """Some holds of a recording, to be drawn one row each; times in seconds since the cycle's vacuum command.

    cycle              cycles drawn, shape (n,)
    first, end         end of the first suction, end of the hold, shape (n,)
    row, start, stop   refills: their row, their start and end, shape (m,)
    refills            refills of every hold of the recording, shape (n_holds,)
    """

    cycle: NDArray[np.int64]
    first: NDArray[np.float64]
    end: NDArray[np.float64]
    row: NDArray[np.int64]
    start: NDArray[np.float64]
    stop: NDArray[np.float64]
    refills: NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """One log of one station, as the comparison sees it.

    leak, leak_rate    of the log, None where unknown; their intervals hold the errors that all its cycles share
    leak_common_u      standard uncertainty of the decay rate that does not shrink with n [kPa/s], None: take `leak`
    first_code         the code that leads this recording's findings, None where nothing stands above info
    codes              all codes above info
    release_vacuum_kpa median vacuum when the release begins, NaN where unknown [kPa]
    sensor_at, volume_ml  as the station file says, "" or None without one
    holds              holds to be drawn, None where there are none
    """

    facts: LogFacts
    station: str
    cycles: Table
    sensor: SensorFacts
    leak: Quantity | None = None
    leak_rate: Quantity | None = None
    leak_common_u: float | None = None
    mechanism: str = "undecided"
    settings: Mapping[str, SettingInForce] = field(default_factory=dict)
    air_saving: bool = False
    ambient_kpa: float = 101.325
    ambient_u_kpa: float = 5.1
    ambient_source: str = "standard atmosphere"
    first_code: str | None = None
    codes: tuple[str, ...] = ()
    release_vacuum_kpa: float = float("nan")
    sensor_at: str = ""
    volume_ml: float | None = None
    holds: HoldRows | None = None


Recordings = tuple[Recording, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RankFigures:
    """Rank statistics beside the medians, as if cycles were independent.

    pairs_better   share of pairs of one cycle before and one after in which the one after is better, ties half
    shift          Hodges and Lehmann's shift, after − before, in the measure's unit
    p_better       one-sided p value of Mann and Whitney
    p_equal_means  p value of two one-sided t tests of the means against the margin
    """

    pairs_better: float
    shift: float
    p_better: float
    p_equal_means: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureResult:
    """One measure before and after.

    better             the direction that is better
    margin             agreed margin in `unit`; None where the measure is withheld
    cycles_needed      cycles per side that would decide an undecided measure, None where it is decided
    p_better, p_worse  one-sided; p_equivalent of the two one-sided tests. NaN where withheld
    effective          independent cycles that the cycles of each side are worth
    watched            counts among the measures of which none may be worse
    note               what was adjusted, or why it is withheld
    ranks              rank statistics beside the medians, None where withheld
    """

    column: str
    unit: str
    better: Direction
    before: Quantity
    after: Quantity
    difference: Quantity
    verdict: Verdict
    margin: float | None = None
    cycles_needed: int | Withheld | None = None
    p_better: float = float("nan")
    p_worse: float = float("nan")
    p_equivalent: float = float("nan")
    effective: tuple[float, float] = (float("nan"), float("nan"))
    watched: bool = True
    note: str = ""
    ranks: RankFigures | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RateResult:
    """Share of cycles in which something happened, with exact intervals; lower is always better."""

    name: str
    events: tuple[int, int]
    cycles: tuple[int, int]
    before: Estimate
    after: Estimate
    difference: Estimate
    margin: float
    verdict: Verdict
    p_better: float
    p_worse: float
    cycles_needed: int | Withheld | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Obstacle:
    """Something that stands in the way of a fair comparison. `adjusted` tells that the figures allow for it."""

    code: str
    text: str
    adjusted: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Acceptance:
    """Decision against an agreed limit by JCGM 106.

    rule         guarded: accept where the whole interval conforms; simple: accept where the value conforms
    guard_band   distance kept from the limit [unit]
    conformity   probability that the station conforms, given this recording
    risk         what the decision risks, in words
    """

    text: str
    measure: str
    operator: str
    limit: float
    unit: str
    side: Side
    rule: str
    quantity: Quantity
    decision: Decision
    guard_band: float
    conformity: float
    risk: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One look at the data: cycles of AFTER recorded by then, and the z that the primary must exceed."""

    cycles: int
    bound: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How to answer a question: what to record, and the rule that will decide.

    change        smallest change that is to be shown, positive, in `unit`
    basis         where the scatter comes from: a pilot log or typical figures
    parts         cycles per part type, where the pilot tells part types apart
    frozen_at     UTC time of freezing, "" where the plan is not frozen
    sha256        of measure, margin, cycles, looks, rule and frozen_at
    """

    measure: str
    unit: str
    better: Direction
    change: float
    margin: float
    power: float
    cycles: int
    sample_interval_s: float
    looks: tuple[Look, ...]
    rule: str
    basis: str
    sha256: str
    frozen_at: str = ""
    parts: tuple[tuple[str, int], ...] = ()
    pilot_log_ids: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanCheck:
    """What a frozen plan says about this comparison. `look` is the look that was reached, 0 for none."""

    plan: Plan
    look: int
    bound: float
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A whole comparison, before it is written. `options` lists {name: (value, unit)}."""

    version: str
    created: str
    before: Recordings
    after: Recordings
    measures: Mapping[str, MeasureResult]
    rates: Mapping[str, RateResult]
    obstacles: tuple[Obstacle, ...]
    primary: str
    primary_source: str
    rule: str
    verdict: Overall | None
    claim: str
    reasons: tuple[str, ...] = ()
    acceptance: tuple[Acceptance, ...] = ()
    plan_check: PlanCheck | None = None
    matched_by: tuple[str, ...] = ()
    station_files: Mapping[str, str] = field(default_factory=dict)
    options: Mapping[str, tuple[float, str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetPart:
    """One contribution to the uncertainty of a volume: standard uncertainty [mL] and its share of the variance."""

    source: str
    u: float
    share: float
    kind: str = "normal"


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeResult:
    """The volume of a station from two decays, the second through a known orifice."""

    version: str
    created: str
    logs: tuple[LogFacts, ...]
    volume_ml: Quantity
    budget: tuple[BudgetPart, ...]
    warnings: tuple[str, ...]
    facts: Mapping[str, tuple[float, str]] = field(default_factory=dict)
