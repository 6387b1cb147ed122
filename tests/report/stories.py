"""Invented diagnoses of the tile works, made of a few lines of NumPy: enough to fill every block of a page."""

from dataclasses import dataclass, field, replace

import numpy as np

from tracekit.model.cycle import Bins, Excerpt, SensorFacts, SettingInForce, StationData, Strip, Wiring
from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.finding import CauseChance, Detectable, Evidence, Finding, NextStep
from tracekit.model.result import (
    BudgetLine,
    CoastShape,
    Constraint,
    DiagnosisRecord,
    LeakGroup,
    LeakResult,
    StationResult,
    SuggestedSetting,
    Suggestion,
)  # fmt: skip
from tracekit.model.tables import CYCLES, EDGES, PERIODS, Column, make_table
from tracekit.model.trace import Assumption, LogFacts, Rejection

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
        temperature_c=20.0, temperature_u_c=4.0,
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


def leak_of(data: StationData, *, mechanism="undecided", groups=(), withheld=""):
    """A leak result whose rates are those of the play."""
    n = len(data.cycles)
    held = data.cycles.where("outcome", "held")
    coasts = data.periods.where("kind", "coast")
    slope, owner = data.periods.floats("slope_kpa_s")[coasts], data.periods.codes("cycle")[coasts]
    rate = np.full(n, np.nan)
    if not withheld:
        for i in range(n):
            own = slope[owner == i]
            rate[i] = np.median(own) if held[i] and len(own) else np.nan
    half = 0.15 + 0.02 * np.nan_to_num(rate)
    mid = float(np.nanmedian(rate)) if np.isfinite(rate).any() else np.nan
    decay = (
        Withheld(withheld)
        if withheld
        else Estimate(value=mid, lower=mid - 0.2, upper=mid + 0.2, unit="kPa/s", n=int(held.sum()), method="pooled coasts")
    )
    t = np.linspace(0.05, 1.0, 8)
    shape = CoastShape(
        time_s=t, lost_kpa=mid * t, lost_u_kpa=np.full(8, 0.05), hole_kpa=mid * t, porous_kpa=mid * t * (1 - 0.06 * t)
    )
    return LeakResult(
        rate=rate, rate_lower=rate - half, rate_upper=rate + half, local_rate=rate, local_vacuum=np.where(held, 69.0, np.nan),
        decay_rate=decay, mechanism=mechanism, evidence="vacuum moved only from 69 to 74 kPa, where both fall alike",
        ref_vacuum_kpa=60.0, form_probability={"hole": 0.7, "mixture": 0.1, "porous": 0.2}, wall_time_constant_s=float("nan"),
        groups=groups, shape=None if withheld else shape,
        budget=() if withheld else (
            BudgetLine(source="form of the leak", u_kpa_s=0.07, common=True),
            BudgetLine(source="ambient pressure", u_kpa_s=0.03, common=True),
            BudgetLine(source="scatter between cycles", u_kpa_s=0.02, common=False)),
    )  # fmt: skip


NO_WIRING = Wiring(supply_on_level=None, release_on_level=None, present_on_level=None, evidence={})

FACTS = LogFacts(
    log_id=HASH, source="loader_2_torn_cup.parquet", rows_read=65_010, rows_used=65_000,
    rejections=(Rejection(reason="time goes backwards", rows=10, first_lines=(1041, 1042)),),
    start_time_us=1_724_491_020_000_000, duration_s=325.0, interval_median_s=0.005, interval_p95_s=0.005,
    interval_max_s=0.02, quantisation_kpa=0.1, gaps=(), clock_steps=(), warnings=(),
)  # fmt: skip

BLANK = NextStep(
    do="Blank the cup with a flat plate. Stop safely, press the plate on the cup, make vacuum and read the fall.",
    expect_if="Below 1 kPa/s: change the cup.", expect_else="Still near 7 kPa/s: go to step 2.", minutes=5,
    caution="Nobody under the load; never a hand on the cup.",
)  # fmt: skip
PINCH = NextStep(
    do="Pinch off the hose at the cup.", expect_if="Fall stops: hose end or cup fitting.",
    expect_else="Fall goes on: hose start, filter bowl or valve block.", minutes=3, caution="Lock out and vent first.",
)  # fmt: skip
AGAIN = NextStep(
    do="Record 30 cycles after the repair.", expect_if="Below 0.6 kPa/s and at most one refill per hold: done.",
    expect_else="Still above: take the next cause.", minutes=2, caution="Stand outside the guards.",
)  # fmt: skip

ASSUMED = (
    Assumption(what="ambient pressure", value="101.3 kPa ± 10 kPa", evidence="not in the log nor in a station file", confidence=0.6),
    Assumption(what="supply makes vacuum at level", value="1", evidence="pressure falls after it in 95 of 95 cycles", confidence=0.99),
)  # fmt: skip


def finding(code, *, kind="cause", severity="minor", confidence=0.9, share=1.0, title="", steps=(BLANK, PINCH, AGAIN), **more):
    """A finding with the texts of a test."""
    return Finding(
        code=code, kind=kind, severity=severity, confidence=confidence, share=share, title=title or code.replace("_", " "),
        next_steps=steps, **more,
    )  # fmt: skip


def suggestion(withheld="Repair the leak first."):
    """Four settings to enter, or none with a reason."""
    if withheld:
        return Suggestion(settings=(), constraints=(), predicted_now={}, predicted_suggested={}, replayed={}, reasons=(), withheld=withheld)
    rows = (("set_point", 60.0, 58.0, ""), ("reset_point", 59.7, 53.0, "below set_point"),
            ("supply_off", 74.0, 72.5, ""), ("supply_on", 69.0, 66.0, "below supply_off"))  # fmt: skip
    shown = {"set_point": (-60.0, -58.0), "reset_point": (0.3, 5.0), "supply_off": (-74.0, -72.5), "supply_on": (5.0, 6.5)}
    return Suggestion(
        settings=tuple(SuggestedSetting(
            name=name, now_kpa=now, suggested_kpa=new, shown=shown[name][1], shown_now=shown[name][0], unit="kPa", entry=entry,
            reason="wider than one step of the reading") for name, now, new, entry in rows),
        constraints=(Constraint(name="reset_point + guard <= supply_on", holds=True, margin_kpa=12.0),),
        predicted_now={}, predicted_suggested={}, replayed={"edges_avoided": 412, "edges_left": 0},
        reasons=("Reset point moves 5 kPa under the set point, wider than the noise.",), withheld=None,
    )  # fmt: skip


CAUSES = (
    CauseChance(code="leak_steady", chance=0.9, reason="Fall 7.4 against 0.4 kPa/s; scatter from cycle to cycle as a lip gives."),
    CauseChance(code="check_valve_leak", chance=0.07, reason="Not excluded: ultimate vacuum was not seen, supply cut first."),
    CauseChance(code="leak_part_dependent", chance=0.01, reason="Every cycle alike; no second group."),
    CauseChance(code="none", chance=0.02, reason="What the log does not tell apart."),
)  # fmt: skip
DETECTABLE = (
    Detectable(code="leak_steady", measure="decay_rate_kpa_s", smallest=1.5, unit="kPa/s", why="95 cycles at 200 samples a second"),
    Detectable(code="supply_pressure_low", measure="evacuation_time_s", smallest=0.02, unit="s", why="sampled every 5 ms"),
    Detectable(code="release_valve_leak", measure="decay_rate_kpa_s", smallest=None, unit="kPa/s", why="the range of the sensor ends at 0"),
)  # fmt: skip


def result(play: Play, *, findings=(), causes=CAUSES, base: Play | None = None, **more) -> StationResult:
    """A whole result of one station."""
    data = more.pop("data", None) or data_of(play)
    leak = more.pop("leak", None) or leak_of(data)
    healthy = data_of(base) if base else None
    fields = {
        "data": data, "leak": leak, "leak_rate_pa_m3_s": Withheld("no volume in a station file"),
        "leak_rate_l_min_anr": Withheld("no volume in a station file"), "findings": tuple(findings), "causes": causes,
        "detectable": DETECTABLE, "suggestion": suggestion(), "summary": {}, "assumptions": ASSUMED,
        "limits_of_log": ("Sampled every 5 ms: valve delays below 10 ms do not show.",),
        "baseline": healthy, "baseline_leak": leak_of(healthy) if healthy else None,
    }  # fmt: skip
    return StationResult(**(fields | more))


def record(*results: StationResult, facts=FACTS, **more) -> DiagnosisRecord:
    """A diagnosis of one or more stations."""
    first = results[0].data
    return DiagnosisRecord(
        version="0.1.0", created="2025-03-04T10:15:00Z", logs=(facts,), log_assumptions=(ASSUMED[:1],), stations=results,
        cycles=first.cycles, periods=first.periods, edges=first.edges, **more,
    )  # fmt: skip


HEALTHY = Play(cycles=60, seed=2)


def torn_cup():
    """A leak on every cycle, with a baseline."""
    ev = Evidence(measure="decay_rate_kpa_s", value=7.4, lower=7.2, upper=7.6, unit="kPa/s", reference=0.4,
                  reference_source="baseline", cycles=95)  # fmt: skip
    found = finding("leak_steady", evidence=(ev,), cycles=tuple(range(95)), alternatives=())
    return record(result(Play(rate=7.4), findings=(found,), base=HEALTHY), options={"noise_factor": (4.0, "sigma")})


def healthy():
    """Nothing to repair."""
    causes = (CauseChance(code="none", chance=0.97, reason="every measure as in the baseline"),)
    return record(result(Play(cycles=71, seed=3), causes=causes, base=HEALTHY, suggestion=suggestion("Nothing calls for a change.")))


def no_baseline():
    """A leak judged from physics alone, the rival close."""
    found = finding("leak_steady", confidence=0.55, alternatives=("check_valve_leak",), severity="minor")
    causes = (CauseChance(code="leak_steady", chance=0.5, reason="common"), CauseChance(code="check_valve_leak", chance=0.4, reason="not excluded"))
    return record(result(Play(rate=7.4), findings=(found,), causes=causes))


def chattering():
    """The output flips near its thresholds; settings are suggested."""
    wild = tuple(range(0, 80, 2))
    found = finding("hysteresis_too_small", kind="setting", severity="minor", confidence=0.97, share=0.5, cycles=wild,
                    evidence=(Evidence(measure="chatter_edges", value=9.0, unit="", reference=0.0, cycles=40),))  # fmt: skip
    chatter = finding("switch_chatter", kind="symptom", cycles=wild, steps=())
    causes = (CauseChance(code="hysteresis_too_small", chance=0.95, reason="Set and reset point are 0.3 kPa apart."),)
    return record(result(Play(cycles=80, chatter=wild), findings=(found, chatter), causes=causes, suggestion=suggestion("")))


def dropping():
    """Parts torn off."""
    lost = (4, 17, 31, 44, 58)
    found = finding("collision_or_peel", severity="critical", confidence=0.85, share=5 / 62, cycles=lost)
    drop = finding("part_dropped", kind="symptom", severity="critical", share=5 / 62, cycles=lost, steps=())
    causes = (CauseChance(code="collision_or_peel", chance=0.85, reason="Vacuum collapses within 0.05 s."),)
    return record(result(Play(cycles=62, dropped=lost, missed=(20,)), findings=(found, drop), causes=causes, base=HEALTHY))


def by_part():
    """One kind of part leaks."""
    slow = tuple(range(2, 62, 4))
    play = Play(cycles=62, slow=slow, parts=("tile 20", "tile 30"))
    data = data_of(play)
    rest = tuple(i for i in range(62) if i not in slow)
    groups = tuple(
        LeakGroup(by="context_part", label=label, share=len(rows) / 62, cycles=rows,
                  decay_rate_kpa_s=Estimate(value=v, lower=v - 0.3, upper=v + 0.3, unit="kPa/s", n=len(rows), method="median"))
        for label, rows, v in (("tile 20", rest, 0.4), ("tile 30", slow, 10.0)))  # fmt: skip
    found = finding("leak_part_dependent", severity="major", confidence=0.97, share=15 / 62, cycles=slow)
    causes = (CauseChance(code="leak_part_dependent", chance=0.96, reason="tile 30 leaks 10 kPa/s, tile 20 0.4 kPa/s"),)
    return record(result(play, data=data, leak=leak_of(data, groups=groups), findings=(found,), causes=causes))


def slow_suction():
    """Evacuation takes longer than in the baseline."""
    found = finding("exhaust_restricted", severity="minor", confidence=0.82, evidence=(
        Evidence(measure="evacuation_time_s", value=0.162, lower=0.16, upper=0.165, unit="s", reference=0.118, reference_source="baseline", cycles=95),))  # fmt: skip
    causes = (CauseChance(code="exhaust_restricted", chance=0.82, reason="Slower evacuation, blow-off as before."),)
    return record(result(Play(tau=0.09), findings=(found,), causes=causes, base=HEALTHY))


def no_digitals():
    """Pressure alone: nothing about valves or the output."""
    found = finding("channel_missing", kind="recording", severity="minor", confidence=1.0, steps=())
    play = Play(cycles=30, digitals=False)
    data = replace(data_of(play), air_saving=False, wiring=NO_WIRING)
    return record(result(play, data=data, leak=leak_of(data, withheld="no supply channel in the log"), findings=(found,), causes=()))


def unmeasurable():
    """A log in which no cycle can be found."""
    play = Play(cycles=1)
    data = data_of(play)
    none = np.array([], int)
    cut = {"log_id": none}
    known = {"log_id": (HASH,), "station": ("Loader 2",)}
    empty = Bins(cycle=none.astype(np.int32), period=none.astype(np.int32), time_s=none.astype(float),
                 pressure_kpa=none.astype(float), samples=none.astype(np.int32))  # fmt: skip
    data = replace(
        data, cycles=make_table(CYCLES, cut, known), periods=make_table(PERIODS, cut, {**known, "reason": ()}),
        edges=make_table(EDGES, cut, known), bins=empty, excerpts=(), air_saving=False, wiring=NO_WIRING, cycle_settings={},
        settings={k: SettingInForce(value_kpa=None, source="absent") for k in data.settings},
    )  # fmt: skip
    leak = leak_of(data, withheld="no cycle in the log")
    found = finding("channel_missing", kind="recording", severity="minor", confidence=1.0, steps=(), title="No supply or release channel")
    return record(result(play, data=data, leak=leak, findings=(found,), causes=(), detectable=(), suggestion=suggestion("No cycle in the log.")))


def withheld():
    """Cycles are there, every quantity is withheld."""
    play = Play(cycles=12, saving=False)
    data = data_of(play)
    reason = "the station does not save air, so the supply is never closed in a hold"
    return record(result(play, data=data, leak=leak_of(data, withheld=reason), causes=()))


EVIL = '"><script>alert(1)</script>\u202e\' onmouseover="x" ' + "A" * 10_000


def hostile():
    """Names that try to break out."""
    base = torn_cup()
    one = base.stations[0]
    bad = replace(one, data=replace(one.data, station=EVIL), limits_of_log=(EVIL,), assumptions=(Assumption(what=EVIL, value=EVIL, evidence=EVIL, confidence=0.5),),
                  leak=replace(one.leak, groups=(LeakGroup(by="context_" + EVIL, label=EVIL, share=0.5, cycles=tuple(range(40)), decay_rate_kpa_s=Withheld(EVIL)),
                                                 LeakGroup(by="context_" + EVIL, label="ok", share=0.5, cycles=tuple(range(40, 95)), decay_rate_kpa_s=Withheld("x")))))  # fmt: skip
    facts = replace(base.logs[0], source=EVIL, warnings=(EVIL,), rejections=(Rejection(reason=EVIL, rows=3, first_lines=(1,)),))
    return replace(base, stations=(bad,), logs=(facts,))


def many():
    """A log of three stations."""
    a, b, c = torn_cup().stations[0], healthy().stations[0], dropping().stations[0]
    named = [replace(r, data=replace(r.data, station=name)) for r, name in ((a, "Loader 1"), (b, "Loader 2"), (c, "Stacker"))]
    return record(*named)


STORIES = {
    "torn_cup": torn_cup, "healthy": healthy, "no_baseline": no_baseline, "chattering": chattering, "dropping": dropping,
    "by_part": by_part, "slow_suction": slow_suction, "no_digitals": no_digitals, "unmeasurable": unmeasurable,
    "withheld": withheld, "hostile": hostile,
}  # fmt: skip
