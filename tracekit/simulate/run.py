"""Integrates all cycles of a scenario in parallel and strings them together."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tracekit.simulate.gas import Array, between
from tracekit.simulate.machine import (
    DONE,
    HOLD,
    Cup,
    Programme,
    Switch,
    Valve,
    advance,
    drive_valve,
    follow_part,
    lip_leak_c,
    new_cup,
    new_programme,
    new_switch,
    new_valve,
    release_asked,
    save_air,
    suction_asked,
    watch_pressure,
)
from tracekit.simulate.plant import Constants, Drive, Flows, Gas, at_rest, blow_in, constants, step
from tracekit.simulate.scenario import StationSpec
from tracekit.simulate.schedule import Schedule

SUPPLY, RELEASE, PRESENT, FLOW, LIFTED, CLOSED, ASKED = (1 << k for k in range(7))
CHUNK = 256
PRE_ROLL_S = 0.12
LONGEST_S = 60.0


class State(NamedTuple):
    """Everything that goes on from step to step, shapes (n,) and (2, n)."""

    gas: Gas
    supply: Valve
    blow: Valve
    switch: Switch
    programme: Programme
    cup: Cup
    drive: Array
    blow_share: Array
    load: Array
    sensed: Array
    noise: Array


class Trace(NamedTuple):
    """What a run leaves, cycle after cycle, shape (total steps,); `steps` of each cycle, shape (n,).

    `reading` is the device's gauge pressure with the noise that its switch sees, `clean` the same without noise,
    `cup_kpa` and `generator_kpa` true absolute pressures, `leak_cup` and `leak_all` throughputs [kPa·mL/s].
    """

    dt: float
    steps: NDArray[np.int64]
    reading: Array
    clean: Array
    generator_kpa: Array
    cup_kpa: Array
    leak_cup: Array
    leak_all: Array
    drive_kpa: Array
    bits: NDArray[np.uint8]
    programme: Programme
    cup: Cup


class Surroundings(NamedTuple):
    """What a run is given: station, per-cycle values, constants, step [s], phases of periodic things, random source."""

    station: StationSpec
    schedule: Schedule
    constants: Constants
    dt: float
    start_s: Array
    delay_z: Array
    phase: Array
    rng: np.random.Generator


def run(station: StationSpec, schedule: Schedule, start_s: Array, dt: float, rng: np.random.Generator) -> Trace:
    """Integrate every cycle from rest until its end.

    `start_s` (n,) are the times at which cycles start, where something outside has a rhythm of its own.
    """
    n = len(schedule.ambient_kpa)
    around = Surroundings(
        station, schedule, constants(station, schedule), dt, start_s,
        rng.standard_normal((8, n)), rng.uniform(0.0, 2.0 * np.pi, n), rng,
    )  # fmt: skip
    state = _rest(around)
    first = -round(PRE_ROLL_S / dt)
    chunks: list[tuple[Array, NDArray[np.uint8]]] = []
    k = first
    while (state.programme.phase != DONE).any() and k * dt < LONGEST_S:
        analog = np.empty((7, CHUNK, n))
        bits = np.empty((CHUNK, n), np.uint8)
        z = rng.standard_normal((CHUNK, n))
        for row in range(CHUNK):
            state, bits[row] = _one_step(state, around, k, z[row], analog[:, row])
            k += 1
        chunks.append((analog, bits))
    analog = np.concatenate([a for a, _ in chunks], axis=1)[:, -first:]
    bits = np.concatenate([b for _, b in chunks])[-first:]
    return _strung(analog, bits, state, dt)


def _rest(around: Surroundings) -> State:
    n = len(around.start_s)
    gas = at_rest(around.constants)
    nothing = np.zeros(n)
    return State(
        gas, new_valve(n), new_valve(n), new_switch(n), new_programme(n, around.station.sequencer.lead_s), new_cup(n),
        nothing, nothing, nothing, gas.pressure[0], around.rng.standard_normal(n),
    )  # fmt: skip


def _one_step(state: State, around: Surroundings, k: int, z: Array, row: Array) -> tuple[State, NDArray[np.uint8]]:
    """Gas, sensor, device and machine by one step. What it leaves of the trace goes into `row`, shape (7, n)."""
    dt, schedule, station = around.dt, around.schedule, around.station
    t = k * dt
    drive, blow_share, load = _pneumatics(state, around, t)
    gas, flows, opening = _gas_step(state, around, drive, blow_share, load, t)
    sensed, clean, reading, noise = _sense(state, around, gas, t, z)
    switch = watch_pressure(
        state.switch, -reading, schedule, (station.switch.response_on_s, station.switch.response_off_s), t
    )
    cup = follow_part(state.cup, state.programme, schedule.ambient_kpa - gas.pressure[1], t, schedule, station, dt)
    programme = state.programme
    if k % max(round(station.sequencer.tick_s / dt), 1) == 0:
        noticed = np.isfinite(cup.lost_s) & ~switch.present  # the machine knows of a loss by the output alone
        programme = advance(programme, t, switch.present, noticed, schedule, station)
    command = state.supply.command
    asked = suction_asked(programme)
    if station.saving is None:
        command = asked
    elif k % max(round(station.saving.tick_s / dt), 1) == 0 or (asked != suction_asked(state.programme)).any():
        starting = asked & ~suction_asked(state.programme)
        command = save_air(command | starting, asked, -reading, schedule)
    scatter = schedule.delay_scatter_s * around.delay_z[k // 40 % 8]
    delays = (np.maximum(schedule.delay_on_s + scatter, 0.002), np.maximum(schedule.delay_off_s + scatter, 0.002))
    supply = drive_valve(state.supply, command, t, delays)
    blow = drive_valve(state.blow, release_asked(programme, t), t, (schedule.release_delay_s, schedule.delay_off_s))
    after = State(gas, supply, blow, switch, programme, cup, drive, blow_share, load, sensed, noise)
    row[0], row[1], row[2:4] = reading, clean, gas.pressure
    row[4] = flows.cup + np.where(cup.closed, flows.opening, 0.0) * (opening < 1.0)
    row[5], row[6] = flows.cup + flows.generator, drive
    return after, _bits(after)


def _pneumatics(state: State, around: Surroundings, t: float) -> tuple[Array, Array, Array]:
    """Drive pressure at the ejector [kPa gauge], open share of the release valve, load on the line (0…1)."""
    schedule, station, dt = around.schedule, around.station, around.dt
    line = _line_pressure(state, around, t)
    open_share = np.maximum(state.supply.open, schedule.passing)
    lag = np.where(state.supply.open, station.ejector.lag_on_s, station.ejector.lag_off_s)
    drive = state.drive + (line * open_share - state.drive) * (dt / (lag + dt))
    blow_share = state.blow_share + (state.blow.open - state.blow_share) * (dt / (station.release.lag_s + dt))
    load = state.load + (np.maximum(open_share, 0.5 * blow_share) - state.load) * (dt / station.supply.droop_lag_s)
    return drive, blow_share, load


def _line_pressure(state: State, around: Surroundings, t: float) -> Array:
    """Supply pressure [kPa gauge]: regulator, its droop under load, dips when a neighbour draws."""
    schedule = around.schedule
    line = schedule.supply_kpa - schedule.droop_kpa * state.load
    if schedule.neighbour_kpa.any():
        share = (around.start_s + t) / schedule.neighbour_period_s % 1.0 / schedule.neighbour_share
        line = line - schedule.neighbour_kpa * np.where(share < 1.0, np.sin(np.pi * np.minimum(share, 1.0)) ** 0.5, 0.0)
    return np.maximum(line, 5.0)


def _gas_step(
    state: State, around: Surroundings, drive: Array, blow_share: Array, load: Array, t: float
) -> tuple[Gas, Flows, Array]:
    """The gas by one step."""
    schedule, fixed = around.schedule, around.constants
    off = 1.0 - np.minimum(drive / (0.3 * around.station.ejector.optimum_kpa), 1.0)
    lips = lip_leak_c(state.programme, state.cup, t, schedule)
    over = between((state.gas.pressure[1] - schedule.ambient_kpa) / 1.5, 0.0, 1.0)
    open_share = np.maximum(np.square(state.cup.open_share), over)
    opening_c = fixed.c[4] * open_share + lips
    line = schedule.supply_kpa - schedule.droop_kpa * load
    blow = blow_in(schedule.release_c * blow_share + schedule.weep_c, line, np.ones_like(line), fixed)
    gas, flows = step(
        state.gas, Drive(drive, blow, opening_c, schedule.exhaust_kpa), schedule.check_c * off, fixed, around.dt
    )
    return gas, flows, open_share


def _sense(state: State, around: Surroundings, gas: Gas, t: float, z: Array) -> tuple[Array, Array, Array, Array]:
    """Lagged pressure, reading without noise, reading with the noise that the switch sees, the noise's state."""
    schedule, sensor, dt = around.schedule, around.station.sensor, around.dt
    source = gas.pressure[0] if sensor.side == "generator" else gas.pressure[1]
    sensed = state.sensed + (source - state.sensed) * (dt / (schedule.lag_s + dt))
    keep = np.exp(-dt / sensor.noise_time_s)
    noise = keep * state.noise + np.sqrt(1.0 - keep * keep) * z
    clean = (sensed - schedule.ambient_kpa) * (1.0 + sensor.gain_error) + schedule.offset_kpa
    if schedule.pulsation_kpa.any():
        strength = state.drive / around.station.ejector.optimum_kpa
        clean = clean + schedule.pulsation_kpa * strength * np.sin(
            2.0 * np.pi * schedule.pulsation_hz * t + around.phase
        )
    reading = clean + schedule.noise_kpa * np.sqrt(sensor.coloured_share) * noise
    reading = np.where(np.isnan(schedule.frozen_kpa), reading, schedule.frozen_kpa)
    return sensed, clean, between(reading, sensor.low_kpa, sensor.high_kpa), noise


def _bits(state: State) -> NDArray[np.uint8]:
    """Digital levels of one step, packed."""
    programme = state.programme
    bits = state.supply.command * SUPPLY + state.blow.command * RELEASE + state.switch.present * PRESENT
    bits = bits + state.supply.open * FLOW + (programme.phase == HOLD) * LIFTED + state.cup.closed * CLOSED
    bits = bits + suction_asked(programme) * ASKED
    return np.asarray(bits, np.uint8)


def _strung(analog: Array, bits: NDArray[np.uint8], state: State, dt: float) -> Trace:
    """Cut every cycle at its end and put them one after the other."""
    length = bits.shape[0]
    end = np.where(np.isfinite(state.programme.end_s), state.programme.end_s, length * dt)
    steps = np.minimum(np.round(end / dt).astype(np.int64), length)
    keep = np.arange(length)[None, :] < steps[:, None]
    reading, clean, near, far, leak_cup, leak_all, drive = (np.ascontiguousarray(a.T)[keep] for a in analog)
    levels = np.ascontiguousarray(bits.T)[keep]
    return Trace(dt, steps, reading, clean, near, far, leak_cup, leak_all, drive, levels, state.programme, state.cup)
