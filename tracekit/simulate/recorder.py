"""What the data logger writes of a run: samples at its own rate, with its own faults."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import UsageError, message
from tracekit.simulate.gas import Array
from tracekit.simulate.run import ASKED, PRESENT, RELEASE, SUPPLY, Trace
from tracekit.simulate.scenario import Recorder, StationSpec
from tracekit.simulate.schedule import Schedule


class Recording(NamedTuple):
    """The canonical columns, shape (samples,): seconds, gauge kPa, digitals as wired.

    `off_coil` belongs to a pulse valve, whose on coil is `supply`; else it is 0 throughout.
    """

    time_s: Array
    pressure_kpa: Array
    supply: NDArray[np.int8]
    release: NDArray[np.int8]
    part_present: NDArray[np.int8]
    off_coil: NDArray[np.int8]


def record(trace: Trace, station: StationSpec, schedule: Schedule, rng: np.random.Generator) -> Recording:
    """Sample a run as the logger does."""
    recorder = station.recorder
    nominal, true = _sample_times(trace, recorder, rng)
    pressure = _pressure(trace, station, schedule, true, rng)
    bits = _digitals(trace, true + recorder.digital_late_s)
    supply, off_coil = _supply(trace, recorder, bits, true + recorder.digital_late_s)
    wired = (
        supply ^ station.valves.normally_open,
        bits & RELEASE > 0,
        (bits & PRESENT > 0) ^ station.switch.reversed_output,
        off_coil,
    )
    return Recording(nominal, pressure, *(level.astype(np.int8) for level in wired))


def _supply(
    trace: Trace, recorder: Recorder, bits: NDArray[np.uint8], when: Array
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """What stands in the supply column before wiring, and in that of the off coil.

    Raises UsageError for a signal that is neither valve, request nor pulse.
    """
    nothing = np.zeros(len(bits), bool)
    if recorder.supply_signal == "valve":
        return bits & SUPPLY > 0, nothing
    if recorder.supply_signal == "request":
        return bits & ASKED > 0, nothing
    if recorder.supply_signal != "pulse":
        found = f'supply_signal "{recorder.supply_signal}"'
        raise UsageError(message("recorder", found, "valve, request or pulse", "Choose one of them."))
    command = np.diff((trace.bits & SUPPLY > 0).astype(np.int8), prepend=np.int8(0))
    index = np.clip((when / trace.dt).astype(np.int64), 0, len(trace.bits) - 1)
    pulses = [_since(command == edge, trace.dt)[index] < recorder.pulse_s for edge in (1, -1)]
    return pulses[0], pulses[1]


def _since(events: NDArray[np.bool_], dt: float) -> Array:
    """Time since the last event at every step [s]; long where there was none yet."""
    steps = np.arange(len(events))
    last = np.maximum.accumulate(np.where(events, steps, -len(events) - 10**6))
    return np.asarray((steps - last) * dt, np.float64)


def quantise(pressure_kpa: Array, step_kpa: float) -> Array:
    """Round to multiples of `step_kpa`; 0 leaves values as they are."""
    return np.asarray(np.round(pressure_kpa / step_kpa) * step_kpa if step_kpa > 0.0 else pressure_kpa, np.float64)


def _sample_times(trace: Trace, recorder: Recorder, rng: np.random.Generator) -> tuple[Array, Array]:
    """Time stamps as written and the instants that they stand for [s]."""
    total = float(trace.steps.sum()) * trace.dt
    count = int(total * recorder.rate_hz)
    true = (np.arange(count) + 0.5) / recorder.rate_hz
    if recorder.jitter_s > 0.0:
        bound = 0.3 / recorder.rate_hz
        true = true + np.clip(recorder.jitter_s * rng.standard_normal(count), -bound, bound)
    keep = rng.random(count) >= recorder.missing_share
    for start in np.sort(rng.uniform(0.05, 0.95, recorder.gaps)) * total:
        keep &= ~((true >= start) & (true < start + recorder.gap_s))
    true = true[keep]
    return np.asarray(np.round(true, recorder.time_digits), np.float64), np.asarray(true, np.float64)


def _pressure(trace: Trace, station: StationSpec, schedule: Schedule, true: Array, rng: np.random.Generator) -> Array:
    """The analogue column: interpolated between steps, with the logger's part of the noise, spikes and quantisation."""
    sensor, lowest = station.sensor, max(station.sensor.low_kpa, station.recorder.low_kpa)
    cycle = np.minimum(np.searchsorted(np.cumsum(trace.steps) * trace.dt, true, side="right"), len(trace.steps) - 1)
    grid = (np.arange(len(trace.reading)) + 1.0) * trace.dt
    pressure = np.interp(true, grid, trace.reading)
    stuck = ~np.isnan(schedule.frozen_kpa[cycle])
    own = schedule.noise_kpa[cycle] * np.sqrt(1.0 - sensor.coloured_share)
    pressure = pressure + np.where(stuck, 0.0, own) * rng.standard_normal(len(true))
    if sensor.spikes_per_s > 0.0:
        hit = rng.random(len(true)) < sensor.spikes_per_s * np.median(np.diff(true))
        pressure = pressure + hit * sensor.spike_kpa * rng.choice([-1.0, 1.0], len(true)) * rng.uniform(
            0.4, 1.0, len(true)
        )
    pressure = np.clip(quantise(pressure, sensor.step_kpa), lowest, sensor.high_kpa)
    frozen = schedule.link_frozen[cycle] > 0.0
    if frozen.any():
        last = np.maximum.accumulate(np.where(frozen, 0, np.arange(len(true))))
        pressure = pressure[last]
    return np.round(pressure, 5)


def _digitals(trace: Trace, when: Array) -> NDArray[np.uint8]:
    """Levels in force at the given instants."""
    index = np.clip((when / trace.dt).astype(np.int64), 0, len(trace.bits) - 1)
    return trace.bits[index]
