"""What a station is and what happens in each of its cycles."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from apart.gas import REFERENCE_PA, Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """What stays the same through a log; vacuum in kPa, conductances in m³/(s·Pa)."""

    ambient_kpa: float
    wall_k: float
    wall_s: tuple[float, float]
    generator_m3: float
    cup_m3: float
    suction: float
    deepest_kpa: float
    bend: float
    generator_s: float
    air_saving: bool
    abort_on_loss: bool
    lift_on_switch: bool
    sensor_at_cup: bool
    supply_on_level: int
    present_level: int
    lip_kpa: float
    fall_kpa: float
    switch_s: tuple[float, float]
    log_hz: float
    log_step_kpa: float
    log_range_kpa: tuple[float, float]
    jitter: float
    late_s: float
    colour_s: float


@dataclass(slots=True)
class Plan:
    """A station with, per cycle, every quantity that a fault may change: name → array (cycles,)."""

    station: Station
    per_cycle: dict[str, Floats]
    truth: list[dict[str, object]] = field(default_factory=list)
    rows: list[str] = field(default_factory=list)

    def __getitem__(self, name: str) -> Floats:
        """The array of one quantity."""
        return self.per_cycle[name]

    @property
    def cycles(self) -> int:
        """How many cycles there are."""
        return len(self.per_cycle["hold_s"])


def open_conductance(suction: float, deepest_kpa: float, open_kpa: float, ambient_kpa: float) -> float:
    """Sonic conductance of the open cup in m³/(s·Pa) with which the open-cup vacuum comes out as `open_kpa`."""
    inside = (ambient_kpa - open_kpa) / ambient_kpa
    part = (inside - 0.4) / 0.6
    flow = suction * (1.0 - open_kpa / deepest_kpa)
    return float(flow / (ambient_kpa * 1e3 * REFERENCE_PA * np.sqrt(1.0 - part * part)))


def leak_conductance(rate_kpa_s: float, volume_m3: float, ambient_kpa: float, wall_k: float) -> float:
    """Sonic conductance of a hole whose isothermal decay at 60 kPa of vacuum is `rate_kpa_s`."""
    inside = (ambient_kpa - 60.0) / ambient_kpa
    part = max((inside - 0.4) / 0.6, 0.0)
    flow = rate_kpa_s * 1e3 * volume_m3 * 293.15 / wall_k
    return float(flow / (ambient_kpa * 1e3 * REFERENCE_PA * np.sqrt(1.0 - part * part)))


def pore_factor(rate_kpa_s: float, volume_m3: float, ambient_kpa: float, wall_k: float) -> float:
    """Factor of a laminar path whose isothermal decay at 60 kPa of vacuum is `rate_kpa_s`."""
    flow = rate_kpa_s * 1e3 * volume_m3 * 293.15 / wall_k
    return float(flow / ((ambient_kpa * 1e3) ** 2 - ((ambient_kpa - 60.0) * 1e3) ** 2))


def draw_station(rng: np.random.Generator, **given: object) -> Station:
    """A sound station out of the range of practice; `given` replaces what is drawn."""
    ambient = rng.uniform(94.0, 102.5)
    volume = float(np.exp(rng.uniform(np.log(25e-6), np.log(220e-6))))
    share = rng.uniform(0.15, 0.45)
    deepest = ambient * rng.uniform(0.74, 0.89)
    tau = rng.uniform(0.05, 0.2)
    drawn: dict[str, Any] = {
        "ambient_kpa": ambient, "wall_k": rng.uniform(286.0, 306.0),
        "wall_s": (rng.uniform(0.03, 0.15), rng.uniform(0.1, 0.6)),
        "generator_m3": volume * share, "cup_m3": volume * (1.0 - share),
        "suction": volume * deepest * 1e3 / tau, "deepest_kpa": deepest, "bend": rng.uniform(-0.15, 0.2),
        "generator_s": rng.uniform(0.01, 0.04), "air_saving": bool(rng.random() < 0.7),
        "abort_on_loss": bool(rng.random() < 0.5), "lift_on_switch": True,
        "sensor_at_cup": bool(rng.random() < 0.25), "supply_on_level": int(rng.random() < 0.7),
        "present_level": int(rng.random() < 0.8), "lip_kpa": rng.uniform(0.3, 1.5), "fall_kpa": rng.uniform(10.0, 22.0),
        "switch_s": (rng.uniform(0.001, 0.006), rng.uniform(0.001, 0.006)),
        "log_hz": float(rng.choice([100.0, 200.0, 200.0, 250.0, 500.0, 1000.0])),
        "log_step_kpa": float(rng.choice([0.0244, 0.05, 0.1, 0.1, 0.2])),
        "log_range_kpa": (-101.3, float(rng.choice([0.0, 10.0, 100.0, 100.0]))),
        "jitter": float(rng.choice([0.0, 0.0, 0.1])), "late_s": float(rng.choice([0.0, 0.0, 0.0, 0.004])),
        "colour_s": rng.uniform(0.0005, 0.004),
    }  # fmt: skip
    return Station(**(drawn | given))


def _settings(rng: np.random.Generator, station: Station) -> dict[str, float]:
    """Levels that a careful fitter would choose: below what every healthy cycle reaches, in their order."""
    cut = round(station.deepest_kpa * rng.uniform(0.78, 0.9), 1)
    resume = round(cut - rng.uniform(5.0, 9.0), 1)
    set_point = round(resume - rng.uniform(1.0, 7.0), 1)
    return {"off_kpa": cut, "on_kpa": resume, "set_kpa": set_point, "reset_kpa": round(set_point - rng.uniform(3.0, 7.0), 1)}


def draw_plan(rng: np.random.Generator, station: Station, cycles: int) -> Plan:
    """A healthy log: the station's own levels, with the scatter from cycle to cycle that parts and robots have."""
    volume = station.generator_m3 + station.cup_m3
    rate = min(rng.uniform(0.01, 0.08) / 0.0006 / (volume * 1e6), 6.0)
    blow = volume * rng.uniform(0.5, 1.2) * 1e6
    level = {
        "filter": station.cup_m3 / (rng.uniform(0.002, 0.01) * REFERENCE_PA),
        "open": open_conductance(station.suction, station.deepest_kpa, rng.uniform(3.0, 11.0), station.ambient_kpa),
        "leak": leak_conductance(rate, volume, station.ambient_kpa, station.wall_k), "pores": 0.0,
        "check": leak_conductance(rate * rng.uniform(0.02, 0.2), volume, station.ambient_kpa, station.wall_k),
        "weep": 0.0, "speed": 1.0, "depth": 1.0, "supply": 1.0, "dip": 0.0, "dip_s": 0.0, "dip_long_s": 0.0,
        "ripple": 0.0, "ripple_hz": 7.0, "ripple_phase": 0.0, "valve_on_s": rng.uniform(0.006, 0.02),
        "valve_off_s": rng.uniform(0.006, 0.02), "passing": 0.0, "blow": blow, "blow_s": rng.uniform(0.12, 0.3),
        "retract_s": rng.uniform(0.0, 0.08), "dead_s": rng.uniform(0.0, 0.03), "contact_s": rng.uniform(0.12, 0.35),
        "hold_s": rng.uniform(1.6, 3.6), "idle_s": rng.uniform(0.5, 1.2), "timeout_s": rng.uniform(1.4, 2.0),
        "part": 1.0, "lost_s": np.inf, "lost_cups": 0.0, "shake": 0.0, "shake_a_s": 0.0, "shake_b_s": 0.0,
        "offset_kpa": rng.normal(0.0, 0.15), "gain": 1.0 + rng.normal(0.0, 0.003), "noise_kpa": rng.uniform(0.03, 0.12),
        "lag_s": rng.uniform(0.001, 0.004), "frozen": 0.0, "clip_kpa": np.inf, **_settings(rng, station),
    }  # fmt: skip
    plan = Plan(station, {k: np.full(cycles, float(v)) for k, v in level.items()})
    each = plan.per_cycle
    each["leak"] *= np.exp(rng.normal(0.0, rng.uniform(0.05, 0.2), cycles))
    each["contact_s"] += rng.normal(0.0, 0.006, cycles)
    each["hold_s"] *= 1.0 + rng.normal(0.0, 0.02, cycles)
    each["idle_s"] *= np.exp(rng.normal(0.0, 0.1, cycles))
    each["supply"] += rng.normal(0.0, 0.004, cycles)
    each["shake_a_s"][:], each["shake_b_s"][:] = rng.uniform(0.15, 0.4), rng.uniform(0.6, 1.2)
    plan.rows = ["A"] * cycles
    return plan
