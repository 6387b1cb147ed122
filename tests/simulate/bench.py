"""A bare gas volume to run closed forms against: no machine, no sensor."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tracekit.simulate.plant import Constants, Drive, Flows, Gas, constants, step
from tracekit.simulate.scenario import Air, Ejector, Scenario, StationSpec, Volumes
from tracekit.simulate.schedule import Schedule, healthy_schedule

Array = NDArray[np.float64]
STANDARD_KPA = 101.325
ROOM_C = 20.0


def vessel(volume_ml: float, wall_time_s: float, bend: float = 0.0) -> tuple[StationSpec, Schedule]:
    """Two halves behind a wide filter, tight, at 101.325 kPa and 20 °C, one cycle."""
    half = volume_ml / 2.0
    space = Volumes(
        generator_ml=half, cup_ml=half, wall_time_s=(wall_time_s, wall_time_s), convection=0.0, filter_c=60.0,
        residual_leak_kpa_s=0.0,
    )  # fmt: skip
    station = StationSpec(
        air=Air(ambient_kpa=STANDARD_KPA, temperature_c=ROOM_C), volumes=space, ejector=Ejector(bend=bend)
    )
    return station, healthy_schedule(Scenario(name="vessel", cycles=1, station=station), np.random.default_rng(0))


class Course(NamedTuple):
    """Time [s], pressures of both halves [kPa abs], and the flows of every step."""

    time_s: Array
    generator_kpa: Array
    cup_kpa: Array
    flows: list[Flows]
    last: Gas


def run(
    station: StationSpec,
    schedule: Schedule,
    start: Gas,
    duration_s: float,
    dt: float = 0.0005,
    drive: Drive | None = None,
) -> Course:
    """Integrate from `start`; without `drive` nothing acts but the holes of the schedule."""
    fixed = constants(station, schedule)
    none = np.zeros(1)
    acting = drive or Drive(none, none, none, none)
    gas, near, far, flows = start, [start.pressure[0, 0]], [start.pressure[1, 0]], []
    for _ in range(round(duration_s / dt)):
        gas, flow = step(gas, acting, schedule.check_c, fixed, dt)
        near.append(gas.pressure[0, 0])
        far.append(gas.pressure[1, 0])
        flows.append(flow)
    return Course(np.arange(len(near)) * dt, np.array(near), np.array(far), flows, gas)


def gas_at(near_kpa: float, far_kpa: float, theta: float = 1.0) -> Gas:
    """Both halves at these absolute pressures, gas at `theta` times the wall's temperature."""
    pressure = np.array([[near_kpa], [far_kpa]])
    return Gas(pressure, pressure / theta)


def with_hole(schedule: Schedule, c: float, b: float) -> Schedule:
    """A hole at the cup side."""
    return replace(schedule, hole_c=np.array([c]), hole_b=np.array([b]))


def crossing_s(course: Course, gauge_kpa: float) -> float:
    """When the cup's pressure rises through a gauge pressure, interpolated [s]."""
    return float(np.interp(STANDARD_KPA + gauge_kpa, course.cup_kpa, course.time_s))


__all__ = ["Constants", "Course", "crossing_s", "gas_at", "run", "vessel", "with_hole"]
