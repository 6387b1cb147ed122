"""Chunks of one station put together: the record that every later stage works on."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

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

Arrays = dict[str, NDArray[np.generic]]

_THRESHOLDS = ("set_point", "reset_point", "supply_off", "supply_on")
_TIMING = (
    "try_s", "release_s", "release_end_s", "quit_s", "overlap_s", "first_cut_s", "has_output_on", "over_kpa",
    "idle_noise_kpa",
)  # fmt: skip


def _gather(results: list[ChunkResult], part: str) -> Arrays:
    """One array per column over all chunks, with cycle and period numbers counted through."""
    tables = [getattr(r, part) for r in results]
    if not tables:
        return {}
    joined: Arrays = {k: np.concatenate([t[k] for t in tables]) for k in tables[0]}
    if "cycle" in joined:
        before = np.cumsum([0, *(len(r.cycles["start_s"]) for r in results)])
        joined["cycle"] = np.concatenate([t["cycle"] + n for t, n in zip(tables, before[:-1], strict=True)])
    return joined


def _gather_bins(results: list[ChunkResult]) -> Bins:
    """The averaged trace of all chunks, taken out of them column by column: nearly all that is kept is held once."""
    cycles = np.cumsum([0, *(len(r.cycles["start_s"]) for r in results)])
    periods = np.cumsum([0, *(len(r.periods["cycle"]) for r in results)])
    for result, cycle, period in zip(results, cycles[:-1].tolist(), periods[:-1].tolist(), strict=True):
        result.bins["cycle"] = result.bins["cycle"] + np.int32(cycle)
        result.bins["period"] = result.bins["period"] + np.int32(period)
    names = list(results[0].bins) if results else []
    return _bins({name: np.concatenate([r.bins.pop(name) for r in results]) for name in names})


def _levels(results: list[ChunkResult], name: str, width: int) -> NDArray[np.float64]:
    parts = [r.levels[name] for r in results]
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
    """Everything measured of one station, from its finished analyser, which gives its averaged trace away.

    `temperature` is the ambient temperature and its standard uncertainty [°C].
    """
    learned, results = analyser.learned, analyser.results
    if learned is None:
        learned = _nothing_learned()
    cycles = _cycle_arrays(results, facts, learned)
    n = len(cycles["start_s"]) if cycles else 0
    strip = analyser.strip.strip()
    levels = level_grid(options)
    ambient, ambient_u, ambient_source = ambient_of(station)

    def per_cycle(name: str) -> NDArray[np.float64]:
        return np.asarray(cycles[name], np.float64) if n else np.zeros(0)

    data = StationData(
        station=name,
        cycles=_cycles_table(cycles, facts, name),
        periods=_table(PERIODS, _gather(results, "periods") or _NO_ROWS, name, facts.log_id, {"reason": REASONS}),
        edges=_table(EDGES, _gather(results, "edges") or _NO_ROWS, name, facts.log_id, {}),
        bins=_gather_bins(results),
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
    cycles = _gather(results, "cycles")
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
        samples=np.asarray(bins.get("samples", none), np.int32),
    )


def _sensor(learned: Learned, low: NDArray[np.float64], high: NDArray[np.float64], cycles: Arrays) -> SensorFacts:
    stuck = 0
    if cycles:
        still = np.asarray(cycles["reading_range_kpa"], np.float64) <= max(2.0 * learned.quantisation, 0.02)
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
