"""A logger: lays the cycles one after the other and samples them, with its rate, steps, jitter and lateness."""

import numpy as np
import pandas as pd

from apart.gas import Floats
from apart.plan import Plan
from apart.run import BEFORE_S, Course


def starts_of(plan: Plan, course: Course) -> tuple[Floats, Floats]:
    """Time of each cycle's supply command in the log, and how long its own trace lasts, in seconds."""
    long = course.times["end"] + plan["blow_s"] + plan["retract_s"] + 0.38
    gaps = BEFORE_S + long + plan["idle_s"]
    return np.concatenate([[0.0], np.cumsum(gaps)[:-1]]) + BEFORE_S + 0.5, long


def record(plan: Plan, course: Course, rng: np.random.Generator) -> pd.DataFrame:
    """The log as a canonical table, digitals as wired."""
    s = plan.station
    starts, long = starts_of(plan, course)
    time = np.arange(0.0, starts[-1] + long[-1] + 0.5, 1.0 / s.log_hz)
    asked = time + s.jitter / s.log_hz * rng.uniform(-0.5, 0.5, len(time))
    cycle = np.clip(np.searchsorted(starts - BEFORE_S, asked, side="right") - 1, 0, plan.cycles - 1)
    inside = asked - starts[cycle]
    pressure = np.zeros(len(time))
    digitals = {k: np.zeros(len(time), bool) for k in ("supply", "release", "present")}
    kept_s = course.time_s[1] - course.time_s[0]
    for i in range(plan.cycles):
        rows = np.flatnonzero(cycle == i)
        t = inside[rows]
        within = np.minimum(t, long[i])
        value = np.interp(within, course.time_s, course.reading_kpa[:, i])
        idle = (t > long[i]) | (t < -BEFORE_S)
        quiet = plan["noise_kpa"][i] * rng.standard_normal(int(idle.sum()))
        level = np.median(course.reading_kpa[(course.time_s > long[i] - 0.1) & (course.time_s <= long[i]), i])
        value[idle] = level + quiet
        pressure[rows] = -value
        at = np.clip(((within - s.late_s - course.time_s[0]) / kept_s).astype(int), 0, len(course.time_s) - 1)
        for name, trace in digitals.items():
            trace[rows] = getattr(course, name)[at, i]
    pressure = np.clip(np.round(pressure / s.log_step_kpa) * s.log_step_kpa, *s.log_range_kpa)
    wired = {
        "supply": digitals["supply"] == bool(s.supply_on_level), "release": digitals["release"],
        "part_present": digitals["present"] == bool(s.present_level),
    }  # fmt: skip
    table = {"time_s": np.round(asked if s.jitter else time, 6), "pressure_kpa": pressure}
    return pd.DataFrame(table | {k: v.astype(np.int8) for k, v in wired.items()})
