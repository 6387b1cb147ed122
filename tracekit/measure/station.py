"""Chunks of one station put together: the record that every later stage works on."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.measure.beyond_range import withhold_beyond_range
from tracekit.measure.chunk import ChunkResult
from tracekit.measure.evacuation import level_grid
from tracekit.measure.stream import Learned, StationAnalyser
from tracekit.model.cycle import Bins, SensorFacts, SettingInForce, StationData, Wiring
from tracekit.model.station import Station, ambient_of
from tracekit.model.tables import CYCLES, EDGES, PERIODS, Column, Table, make_table
from tracekit.model.trace import LogFacts
from tracekit.options.measure import MeasureOptions
from tracekit.segment.cycles import Reference
from tracekit.segment.periods import REASONS
from tracekit.signal.standing import standing

Arrays = dict[str, NDArray[Any]]

_THRESHOLDS = ("set_point", "reset_point", "supply_off", "supply_on")
_TIMING = (
    "try_s", "release_s", "release_end_s", "quit_s", "overlap_s", "first_cut_s", "has_output_on", "over_kpa",
    "idle_noise_kpa", "idle_rise_kpa", "tends_to_kpa",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Counts:
    """Cycles and periods before each chunk, shape (n_chunks,)."""

    cycles: NDArray[np.int64]
    periods: NDArray[np.int64]


def _counts(results: list[ChunkResult]) -> _Counts:
    cycles = [0, *(len(r.cycles["start_s"]) for r in results)]
    periods = [0, *(len(r.periods["cycle"]) for r in results)]
    return _Counts(cycles=np.cumsum(cycles)[:-1], periods=np.cumsum(periods)[:-1])


def _gather(tables: list[Arrays], before: Mapping[str, NDArray[np.int64]]) -> Arrays:
    """One array per column over all chunks, taken out of them column by column: nearly all that is kept is held once.

    The columns in `before` count rows of another table: so many of them lie before each chunk.
    """
    joined: Arrays = {}
    for name in list(tables[0]) if tables else ():
        parts = [table.pop(name) for table in tables]
        if name in before:
            parts = [part + part.dtype.type(count) for part, count in zip(parts, before[name], strict=True)]
        joined[name] = np.concatenate(parts)
    return joined


def _levels(results: list[ChunkResult], name: str, width: int) -> NDArray[np.float64]:
    parts = [r.levels.pop(name) for r in results]
    return np.concatenate(parts) if parts else np.zeros((0, width))


def _table(
    columns: tuple[Column, ...], data: Arrays, station: str, log_id: str, more: Mapping[str, tuple[str, ...]]
) -> Table:
    rows = len(next(iter(data.values()))) if data else 0
    full: Arrays = {**data, "log_id": np.zeros(rows, np.int32), "station": np.zeros(rows, np.int32)}
    if "cycle" not in full:
        full["cycle"] = np.arange(rows)
    return make_table(columns, full, {"log_id": (log_id,), "station": (station,), **more})


def station_data(
    analyser: StationAnalyser,
    facts: LogFacts,
    name: str,
    station: Station,
    temperature: tuple[float, float],
    options: MeasureOptions,
) -> StationData:
    """Everything measured of one station, from its finished analyser, which gives away what it kept.

    `temperature` is the ambient temperature and its standard uncertainty [°C].
    """
    learned, results = analyser.learned, analyser.results
    before = _counts(results)
    if learned is None:
        learned = _nothing_learned()
    cycles = _cycle_arrays(results, facts, learned)
    n = len(cycles["start_s"]) if cycles else 0
    strip = analyser.strip.strip()
    levels = level_grid(options)
    ambient, ambient_u, ambient_source = ambient_of(station)

    def per_cycle(name: str) -> NDArray[np.float64]:
        return np.asarray(cycles[name], np.float64) if n else np.zeros(0)

    part = {"cycle": before.cycles}
    data = StationData(
        station=name,
        cycles=_cycles_table(cycles, facts, name),
        periods=_table(
            PERIODS, _gather([r.periods for r in results], part) or _NO_ROWS, name, facts.log_id, {"reason": REASONS}
        ),
        edges=_table(EDGES, _gather([r.edges for r in results], part) or _NO_ROWS, name, facts.log_id, {}),
        bins=_bins(_gather([r.bins for r in results], {**part, "period": before.periods})),
        strip=strip,
        excerpts=analyser.excerpts.excerpts,
        sensor=_sensor(learned, strip.lowest_kpa, strip.highest_kpa, cycles),
        wiring=learned.wiring,
        settings=learned.settings,
        cycle_settings={k: per_cycle(k) for k in _THRESHOLDS},
        air_saving=learned.reference.air_saving,
        ambient_kpa=ambient,
        ambient_u_kpa=ambient_u,
        ambient_source=ambient_source,
        temperature_c=temperature[0],
        temperature_u_c=temperature[1],
        levels_kpa=levels,
        rise_s=_levels(results, "rise_s", len(levels)),
        fall_s=_levels(results, "fall_s", len(levels)),
        reading_range_kpa=per_cycle("reading_range_kpa"),
        usual_peak_kpa=learned.reference.peak,
        usual_open_kpa=learned.reference.open_level,
        timing={k: per_cycle(k) for k in _TIMING},
        from_request=learned.saw is not None,
    )
    return withhold_beyond_range(data)


_NO_ROWS: Arrays = {"start_s": np.zeros(0), "time_s": np.zeros(0)}


def _cycle_arrays(results: list[ChunkResult], facts: LogFacts, learned: Learned) -> Arrays:
    cycles = _gather([r.cycles for r in results], {})
    if not cycles:
        return cycles
    if facts.start_time_us is not None:
        start = np.asarray(cycles["start_s"], np.float64)
        cycles["start_time"] = (facts.start_time_us + np.round(start * 1e6)).astype(np.int64)
    if learned.quantisation:
        noise = np.asarray(cycles["noise_kpa"], np.float64)
        cycles["noise_kpa"] = np.maximum(noise, learned.quantisation / np.sqrt(12.0))
    return cycles


def _cycles_table(cycles: Arrays, facts: LogFacts, name: str) -> Table:
    context = tuple(k for k in cycles if k.startswith("context_"))
    extra = tuple(Column(k, "category", "", "context carried from the log") for k in context)
    values = {k: facts.context_values.get(k.removeprefix("context_"), ()) for k in context}
    return _table((*CYCLES, *extra), cycles or _NO_ROWS, name, facts.log_id, values)


def _bins(bins: Arrays) -> Bins:
    none = np.zeros(0)
    return Bins(
        cycle=np.asarray(bins.get("cycle", none), np.int32),
        period=np.asarray(bins.get("period", none), np.int32),
        time_s=np.asarray(bins.get("time_s", none), np.float64),
        pressure_kpa=np.asarray(bins.get("pressure_kpa", none), np.float64),
        samples=bins.get("samples", np.zeros(0, np.uint8)),
    )


def _sensor(learned: Learned, low: NDArray[np.float64], high: NDArray[np.float64], cycles: Arrays) -> SensorFacts:
    stuck = 0
    if cycles:
        still = standing(np.asarray(cycles["reading_range_kpa"], np.float64), learned.quantisation)
        edge = np.diff(np.concatenate([[0], still.astype(np.int8), [0]]))
        runs = np.flatnonzero(edge < 0) - np.flatnonzero(edge > 0)
        stuck = int(runs[runs >= 3].sum())
    return SensorFacts(
        sample_interval_s=learned.interval,
        noise_kpa=learned.noise,
        quantisation_kpa=learned.quantisation,
        spike_share=0.0,
        range_low_kpa=float(np.fmin.reduce(low)) if len(low) else 0.0,
        range_high_kpa=float(np.fmax.reduce(high)) if len(high) else 0.0,
        clipped_low_share=learned.clipped_low,
        clipped_high_share=learned.clipped_high,
        stuck_cycles=stuck,
    )


def _nothing_learned() -> Learned:
    nan = float("nan")
    none = SettingInForce(value_kpa=None, source="absent")
    return Learned(
        wiring=Wiring(supply_on_level=None, release_on_level=None, present_on_level=None, evidence={}),
        reference=Reference(set_point=nan, reset_point=nan, supply_off=nan, supply_on=nan, peak=nan, air_saving=False),
        settings=dict.fromkeys(_THRESHOLDS, none),
        interval=0.01,
        noise=nan,
        quantisation=0.0,
        clipped_low=0.0,
        clipped_high=0.0,
    )
