"""A station at work, simulated in a few lines of NumPy: tables, averaged traces and samples of invented cycles."""

from dataclasses import dataclass, field

import numpy as np

from tracekit.model.cycle import Bins, Excerpt, SensorFacts, SettingInForce, StationData, Strip, Wiring
from tracekit.model.tables import CYCLES, EDGES, PERIODS, Column, make_table

HASH = "6b1f0c4e9a7d3358f4e2a90b7cdd51c8e07714a2b9f3460de5c1aa8d90f2e713"
SET, RESET, OFF, ON = 60.0, 55.0, 74.0, 69.0


@dataclass(frozen=True, kw_only=True)
class Play:
    """What happens at the station: one value per cycle or one for all."""

    cycles: int = 95
    rate: float = 0.4
    slow: tuple[int, ...] = ()
    slow_rate: float = 10.0
    spread: float = 0.06
    tau: float = 0.06
    hold_s: float = 2.5
    dropped: tuple[int, ...] = ()
    missed: tuple[int, ...] = ()
    chatter: tuple[int, ...] = ()
    digitals: bool = True
    saving: bool = True
    seed: int = 1
    parts: tuple[str, ...] = ()
    station: str = "Loader 2"


@dataclass
class Sheet:
    """Rows collected while a play runs."""

    cycles: list = field(default_factory=list)
    periods: list = field(default_factory=list)
    edges: list = field(default_factory=list)
    bins: list = field(default_factory=list)


def _sample(sheet, cycle, start, stop, curve, rng, noise=0.08):
    """Bins of 10 ms from start to stop on a curve of vacuum over time; returns vacuum at both ends."""
    n = max(1, int((stop - start) / 0.01))
    times = start + (np.arange(n) + 0.5) * (stop - start) / n
    values = -curve(times - start) + rng.normal(0.0, noise, n)
    sheet.bins.append((np.full(n, cycle), np.full(n, len(sheet.periods)), times, values))
    return float(curve(np.array(0.0))), float(curve(np.array(stop - start)))


def _stretch(sheet, cycle, kind, start, stop, curve, rng):
    first, last = _sample(sheet, cycle, start, stop, curve, rng)
    slope = (first - last) / (stop - start)
    sheet.periods.append((cycle, kind, start, stop, int((stop - start) / 0.005), first, last, slope))
    return last


def _edge(sheet, cycle, time, signal, value, chatter=False):
    sheet.edges.append((cycle, time, signal, value, chatter))


def _hold(sheet, i, start, end, rate, vacuum, play, rng):
    """Saw-tooth from start to end of a hold; returns coasts, supply changes, vacuum and time of air in the hold."""
    t, coasts, switches, air = start, 0, 0, 0.0
    while play.saving and t < end - 0.02:
        length = min((vacuum - ON) / max(rate, 0.01), end - t)
        v0 = vacuum
        vacuum = _stretch(sheet, i, "coast", t, t + length, lambda x, v=v0: v - rate * x - 0.3 * (1 - np.exp(-x / 0.1)), rng)
        _edge(sheet, i, t, 0, 0)
        coasts, switches, t = coasts + 1, switches + 1, t + length
        if t >= end - 0.02:
            break
        v1 = vacuum
        stop = min(t + 0.12, end)
        vacuum = _stretch(sheet, i, "recharge", t, stop, lambda x, v=v1: v + (OFF - v) * (1 - np.exp(-x / 0.03)), rng)
        _edge(sheet, i, t, 0, 1)
        switches, air, t = switches + 1, air + stop - t, stop
        vacuum = max(vacuum, OFF - 0.3)
    return coasts, switches, vacuum, air


def _run(play):
    """Cycles, periods, edges and bins of a play."""
    rng = np.random.default_rng(play.seed)
    sheet = Sheet()
    clock = 3.0
    for i in range(play.cycles):
        start = clock + rng.normal(0.0, 0.02)
        rate = (play.slow_rate if i in play.slow else play.rate) * (1.0 + rng.normal(0.0, play.spread))
        missed, dropped = i in play.missed, i in play.dropped
        top = 12.0 if missed else 82.0
        _stretch(sheet, i, "open", start, start + 0.04, lambda x: 6.0 * (1 - np.exp(-x / 0.02)), rng)
        rise = 1.2 if missed else play.tau * np.log((top - 5.2) / (top - OFF - 0.5)) * (1 + rng.normal(0, 0.01))
        vacuum = _stretch(
            sheet, i, "evacuate", start + 0.04, start + 0.04 + rise,
            lambda x, t=top: t - (t - 5.2) * np.exp(-x / play.tau), rng,
        )  # fmt: skip
        _edge(sheet, i, start, 0, 1)
        seal = play.tau * np.log((top - 5.2) / (top - SET)) if not missed else np.nan
        on = start + 0.04 + rise
        planned = play.hold_s + rng.normal(0.0, 0.1)
        end = on + (planned * rng.uniform(0.3, 0.9) if dropped else planned if not missed else 0.02)
        extra, coasts, switches, air = 0, 0, 0, 0.0
        if not missed:
            _edge(sheet, i, start + 0.04 + seal, 2, 1)
            coasts, switches, vacuum, air = _hold(sheet, i, on, end, rate, vacuum, play, rng)
            if not play.saving:
                _stretch(sheet, i, "steady", on, end, lambda x: 74.0 + 0 * x, rng)
            if i in play.chatter:
                extra = 2 * int(rng.integers(3, 9))
                flips = np.sort(rng.uniform(start + 0.05 + seal, start + 0.35 + seal, extra))
                for k, when in enumerate(flips):
                    _edge(sheet, i, float(when), 2, k % 2, True)
        stop = end + (planned * 0.2 if dropped else 0.0)
        if dropped:
            _stretch(sheet, i, "steady", end, stop, lambda x, v=vacuum: v * np.exp(-x / 0.02), rng)
            vacuum = 0.0
        _edge(sheet, i, end, 2, 0)
        _edge(sheet, i, stop, 1, 1)
        _stretch(sheet, i, "release", stop, stop + 0.2, lambda x, v=vacuum: v * np.exp(-x / 0.03) - 1.0, rng)
        _edge(sheet, i, stop + 0.2, 1, 0)
        clock = start + 3.6
        _stretch(sheet, i, "idle", stop + 0.2, max(clock, stop + 0.3), lambda x: 0.1 + 0 * x, rng)
        sheet.cycles.append({
            "cycle": i, "start_s": start, "end_s": clock, "outcome": 1 if dropped else 2 if missed else 0,
            "set_point_reached": int(not missed), "attempts": 1, "response_delay_s": 0.012, "contact_s": 0.04 + start,
            "open_cup_vacuum_kpa": 5.2 + rng.normal(0, 0.1), "evacuation_time_s": 0.04 + seal, "seal_time_s": seal,
            "pump_time_constant_s": np.nan if missed else play.tau * (1 + rng.normal(0, 0.03)),
            "ultimate_vacuum_kpa": np.nan if missed else 82.0 + rng.normal(0, 0.2), "ultimate_extrapolated": 1,
            "peak_vacuum_kpa": top if missed else OFF + 0.4, "hold_vacuum_kpa": np.nan if missed else 70.0,
            "hold_min_vacuum_kpa": np.nan if missed else 64.6, "hold_start_s": np.nan if missed else start + 0.04 + seal,
            "hold_end_s": np.nan if missed else end, "coasts": coasts, "supply_switches": switches,
            "supply_on_time_s": 0.04 + rise + air, "output_edges": 0 if missed else 2 + extra, "chatter_edges": extra,
            "chatter_frequency_hz": extra / 0.6 if extra else np.nan, "drop_s": end if dropped else np.nan,
            "drop_kind": 0 if dropped else -1, "release_time_s": 0.07, "residual_vacuum_kpa": 0.3, "release_peak_kpa": 1.0,
            "idle_vacuum_kpa": 0.1, "noise_kpa": 0.08, "rate": rate,
        })  # fmt: skip
    return sheet


def data_of(play: Play) -> StationData:
    """The station's data as analysis would hand it on."""
    sheet = _run(play)
    n = len(sheet.cycles)
    ids = {"log_id": np.zeros(n), "station": np.zeros(n)}
    known = {"log_id": (HASH,), "station": (play.station,)}
    columns = {name: np.array([row[name] for row in sheet.cycles]) for name in sheet.cycles[0]}
    extra = ()
    if play.parts:
        extra = (Column("context_part", "category", "", "part type"),)
        columns["context_part"] = np.array([1 if i in play.slow else 0 for i in range(n)])
        known["context_part"] = play.parts
    cycles = make_table((*CYCLES, *extra), {**ids, **columns}, known)
    kinds = ("idle", "open", "evacuate", "coast", "recharge", "steady", "release")
    p = list(zip(*sheet.periods, strict=True))
    names = ("cycle", "start_s", "end_s", "samples", "vacuum_start_kpa", "vacuum_end_kpa", "slope_kpa_s")
    periods = make_table(
        PERIODS,
        {**dict(zip(names, (np.array(p[k]) for k in (0, 2, 3, 4, 5, 6, 7)), strict=True)),
         "kind": np.array([kinds.index(k) for k in p[1]]), "used": np.ones(len(p[0]))},
        {"log_id": (HASH,), "station": (play.station,), "reason": ()},
    )  # fmt: skip
    e = sorted(sheet.edges, key=lambda row: row[1]) if play.digitals else []
    edges = make_table(
        EDGES,
        {name: np.array([row[k] for row in e]) for k, name in enumerate(("cycle", "time_s", "signal", "value", "chatter"))},
        {"log_id": (HASH,), "station": (play.station,)},
    )  # fmt: skip
    bins = Bins(
        cycle=np.concatenate([b[0] for b in sheet.bins]).astype(np.int32),
        period=np.concatenate([b[1] for b in sheet.bins]).astype(np.int32),
        time_s=np.concatenate([b[2] for b in sheet.bins]),
        pressure_kpa=np.concatenate([b[3] for b in sheet.bins]),
        samples=np.full(sum(len(b[0]) for b in sheet.bins), 2, np.int32),
    )
    settings = {
        name: SettingInForce(value_kpa=v if play.digitals else None, source="edges" if play.digitals else "absent")
        for name, v in {"set_point": SET, "reset_point": RESET, "supply_off": OFF, "supply_on": ON}.items()
    }
    return StationData(
        station=play.station, cycles=cycles, periods=periods, edges=edges, bins=bins, strip=_strip(bins),
        excerpts=_excerpts(play, bins, edges), sensor=_sensor(), wiring=Wiring(
            supply_on_level=1, release_on_level=1, present_on_level=1, evidence={"supply": "pressure falls at level 1"}),
        settings=settings, cycle_settings={k: np.full(n, v) for k, v in (("set_point", SET), ("reset_point", RESET))},
        air_saving=play.saving, ambient_kpa=101.3, ambient_u_kpa=5.1, ambient_source="standard atmosphere",
        temperature_c=20.0, temperature_u_c=4.0, usual_peak_kpa=OFF, timing={"over_kpa": np.full(n, 1.0)},
    )  # fmt: skip


def _sensor():
    return SensorFacts(
        sample_interval_s=0.005, noise_kpa=0.08, quantisation_kpa=0.1, spike_share=0.0, range_low_kpa=-76.0,
        range_high_kpa=1.4, clipped_low_share=0.0, clipped_high_share=0.0, stuck_cycles=0,
    )  # fmt: skip


def _strip(bins, buckets=1200):
    cut = np.linspace(0, len(bins.time_s), min(buckets, len(bins.time_s)) + 1).astype(int)[:-1]
    return Strip(
        time_s=bins.time_s[cut],
        lowest_kpa=np.minimum.reduceat(bins.pressure_kpa, cut),
        highest_kpa=np.maximum.reduceat(bins.pressure_kpa, cut),
    )


def _excerpts(play, bins, edges):
    found = []
    present = edges.where("signal", "part_present")
    for cycle in (*play.dropped[:8], *play.chatter[:3], 0):
        rows = bins.cycle == cycle
        times = np.linspace(bins.time_s[rows][0], bins.time_s[rows][-1], 4 * int(rows.sum()))
        own = present & (edges.codes("cycle") == cycle)
        when, value = edges.floats("time_s")[own], edges.codes("value")[own]
        at = np.searchsorted(when, times, side="right") - 1
        logical = np.where(at < 0, 0, value[np.maximum(at, 0)]) if len(when) else np.zeros(len(times))
        level = np.interp(times, bins.time_s[rows], bins.pressure_kpa[rows])
        found.append(Excerpt(
            cycle=int(cycle), why="lost" if cycle in play.dropped else "chatter" if cycle in play.chatter else "typical",
            time_s=times, pressure_kpa=np.round(level / 0.1) * 0.1, present=logical.astype(np.int8),
        ))  # fmt: skip
    return tuple(found)
