"""Diagnoses made up for tests of the history: whole records with known numbers, no log behind them."""

from collections.abc import Mapping

import numpy as np

from tracekit.model.cycle import Bins, SensorFacts, SettingInForce, StationData, Strip, Wiring
from tracekit.model.estimate import Estimate, Quantity, Withheld
from tracekit.model.result import DiagnosisRecord, LeakResult, StationResult, Suggestion
from tracekit.model.tables import CYCLES, EDGES, PERIODS, Column, Table, join_tables, make_table
from tracekit.model.trace import LogFacts

DAY_US = 86_400_000_000
JAN_US = 1_735_689_600_000_000
"""2025-01-01T00:00Z."""


def log_id_of(number: int) -> str:
    """A made-up hash."""
    import hashlib

    return hashlib.sha256(str(number).encode()).hexdigest()


def cycles_table(
    log_id: str, station: str, cycles: int = 12, decay: float = 1.5, values: Mapping[str, float] | None = None,
    parts: tuple[str, ...] = (),
) -> Table:  # fmt: skip
    """A cycles table in which every cycle is held and all values are alike but for a small known spread."""
    spread = np.linspace(-0.02, 0.02, cycles)
    start = np.arange(cycles) * 6.0
    data = {
        "log_id": np.zeros(cycles, int), "station": np.zeros(cycles, int), "cycle": np.arange(cycles),
        "start_s": start, "end_s": start + 6.0, "outcome": np.zeros(cycles, int), "set_point_reached": np.ones(cycles),
        "decay_rate_kpa_s": decay * (1 + spread), "evacuation_time_s": 0.2 * (1 + spread),
        "supply_switches": np.full(cycles, 2), "supply_on_time_s": 1.0 + spread, "chatter_edges": np.zeros(cycles, int),
        "noise_kpa": np.full(cycles, 0.05), "idle_vacuum_kpa": 0.01 * spread, "release_time_s": 0.08 * (1 + spread),
        "ultimate_vacuum_kpa": 80.0 + spread, "response_delay_s": 0.02 * (1 + spread),
    }  # fmt: skip
    for name, value in (values or {}).items():
        data[name] = np.full(cycles, value)
    columns, categories = CYCLES, {"log_id": (log_id,), "station": (station,)}
    if parts:
        columns = (*CYCLES, Column("context_part", "category", "", "part type"))
        data["context_part"] = np.arange(cycles) % len(parts)
        categories["context_part"] = parts
    return make_table(columns, data, categories)


def station_result(cycles: Table, leak: Quantity | None = None, ambient: float = 100.0) -> StationResult:
    """A station's result around a cycles table."""
    n = len(cycles)
    rate = cycles.floats("decay_rate_kpa_s")
    nothing = np.full(n, np.nan)
    centre = float(np.median(rate))
    decay = leak or Estimate(value=centre, lower=centre - 0.1, upper=centre + 0.1, unit="kPa/s", n=n, method="made up")
    none = Withheld("made up")
    empty = np.empty(0)
    data = StationData(
        station=cycles.categories["station"][0], cycles=cycles,
        periods=make_table(PERIODS, {"cycle": empty}, {}), edges=make_table(EDGES, {"cycle": empty}, {}),
        bins=Bins(cycle=empty, period=empty, time_s=empty, pressure_kpa=empty, samples=empty),
        strip=Strip(time_s=empty, lowest_kpa=empty, highest_kpa=empty), excerpts=(),
        sensor=SensorFacts(
            sample_interval_s=0.002, noise_kpa=0.05, quantisation_kpa=0.01, spike_share=0.0, range_low_kpa=-80.0,
            range_high_kpa=1.0, clipped_low_share=0.0, clipped_high_share=0.0, stuck_cycles=0,
        ),
        wiring=Wiring(supply_on_level=1, release_on_level=1, present_on_level=1, evidence={}),
        settings={"set_point": SettingInForce(value_kpa=56.0, source="edges")}, cycle_settings={}, air_saving=True,
        ambient_kpa=ambient, ambient_u_kpa=0.15, ambient_source="station file", temperature_c=20.0, temperature_u_c=4.0,
    )  # fmt: skip
    return StationResult(
        data=data,
        leak=LeakResult(
            rate=rate, rate_lower=nothing, rate_upper=nothing, local_rate=rate, local_vacuum=nothing,
            decay_rate=decay, mechanism="undecided", evidence="", ref_vacuum_kpa=60.0,
        ),
        leak_rate_pa_m3_s=none, leak_rate_l_min_anr=none, findings=(), causes=(), detectable=(),
        suggestion=Suggestion(
            settings=(), constraints=(), predicted_now={}, predicted_suggested={}, replayed={}, reasons=(),
        ),
        summary={}, assumptions=(), limits_of_log=(),
    )  # fmt: skip


def facts_of(log_id: str, start_us: int | None = JAN_US, duration_s: float = 72.0, source: str = "log.csv") -> LogFacts:
    """Facts of a made-up log."""
    return LogFacts(
        log_id=log_id, source=source, rows_read=36000, rows_used=36000, rejections=(), start_time_us=start_us,
        duration_s=duration_s, interval_median_s=0.002, interval_p95_s=0.002, interval_max_s=0.002,
        quantisation_kpa=0.01, gaps=(), clock_steps=(), warnings=(),
    )  # fmt: skip


def record_of(*results: StationResult, facts: LogFacts, version: str = "0.1.0") -> DiagnosisRecord:
    """A diagnosis of one log with these stations."""
    return DiagnosisRecord(
        version=version, created="2025-01-01T00:00:00Z", logs=(facts,), log_assumptions=((),), stations=results,
        cycles=join_tables(tuple(r.data.cycles for r in results)), periods=results[0].data.periods,
        edges=results[0].data.edges,
    )  # fmt: skip


def simple_record(number: int, *, stations: tuple[str, ...] = ("Glaze 1",), decay: float = 1.5, version: str = "0.1.0",
                  start_us: int | None = JAN_US, source: str = "log.csv", cycles: int = 12) -> DiagnosisRecord:  # fmt: skip
    """The made-up log of that number: one day after the one before it."""
    log_id = log_id_of(number)
    results = tuple(station_result(cycles_table(log_id, name, cycles, decay)) for name in stations)
    start = None if start_us is None else start_us + number * DAY_US
    return record_of(*results, facts=facts_of(log_id, start, source=source), version=version)
