"""What really happened in a run, in the keys that a score reads."""

from collections import Counter
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tracekit.simulate.faults import fault_truth
from tracekit.simulate.gas import Q_PER_PA_M3_S, REFERENCE_K, Array, laminar_flow, orifice_flow
from tracekit.simulate.plant import blow_in, constants
from tracekit.simulate.run import FLOW, PRESENT, RELEASE, SUPPLY, Trace
from tracekit.simulate.scenario import Scenario, StationSpec
from tracekit.simulate.schedule import REF_VACUUM_KPA, Schedule, open_cup_c, suction_l_min, temperature_k, volume_ml
from tracekit.simulate.steady import ultimate_vacuum

C_SI = 1e-8  # m³/(s·Pa) in 1 dm³/(s·bar)
LITRE_AMBIENT_KPA = 101.0


class Window(NamedTuple):
    """One cycle of a trace: its number, the flat indices of its steps, its start on the log's clock [s]."""

    number: int
    part: slice
    start_s: float


def build_truth(scenario: Scenario, schedule: Schedule, trace: Trace) -> dict[str, Any]:
    """The truth of one log, ready for JSON."""
    ends = np.cumsum(trace.steps)
    windows = [
        Window(k, slice(int(end - steps), int(end)), float(end - steps) * trace.dt)
        for k, (steps, end) in enumerate(zip(trace.steps, ends, strict=True))
    ]
    leaks = _leaks(scenario.station, schedule)
    ultimate = ultimate_vacuum(scenario.station, schedule)
    cycles = [_cycle(w, scenario.station, schedule, trace) for w in windows]
    for k, cycle in enumerate(cycles):
        cycle["leak"] = _cycle_leak({name: float(v[k]) for name, v in leaks.items()}, windows[k], cycle, trace)
        cycle["ultimate_vac_kpa"], cycle["ultimate_vac_cup_kpa"] = (float(u[k]) for u in ultimate)
    start_of = [c["start_s"] for c in cycles]
    truth = {
        "scenario": scenario.name,
        "severity": scenario.severity,
        "seed": scenario.seed,
        "start": scenario.start,
        "duration_s": float(ends[-1]) * trace.dt,
        "faults": [fault_truth(f, scenario, schedule, start_of) for f in scenario.faults],
        **scenario.marks,
        "station": _station(scenario.station, schedule),
        "summary": _summary(cycles, leaks, scenario.station.ejector.nozzle_flow_l_min),
        "cycles": cycles,
    }
    rounded: dict[str, Any] = _rounded(truth)
    return rounded


def _rounded(value: Any) -> Any:
    """The same with floats at seven digits, NumPy and infinite values gone."""
    if isinstance(value, dict):
        return {k: _rounded(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(v) for v in value]
    if isinstance(value, float | np.floating):
        return float(f"{value:.7g}") if np.isfinite(value) else None
    return value.item() if isinstance(value, np.generic) else value


def _or_none(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _edges(window: Window, mask: int, trace: Trace) -> list[list[float]]:
    """Changes of one digital in a cycle, first against the end of the one before: [time on the log's clock, level]."""
    level = (trace.bits[window.part] & mask > 0).astype(np.int8)
    before = trace.bits[window.part.start - 1] & mask > 0 if window.part.start > 0 else False
    where = np.flatnonzero(np.diff(level, prepend=np.int8(before)))
    return [[window.start_s + float(i) * trace.dt, int(level[i])] for i in where]


def _first(condition: NDArray[np.bool_], trace: Trace, start_s: float) -> float | None:
    where = np.flatnonzero(condition)
    return start_s + float(where[0]) * trace.dt if len(where) else None


def outcome_of(index: int, schedule: Schedule, trace: Trace, vac_at_lift_kpa: float, station: StationSpec) -> str:
    """held, missed, dropped_sudden or dropped_gradual."""
    programme, cup = trace.programme, trace.cup
    lifted, lost = programme.lift_s[index], cup.lost_s[index]
    if not np.isfinite(cup.contact_s[index]) or not np.isfinite(lifted) or programme.timed_out[index]:
        return "missed"
    if not np.isfinite(lost):
        return "held"
    if vac_at_lift_kpa < station.volumes.lost_below_kpa and lost - lifted < 0.05:
        return "missed"
    return "dropped_sudden" if np.isfinite(schedule.strike[index]) else "dropped_gradual"


def _cycle(window: Window, station: StationSpec, schedule: Schedule, trace: Trace) -> dict[str, Any]:
    k, begin = window.number, window.start_s
    programme, cup = trace.programme, trace.cup
    bits = trace.bits[window.part]
    supply, flow, present = (_edges(window, mask, trace) for mask in (SUPPLY, FLOW, PRESENT))
    seconds = np.arange(len(bits)) * trace.dt

    def at(local: float) -> float | None:
        return _or_none(begin + float(local))

    stop = programme.stop_s[k]
    toggles = [e for e in supply[1:] if e[0] < begin + stop - 0.5 * trace.dt]
    lift = programme.lift_s[k] if not programme.timed_out[k] else np.inf
    suction = seconds >= programme.try_s[k]
    times = {
        "cycle": k,
        "start_s": begin,
        "end_s": begin + len(bits) * trace.dt,
        "supply_on_s": supply[0][0],
        "last_try_s": begin + float(programme.try_s[k]),
        "attempts": int(programme.attempts[k]),
        "supply_last_off_s": supply[-1][0],
        "sequence_off_s": at(stop),
        "flow_on_s": flow[0][0] if flow else None,
        "contact_s": at(cup.contact_s[k]),
        "part_offered": bool(schedule.offered[k]),
        "evac_start_s": at(cup.contact_s[k]) or (flow[0][0] if flow else None),
        "true_setpoint_s": _first(suction & (-trace.clean[window.part] >= schedule.set_point_kpa[k]), trace, begin),
        "true_setpoint_cup_s": _first(
            suction & (schedule.ambient_kpa[k] - trace.cup_kpa[window.part] >= schedule.set_point_kpa[k]), trace, begin
        ),
        "part_present_on_s": next((t for t, level in present if level), None),
        "lift_s": at(lift),
        "hold_start_s": at(lift),
        "hold_end_s": at(min(stop, cup.lost_s[k])) if np.isfinite(lift) else None,
        "release_on_s": at(programme.release_s[k]),
        "release_off_s": at(programme.end_release_s[k]),
        "separated_s": at(cup.off_s[k]),
        "stuck_s": max(float(cup.off_s[k] - programme.end_release_s[k]), 0.0) if np.isfinite(cup.off_s[k]) else None,
        "drop_s": at(cup.lost_s[k]),
        "timed_out": bool(programme.timed_out[k]),
        "aborted": bool(programme.aborted[k]),
        "supply_edges": supply,
        "supply_toggles": toggles,
        "supply_toggles_hold": [e for e in toggles if e[0] >= begin + lift],
        "flow_edges": flow,
        "part_present_edges": present,
    }
    return times | _vacua(window, station, schedule, trace, lift) | _conditions(k, station, schedule, trace)


def _vacua(window: Window, station: StationSpec, schedule: Schedule, trace: Trace, lift: float) -> dict[str, Any]:
    """Pressures and air of one cycle."""
    k = window.number
    ambient = schedule.ambient_kpa[k]
    bits, drive = trace.bits[window.part], trace.drive_kpa[window.part]
    near, far = ambient - trace.generator_kpa[window.part], ambient - trace.cup_kpa[window.part]
    seconds = np.arange(len(bits)) * trace.dt
    stop = min(trace.programme.stop_s[k], trace.cup.lost_s[k])
    hold = (seconds >= lift) & (seconds < stop)
    blowing = bits & RELEASE > 0
    last_blow = np.flatnonzero(blowing)[-1] if blowing.any() else len(bits) - 1
    nozzle = (
        station.ejector.nozzle_flow_l_min
        / 60.0
        * (drive + LITRE_AMBIENT_KPA)
        / (station.ejector.optimum_kpa + LITRE_AMBIENT_KPA)
    )
    on_time = float(np.count_nonzero(bits & SUPPLY)) * trace.dt
    at_lift = float(far[np.flatnonzero(hold)[0]]) if hold.any() else np.nan
    return {
        "residual_vac_at_retract_kpa": float(near[last_blow]),
        "peak_over_pressure_kpa": float(-near[int(trace.programme.stop_s[k] / trace.dt) :].min(initial=0.0)),
        "outcome": outcome_of(k, schedule, trace, at_lift, station),
        "hold_vac_mean_kpa": float(near[hold].mean()) if hold.any() else None,
        "hold_vac_cup_mean_kpa": float(far[hold].mean()) if hold.any() else None,
        "hold_vac_cup_min_kpa": float(far[hold].min()) if hold.any() else None,
        "vac_at_lift_kpa": _or_none(at_lift),
        "supply_on_time_s": on_time,
        "air_l_anr": float(nozzle[drive > 0.02 * station.ejector.optimum_kpa].sum()) * trace.dt,
    }


def _conditions(k: int, station: StationSpec, schedule: Schedule, trace: Trace) -> dict[str, Any]:
    """What was in force in cycle `k`."""
    saving = station.saving is not None
    part = slice(int(trace.steps[:k].sum()), int(trace.steps[: k + 1].sum()))
    flowing = trace.bits[part] & FLOW > 0
    drive = trace.drive_kpa[part][flowing]
    return {
        "supply_pressure_kpa": float(np.median(drive)) if len(drive) else float(schedule.supply_kpa[k]),
        "ambient_kpa": float(schedule.ambient_kpa[k]),
        "set_point_kpa": float(schedule.set_point_kpa[k]),
        "reset_point_kpa": float(schedule.reset_point_kpa[k]),
        "cut_off_kpa": float(schedule.supply_off_kpa[k]) if saving else None,
        "resume_kpa": float(schedule.supply_on_kpa[k]) if saving else None,
        "sensor_offset_kpa": float(schedule.offset_kpa[k]),
        "sensor_noise_kpa": float(schedule.noise_kpa[k]),
        "sensor_stuck": bool(schedule.link_frozen[k] > 0.0 or not np.isnan(schedule.frozen_kpa[k])),
        "valve_delay_on_s": float(schedule.delay_on_s[k]),
        "valve_delay_off_s": float(schedule.delay_off_s[k]),
        "filter_factor": float(schedule.filter_c[k] / station.volumes.filter_c),
        "release_conductance": float(schedule.release_c[k]) * C_SI,
    }


def _leaks(station: StationSpec, schedule: Schedule) -> dict[str, Array]:
    """Flows [Pa·m³/s at 293.15 K] at 60 kPa of vacuum, and the leak's own parameters, shape (n,) each."""
    kelvin = temperature_k(station)
    p_low, p_air = schedule.ambient_kpa - REF_VACUUM_KPA, schedule.ambient_kpa
    cold = REFERENCE_K / kelvin / Q_PER_PA_M3_S
    hole_scale = np.sqrt(kelvin / REFERENCE_K) * cold
    residual = orifice_flow(p_air, p_low, schedule.residual_c, station.volumes.residual_leak_b) * hole_scale
    hole = orifice_flow(p_air, p_low, schedule.hole_c, schedule.hole_b) * hole_scale
    fitting = orifice_flow(p_air, p_low, schedule.fitting_c, 0.3) * hole_scale
    check = orifice_flow(p_air, p_low, schedule.check_c, 0.3) * hole_scale
    pores = laminar_flow(p_air, p_low, schedule.pores) * cold
    line = schedule.supply_kpa
    weep = blow_in(schedule.weep_c, line, np.ones_like(line), constants(station, schedule)) * cold
    return {
        "q60_cup": residual + hole + pores + fitting,
        "q60_orifice": residual + hole + fitting,
        "q60_porous": pores,
        "q60_check_valve": check,
        "q60_release_valve": weep,
        "q60_total": residual + hole + pores + fitting + check + weep,
        "C": (schedule.residual_c + schedule.hole_c + schedule.fitting_c) * C_SI,
        "b": np.where(schedule.hole_c > schedule.residual_c, schedule.hole_b, station.volumes.residual_leak_b),
        "kappa": schedule.pores * 1e-9,
        "C_check_valve": schedule.check_c * C_SI,
        "_hole": hole + fitting,
    }


def _cycle_leak(leak: dict[str, float], window: Window, cycle: dict[str, Any], trace: Trace) -> dict[str, Any]:
    """The leak of one cycle, with what really flowed in its hold."""
    hole, pores = leak.pop("_hole"), leak["q60_porous"]
    mechanism = "none"
    if max(hole, pores) > 0.0:
        mechanism = "orifice" if pores < 0.1 * hole else "porous" if hole < 0.1 * pores else "mixed"
    held: dict[str, Any] = {"q_hold_cup": None, "q_hold_total": None, "q_hold_integrated": None}
    if cycle["hold_start_s"] is not None:
        low, high = (round((cycle[e] - window.start_s) / trace.dt) for e in ("hold_start_s", "hold_end_s"))
        part = slice(window.part.start + low, window.part.start + max(high, low + 1))
        cup, everything = trace.leak_cup[part] / Q_PER_PA_M3_S, trace.leak_all[part] / Q_PER_PA_M3_S
        held = {
            "q_hold_cup": float(np.median(cup)),
            "q_hold_total": float(np.median(everything)),
            "q_hold_integrated": float(cup.mean()),
        }
    return {"mechanism": mechanism, **leak, **held}


def _summary(cycles: Sequence[dict[str, Any]], leaks: dict[str, Array], nozzle_l_min: float) -> dict[str, Any]:

    def total(name: str) -> float:
        return float(sum(c[name] for c in cycles))

    return {
        "cycles": len(cycles),
        "outcomes": dict(Counter(c["outcome"] for c in cycles)),
        "supply_toggles_hold": sum(len(c["supply_toggles_hold"]) for c in cycles),
        "part_present_edges": sum(len(c["part_present_edges"]) for c in cycles),
        "supply_on_time_s": total("supply_on_time_s"),
        "air_l_anr": total("air_l_anr"),
        "air_l_anr_command_time_x_nozzle": total("supply_on_time_s") * nozzle_l_min / 60.0,
        "q60_cup_median": float(np.median(leaks["q60_cup"])),
        "q60_total_median": float(np.median(leaks["q60_total"])),
    }


def _station(station: StationSpec, schedule: Schedule) -> dict[str, Any]:
    """The station as it is, settings of the first cycle."""
    space, saving = station.volumes, station.saving
    return {
        "name": station.name,
        "size": "small" if volume_ml(station) < 40 else "medium" if volume_ml(station) < 150 else "large",
        "volume_m3": volume_ml(station) * 1e-6,
        "volume_ejector_side_m3": space.generator_ml * 1e-6,
        "volume_cup_side_m3": space.cup_ml * 1e-6,
        "ambient_kpa": station.air.ambient_kpa,
        "ambient_rate_kpa_h": station.air.ambient_rate_kpa_h,
        "ambient_temperature_k": temperature_k(station),
        "thermal_time_constants_s": list(space.wall_time_s),
        "air_saving": saving is not None,
        "decay_test": False,
        "lift_on": "part_present" if station.sequencer.lift_on == "part_present" else "fixed_time",
        "abort_on_loss": station.sequencer.abort_on_loss,
        "set_point_kpa": float(schedule.set_point_kpa[0]),
        "reset_point_kpa": float(schedule.reset_point_kpa[0]),
        "cut_off_kpa": float(schedule.supply_off_kpa[0]) if saving else None,
        "resume_kpa": float(schedule.supply_on_kpa[0]) if saving else None,
        "healthy_residual_leak_rate_pa_s": space.residual_leak_kpa_s * 1000.0,
        "part_lost_below_cup_vac_kpa": space.lost_below_kpa,
        "open_cup_C": open_cup_c(station) * C_SI,
        "filter_C": space.filter_c * C_SI,
        **_drive_facts(station),
        "sensor": _sensor(station),
    }


def _drive_facts(station: StationSpec) -> dict[str, Any]:
    """Wiring, timing and generator of a station."""
    ejector, valves = station.ejector, station.valves
    return {
        "supply_polarity": "no" if valves.normally_open else "nc",
        "supply_logged_on_level": 0 if valves.normally_open else 1,
        "supply_signal": station.recorder.supply_signal,
        "release_logged": station.recorder.release_logged,
        "part_present_logged_present_level": 0 if station.switch.reversed_output else 1,
        "switch_response_s": [station.switch.response_on_s, station.switch.response_off_s],
        "controller_tick_s": station.saving.tick_s if station.saving else 0.005,
        "sequencer_tick_s": station.sequencer.tick_s,
        "supply_pressure_kpa": station.supply.pressure_kpa,
        "supply_droop_kpa": station.supply.droop_kpa,
        "nozzle_flow_l_min_anr": ejector.nozzle_flow_l_min,
        "max_suction_l_min_anr": suction_l_min(station),
        "max_vacuum_ratio": ejector.vacuum_ratio,
        "ejector_curve_bend": ejector.bend,
        "ejector_time_constant_s": ejector.time_constant_s,
        "ejector_lag_s": [ejector.lag_on_s, ejector.lag_off_s],
    }


def _sensor(station: StationSpec) -> dict[str, Any]:
    sensor = station.sensor
    return {
        "side": "ejector" if sensor.side == "generator" else "cup",
        "tau_s": sensor.lag_s,
        "gain_error": sensor.gain_error,
        "offset_kpa": sensor.offset_kpa,
        "noise_kpa": sensor.noise_kpa,
        "pulsation_kpa": sensor.pulsation_kpa,
        "pulsation_hz": sensor.pulsation_hz or None,
        "quant": f"q{sensor.step_kpa:g}" if sensor.step_kpa > 0.0 else "none",
        "q": sensor.step_kpa,
        "lo": max(sensor.low_kpa, station.recorder.low_kpa),
        "hi": sensor.high_kpa,
        "spike_rate": sensor.spikes_per_s,
        "spike_kpa": sensor.spike_kpa,
    }
