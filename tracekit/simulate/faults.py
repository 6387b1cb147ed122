"""What a fault does to the cycles of a station, label by label.

Each function takes the schedule, the fault, the station and a random source, and gives the schedule with the
fault in it, over all cycles; `apply_faults` then keeps the change between onset and end.

Sizes by label; [] may be left out, kinds after the bar:

    cup_leak_orifice            rate_kpa_s [b, scatter, c] | cup, fitting
    porous_part                 rate_kpa_s [scatter]
    growing_leak                end_kpa_s [start_kpa_s, b] | linear, exponential
    part_dependent_leak         rate_kpa_s, share [b, scatter] | porous, orifice
    clogged_filter              factor_end [factor_start], shares of the clean conductance
    clogged_silencer            back_pressure_kpa at full flow
    low_supply_pressure         supply_kpa gauge
    supply_dips                 depth_kpa, period_s, share of the period | neighbour; depth_kpa | own
    supply_pulsation            amplitude_kpa, hz
    sticking_supply_valve       delay_s [scatter_s, off_share] | slow, erratic
    leaking_check_valve         rate_kpa_s | worn, bistable
    release_valve_leak          rate_kpa_s
    supply_valve_passing        share of the open valve
    weak_release                factor | weak, short; delay_s | late
    drops_sudden, drops_gradual share of the cycles
    motion_dips                 dip_kpa
    missed_picks                share of the cycles [askew_share]
    timeout_too_short           timeout_s
    valves_overlap              overlap_s
    switch_chatter, supply_valve_short_cycling, cutoff_unreachable, setpoint_too_high, setpoint_too_low
                                [set_point_kpa, reset_point_kpa, supply_off_kpa, supply_on_kpa, supply_kpa, noise_kpa];
                                cutoff_unreachable | leak wants rate_kpa_s
    sensor_zero_drift           total_kpa | step, ramp
    sensor_noisy                noise_kpa
    sensor_stuck                reading_kpa | idle, hold; none | link (the recorded value stands still)
    sensor_slow                 lag_s
    sensor_clipped              none: station.recorder.low_kpa is the range's end
"""

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import UsageError, message, nearest
from tracekit.simulate.gas import Q_PER_C_KPA, Array
from tracekit.simulate.plant import SUPPLY_AMBIENT_KPA
from tracekit.simulate.scenario import Fault, Scenario, StationSpec
from tracekit.simulate.schedule import NEVER, Schedule, hole_for_rate, pores_for_rate, volume_ml

Make = Callable[[Schedule, Fault, StationSpec, np.random.Generator], Schedule]


def apply_faults(scenario: Scenario, schedule: Schedule, rng: np.random.Generator) -> Schedule:
    """The schedule with every fault of the scenario, each from its onset to before its end.

    Raises UsageError for an unknown label or a size that the label needs and the fault does not give.
    """
    makers = dict(MAKERS)
    for fault in scenario.faults:
        if fault.label not in makers:
            raise UsageError(
                message("scenario", f'fault "{fault.label}"', "a known label", nearest(fault.label, makers))
            )
        try:
            changed = makers[fault.label](schedule, fault, scenario.station, rng)
        except KeyError as missing:
            what = f'fault "{fault.label}" has no size {missing}'
            raise UsageError(message("scenario", what, "that number under [faults.size]", "Add it.")) from missing
        schedule = _between(schedule, changed, fault)
    return schedule


def _between(before: Schedule, after: Schedule, fault: Fault) -> Schedule:
    cycle = np.arange(len(before.ambient_kpa))
    inside = (cycle >= fault.onset_cycle) & (cycle < (fault.end_cycle if fault.end_cycle is not None else len(cycle)))
    parts = {f.name: np.where(inside, getattr(after, f.name), getattr(before, f.name)) for f in fields(Schedule)}
    return Schedule(**parts)


def _ramp(schedule: Schedule, fault: Fault) -> Array:
    """0 at the onset, 1 at the last cycle."""
    n = len(schedule.ambient_kpa)
    last = (fault.end_cycle if fault.end_cycle is not None else n) - 1
    return np.clip((np.arange(n) - fault.onset_cycle) / max(last - fault.onset_cycle, 1), 0.0, 1.0)


def _some(schedule: Schedule, share: float, rng: np.random.Generator) -> Array:
    """1.0 for about `share` of the cycles, at least two, else 0.0."""
    n = len(schedule.ambient_kpa)
    chosen = np.zeros(n)
    chosen[rng.permutation(n)[: max(round(share * n), 2)]] = 1.0
    return chosen


def _leak_orifice(s: Schedule, fault: Fault, station: StationSpec, rng: np.random.Generator) -> Schedule:
    b = fault.size.get("b", 0.35)
    spread = np.exp(fault.size.get("scatter", 0.08) * rng.standard_normal(len(s.hole_c)))
    hole = hole_for_rate(station, fault.size["rate_kpa_s"], b) * spread
    if "c" in fault.size:  # a known orifice, whatever rate it makes
        hole = np.full_like(hole, fault.size["c"])
    if fault.kind == "fitting":
        return replace(s, fitting_c=s.fitting_c + hole)
    return replace(s, hole_c=s.hole_c + hole, hole_b=np.full_like(s.hole_b, b))


def _porous(s: Schedule, fault: Fault, station: StationSpec, rng: np.random.Generator) -> Schedule:
    spread = np.exp(fault.size.get("scatter", 0.1) * rng.standard_normal(len(s.pores)))
    return replace(s, pores=s.pores + pores_for_rate(station, fault.size["rate_kpa_s"]) * spread)


def _growing(s: Schedule, fault: Fault, station: StationSpec, rng: np.random.Generator) -> Schedule:
    start, end, ramp = fault.size.get("start_kpa_s", 0.0), fault.size["end_kpa_s"], _ramp(s, fault)
    if fault.kind == "exponential":
        rate = max(start, 0.1) * (end / max(start, 0.1)) ** ramp
    else:
        rate = start + (end - start) * ramp
    b = fault.size.get("b", 0.35)
    spread = np.exp(0.06 * rng.standard_normal(len(ramp)))
    return replace(s, hole_c=s.hole_c + hole_for_rate(station, rate, b) * spread, hole_b=np.full_like(s.hole_b, b))


def _part_dependent(s: Schedule, fault: Fault, station: StationSpec, rng: np.random.Generator) -> Schedule:
    bad = _some(s, fault.size["share"], rng)
    rate = fault.size["rate_kpa_s"] * np.exp(fault.size.get("scatter", 0.1) * rng.standard_normal(len(bad)))
    if fault.kind == "orifice":
        b = np.full_like(s.hole_b, fault.size.get("b", 0.35))
        return replace(s, hole_c=s.hole_c + bad * hole_for_rate(station, rate, b), hole_b=b)
    return replace(s, pores=s.pores + bad * pores_for_rate(station, rate))


def _filter(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    start, end = fault.size.get("factor_start", fault.size["factor_end"]), fault.size["factor_end"]
    return replace(s, filter_c=s.filter_c * (start + (end - start) * _ramp(s, fault)))


def _silencer(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    return replace(s, exhaust_kpa=np.full_like(s.exhaust_kpa, fault.size["back_pressure_kpa"]))


def _low_supply(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    return replace(s, supply_kpa=s.supply_kpa - np.median(s.supply_kpa) + fault.size["supply_kpa"])


def _supply_dips(s: Schedule, fault: Fault, _station: StationSpec, rng: np.random.Generator) -> Schedule:
    if fault.kind == "own":
        return replace(s, droop_kpa=fault.size["depth_kpa"] * rng.uniform(0.6, 1.2, len(s.droop_kpa)))

    def same(name: str) -> Array:
        return np.full_like(s.neighbour_kpa, fault.size[name])

    return replace(
        s, neighbour_kpa=same("depth_kpa"), neighbour_period_s=same("period_s"), neighbour_share=same("share")
    )


def _sticking(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    more = fault.size["delay_s"]
    scatter = fault.size.get("scatter_s", 0.45 * more if fault.kind == "erratic" else 0.05 * more)
    return replace(
        s,
        delay_on_s=s.delay_on_s + more,
        delay_off_s=s.delay_off_s + more * fault.size.get("off_share", 0.7),
        delay_scatter_s=s.delay_scatter_s + scatter,
    )


def _check_valve(s: Schedule, fault: Fault, station: StationSpec, rng: np.random.Generator) -> Schedule:
    back = hole_for_rate(station, fault.size["rate_kpa_s"], 0.3) * np.exp(0.03 * rng.standard_normal(len(s.check_c)))
    if fault.kind == "bistable":
        back = np.where(rng.random(len(back)) < 0.6, back, 0.1 * back)
    return replace(s, check_c=s.check_c + back)


def _release_leak(s: Schedule, fault: Fault, station: StationSpec, _rng: np.random.Generator) -> Schedule:
    flow = fault.size["rate_kpa_s"] * volume_ml(station)
    return replace(s, weep_c=s.weep_c + flow / (Q_PER_C_KPA * (s.supply_kpa + SUPPLY_AMBIENT_KPA)))


def _passing(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    return replace(s, passing=np.full_like(s.passing, fault.size["share"]))


def _weak_release(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    if fault.kind == "late":
        return replace(s, release_delay_s=s.release_delay_s + fault.size["delay_s"])
    if fault.kind == "short":
        return replace(s, release_s=s.release_s * fault.size["factor"])
    return replace(s, release_c=s.release_c * fault.size["factor"])


def _drops_sudden(s: Schedule, fault: Fault, _station: StationSpec, rng: np.random.Generator) -> Schedule:
    hit = _some(s, fault.size["share"], rng)
    return replace(s, strike=np.where(hit > 0.0, rng.uniform(0.15, 0.8, len(hit)), s.strike))


def _drops_gradual(s: Schedule, fault: Fault, _station: StationSpec, rng: np.random.Generator) -> Schedule:
    hit = _some(s, fault.size["share"], rng)
    return replace(s, ripen=np.where(hit > 0.0, rng.uniform(0.0, 0.25, len(hit)), s.ripen))


def _missed(s: Schedule, fault: Fault, station: StationSpec, rng: np.random.Generator) -> Schedule:
    hit = _some(s, fault.size["share"], rng)
    askew = hit * (rng.random(len(hit)) < fault.size.get("askew_share", 0.0))
    leak = hole_for_rate(station, 900.0, 0.4) * rng.uniform(0.6, 1.6, len(hit))
    absent = (hit > 0.0) & (askew == 0.0)
    return replace(s, offered=np.where(absent, 0.0, s.offered), askew_c=np.where(askew > 0.0, leak, s.askew_c))


def _settings(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    """Any of the four settings turned, noise added where the fault says so."""

    def given(name: str, old: Array) -> Array:
        return np.full_like(old, fault.size[name]) if name in fault.size else old

    return replace(
        s,
        set_point_kpa=given("set_point_kpa", s.set_point_kpa),
        reset_point_kpa=given("reset_point_kpa", s.reset_point_kpa),
        supply_off_kpa=given("supply_off_kpa", s.supply_off_kpa),
        supply_on_kpa=given("supply_on_kpa", s.supply_on_kpa),
        supply_kpa=given("supply_kpa", s.supply_kpa),
        noise_kpa=given("noise_kpa", s.noise_kpa),
    )


def _cut_unreachable(s: Schedule, fault: Fault, station: StationSpec, rng: np.random.Generator) -> Schedule:
    s = _settings(s, fault, station, rng)
    return _leak_orifice(s, fault, station, rng) if fault.kind == "leak" else s


def _zero_drift(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    course = _ramp(s, fault) if fault.kind == "ramp" else 1.0
    return replace(s, offset_kpa=s.offset_kpa + fault.size["total_kpa"] * course)


def _noisy(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    return replace(s, noise_kpa=np.full_like(s.noise_kpa, fault.size["noise_kpa"]))


def _stuck(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    if fault.kind == "link":
        return replace(s, link_frozen=np.ones_like(s.link_frozen))
    return replace(s, frozen_kpa=np.full_like(s.frozen_kpa, fault.size["reading_kpa"]))


def _slow(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    return replace(s, lag_s=np.full_like(s.lag_s, fault.size["lag_s"]))


def _clipped(s: Schedule, _fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    """The range is the station's own; nothing differs between cycles."""
    return s


def _pulsation(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    return replace(
        s,
        pulsation_kpa=np.full_like(s.pulsation_kpa, fault.size["amplitude_kpa"]),
        pulsation_hz=np.full_like(s.pulsation_hz, fault.size["hz"]),
    )


def _motion(s: Schedule, fault: Fault, station: StationSpec, rng: np.random.Generator) -> Schedule:
    rate = np.pi / 2.0 * fault.size["dip_kpa"] / station.sequencer.dip_s
    return replace(s, dip_c=hole_for_rate(station, rate, 0.4) * rng.uniform(0.7, 1.3, len(s.dip_c)))


def _timeout(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    return replace(s, timeout_s=np.full_like(s.timeout_s, fault.size["timeout_s"]))


def _overlap(s: Schedule, fault: Fault, _station: StationSpec, _rng: np.random.Generator) -> Schedule:
    return replace(s, dead_time_s=np.full_like(s.dead_time_s, -fault.size["overlap_s"]))


MAKERS: tuple[tuple[str, Make], ...] = (
    ("cup_leak_orifice", _leak_orifice),
    ("porous_part", _porous),
    ("growing_leak", _growing),
    ("part_dependent_leak", _part_dependent),
    ("clogged_filter", _filter),
    ("clogged_silencer", _silencer),
    ("low_supply_pressure", _low_supply),
    ("supply_dips", _supply_dips),
    ("supply_pulsation", _pulsation),
    ("sticking_supply_valve", _sticking),
    ("leaking_check_valve", _check_valve),
    ("release_valve_leak", _release_leak),
    ("supply_valve_passing", _passing),
    ("weak_release", _weak_release),
    ("drops_sudden", _drops_sudden),
    ("drops_gradual", _drops_gradual),
    ("motion_dips", _motion),
    ("missed_picks", _missed),
    ("switch_chatter", _settings),
    ("supply_valve_short_cycling", _settings),
    ("cutoff_unreachable", _cut_unreachable),
    ("setpoint_too_high", _settings),
    ("setpoint_too_low", _settings),
    ("timeout_too_short", _timeout),
    ("valves_overlap", _overlap),
    ("sensor_zero_drift", _zero_drift),
    ("sensor_noisy", _noisy),
    ("sensor_stuck", _stuck),
    ("sensor_slow", _slow),
    ("sensor_clipped", _clipped),
)


def labels() -> tuple[str, ...]:
    """Every fault that can be put into a station."""
    return tuple(label for label, _ in MAKERS)


def _touched(fault: Fault, schedule: Schedule) -> dict[str, list[int]]:
    """Numbers of the cycles that a fault of single cycles hits."""

    def pick(mask: NDArray[np.bool_]) -> list[int]:
        return [int(i) for i in np.flatnonzero(mask)]

    if fault.label == "drops_sudden":
        return {"cycles": pick(schedule.strike < NEVER)}
    if fault.label == "drops_gradual":
        return {"cycles": pick(schedule.ripen < NEVER)}
    if fault.label == "missed_picks":
        return {
            "cycles": pick((schedule.offered == 0.0) | (schedule.askew_c > 0.0)),
            "askew": pick(schedule.askew_c > 0.0),
        }
    if fault.label == "part_dependent_leak":
        high = schedule.pores if fault.kind != "orifice" else schedule.hole_c
        return {"cycles": pick(high > 0.0)}
    return {}


def fault_truth(fault: Fault, scenario: Scenario, schedule: Schedule, start_of_cycle_s: list[float]) -> dict[str, Any]:
    """One entry of `faults` in the truth."""

    def at(k: int | None) -> float | None:
        return start_of_cycle_s[k] if k is not None and k < len(start_of_cycle_s) else None

    truth: dict[str, Any] = {"label": fault.label, "onset_cycle": fault.onset_cycle, "end_cycle": fault.end_cycle}
    truth |= {"onset_s": at(fault.onset_cycle), "end_s": at(fault.end_cycle), "severity": scenario.severity}
    truth |= dict(fault.size) | _touched(fault, schedule)
    if fault.kind:
        word = {"part_dependent_leak": "mechanism", "growing_leak": "law"}.get(fault.label, "kind")
        caused = fault.label in ("switch_chatter", "supply_valve_short_cycling", "cutoff_unreachable")
        truth["cause" if caused else word] = fault.kind
    for name in ("rate_kpa_s", "end_kpa_s"):
        if name in fault.size:
            truth["rate_pa_s_at_60kpa"] = 1000.0 * fault.size[name]
    return truth
