"""The machine around the gas, for many cycles at once: valves, pressure switch, air saving, programme, cup."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tracekit.simulate.gas import Array, between
from tracekit.simulate.scenario import StationSpec
from tracekit.simulate.schedule import NEVER, Schedule

Flags = NDArray[np.bool_]
Phases = NDArray[np.int8]

WAIT, SUCK, HOLD, RELEASE, DONE = range(5)
RETRACT_S = 0.06  # from the end of blow-off until the cup is pulled off the part
ROUNDING_S = 1e-9  # of times that are multiples of the step
PEEL_KPA = 3.0  # a part hangs on until its vacuum is below this


class Valve(NamedTuple):
    """A valve: command, time of its last edge [s], delay that this edge has [s], open or not."""

    command: Flags
    edge_s: Array
    delay_s: Array
    open: Flags


class Switch(NamedTuple):
    """Pressure switch: output, and since when the reading asks for the other level [s]."""

    present: Flags
    since_s: Array


class Programme(NamedTuple):
    """Sequencer: phase, and the times that it has fixed so far [s], inf where not yet."""

    phase: Phases
    try_s: Array
    attempts: Array
    lift_s: Array
    stop_s: Array
    release_s: Array
    end_release_s: Array
    end_s: Array
    timed_out: Flags
    aborted: Flags


class Cup(NamedTuple):
    """The cup: part on it, open share 0…1, when it closed, was lost, came off [s]."""

    closed: Flags
    open_share: Array
    contact_s: Array
    lost_s: Array
    off_s: Array


def new_valve(n: int) -> Valve:
    """A closed valve without command."""
    return Valve(np.zeros(n, bool), np.full(n, -NEVER), np.zeros(n), np.zeros(n, bool))


def drive_valve(valve: Valve, command: Flags, t: float, delays: tuple[Array, Array]) -> Valve:
    """Follow a command after the delay for its direction (on, off)."""
    changed = command != valve.command
    if changed.any():
        edge = np.where(changed, t, valve.edge_s)
        delay = np.where(changed, np.where(command, delays[0], delays[1]), valve.delay_s)
        valve = Valve(command, edge, delay, valve.open)
    ripe = t - valve.edge_s >= valve.delay_s - ROUNDING_S
    return valve._replace(open=np.where(ripe, valve.command, valve.open))


def new_switch(n: int) -> Switch:
    """An output that is off."""
    return Switch(np.zeros(n, bool), np.full(n, NEVER))


def watch_pressure(
    switch: Switch, vacuum: Array, schedule: Schedule, response: tuple[float, float], t: float
) -> Switch:
    """Output on above the set point, off below the reset point, each after it has lasted for the response time."""
    wants = np.where(switch.present, vacuum < schedule.reset_point_kpa, vacuum >= schedule.set_point_kpa)
    since = np.where(wants, np.minimum(switch.since_s, t), NEVER)
    wait = np.where(switch.present, response[1], response[0])
    flip = t - since >= wait - ROUNDING_S
    return Switch(switch.present ^ flip, np.where(flip, NEVER, since))


def save_air(command: Flags, asked: Flags, vacuum: Array, schedule: Schedule) -> Flags:
    """Supply command of the loop: off at `supply_off`, on again at `supply_on`, off where suction is not asked for."""
    wanted = np.where(command, vacuum < schedule.supply_off_kpa, vacuum <= schedule.supply_on_kpa)
    return np.asarray(asked & wanted, np.bool_)


def new_programme(n: int, lead_s: float) -> Programme:
    """Waiting for the first suction at `lead_s`."""
    never = np.full(n, NEVER)
    no = np.zeros(n, bool)
    return Programme(np.zeros(n, np.int8), np.full(n, lead_s), np.zeros(n), never, never, never, never, never, no, no)


def advance(
    programme: Programme, t: float, present: Flags, lost: Flags, schedule: Schedule, station: StationSpec
) -> Programme:
    """One tick of the sequencer."""
    sequencer = station.sequencer
    starting = (programme.phase == WAIT) & (t >= programme.try_s)
    programme = programme._replace(
        phase=np.where(starting, SUCK, programme.phase).astype(np.int8), attempts=programme.attempts + starting
    )
    sucking = programme.phase == SUCK
    arrived = t >= programme.try_s + schedule.approach_s
    if sequencer.lift_on == "part_present":
        ready = present & arrived
    else:
        ready = t >= programme.try_s + schedule.approach_s + sequencer.lift_timer_s - sequencer.settle_s
    pending = sucking & ready & np.isinf(programme.lift_s)
    lift = np.where(pending, _on_tick(t + sequencer.settle_s, sequencer.tick_s), programme.lift_s)
    lifting = sucking & (t >= lift)
    stop = np.where(lifting, _on_tick(lift + schedule.transport_s, sequencer.tick_s), programme.stop_s)
    release = np.where(lifting, stop + schedule.dead_time_s, programme.release_s)
    programme = programme._replace(
        lift_s=lift, stop_s=stop, release_s=release, phase=np.where(lifting, HOLD, programme.phase).astype(np.int8)
    )
    programme = _give_up(programme, t, lost, schedule, station)
    return _finish(programme, t, schedule, sequencer.paced_s)


def _on_tick(time_s: Array | float, tick_s: float) -> Array:
    """The next tick of the sequencer at or after a time [s]."""
    return np.asarray(np.ceil(np.asarray(time_s) / tick_s - 1e-6) * tick_s, np.float64)


def _give_up(programme: Programme, t: float, lost: Flags, schedule: Schedule, station: StationSpec) -> Programme:
    """Time-outs, retries, and an early stop where the loss of a part is watched."""
    sequencer = station.sequencer
    late = (programme.phase == SUCK) & np.isinf(programme.lift_s) & (t >= programme.try_s + schedule.timeout_s)
    again = late & (programme.attempts <= sequencer.retries)
    over = late & ~again
    drop = (programme.phase == HOLD) & lost if sequencer.abort_on_loss else np.zeros(len(late), bool)
    end = over | drop
    if not (again.any() or end.any()):
        return programme
    return programme._replace(
        phase=np.where(again, WAIT, np.where(end, HOLD, programme.phase)).astype(np.int8),
        try_s=np.where(again, t + sequencer.retry_pause_s, programme.try_s),
        stop_s=np.where(end, t, programme.stop_s),
        release_s=np.where(end, t + np.maximum(schedule.dead_time_s, 0.0), programme.release_s),
        timed_out=programme.timed_out | over,
        aborted=programme.aborted | drop,
    )


def _finish(programme: Programme, t: float, schedule: Schedule, paced_s: float) -> Programme:
    """End of suction, blow-off, pull-off, idle."""
    stopping = (programme.phase == HOLD) & (t >= programme.stop_s)
    off = programme.release_s + schedule.release_s
    idle_until = off + RETRACT_S + schedule.idle_s
    if paced_s > 0.0:
        idle_until = np.maximum(off + RETRACT_S + 0.15, paced_s)
    ending = np.where(stopping, idle_until, programme.end_s)
    done = (programme.phase == RELEASE) & (t >= programme.end_s)
    phase = np.where(stopping, RELEASE, np.where(done, DONE, programme.phase)).astype(np.int8)
    return programme._replace(phase=phase, end_s=ending, end_release_s=off)


def suction_asked(programme: Programme) -> Flags:
    """Where the programme wants vacuum."""
    return np.asarray((programme.phase == SUCK) | (programme.phase == HOLD), np.bool_)


def release_asked(programme: Programme, t: float) -> Flags:
    """Where the programme blows off."""
    return np.asarray((t >= programme.release_s) & (t < programme.end_release_s), np.bool_)


def new_cup(n: int) -> Cup:
    """An open cup."""
    never = np.full(n, NEVER)
    return Cup(np.zeros(n, bool), np.ones(n), never, never, never)


def follow_part(
    cup: Cup, programme: Programme, vacuum: Array, t: float, schedule: Schedule, station: StationSpec, dt: float
) -> Cup:
    """Contact, loss and coming off of the part; lips close and open within `lip_close_s`."""
    space = station.volumes
    touching = (programme.phase == SUCK) & (t >= programme.try_s + schedule.approach_s)
    touching &= (schedule.offered > 0.0) & np.isinf(cup.contact_s)
    holding = (programme.phase == HOLD) & cup.closed
    torn = t >= programme.lift_s + schedule.strike * schedule.transport_s
    losing = holding & ((vacuum < space.lost_below_kpa) | torn) & (t >= programme.lift_s + 0.01)
    after = t >= programme.release_s
    going = cup.closed & after & ((vacuum < PEEL_KPA) | (t >= programme.end_release_s + RETRACT_S))
    closed = (cup.closed | touching) & ~losing & ~going
    share = between(cup.open_share + np.where(closed, -dt, dt) / space.lip_close_s, 0.0, 1.0)
    return Cup(
        closed,
        share,
        np.where(touching, t, cup.contact_s),
        np.where(losing, t, cup.lost_s),
        np.where(going, t, cup.off_s),
    )


def lip_leak_c(programme: Programme, cup: Cup, t: float, schedule: Schedule) -> Array:
    """C [dm³/(s·bar)] of what lets air in: lips lifted at both ends of the transport, parts askew, lips that open."""
    moving = (programme.phase == HOLD) & cup.closed
    if not moving.any():
        return np.asarray(np.where(cup.closed, schedule.askew_c, 0.0), np.float64)
    since = (t - programme.lift_s) / schedule.dip_s
    until = (programme.stop_s - t) / schedule.dip_s
    shape = np.where((since >= 0.0) & (since <= 1.0), since, 0.0) + np.where((until >= 0.0) & (until < 1.0), until, 0.0)
    dips = np.where(moving, schedule.dip_c * np.sin(np.pi * np.minimum(shape, 1.0)), 0.0)
    opened = t - (programme.lift_s + schedule.ripen * schedule.transport_s)
    ripening = np.where(moving & (opened > 0.0), 0.003 * np.expm1(between(opened / 0.06, 0.0, 6.0)), 0.0)
    return np.asarray(dips + ripening + np.where(cup.closed, schedule.askew_c, 0.0), np.float64)
