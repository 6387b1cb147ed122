"""Invented diagnoses of the tile works, made of a few lines of NumPy: enough to fill every block of a page."""

from dataclasses import replace

import numpy as np
from plays import HASH, OFF, ON, RESET, SET, Play, data_of

from tracekit.judge.steps import own_steps
from tracekit.model.cycle import Bins, SettingInForce, Wiring
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
)
from tracekit.model.tables import CYCLES, EDGES, PERIODS, make_table
from tracekit.model.trace import Assumption, LogFacts, Rejection

__all__ = ["HASH", "OFF", "ON", "RESET", "SET", "STORIES", "Play", "data_of"]


def leak_of(data, *, mechanism="undecided", groups=(), withheld=""):
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


def two_faults():
    """Two sure faults with long names, and settings to enter."""
    wild = tuple(range(0, 80, 2))
    first = finding("supply_off_unreachable", kind="setting", severity="major", confidence=0.97, cycles=wild, share=0.5)
    second = finding("release_valve_leak", severity="minor", confidence=0.86)
    causes = (CauseChance(code="supply_off_unreachable", chance=0.5, reason="Never reached in 40 of 80 holds."),
              CauseChance(code="release_valve_leak", chance=0.45, reason="Not excluded: it lets air in."))  # fmt: skip
    return record(result(Play(cycles=80, chatter=wild), findings=(first, second), causes=causes, suggestion=suggestion("")))


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


def cause(code, chance, reason="seen"):
    """A cause with its own test and repair, as the judgement hands it on."""
    test, repair = own_steps(code, air_saving=True, has_baseline=True, sensor_at="", source="ejector")
    return CauseChance(code=code, chance=chance, reason=reason, test=test, repair=repair)


def perhaps_two():
    """A weak blow-off, whose rival is a blocked filter, beside low air pressure, whose rival is the silencer."""
    left = Evidence(measure="residual_vacuum_kpa", value=15.6, unit="kPa", lower=15.1, upper=16.1, cycles=18)
    weak = finding("release_weak", confidence=0.57, alternatives=("flow_restricted",), evidence=(left,))
    low = finding("supply_pressure_low", confidence=0.32, alternatives=("exhaust_restricted",))
    chances = {"release_weak": 0.35, "flow_restricted": 0.22, "supply_pressure_low": 0.2, "exhaust_restricted": 0.18}
    causes = tuple(cause(c, p) for c, p in chances.items())
    return record(result(Play(cycles=40), findings=(weak, low), causes=causes, base=Play(cycles=40)))


def many():
    """A log of three stations."""
    a, b, c = torn_cup().stations[0], healthy().stations[0], dropping().stations[0]
    named = [replace(r, data=replace(r.data, station=name)) for r, name in ((a, "Loader 1"), (b, "Loader 2"), (c, "Stacker"))]
    return record(*named)


STORIES = {
    "torn_cup": torn_cup, "healthy": healthy, "no_baseline": no_baseline, "chattering": chattering, "dropping": dropping,
    "by_part": by_part, "slow_suction": slow_suction, "no_digitals": no_digitals, "unmeasurable": unmeasurable,
    "withheld": withheld, "hostile": hostile, "two_faults": two_faults,
}  # fmt: skip
