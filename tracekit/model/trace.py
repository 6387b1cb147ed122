"""A recording as it passes from the reader to the analysis: blocks of samples and the facts about them."""

from collections.abc import Iterator, Mapping
from dataclasses import field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass

SUPPLY_BIT, RELEASE_BIT, PRESENT_BIT = 1, 2, 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Consecutive samples of one station, in rising time.

    time_s          (n,) float64, seconds since the log's first sample [s]
    pressure_kpa    (n,) float64, gauge pressure, negative below ambient, NaN where missing [kPa]
    digital         (n,) uint8, levels *as wired* of supply, release, part_present in bits 1, 2, 4
    context         (n,) int32 codes per context column, into `Layout.context_values`
    """

    station: int
    time_s: NDArray[np.float64]
    pressure_kpa: NDArray[np.float64]
    digital: NDArray[np.uint8]
    context: Mapping[str, NDArray[np.int32]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumption:
    """Something decided about a file, with the evidence."""

    what: str
    value: str
    evidence: str
    confidence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """What was understood of a log before its samples are analysed.

    `has_supply`, `has_release`, `has_present` say which digitals exist. `on_level` holds levels that the
    station file gives (1 or 0); polarity otherwise is found from the data by `segment`.
    With `absolute`, `ambient_kpa` is the ambient pressure that was taken off the readings [kPa]. `digital_late_s` is
    by how much edges may come late because digitals were written less often than the pressure [s].
    """

    stations: tuple[str, ...]
    has_supply: bool
    has_release: bool
    has_present: bool
    on_level: Mapping[str, int]
    supply_signal: str
    assumptions: tuple[Assumption, ...]
    columns: Mapping[str, str]
    absolute: bool = False
    ambient_kpa: float | None = None
    digital_late_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejection:
    """Rows left out for one reason, with the first line numbers."""

    reason: str
    rows: int
    first_lines: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DigitalLag:
    """A digital that follows the pressure which it should lead: the logger wrote it late.

    lag_s  how long before the edges the pressure answers, in the median; the true lag is longer by the time that the
           valve takes [s]
    u_s    its standard uncertainty [s]
    """

    station: str
    signal: str
    lag_s: float
    u_s: float
    edges: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LogFacts:
    """Facts about a log that are complete only once it has been read to its end. Times in seconds."""

    log_id: str
    source: str
    rows_read: int
    rows_used: int
    rejections: tuple[Rejection, ...]
    start_time_us: int | None
    duration_s: float
    interval_median_s: float
    interval_p95_s: float
    interval_max_s: float
    quantisation_kpa: float
    gaps: tuple[tuple[float, float], ...]
    clock_steps: tuple[tuple[float, float], ...]
    warnings: tuple[str, ...]
    duplicates: int = 0
    digital_lags: tuple[DigitalLag, ...] = ()
    context_values: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def rows_rejected(self) -> int:
        """Rows read and not used."""
        return sum(r.rows for r in self.rejections)


class LogSource(Protocol):
    """An opened log: its layout is known, its samples are still to come."""

    @property
    def layout(self) -> Layout:
        """What was understood of the log."""
        ...

    @property
    def rows_read(self) -> int:
        """Rows read so far, good and bad."""
        ...

    def blocks(self) -> Iterator[Block]:
        """The samples, once, in bounded memory."""
        ...

    def facts(self) -> LogFacts:
        """Facts about the whole log; only after `blocks` is exhausted."""
        ...
