"""The plan by which a file is read: what was decided, in one record."""

from collections.abc import Mapping
from dataclasses import field

from tracekit.frozen import dataclass
from tracekit.model.trace import Assumption
from tracekit.read.columns import Column
from tracekit.read.digitals import LevelPlan
from tracekit.read.pressure import PressurePlan
from tracekit.read.quality import QualityPlan
from tracekit.read.timeplan import TimePlan


@dataclass(frozen=True, slots=True, kw_only=True)
class StationPlan:
    """The channels of one station. `digitals` by supply, release, part_present; `off_coil` of a pulse valve."""

    name: str
    pressure: PressurePlan
    digitals: Mapping[str, LevelPlan]
    off_coil: LevelPlan | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LongPlan:
    """Rows of time, tag and value. Channels are then named by their tags.

    beside   second column of values, filled where the first is empty; empty where there is none
    station  column of stations that share their tags; empty where tags tell stations apart, or there is one
    hold_s  interval at which the last reading of a pressure holds, where only changes are written; 0 where all are [s]
    """

    tag: str
    value: str
    beside: str = ""
    station: str = ""
    quality: QualityPlan | None = None
    hold_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Everything decided about a file.

    stations        one entry, or one per station where each has its own columns
    station_column  a column that names the station of each row; the one entry of `stations` then holds for all
    columns         the columns that are read, by name (in a long layout: tag, value, quality and those of time)
    quality         a column that marks readings of the pressure as bad
    stamp_rows      rows that share each stamp: lowest and highest reading of a stretch; 1 where each row is a sample
    zone            of the stamps as the lines above the header tell it, empty where they do not
    hold_s          interval at which the last row holds, where rows are written on change; 0 where all are [s]
    change_rows     rows without a reading hold changes of digitals, from the next sample on
    """

    time: TimePlan
    stations: tuple[StationPlan, ...]
    columns: Mapping[str, Column]
    station_column: str | None = None
    station_names: tuple[str, ...] = ()
    long: LongPlan | None = None
    quality: QualityPlan | None = None
    stamp_rows: int = 1
    zone: str = ""
    hold_s: float = 0.0
    change_rows: bool = False
    context: tuple[str, ...] = ()
    supply_signal: str = "valve"
    on_level: Mapping[str, int] = field(default_factory=dict)
    assumptions: tuple[Assumption, ...] = ()
