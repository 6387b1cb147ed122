"""What `import tracekit` offers: read, diagnose and simulate, and the result that shows itself."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import UsageError, message, nearest
from tracekit.frozen import dataclass
from tracekit.model.finding import Finding
from tracekit.model.result import DiagnosisRecord, LeakResult, StationResult, Suggestion
from tracekit.model.station import Station
from tracekit.model.trace import PRESENT_BIT, RELEASE_BIT, SUPPLY_BIT, Block, Layout, LogFacts
from tracekit.pipeline import diagnose as _diagnose
from tracekit.read import open_log
from tracekit.read.station_file import load_stations
from tracekit.report.arrow import table_frame
from tracekit.report.figures import figure
from tracekit.report.json import diagnosis_json
from tracekit.report.notebook import notebook_html
from tracekit.report.passed import Passed, limits_passed
from tracekit.report.whole import write_all
from tracekit.simulate.load import load_scenario
from tracekit.simulate.log import SimulatedLog
from tracekit.simulate.log import simulate as _simulate
from tracekit.simulate.scenario import Scenario
from tracekit.units import pressure_unit

if TYPE_CHECKING:
    import pandas as pd
    from plotly.graph_objects import Figure

StationLike = Station | str | Path | Sequence[Station] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """A log as read: what was understood of it, facts about it, and its samples in blocks per station."""

    layout: Layout
    facts: LogFacts
    blocks: tuple[Block, ...]

    def frame(self, station: str | None = None) -> "pd.DataFrame":
        """The samples of a station in canonical columns; the digitals as wired, absent ones left out.

        Raises UsageError where the log has no such station, or several and none is named.
        """
        import pandas as pd

        number = self.layout.stations.index(_one_of(station, self.layout.stations))
        own = [block for block in self.blocks if block.station == number]
        data: dict[str, NDArray[Any]] = {
            "time_s": np.concatenate([np.empty(0), *(block.time_s for block in own)]),
            "pressure_kpa": np.concatenate([np.empty(0), *(block.pressure_kpa for block in own)]),
        }
        digital = np.concatenate([np.empty(0, np.uint8), *(block.digital for block in own)])
        there = (("supply", SUPPLY_BIT, self.layout.has_supply), ("release", RELEASE_BIT, self.layout.has_release),
                 ("part_present", PRESENT_BIT, self.layout.has_present))  # fmt: skip
        data |= {name: ((digital & bit) > 0).astype(np.int8) for name, bit, has in there if has}
        return pd.DataFrame(data)


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """A diagnosis. `record` holds everything; the properties are the ways that are used most.

    A log of several stations has one result each: see `stations` and `station`. `limits` are those of the station
    files that are passed.
    """

    record: DiagnosisRecord
    limits: tuple[Passed, ...] = ()

    @property
    def cycles(self) -> "pd.DataFrame":
        """One row per pick cycle; columns and units as `tracekit schema cycles` prints them."""
        return table_frame(self.record.cycles)

    @property
    def periods(self) -> "pd.DataFrame":
        """One row per stretch in which nothing changes that acts on the pressure."""
        return table_frame(self.record.periods)

    @property
    def edges(self) -> "pd.DataFrame":
        """One row per change of a digital."""
        return table_frame(self.record.edges)

    @property
    def stations(self) -> tuple[str, ...]:
        """Names of the stations in the log."""
        return tuple(result.data.station for result in self.record.stations)

    def station(self, name: str | None = None) -> StationResult:
        """The result of one station.

        Raises UsageError where the log has no such station, or several and none is named.
        """
        return self.record.stations[self.stations.index(_one_of(name, self.stations))]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings of the log's only station, ranked: what to repair first comes first."""
        return self.station().findings

    @property
    def leak(self) -> LeakResult:
        """The leak of the log's only station."""
        return self.station().leak

    @property
    def suggestion(self) -> Suggestion:
        """The suggested settings of the log's only station, or why they are withheld."""
        return self.station().suggestion

    def figure(self, name: str, *, station: str | None = None, units: str = "kPa") -> "Figure":
        """A picture of the diagnosis as a plotly figure, to zoom, restyle and save.

        name   recording, cycles, rates, fall, shape, groups, evacuation, release, holds, chatter, losses, causes or
               budget; the names that a page gives its pictures are understood too
        units  pressure unit of the figure: kPa, mbar, bar, psi, inHg …

        Raises UsageError for an unknown name, naming the nearest, and where the log does not show what it needs.
        """
        return figure(self.station(station), name, pressure_unit(units).symbol)

    def to_dict(self) -> dict[str, object]:
        """The content of `diagnosis.json`."""
        return diagnosis_json(self.record)

    def write(self, folder: str | Path, *, csv: bool = False) -> Path:
        """Write page, findings and tables into a folder, all of them or none; gives the path of the page.

        Raises OutputError where it cannot be written.
        """
        return write_all(self.record, folder, csv=csv, limits=self.limits)

    def _repr_html_(self) -> str:
        """Verdict, first step, settings and findings of every station, for notebooks."""
        return notebook_html(self.record, self.limits)


def diagnose(log: Any, *, station: StationLike = None, baseline: Any = None) -> Diagnosis:
    """Diagnose a log: a path, several paths of one recording, a DataFrame or an Arrow table. Writes nothing.

    station   a `Station`, the path of a station file or of a folder of them, or several
    baseline  a log of the same station while it was healthy

    Raises LogReadError where there is no usable pressure or time, StationFileError for a station file with faults.
    """
    files = _stations(station)
    record = _diagnose(log, station=files, baseline=baseline)
    return Diagnosis(record, limits_passed(diagnosis_json(record), files) if any(f.limits for f in files) else ())


def read(log: Any, *, station: StationLike = None) -> Recording:
    """Read a log without judging it. Arguments and errors as for `diagnose`."""
    stations = _stations(station)
    source = open_log(log, stations[0] if stations else Station())
    blocks = tuple(source.blocks())
    return Recording(layout=source.layout, facts=source.facts(), blocks=blocks)


def simulate(scenario: Scenario | str | Path, *, seed: int | None = None) -> SimulatedLog:
    """A synthetic log with its truth, of a scenario, its name or a TOML file; `seed` draws the scatter anew.

    Raises UsageError for an unknown name or a file with faults.
    """
    chosen = scenario if isinstance(scenario, Scenario) else load_scenario(scenario)
    return _simulate(chosen if seed is None else replace(chosen, seed=seed))


def _stations(station: StationLike) -> tuple[Station, ...]:
    if station is None:
        return ()
    if isinstance(station, Station):
        return (station,)
    return load_stations([station]) if isinstance(station, str | Path) else tuple(station)


def _one_of(name: str | None, names: Sequence[str]) -> str:
    """The station asked for, or the only one."""
    if name is None and len(names) == 1:
        return names[0]
    if name is None or name not in names:
        found = "no station named" if name is None else f'"{name}"'
        raise UsageError(message("station", found, f"one of the log's {len(names)}", nearest(name or "", names)))
    return name
