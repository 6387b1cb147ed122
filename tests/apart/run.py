"""Steps all cycles of a plan at once: gas, generator, valves, switch, air saving and the sequence of the machine."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from apart.gas import GAMMA, Floats, Volume, both_ways, through_orifice, through_pores
from apart.plan import Plan

STEP_S = 0.001
BEFORE_S = 0.3
SUCTION, HOLD, RELEASE = 1, 2, 3
Flags = NDArray[np.bool_]


@dataclass(slots=True)
class Course:
    """What happened: traces (steps kept, cycles) and times of each cycle, in seconds after its supply command."""

    time_s: Floats
    reading_kpa: NDArray[np.float32]
    supply: Flags
    release: Flags
    present: Flags
    times: dict[str, Floats]
    edges: dict[str, list[tuple[float, int, int]]] = field(default_factory=dict)


class _Late:
    """A digital that follows another after a delay, one delay for each direction."""

    def __init__(self, cycles: int) -> None:
        self.state = np.zeros(cycles, bool)
        self.waited = np.zeros(cycles)

    def follow(self, wanted: Flags, on_s: Floats | float, off_s: Floats | float) -> Flags:
        """The state now, given what is asked of it."""
        self.waited = np.where(wanted == self.state, 0.0, self.waited + STEP_S)
        flips = self.waited > np.where(wanted, on_s, off_s)
        self.state = self.state ^ flips
        self.waited[flips] = 0.0
        return self.state


class Rig:
    """The station's state, for all cycles at once."""

    def __init__(self, plan: Plan, rng: np.random.Generator) -> None:
        self.plan, self.rng, n = plan, rng, plan.cycles
        s = plan.station
        self.ambient = s.ambient_kpa * 1e3
        self.near = Volume(np.full(n, s.generator_m3), self.ambient, s.wall_k, s.wall_s[0])
        self.far = Volume(np.full(n, s.cup_m3), self.ambient, s.wall_k, s.wall_s[1])
        self.valve, self.switch = _Late(n), _Late(n)
        self.strength = np.zeros(n)
        self.shown = np.zeros(n)
        self.wander = np.zeros(n)
        self.phase = np.full(n, SUCTION)
        self.command = np.zeros(n, bool)
        self.cut = np.zeros(n, bool)
        self.times = {k: np.full(n, np.nan) for k in ("contact", "crossing", "present", "hold", "end", "lost", "deepest")}
        self.times["deepest"][:] = 0.0

    def supply(self, t: float) -> Floats:
        """Supply pressure over the generator's best one."""
        p = self.plan
        dipped = (t >= p["dip_s"]) & (t < p["dip_s"] + p["dip_long_s"])
        swing = p["ripple"] * np.sin(2.0 * np.pi * (p["ripple_hz"] * t + p["ripple_phase"]))
        return p["supply"] * (1.0 - p["dip"] * dipped) * (1.0 + swing)

    def flows(self, t: float, blowing: Flags, mouth: Floats) -> None:
        """One step of the gas; `mouth` is the open share of the cup, 0 sealed, 1 open."""
        p, s = self.plan, self.plan.station
        near, far, pressed = self.near.pressure_pa, self.far.pressure_pa, self.supply(t)
        drive = np.maximum(self.valve.state.astype(float), p["passing"])
        self.strength += (drive - self.strength) * STEP_S / s.generator_s
        load = np.clip(pressed * np.clip(self.strength, 0.0, 1.0), 0.0, 1.3)
        deep = s.deepest_kpa * 1e3 * p["depth"] * np.clip(1.35 * load - 0.35 * load**2, 1e-3, 1.0)
        rest = np.maximum(1.0 - (self.ambient - near) / deep, 0.0)
        speed = s.suction * p["speed"] * np.minimum(load, 1.0) ** 0.7
        drawn = np.clip(speed * rest * (1.0 + s.bend * (1.0 - rest)), 0.0, 0.5 * self.near.amount / STEP_S)
        back = through_orifice(p["check"], np.full_like(near, self.ambient), near) * (1.0 - np.clip(self.strength, 0, 1))
        fed = p["weep"] + np.where(blowing, p["blow"] * pressed, 0.0)
        across = both_ways(p["filter"], far, near)
        most = 0.4 * np.abs(far - near) / STEP_S / (1.0 / s.generator_m3 + 1.0 / s.cup_m3)
        across = np.clip(across, -most, most)
        hole = p["leak"] + mouth * p["open"] + p["lost_cups"] * (t >= p["lost_s"]) * p["open"]
        room = 0.6 * np.abs(self.ambient - far) * s.cup_m3 / STEP_S
        entering = np.minimum(through_orifice(hole, np.full_like(far, self.ambient), far), room)
        entering = entering + through_pores(p["pores"], self.ambient, far) * (mouth < 1.0)
        lip = np.where(far > self.ambient + 1e3 * s.lip_kpa * (mouth < 1.0), 8.0 * p["open"], 0.0) + mouth * p["open"]
        leaving = np.minimum(through_orifice(lip, far, np.full_like(far, self.ambient)), room)
        wall = s.wall_k
        self.near.step([(back + fed, wall), (np.maximum(across, 0), self.far.temperature_k)], drawn + np.maximum(-across, 0), STEP_S)
        self.far.step([(entering, wall), (np.maximum(-across, 0), self.near.temperature_k)], leaving + np.maximum(across, 0), STEP_S)

    def shaken(self, t: float) -> None:
        """The load's inertia presses the cup flat at the start and the end of a motion."""
        p, s = self.plan, self.plan.station
        since = t - np.nan_to_num(self.times["hold"], nan=np.inf)
        bump = sum(np.exp(-0.5 * ((since - p[k]) / 0.035) ** 2) for k in ("shake_a_s", "shake_b_s"))
        size = s.cup_m3 * (1.0 - p["shake"] * bump * (self.phase == HOLD))
        self.far.temperature_k = self.far.temperature_k * (self.far.volume_m3 / size) ** (GAMMA - 1.0)
        self.far.volume_m3 = size

    def read(self, t: float) -> Floats:
        """The device's reading: vacuum in kPa, with its errors."""
        p, s = self.plan, self.plan.station
        at = self.far if s.sensor_at_cup else self.near
        true = (self.ambient - at.pressure_pa) / 1e3
        self.shown += (true - self.shown) * STEP_S / np.maximum(p["lag_s"], STEP_S)
        keep = np.exp(-STEP_S / s.colour_s)
        self.wander = keep * self.wander + np.sqrt(1 - keep**2) * self.rng.standard_normal(len(true))
        cross = self.times["crossing"]
        meant = true * p["gain"] + p["offset_kpa"]
        cross[np.isnan(cross) & (meant >= p["set_kpa"]) & (t > 0.0)] = t
        self.times["deepest"] = np.maximum(self.times["deepest"], true * (self.phase < RELEASE))
        value = self.shown * p["gain"] + p["offset_kpa"] + p["noise_kpa"] * self.wander
        return np.minimum(np.where(p["frozen"] > 0, p["frozen"], value), p["clip_kpa"])

    def decide(self, t: float, seen: Floats) -> Flags:
        """Switch, air saving and sequence; gives the release command."""
        p, s, at = self.plan, self.plan.station, self.times
        asked = np.where(self.switch.state, seen > p["reset_kpa"], seen >= p["set_kpa"])
        present = self.switch.follow(asked, *s.switch_s)
        if t >= 0:
            at["present"][np.isnan(at["present"]) & present & (self.phase == SUCTION)] = t
            ready = present if s.lift_on_switch else np.full(len(seen), t >= 0.9)
            start = (self.phase == SUCTION) & ready & (t > at["contact"] + 0.02)
            at["hold"][start] = t + 0.03
            late = (self.phase == SUCTION) & ~start & (t > p["timeout_s"])
            over = (self.phase == HOLD) & (t > at["hold"] + p["hold_s"])
            if s.abort_on_loss:
                over |= (self.phase == HOLD) & ~present & (t > np.nan_to_num(at["lost"], nan=np.inf) + 0.1)
            at["end"][late | over] = t
            self.phase = np.where(late | over, RELEASE, np.where(start, HOLD, self.phase))
        wanted = (t >= 0) & ((self.phase < RELEASE) | (t < at["end"] - p["dead_s"]))
        high, low = self.shown_cut(seen)
        self.cut = (self.cut | high) & ~low
        self.command = wanted & ~self.cut
        since = t - np.nan_to_num(at["end"], nan=np.inf)
        blow = (since >= np.maximum(p["dead_s"], 0.0)) & (since < np.maximum(p["dead_s"], 0.0) + p["blow_s"])
        return np.asarray(blow)

    def shown_cut(self, seen: Floats) -> tuple[Flags, Flags]:
        """Whether air saving cuts, and whether it resumes."""
        if not self.plan.station.air_saving:
            return np.zeros(len(seen), bool), np.ones(len(seen), bool)
        return seen >= self.plan["off_kpa"], seen <= self.plan["on_kpa"]

    def mouth(self, t: float) -> Floats:
        """How far the cup is open: before contact, without a part, after a loss, after the robot has gone."""
        p, s, at = self.plan, self.plan.station, self.times
        near = np.clip((t - at["contact"]) / 0.006, 0.0, 1.0)
        held = (self.ambient - self.far.pressure_pa) / 1e3
        torn = (t >= p["lost_s"]) & (p["lost_cups"] == 0) & (self.phase == HOLD) & (t >= at["hold"])
        fell = (self.phase == HOLD) & (t > at["hold"] + 0.05) & (held < s.fall_kpa)
        at["lost"][np.isnan(at["lost"]) & (torn | fell) & (p["part"] > 0)] = t
        gone = np.clip((t - np.nan_to_num(at["lost"], nan=np.inf)) / 0.012, 0.0, 1.0)
        away = np.nan_to_num(at["end"], nan=np.inf) + np.maximum(p["dead_s"], 0) + p["blow_s"] + p["retract_s"]
        open_ = np.maximum(gone, np.clip((t - away) / 0.01, 0.0, 1.0))
        return np.asarray(np.where(p["part"] > 0, np.maximum(1.0 - near, open_), 1.0))


def run(plan: Plan, rng: np.random.Generator) -> Course:
    """Step a plan to the end of its slowest cycle."""
    rig = Rig(plan, rng)
    rig.times["contact"] = plan["contact_s"].copy()
    kept: list[tuple[float, Floats, Flags, Flags, Flags]] = []
    edges: dict[str, list[tuple[float, int, int]]] = {"supply": [], "present": []}
    last = {"supply": rig.command, "present": rig.switch.state.copy()}
    lost = plan["lost_s"].copy()
    for k in range(int(14.0 / STEP_S)):
        t = k * STEP_S - BEFORE_S
        plan.per_cycle["lost_s"] = np.where(np.isnan(rig.times["hold"]), np.inf, rig.times["hold"] + lost)
        seen = rig.read(t)
        release = rig.decide(t, seen)
        rig.valve.follow(rig.command, plan["valve_on_s"], plan["valve_off_s"])
        rig.shaken(t)
        rig.flows(t, release, rig.mouth(t))
        for name, now in (("supply", rig.command), ("present", rig.switch.state)):
            edges[name] += [(t, int(i), int(now[i])) for i in np.flatnonzero(now != last[name])]
            last[name] = now.copy()
        kept.append((t, seen.astype(np.float32), rig.command, release, rig.switch.state.copy()))
        done = t > rig.times["end"] + plan["blow_s"] + plan["retract_s"] + 0.4
        if done.all():
            break
    plan.per_cycle["lost_s"] = lost
    time, seen_, *digitals = zip(*kept, strict=True)
    on, off, there = (np.array(d) for d in digitals)
    return Course(np.array(time), np.array(seen_), on, off, there, rig.times, edges)
