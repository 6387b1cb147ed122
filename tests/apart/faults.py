"""Faults: each changes a plan's arrays on some of its cycles and notes what it did.

Sizes are clear beside the scatter of a log, not the largest that occur.
"""

from collections.abc import Callable

import numpy as np

from apart.plan import Plan, leak_conductance, pore_factor
from apart.run import Course, run

Rows = np.ndarray
Fault = Callable[[Plan, np.random.Generator, Rows], dict[str, float]]


def _volume(plan: Plan) -> float:
    return plan.station.generator_m3 + plan.station.cup_m3


def _hole(plan: Plan, rate: float) -> float:
    return leak_conductance(rate, _volume(plan), plan.station.ambient_kpa, plan.station.wall_k)


def _rate(plan: Plan, rng: np.random.Generator, low: float = 0.45, high: float = 1.6) -> float:
    """A leak in kPa/s at 60 kPa: a clear flow in L/min that the station still outruns, at least four healthy ones."""
    millilitres = _volume(plan) * 1e6
    healthy = float(np.median(plan["leak"])) / _hole(plan, 1.0)
    rate = max(rng.uniform(low, high) / 0.0006 / millilitres, 4.0 * healthy, 2.5)
    return float(min(rate, 0.05 * plan.station.suction / _volume(plan) / 1e3, 25.0))


def leak_steady(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    rate = _rate(plan, rng)
    plan["leak"][rows] += _hole(plan, rate) * np.exp(rng.normal(0.0, rng.uniform(0.07, 0.18), len(rows)))
    return {"rate_kpa_s": rate}


def leak_part_dependent(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    kind = rng.choice(["turns", "random", "blocks"])
    some = {"turns": rows % 3 == 0, "random": rng.random(len(rows)) < 0.4, "blocks": (rows // 8) % 2 == 1}[str(kind)]
    rate, chosen = _rate(plan, rng), rows[some]
    factor = pore_factor(rate, _volume(plan), plan.station.ambient_kpa, plan.station.wall_k)
    plan["pores"][chosen] += factor * np.exp(rng.normal(0.0, 0.15, len(chosen)))
    for i in chosen:
        plan.rows[int(i)] = "B"
    return {"rate_kpa_s": rate, "share": float(some.mean())}


def check_valve_leak(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    rate = _rate(plan, rng)
    plan["check"][rows] += _hole(plan, rate) * np.exp(rng.normal(0.0, 0.02, len(rows)))
    return {"rate_kpa_s": rate}


def release_valve_leak(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    rate = _rate(plan, rng)
    plan["weep"][rows] += rate * 1e3 * _volume(plan) * np.exp(rng.normal(0.0, 0.02, len(rows)))
    return {"rate_kpa_s": rate}


def flow_restricted(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    """Narrower than the open cup, which then reads 10 to 35 kPa deeper at the generator."""
    left = rng.uniform(0.35, 0.8) * float(np.median(plan["open"])) / float(np.median(plan["filter"]))
    plan["filter"][rows] *= left
    return {"left": left}


def exhaust_restricted(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    speed, depth = rng.uniform(0.45, 0.7), rng.uniform(0.9, 0.96)
    plan["speed"][rows] *= speed
    plan["depth"][rows] *= depth
    return {"speed": speed, "depth": depth}


def supply_pressure_low(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    left = rng.uniform(0.6, 0.78)
    plan["supply"][rows] *= left
    return {"left": left}


def supply_pressure_dips(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    """A neighbour draws air now and then: during some evacuations and holds of every log."""
    depth, long = rng.uniform(0.35, 0.55), rng.uniform(0.4, 1.0)
    hit = rng.random(len(rows)) < rng.uniform(0.4, 0.7)
    plan["dip"][rows] = depth * hit
    plan["dip_s"][rows] = rng.uniform(-0.2, 1.5, len(rows))
    plan["dip_long_s"][rows] = long
    return {"depth": depth, "share": float(hit.mean())}


def supply_pulsation(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    size, hertz = rng.uniform(0.1, 0.18), rng.uniform(2.0, 6.0)
    plan["ripple"][rows], plan["ripple_hz"][rows] = size, hertz
    plan["ripple_phase"][rows] = rng.uniform(0.0, 1.0, len(rows))
    return {"size": size, "hz": hertz}


def supply_valve_slow(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    if rng.random() < 0.5:
        more = rng.uniform(0.06, 0.15) * np.exp(rng.normal(0.0, 0.15, len(rows)))
    else:
        more = rng.uniform(0.02, 0.2, len(rows))
    plan["valve_on_s"][rows] += more
    plan["valve_off_s"][rows] += 0.3 * more
    return {"late_s": float(more.mean())}


def supply_valve_passing(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    share = rng.uniform(0.15, 0.3)
    plan["passing"][rows] = share
    return {"share": share}


def release_weak(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    left = rng.uniform(0.08, 0.25)
    plan["blow"][rows] *= left
    return {"left": left}


def collision_or_peel(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    hit = rows[rng.random(len(rows)) < rng.uniform(0.08, 0.2)]
    hit = hit if len(hit) >= 3 else rows[:: max(len(rows) // 4, 1)]
    plan["lost_s"][hit] = rng.uniform(0.3, 1.2) + rng.normal(0.0, 0.03, len(hit))
    return {"drops": float(len(hit))}


def motion_dips(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    size = rng.uniform(0.18, 0.35)
    plan["shake"][rows] = size * np.exp(rng.normal(0.0, 0.1, len(rows)))
    return {"stretch": size}


def part_not_presented(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    gone = rows[rng.random(len(rows)) < rng.uniform(0.1, 0.25)]
    gone = gone if len(gone) >= 3 else rows[:: max(len(rows) // 4, 1)]
    plan["part"][gone] = 0.0
    return {"missing": float(len(gone))}


def _reach(plan: Plan) -> float:
    """The healthy end of an evacuation as the device reads it, in kPa."""
    return plan.station.deepest_kpa * float(np.median(plan["gain"])) + float(np.median(plan["offset_kpa"]))


def set_point_too_high(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    """Within a whisker of what the station reaches at all: some picks are late, some are given up."""
    level = _reach(plan) - rng.uniform(0.1, 1.0)
    plan["set_kpa"][rows] = round(level, 1)
    plan["reset_kpa"][rows] = round(level - 5.0, 1)
    plan["depth"][rows] *= 1.0 + rng.normal(0.0, 0.007, len(rows))
    if plan.station.air_saving:
        plan["off_kpa"][rows] = round(level + 0.4, 1)
        plan["on_kpa"][rows] = round(level - 3.0, 1)
    return {"level_kpa": level}


def _trial(plan: Plan, rng: np.random.Generator) -> Course:
    """A dozen cycles of the plan as it stands."""
    few = {k: v[:12].copy() for k, v in plan.per_cycle.items()}
    return run(Plan(plan.station, few, [], []), rng)


def set_point_too_low(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    """Under the open-cup vacuum, which is read before contact; some picks are empty and pass."""
    course = _trial(plan, rng)
    at = np.searchsorted(course.time_s, float(np.median(plan["contact_s"])) - 0.03)
    level = max(float(np.median(course.reading_kpa[at])) * rng.uniform(0.6, 0.85), 1.0)
    plan["set_kpa"][rows], plan["reset_kpa"][rows] = level, 0.5 * level
    plan["part"][rows[rng.random(len(rows)) < 0.15]] = 0.0
    return {"level_kpa": level}


def hysteresis_too_small(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    """Set point where the hold stands, with a hysteresis of the noise's size."""
    plan["noise_kpa"][:] = np.maximum(plan["noise_kpa"], 0.15)
    middle = (plan["on_kpa"] + plan["off_kpa"])[rows] / 2.0 if plan.station.air_saving else _reach(plan) - 0.4
    plan["set_kpa"][rows] = np.round(middle, 1)
    plan["reset_kpa"][rows] = plan["set_kpa"][rows] - 0.2
    return {"hysteresis_kpa": 0.2}


def supply_on_below_reset(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    """The saw-tooth passes the reset point."""
    rate = max(2.2 * float(np.median(plan["off_kpa"] - plan["on_kpa"])) / float(np.median(plan["hold_s"])), 4.0)
    plan["leak"][:] = np.maximum(plan["leak"], _hole(plan, rate))
    plan["set_kpa"][rows] = plan["on_kpa"][rows] + 3.0
    plan["reset_kpa"][rows] = plan["on_kpa"][rows] + rng.uniform(0.8, 1.5)
    return {"rate_kpa_s": rate}


def supply_band_too_narrow(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    band = rng.uniform(0.6, 1.2)
    plan["on_kpa"][rows] = plan["off_kpa"][rows] - band
    return {"band_kpa": band}


def supply_off_unreachable(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    level = round(_reach(plan) + rng.uniform(0.8, 4.0), 1)
    plan["on_kpa"][rows] = level - (plan["off_kpa"] - plan["on_kpa"])[rows]
    plan["off_kpa"][rows] = level
    return {"level_kpa": level}


def timeout_too_short(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    """Some of the picks, those with a late contact, are given up while vacuum still rises."""
    course = _trial(plan, rng)
    needed = float(np.nanmedian(course.times["present"] - course.times["contact"]))
    plan["contact_s"][rows] += rng.normal(0.0, 0.03, len(rows))
    limit = float(np.quantile(plan["contact_s"][rows], rng.uniform(0.65, 0.85))) + needed
    plan["timeout_s"][rows] = limit
    return {"timeout_s": limit}


def valves_overlap(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    over = rng.uniform(0.05, 0.12)
    plan["dead_s"][rows] = -over
    return {"over_s": over}


def sensor_zero_shift(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    shift = rng.uniform(2.0, 5.0) * (1.0 if plan.station.log_range_kpa[1] < 5.0 else rng.choice([-1.0, 1.0]))
    plan["offset_kpa"][rows] += shift
    return {"shift_kpa": float(shift)}


def sensor_noisy(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    size = rng.uniform(0.9, 2.0)
    plan["noise_kpa"][rows] = size
    return {"noise_kpa": size}


def sensor_stuck(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    """Frozen from some cycle on, at a level inside the range."""
    level = float(rng.choice([1.0, 30.0, plan["off_kpa"][0] - 2.0]))
    plan["frozen"][rows[len(rows) // 3 :]] = level
    return {"level_kpa": level}


def sensor_slow(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    lag = rng.uniform(0.08, 0.2)
    plan["lag_s"][rows] = lag
    return {"lag_s": lag}


def sensor_clipped(plan: Plan, rng: np.random.Generator, rows: Rows) -> dict[str, float]:
    """The range ends under what the hold reaches, over every level that must be reached."""
    top = plan["off_kpa"][0] if plan.station.air_saving else _reach(plan)
    end = max(top - rng.uniform(2.0, 6.0), float(plan["set_kpa"][0]) + 0.5)
    plan["clip_kpa"][rows] = end
    return {"end_kpa": float(end)}


FAULTS: dict[str, Fault] = {
    f.__name__: f
    for f in (
        leak_steady, leak_part_dependent, check_valve_leak, release_valve_leak, flow_restricted, exhaust_restricted,
        supply_pressure_low, supply_pressure_dips, supply_pulsation, supply_valve_slow, supply_valve_passing,
        release_weak, collision_or_peel, motion_dips, part_not_presented, set_point_too_high, set_point_too_low,
        hysteresis_too_small, supply_on_below_reset, supply_band_too_narrow, supply_off_unreachable, timeout_too_short,
        valves_overlap, sensor_zero_shift, sensor_noisy, sensor_stuck, sensor_slow, sensor_clipped,
    )
}  # fmt: skip
NEEDS_SAVING = {
    "check_valve_leak", "supply_on_below_reset", "supply_band_too_narrow", "supply_off_unreachable", "supply_valve_passing",
}  # fmt: skip
PLAIN = {"supply_pulsation"}  # where air is saved the supply is seldom on, and no line of a ripple is seen


def apply(plan: Plan, rng: np.random.Generator, code: str, onset: int) -> None:
    """Bring one fault into a plan from the cycle `onset` on."""
    rows = np.arange(onset, plan.cycles)
    size = FAULTS[code](plan, rng, rows)
    plan.truth.append({"label": code, "onset_cycle": onset, **size})
