"""How a fault of each label is sized for a given station and severity (1 mild, 2 clear, 3 heavy)."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tracekit.errors import UsageError, message, nearest
from tracekit.simulate.draw import deepest_kpa, log_uniform, nominal_evacuation_s
from tracekit.simulate.scenario import Fault, StationSpec

Random = np.random.Generator
Case = Callable[[StationSpec, Random, int], Fault]


def _rate(rng: Random, severity: int) -> float:
    """A leak [kPa/s at 60 kPa of vacuum] of that severity."""
    return log_uniform(rng, *((1.2, 2.5), (2.5, 6.0), (6.0, 14.0))[severity - 1])


def _by(severity: int, rng: Random, *ranges: tuple[float, float]) -> float:
    return float(rng.uniform(*ranges[severity - 1]))


def _leak(_station: StationSpec, rng: Random, severity: int) -> Fault:
    size = {
        "rate_kpa_s": _rate(rng, severity),
        "b": float(rng.uniform(0.2, 0.5)),
        "scatter": float(rng.uniform(0.03, 0.2)),
    }
    return Fault(label="cup_leak_orifice", kind="fitting" if rng.random() < 0.2 else "cup", size=size)


def _porous(_station: StationSpec, rng: Random, severity: int) -> Fault:
    return Fault(
        label="porous_part", size={"rate_kpa_s": _rate(rng, severity), "scatter": float(rng.uniform(0.05, 0.2))}
    )


def _growing(_station: StationSpec, rng: Random, severity: int) -> Fault:
    kind = "linear" if rng.random() < 0.6 else "exponential"
    return Fault(
        label="growing_leak",
        kind=kind,
        size={"end_kpa_s": 1.5 * _rate(rng, severity), "b": float(rng.uniform(0.2, 0.5))},
    )


def _part_dependent(_station: StationSpec, rng: Random, severity: int) -> Fault:
    kind = "orifice" if rng.random() < 0.4 else "porous"
    size = {"rate_kpa_s": 1.3 * _rate(rng, severity), "share": float(rng.uniform(0.2, 0.5)), "scatter": 0.1}
    return Fault(label="part_dependent_leak", kind=kind, size=size)


def _filter(_station: StationSpec, rng: Random, severity: int) -> Fault:
    factor = _by(severity, rng, (0.3, 0.5), (0.15, 0.3), (0.06, 0.15))
    start = 1.0 if rng.random() < 0.4 else factor
    return Fault(
        label="clogged_filter", size={"factor_start": start, "factor_end": factor, "conductance_factor_end": factor}
    )


def _silencer(_station: StationSpec, rng: Random, severity: int) -> Fault:
    back = _by(severity, rng, (6.0, 11.0), (11.0, 18.0), (18.0, 28.0))
    size = {"back_pressure_kpa": back, "flow_factor": 1.0 / (1.0 + back / 40.0), "vacuum_factor": 1.0 - back / 100.0}
    return Fault(label="clogged_silencer", size=size)


def _low_supply(station: StationSpec, rng: Random, severity: int) -> Fault:
    less = _by(severity, rng, (60.0, 100.0), (100.0, 150.0), (150.0, 200.0))
    nominal = station.supply.pressure_kpa
    return Fault(label="low_supply_pressure", size={"supply_kpa": nominal - less, "nominal_kpa": nominal})


def _dips(_station: StationSpec, rng: Random, severity: int) -> Fault:
    depth = _by(severity, rng, (80.0, 120.0), (120.0, 180.0), (180.0, 260.0))
    if rng.random() < 0.3:
        return Fault(label="supply_dips", kind="own", size={"depth_kpa": 0.7 * depth})
    size = {"depth_kpa": depth, "period_s": float(rng.uniform(6.0, 17.0)), "share": float(rng.uniform(0.15, 0.35))}
    return Fault(label="supply_dips", kind="neighbour", size=size)


def _pulsation(_station: StationSpec, rng: Random, severity: int) -> Fault:
    size = {"amplitude_kpa": _by(severity, rng, (0.5, 0.8), (0.8, 1.4), (1.4, 2.5)), "hz": log_uniform(rng, 4.0, 35.0)}
    return Fault(label="supply_pulsation", size=size)


def _sticking(_station: StationSpec, rng: Random, severity: int) -> Fault:
    delay = _by(severity, rng, (0.03, 0.05), (0.05, 0.10), (0.10, 0.18))
    return Fault(label="sticking_supply_valve", kind=str(rng.choice(["erratic", "slow"])), size={"delay_s": delay})


def _check(_station: StationSpec, rng: Random, severity: int) -> Fault:
    kind = "bistable" if rng.random() < 0.2 else "worn"
    return Fault(label="leaking_check_valve", kind=kind, size={"rate_kpa_s": 1.2 * _rate(rng, severity)})


def _weeping(_station: StationSpec, rng: Random, severity: int) -> Fault:
    return Fault(label="release_valve_leak", size={"rate_kpa_s": 1.2 * _rate(rng, severity)})


def _passing(_station: StationSpec, rng: Random, severity: int) -> Fault:
    return Fault(
        label="supply_valve_passing", size={"share": _by(severity, rng, (0.06, 0.10), (0.10, 0.16), (0.16, 0.25))}
    )


def _weak_release(station: StationSpec, rng: Random, severity: int) -> Fault:
    kind = str(rng.choice(["weak", "weak", "late", "short"]))
    if kind == "late":
        delay = station.release.duration_s * _by(severity, rng, (0.3, 0.45), (0.45, 0.7), (0.7, 0.95))
        return Fault(label="weak_release", kind=kind, size={"delay_s": delay})
    factor = _by(severity, rng, (0.3, 0.45), (0.15, 0.3), (0.06, 0.15))
    name = "conductance_factor" if kind == "weak" else "duration_factor"
    return Fault(label="weak_release", kind=kind, size={"factor": factor, name: factor})


def _sudden(_station: StationSpec, rng: Random, severity: int) -> Fault:
    return Fault(label="drops_sudden", size={"share": _by(severity, rng, (0.03, 0.06), (0.06, 0.12), (0.12, 0.25))})


def _gradual(_station: StationSpec, rng: Random, severity: int) -> Fault:
    return Fault(label="drops_gradual", size={"share": _by(severity, rng, (0.03, 0.06), (0.06, 0.12), (0.12, 0.25))})


def _motion(_station: StationSpec, rng: Random, severity: int) -> Fault:
    return Fault(label="motion_dips", size={"dip_kpa": _by(severity, rng, (3.0, 4.5), (4.5, 7.0), (7.0, 10.0))})


def _missed(_station: StationSpec, rng: Random, severity: int) -> Fault:
    size = {
        "share": _by(severity, rng, (0.04, 0.08), (0.08, 0.15), (0.15, 0.3)),
        "askew_share": float(rng.choice([0.0, 0.0, 0.3])),
    }
    return Fault(label="missed_picks", size=size)


def _timeout(station: StationSpec, rng: Random, severity: int) -> Fault:
    scatter = station.sequencer.approach_scatter_s + 0.005
    late = _by(severity, rng, (-0.9, -0.2), (-1.6, -0.9), (-2.4, -1.6))
    usual = nominal_evacuation_s(station) + station.switch.response_on_s + 2.0 * station.sequencer.tick_s
    return Fault(label="timeout_too_short", size={"timeout_s": usual + late * scatter})


def _overlap(_station: StationSpec, rng: Random, severity: int) -> Fault:
    return Fault(
        label="valves_overlap", size={"overlap_s": _by(severity, rng, (0.04, 0.07), (0.07, 0.12), (0.12, 0.2))}
    )


def _drift(_station: StationSpec, rng: Random, severity: int) -> Fault:
    total = _by(severity, rng, (1.8, 2.8), (2.8, 4.5), (4.5, 7.0)) * float(rng.choice([-1.0, 1.0]))
    return Fault(label="sensor_zero_drift", kind=str(rng.choice(["ramp", "step"])), size={"total_kpa": total})


def _noisy(_station: StationSpec, rng: Random, severity: int) -> Fault:
    return Fault(label="sensor_noisy", size={"noise_kpa": _by(severity, rng, (0.7, 1.0), (1.0, 1.6), (1.6, 2.6))})


def _stuck(station: StationSpec, rng: Random, _severity: int) -> Fault:
    kind = str(rng.choice(["link", "link", "idle", "hold"]))
    reading = 0.0 if kind != "hold" else -(station.switch.set_point_kpa + 4.0)
    return Fault(label="sensor_stuck", kind=kind, size={"reading_kpa": reading})


def _slow(_station: StationSpec, rng: Random, severity: int) -> Fault:
    return Fault(label="sensor_slow", size={"lag_s": _by(severity, rng, (0.06, 0.10), (0.10, 0.18), (0.18, 0.30))})


def _clipped(station: StationSpec, _rng: Random, _severity: int) -> Fault:
    return Fault(label="sensor_clipped", size={"low_kpa": station.recorder.low_kpa})


CASES: tuple[tuple[str, Case], ...] = (
    ("cup_leak_orifice", _leak),
    ("porous_part", _porous),
    ("growing_leak", _growing),
    ("part_dependent_leak", _part_dependent),
    ("clogged_filter", _filter),
    ("clogged_silencer", _silencer),
    ("low_supply_pressure", _low_supply),
    ("supply_dips", _dips),
    ("supply_pulsation", _pulsation),
    ("sticking_supply_valve", _sticking),
    ("leaking_check_valve", _check),
    ("release_valve_leak", _weeping),
    ("supply_valve_passing", _passing),
    ("weak_release", _weak_release),
    ("drops_sudden", _sudden),
    ("drops_gradual", _gradual),
    ("motion_dips", _motion),
    ("missed_picks", _missed),
    ("timeout_too_short", _timeout),
    ("valves_overlap", _overlap),
    ("sensor_zero_drift", _drift),
    ("sensor_noisy", _noisy),
    ("sensor_stuck", _stuck),
    ("sensor_slow", _slow),
    ("sensor_clipped", _clipped),
)
NEEDS_SAVING = ("leaking_check_valve", "supply_valve_short_cycling", "cutoff_unreachable")


def sized_fault(label: str, station: StationSpec, rng: Random, severity: int) -> Fault:
    """A fault of that label, sized for the station. Raises UsageError for an unknown label."""
    known = dict(CASES)
    if label not in known:
        raise UsageError(message("fault", f'"{label}"', "a known label", nearest(label, known)))
    return known[label](station, rng, severity)


def adapted(label: str, station: StationSpec, rng: Random) -> StationSpec:
    """The station changed where the fault could not be made or could not show on it as drawn."""
    sequencer, recorder = station.sequencer, station.recorder
    if label == "sensor_slow":
        return replace(station, sequencer=replace(sequencer, idle_s=max(sequencer.idle_s, 1.2)))
    if label == "timeout_too_short":
        return replace(station, sequencer=replace(sequencer, lift_on="part_present"))
    if label == "supply_dips":
        usual = nominal_evacuation_s(station) + sequencer.transport_s + station.release.duration_s
        return replace(station, sequencer=replace(sequencer, paced_s=1.15 * usual + 0.9))
    if label == "sensor_clipped":
        point = station.switch.set_point_kpa
        end = point + 0.6 * ((station.saving.supply_off_kpa if station.saving else deepest_kpa(station)) - point)
        return replace(station, recorder=replace(recorder, low_kpa=-round(end * float(rng.uniform(0.98, 1.02)), 1)))
    return station
