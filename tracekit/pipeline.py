"""The only module that knows all stages: from a log to its diagnosis."""

import ctypes
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from importlib.metadata import version
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.judge.case import Case
from tracekit.judge.verdict import judge
from tracekit.measure.late import withhold_late
from tracekit.measure.leak import estimate_leak
from tracekit.measure.leak_change import leak_change
from tracekit.measure.station import station_data
from tracekit.measure.stream import StationAnalyser
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Bound, Estimate, Quantity, Withheld
from tracekit.model.result import DiagnosisRecord, LeakResult, StationResult
from tracekit.model.station import Station
from tracekit.model.tables import Table, join_tables
from tracekit.model.trace import Assumption, Layout, LogFacts
from tracekit.options.judge import JudgeOptions
from tracekit.options.measure import MeasureOptions
from tracekit.options.read import ReadOptions
from tracekit.options.segment import SegmentOptions
from tracekit.read import open_log
from tracekit.read.ahead import ahead
from tracekit.read.deviation import refuse_deviation
from tracekit.read.station_file import match_stations
from tracekit.tune.suggest import suggest

Floats = NDArray[np.float64]
Done = Callable[[str], None]
Heard = Callable[[int], None]

_BLOCKS_AHEAD = 7  # a little more than is analysed together, so that reading goes on meanwhile
_LONG_ROWS = 2_000_000  # a log from which giving back memory, in 10 ms, is worth it
_REF_KELVIN = 293.15
_ABSENT_TEMPERATURE = (20.0, 4.08)  # 20 ± 8 °C where the station file gives none


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredLog:
    """A log read and measured, not yet judged: one entry per station."""

    layout: Layout
    facts: LogFacts
    stations: tuple[StationData, ...]
    files: tuple[Station, ...]
    leaks: tuple[LeakResult, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """Baselines measured before: `of` gives the healthy data and leak of a station by name."""

    of: Callable[[str], tuple[StationData, LeakResult]]


def _temperature(station: Station) -> tuple[float, float]:
    given = station.station.temperature_c
    return _ABSENT_TEMPERATURE if given is None else (given, 1.0)


def _unheard(_stage: str) -> None:
    """Nobody asked what a stage took."""


@contextmanager
def _one_heap() -> Iterator[None]:
    """Arrow takes its memory where NumPy does, so that either uses what the other has freed and less stays taken."""
    before = pa.default_memory_pool()
    pa.set_memory_pool(pa.system_memory_pool())
    try:
        yield
    finally:
        pa.set_memory_pool(before)


def _give_back(rows: int) -> None:
    """Give back what a stage of a long log has freed: the C library would keep it beside all that is still to come."""
    if rows >= _LONG_ROWS and sys.platform == "linux":
        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)  # glibc alone has it, and keeps as much
        if trim is not None:
            trim(0)


@_one_heap()
def measure(
    log: Any,
    station: Station | Sequence[Station] | None = None,
    *,
    started_us: int | None = None,
    chunk_rows: int | None = None,
    done: Done = _unheard,
    heard: Heard | None = None,
) -> MeasuredLog:
    """Read a log and measure every station in it.

    `log` is a path, several paths, a DataFrame or an Arrow table; `done` is told each stage that has ended, `heard`
    after every block how many rows have been read.
    Raises LogReadError where it cannot be read, UsageError where several station files are given and none belongs to
    the log.
    """
    files = () if station is None else (station,) if isinstance(station, Station) else tuple(station)
    source = open_log(log, files)
    done("open")
    layout = source.layout
    segment = SegmentOptions() if chunk_rows is None else SegmentOptions(chunk_rows=chunk_rows)
    options = MeasureOptions()
    matched = match_stations(files, layout.stations)
    owned = tuple(matched.get(name, Station()) for name in layout.stations)
    analysers = [StationAnalyser(layout, file.settings, segment, options) for file in owned]
    for block in ahead(source.blocks(), _BLOCKS_AHEAD):
        analysers[block.station].feed(block)
        if heard is not None:
            heard(source.rows_read)
    for analyser in analysers:
        analyser.finish()
    _give_back(source.rows_read)
    facts = source.facts()
    refuse_deviation(facts, owned, ReadOptions())
    if facts.start_time_us is None and started_us is not None:
        facts = replace(facts, start_time_us=started_us)
    stations = tuple(
        withhold_late(
            station_data(a, facts, _name(n, f), f, _temperature(f), options),
            [lag for lag in facts.digital_lags if lag.station == n],
            options,
        )
        for a, n, f in zip(analysers, layout.stations, owned, strict=True)
    )
    _give_back(source.rows_read)
    done("samples")
    leaks = tuple(
        estimate_leak(data, ref_vacuum_kpa=file.station.ref_vacuum_kpa)
        for data, file in zip(stations, owned, strict=True)
    )
    _give_back(source.rows_read)
    done("leak")
    return MeasuredLog(layout=layout, facts=facts, stations=stations, files=owned, leaks=leaks)


def _name(name: str, file: Station) -> str:
    return file.station.name or name


def diagnose(
    log: Any,
    *,
    station: Station | Sequence[Station] | None = None,
    baseline: Any = None,
    blanked: Any = None,
    started_us: int | None = None,
    chunk_rows: int | None = None,
    done: Done = _unheard,
    heard: Heard | None = None,
) -> DiagnosisRecord:
    """The main job: a log becomes findings, settings and tables. Writes nothing.

    `baseline` is a log of the same station when healthy, or a `Kept` baseline measured before; `blanked` is a log with
    the cup on a flat plate. `done` is told each stage that has ended: open, samples, leak, baseline, judge; `heard`
    how many rows of `log` have been read.
    """
    now = measure(log, station, started_us=started_us, chunk_rows=chunk_rows, done=done, heard=heard)
    healthy = _baseline(baseline, station, now, chunk_rows)
    plate = None if blanked is None else measure(blanked, _own_ambient(station), chunk_rows=chunk_rows)
    if baseline is not None or blanked is not None:
        done("baseline")
    results = tuple(_result(now, i, healthy, plate) for i in range(len(now.stations)))
    _give_back(now.facts.rows_read)
    done("judge")
    return DiagnosisRecord(
        version=version("tracekit"),
        created=datetime.now(UTC).isoformat(timespec="seconds"),
        logs=(now.facts,),
        log_assumptions=(now.layout.assumptions,),
        stations=results,
        cycles=_joined(tuple(r.data.cycles for r in results)),
        periods=_joined(tuple(r.data.periods for r in results)),
        edges=_joined(tuple(r.data.edges for r in results)),
    )


def _joined(tables: tuple[Table, ...]) -> Table:
    """The tables of all stations in one; a single station's table is that table, held once."""
    return tables[0] if len(tables) == 1 else join_tables(tables)


def _baseline(
    baseline: Any, station: Station | Sequence[Station] | None, now: MeasuredLog, chunk_rows: int | None
) -> MeasuredLog | None:
    """The healthy log, read and measured, or put together from what was kept of it."""
    if not isinstance(baseline, Kept):
        return None if baseline is None else measure(baseline, _own_ambient(station), chunk_rows=chunk_rows)
    found = [baseline.of(data.station) for data in now.stations]
    return replace(now, stations=tuple(data for data, _ in found), leaks=tuple(leak for _, leak in found))


def _own_ambient(station: Station | Sequence[Station] | None) -> Station | Sequence[Station] | None:
    """The baseline keeps its own ambient: the station file's belongs to the log that is diagnosed."""
    if isinstance(station, Station):
        return replace(station, station=replace(station.station, ambient_kpa=None))
    if station is None:
        return None
    return tuple(replace(s, station=replace(s.station, ambient_kpa=None)) for s in station)


def _match(now: MeasuredLog, index: int, healthy: MeasuredLog | None) -> int | None:
    """Which station of the baseline belongs to a station of the log."""
    if healthy is None or not healthy.stations:
        return None
    names = [s.station for s in healthy.stations]
    own = now.stations[index].station
    if own in names:
        return names.index(own)
    return 0 if len(names) == len(now.stations) == 1 else None


def _result(now: MeasuredLog, index: int, healthy: MeasuredLog | None, plate: MeasuredLog | None) -> StationResult:
    leak, file = now.leaks[index], now.files[index]
    data = with_leak(now.stations[index], leak, file)
    blanked = _match(now, index, plate)
    place = _match(now, index, healthy)
    base = healthy.stations[place] if healthy is not None and place is not None else None
    base_leak = healthy.leaks[place] if healthy is not None and place is not None else None
    case = Case(
        data=data,
        leak=leak,
        station=file,
        layout=now.layout,
        facts=now.facts,
        baseline=base,
        baseline_leak=base_leak,
        blanked_leak=plate.leaks[blanked] if plate is not None and blanked is not None else None,
    )
    verdict = judge(case, JudgeOptions())
    flow, litres = leak_flows(leak, file, data)
    return StationResult(
        data=data,
        leak=leak,
        leak_rate_pa_m3_s=flow,
        leak_rate_l_min_anr=litres,
        findings=verdict.findings,
        causes=verdict.causes,
        detectable=verdict.detectable,
        suggestion=suggest(data, leak, file, verdict.findings),
        summary=summary(data),
        assumptions=(*now.layout.assumptions, *station_assumptions(data, file)),
        limits_of_log=data.notes,
        baseline=base,
        baseline_leak=base_leak,
        leak_change=None if base is None or data.air_saving or base.air_saving else leak_change(data, base),
    )


def with_leak(data: StationData, leak: LeakResult, file: Station) -> StationData:
    """The cycles table with decay and leak rates filled in."""
    n = len(data.cycles)
    nothing = np.full(n, np.nan)
    volume = file.station.volume_ml
    scale = nothing if volume is None else np.full(n, volume * 1e-6 * 1e3)
    with np.errstate(invalid="ignore"):
        spread = file.station.volume_rel_u * 1.96
        flow = leak.rate * scale
        half_low = np.hypot(leak.rate - leak.rate_lower, spread * np.abs(leak.rate)) * scale
        half_high = np.hypot(leak.rate_upper - leak.rate, spread * np.abs(leak.rate)) * scale
    cycles = data.cycles.with_columns(
        decay_rate_kpa_s=leak.rate,
        decay_rate_lower_kpa_s=leak.rate_lower,
        decay_rate_upper_kpa_s=leak.rate_upper,
        decay_local_kpa_s=leak.local_rate,
        decay_local_vacuum_kpa=leak.local_vacuum,
        leak_rate_pa_m3_s=flow,
        leak_rate_lower_pa_m3_s=flow - half_low,
        leak_rate_upper_pa_m3_s=flow + half_high,
    )
    return replace(data, cycles=cycles)


def leak_flows(leak: LeakResult, file: Station, data: StationData) -> tuple[Quantity, Quantity]:
    """The leak as pV flow at ambient temperature and as a volume flow at ISO 8778 reference conditions."""
    volume, rate = file.station.volume_ml, leak.decay_rate
    if volume is None:
        reason = Withheld("no volume in the station file")
        return reason, reason
    if isinstance(rate, Withheld):
        return rate, rate
    scale = volume * 1e-3
    kelvin = 273.15 + data.temperature_c
    litres = 0.6 * _REF_KELVIN / kelvin
    relative = 1.96 * file.station.volume_rel_u
    warmth = 1.96 * data.temperature_u_c / kelvin
    if isinstance(rate, Bound):
        # the far end of the volume's interval, so that the bound stays a bound
        far = 1.0 - relative if rate.status == "lower_bound" else 1.0 + relative
        first = replace(rate, limit=rate.limit * scale * far, unit="Pa·m³/s")
        return first, replace(first, limit=first.limit * litres, unit="L/min ANR")
    low = np.hypot(rate.value - rate.lower, relative * rate.value) * scale
    high = np.hypot(rate.upper - rate.value, relative * rate.value) * scale
    value = rate.value * scale
    flow = replace(rate, value=value, lower=float(value - low), upper=float(value + high), unit="Pa·m³/s")
    low, high = np.hypot(low, warmth * value) * litres, np.hypot(high, warmth * value) * litres
    value *= litres
    return flow, Estimate(
        value=value, lower=float(value - low), upper=float(value + high), unit="L/min ANR", n=rate.n, method=rate.method
    )


_MOMENTS = ("cycle", "start_s", "end_s", "hold_start_s", "hold_end_s", "contact_s", "drop_s")
"""Columns that tell when, not how much."""


def summary(data: StationData) -> Mapping[str, Mapping[str, float]]:
    """Median and 5 % and 95 % quantiles of every measured column that has values."""
    out = {}
    for column in data.cycles.columns:
        if column.kind not in ("float", "int") or column.name in _MOMENTS:
            continue
        values = data.cycles.floats(column.name)
        if column.kind == "int":
            values = np.where(values < 0, np.nan, values)
        values = values[np.isfinite(values)]
        if len(values):
            low, middle, high = (float(v) for v in np.quantile(values, (0.05, 0.5, 0.95)))
            out[column.name] = {"median": middle, "p05": low, "p95": high}
    return out


def station_assumptions(data: StationData, file: Station) -> tuple[Assumption, ...]:
    """What was assumed about the station where its file says nothing."""
    levels = {
        "supply": data.wiring.supply_on_level,
        "release": data.wiring.release_on_level,
        "part_present": data.wiring.present_on_level,
    }
    out = [
        Assumption(what=f"{n} is on at", value=str(level), evidence=data.wiring.evidence.get(n, ""), confidence=0.98)
        for n, level in levels.items()
        if level is not None
    ]
    absent = "not in the station file"
    if data.ambient_source != "station file":
        value = f"{data.ambient_kpa:.1f} kPa ± {1.96 * data.ambient_u_kpa:.0f} kPa"
        out.append(Assumption(what="ambient pressure", value=value, evidence=data.ambient_source, confidence=0.95))
    if file.station.temperature_c is None:
        out.append(Assumption(what="ambient temperature", value="20 °C ± 8 °C", evidence=absent, confidence=0.95))
    if file.station.volume_ml is not None and file.station.volume_rel_u == 0.10:
        what = "relative standard uncertainty of the volume"
        out.append(Assumption(what=what, value="0.10", evidence=absent, confidence=0.9))
    return tuple(out)
