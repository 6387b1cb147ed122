"""What a trend is made of, from the single measure up to the whole fleet. Times are UTC microseconds since 1970."""

from collections.abc import Mapping
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.estimate import Estimate, Withheld

EXACT, LOWER_BOUND, UPPER_BOUND = 0, 1, 2
"""What is known of a log's value: the value, or one side of it."""

Scale = Literal["log", "linear", "share", "count"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendMeasure:
    """One measure.

    scale     log: changes by a factor; linear: by an amount; share: of the cycles; count: per cycle
    worse     1: more is worse, -1: less is worse, 0: away from where it was is worse
    floor     smallest standard deviation that is believed, on the scale: smaller changes are no news
    held      counted in held cycles only (else in all complete cycles)
    alarm     watched by control charts; False where another measure tells the same
    supply    a weak compressed-air line changes it
    """

    name: str
    title: str
    unit: str
    scale: Scale
    worse: int
    floor: float
    held: bool = False
    alarm: bool = True
    supply: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that was done to a station. `whole_day` where only the date is known; times are UTC microseconds."""

    time_us: int
    station: str
    text: str
    whole_day: bool = False
    source: str = "noted"


@dataclass(frozen=True, slots=True)
class Damage:
    """A file of the history that cannot be read, and why."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A sudden change of level before the log at `time_us`. `better` is None where neither way is.

    event   what was noted at that time, "" where nothing was
    common  the supply group whose stations all changed then, "" where it is this station's own
    """

    time_us: int
    before: float
    after: float
    better: bool | None
    event: str = ""
    common: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """A change for the worse, told at the log at `time_us`; `usual` is what it was held against, `value` that log's."""

    time_us: int
    kind: str
    rule: str
    value: float
    usual: float
    common: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossingDate:
    """When a limit is crossed, with its 95 % interval; `past` where before the last log, or before now."""

    date_us: int
    earliest_us: int
    latest_us: int
    past: bool
    form: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitState:
    """A limit, from the station file or the command line, and where the measure stands: over, may be over, within."""

    value: float
    side: int
    severity: str
    state: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StretchLine:
    """The line of one stretch, from its first log to its last: levels there, growing by equal factors or amounts."""

    start_us: int
    stop_us: int
    begin: float
    end: float
    by_factor: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """The logs behind a trend, shape (n_logs,), and the lines of its stretches."""

    time_us: NDArray[np.int64]
    value: NDArray[np.float64]
    lower: NDArray[np.float64]
    upper: NDArray[np.float64]
    bound: NDArray[np.int8]
    lines: tuple[StretchLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureTrend:
    """One measure of one station over time.

    slope          per day in the measure's unit, in the present stretch (since the last step or bend)
    relative       the same as a share of the level per day, where the measure grows by factors
    present        level at the last log
    taken_out      recorded influences that were taken out
    bounds         logs of which only a bound is known
    not_before_us  where no date of crossing can be given, but growth is established: the day before which it is not
    """

    measure: TrendMeasure
    slope: Estimate | Withheld
    relative: Estimate | Withheld | None
    present: Estimate | Withheld
    p_value: float | None
    test: str
    steps: tuple[Step, ...]
    alarms: tuple[Alarm, ...]
    in_alarm: bool
    limit: LimitState | None
    crossing: CrossingDate | Withheld
    taken_out: tuple[str, ...]
    bounds: int
    series: Series
    not_before_us: int | None = None

    @property
    def by_factors(self) -> bool:
        """Whether growth is told better as a share of the level: where that interval is the narrower for its size."""
        if not isinstance(self.relative, Estimate):
            return False
        return not isinstance(self.slope, Estimate) or _looseness(self.relative) < _looseness(self.slope)


def _looseness(estimate: Estimate) -> float:
    """Width of an interval for the size of its value."""
    width = estimate.upper - estimate.lower
    return width / abs(estimate.value) if estimate.value else float("inf")


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """What changed at the last repair: levels before and after by measure, and the days since."""

    time_us: int
    text: str
    source: str
    days_since: float
    effects: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakCost:
    """What the leak costs a month against the best five logs in a row, at `hours` of running a month.

    Air comes from the longer supply time, never from the leak flow; `money` is in the currency of `price_per_kwh`.
    """

    energy_kwh: Estimate | Withheld
    money: Estimate | Withheld
    switches: Estimate | Withheld
    hours: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StationTrend:
    """One station over time. `state`, the worst that holds: over, may be over, alarm, worse, growing, line, silent,
    steady.

    `line`: all its alarms are those of its supply group.
    """

    station: str
    supply_group: str | None
    first_us: int
    last_us: int
    logs: int
    cycles: int
    dropped: int
    measures: Mapping[str, MeasureTrend]
    events: tuple[Event, ...]
    repair: Repair | None
    cost: LeakCost | None
    silent: bool
    state: str
    first_step: str
    finding: str
    severity: str

    @property
    def days(self) -> float:
        """Days from the first to the last log."""
        return (self.last_us - self.first_us) / 86_400e6


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonChange:
    """A measure that changed at several stations of one supply group at once: the line, not the stations."""

    supply_group: str
    measure: str
    kind: str
    time_us: int
    stations: tuple[str, ...]
    of: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LineChange:
    """All that the stations of a supply group showed at about the same time: one event of the compressed-air line.

    time_us  of the first step, else of the first alarm
    ways     up or down, by title of the measure
    """

    supply_group: str
    time_us: int
    stations: tuple[str, ...]
    of: int
    ways: Mapping[str, str]

    @property
    def text(self) -> str:
        """In one line: what changed where, and what to look at."""
        ways = ", ".join(f"{title} {way}" for title, way in self.ways.items())
        many = f"{len(self.stations)} of {self.of} stations changed at once"
        return f"{self.supply_group}: {many} ({ways}). Look at the compressed-air line first."


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetTrend:
    """All stations, worst first.

    as_of_us            what "now" means: the newest log, unless told otherwise
    lines               the common changes put together, one for each event of a compressed-air line
    changed             one line per alarm, step or silence of the last seven days
    causes              (code, stations, share) of the findings in the newest logs, the commonest first
    false_alarms_week   to be expected over all stations at these limits
    """

    as_of_us: int
    stations: tuple[StationTrend, ...]
    common: tuple[CommonChange, ...]
    lines: tuple[LineChange, ...]
    changed: tuple[tuple[int, str, str], ...]
    causes: tuple[tuple[str, int, float], ...]
    false_alarms_week: float
    alarm_rule: str
    damaged: tuple[Damage, ...]
    loose: int
    logs: int
    version: str
