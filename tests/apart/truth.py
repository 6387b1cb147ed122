"""What was true: of the station, and of each cycle."""

import numpy as np

from apart.gas import through_orifice, through_pores
from apart.plan import Plan
from apart.record import starts_of
from apart.run import Course

OPEN_MARGIN_KPA = 12.0


def rates_kpa_s(plan: Plan) -> np.ndarray:
    """Leak of each cycle as isothermal decay at 60 kPa of vacuum, in kPa/s: all that enters with the supply off."""
    return flows_at_60(plan) / _volume(plan) * plan.station.wall_k / 293.15 / 1e3


def _volume(plan: Plan) -> float:
    return plan.station.generator_m3 + plan.station.cup_m3


def flows_at_60(plan: Plan) -> np.ndarray:
    """Leak of each cycle at 60 kPa of vacuum in Pa·m³/s at 293.15 K."""
    s, n = plan.station, plan.cycles
    outside, inside = np.full(n, s.ambient_kpa * 1e3), np.full(n, s.ambient_kpa * 1e3 - 60e3)
    hole = through_orifice(plan["leak"] + plan["check"], outside, inside)
    return hole + through_pores(plan["pores"], s.ambient_kpa * 1e3, inside) + plan["weep"]


def truth_of(plan: Plan, course: Course, scenario: str) -> dict[str, object]:
    """Everything in the form that the scoring reads."""
    s, at = plan.station, course.times
    station = {
        "volume_m3": _volume(plan), "ambient_kpa": s.ambient_kpa, "ambient_temperature_k": s.wall_k,
        "air_saving": s.air_saving, "lift_on": "part_present" if s.lift_on_switch else "fixed_time",
        "set_point_kpa": plan["set_kpa"][0], "reset_point_kpa": plan["reset_kpa"][0],
        "cut_off_kpa": plan["off_kpa"][0], "resume_kpa": plan["on_kpa"][0],
        "sensor": {"offset_kpa": plan["offset_kpa"][0], "hi": s.log_range_kpa[1]},
    }  # fmt: skip
    starts, _ = starts_of(plan, course)
    mostly = flows_at_60(plan) > 0
    porous = plan["pores"] > 0
    cycles = []
    for i in range(plan.cycles):
        ok = not np.isnan(at["hold"][i]) and plan["part"][i] > 0
        lost = not np.isnan(at["lost"][i])
        end = at["end"][i]
        toggles = [(starts[i] + t, v) for t, j, v in course.edges["supply"] if j == i and at["hold"][i] - 0.03 < t < end - 1e-3]
        cross = at["crossing"][i]
        cycles.append({
            "cycle": i, "supply_on_s": starts[i], "contact_s": starts[i] + at["contact"][i],
            "true_setpoint_s": None if np.isnan(cross) or cross > end else starts[i] + cross,
            "part_present_on_s": None if np.isnan(at["present"][i]) else starts[i] + at["present"][i],
            "outcome": "dropped" if lost else "held" if ok else "missed",
            "drop_s": starts[i] + at["lost"][i] if lost else None, "supply_toggles": toggles,
            "sequence_off_s": starts[i] + end, "sensor_stuck": bool(plan["frozen"][i] > 0),
            "sensor_offset_kpa": plan["offset_kpa"][i], "filter_factor": 0.0, "part_type": plan.rows[i],
            "deepest_kpa": at["deepest"][i],
            "leak": {"q60_total": flows_at_60(plan)[i] * mostly[i], "mechanism": "porous" if porous[i] else "orifice"},
        })  # fmt: skip
    return {"scenario": scenario, "severity": 2, "faults": plan.truth, "station": station, "cycles": cycles, "summary": {}}
