"""The gas of many cycles at once: two volumes with mass and energy, semi-implicit in pressure."""

from typing import NamedTuple

import numpy as np

from tracekit.simulate.gas import (
    GAMMA,
    Q_PER_C_KPA,
    Q_PER_L_MIN,
    REFERENCE_K,
    Array,
    between,
    rows,
    secant,
)
from tracekit.simulate.scenario import StationSpec
from tracekit.simulate.schedule import Schedule, open_cup_c, suction_l_min, temperature_k

SUPPLY_AMBIENT_KPA = 101.0


class Gas(NamedTuple):
    """State of both volumes, shape (2, n): pressure [kPa abs], and pressure of the same mass at wall temperature."""

    pressure: Array
    cold: Array


class Constants(NamedTuple):
    """What does not change during a run. Rows of `c`, `b`: filter, cup to air, generator to air, residual, opening."""

    volumes: Array
    wall: Array
    convection: float
    warm: float
    c: Array
    b: Array
    pores: Array
    ambient: Array
    suction: float
    vacuum_ratio: float
    bend: float
    optimum_kpa: float
    heat_ratio: float


class Drive(NamedTuple):
    """What acts on the gas during one step, shape (n,) each: drive pressure [kPa gauge], inflow of blow-off
    [kPa·mL/s], conductance of the opening at the cup, exhaust back-pressure at full flow [kPa].
    """

    pressure: Array
    blow: Array
    opening_c: Array
    exhaust_kpa: Array


class Flows(NamedTuple):
    """Throughputs of one step [kPa·mL/s at wall temperature], shape (n,): out through the ejector, in at the cup
    (hole, pores, residual; not the opening), in at the generator side, through the opening, blown in, from cup to
    generator.
    """

    ejector: Array
    cup: Array
    generator: Array
    opening: Array
    blow: Array
    filter: Array


class Ways(NamedTuple):
    """Conductances [mL/s] of one step and what they end in: pressure at which the ejector stops [kPa], inflow of
    blow-off [kPa·mL/s], temperature over the wall's of what passes the filter and of what passes the cup's holes.
    """

    filter: Array
    cup: Array
    opening: Array
    back: Array
    ejector: Array
    floor: Array
    blow: Array
    through: Array
    leaving: Array


FILTER, HOLE, BACK, RESIDUAL, OPENING = range(5)


def constants(station: StationSpec, schedule: Schedule) -> Constants:
    """Gather what a run needs. Lips, filter and holes as ISO 6358 elements."""
    n = len(schedule.ambient_kpa)
    space = station.volumes
    critical = np.stack(
        [
            np.full(n, space.filter_b),
            schedule.hole_b,
            np.full(n, 0.3),
            np.full(n, space.residual_leak_b),
            np.full(n, 0.4),
        ]
    )
    c = np.stack(
        [schedule.filter_c, schedule.hole_c, schedule.fitting_c, schedule.residual_c, np.full(n, open_cup_c(station))]
    )
    kelvin = temperature_k(station)
    return Constants(
        volumes=np.array([[space.generator_ml], [space.cup_ml]]),
        wall=1.0 / np.array(space.wall_time_s)[:, None],
        convection=space.convection,
        warm=float(np.sqrt(kelvin / REFERENCE_K)),
        c=c,
        b=critical,
        pores=schedule.pores,
        ambient=schedule.ambient_kpa,
        suction=suction_l_min(station) * Q_PER_L_MIN,
        vacuum_ratio=station.ejector.vacuum_ratio,
        bend=station.ejector.bend,
        optimum_kpa=station.ejector.optimum_kpa,
        heat_ratio=kelvin / REFERENCE_K,
    )


def at_rest(constants: Constants) -> Gas:
    """Both volumes at ambient."""
    resting = np.stack([constants.ambient, constants.ambient])
    return Gas(resting, resting.copy())


def suction_curve(constants: Constants, drive: Array, exhaust_kpa: Array, vacuum: Array) -> tuple[Array, Array]:
    """Ejector at `drive` [kPa gauge]: vacuum at no flow [kPa] and Q per kPa above it [mL/s], shape (n,).

    Suction falls nearly linearly with vacuum, with a bend. Vacuum is best at the optimum supply pressure.
    Back-pressure in the exhaust, which grows with the square of the flow, takes from both.
    """
    s = np.maximum(drive, 0.0) / constants.optimum_kpa
    root = np.sqrt(s)
    strength = np.maximum(s * root * (2.5 - 1.5 * s), 0.02)
    reach = constants.vacuum_ratio * constants.ambient * strength
    flow = np.sqrt(np.minimum(s, 1.0) * np.minimum(root, 1.0))
    load = between(vacuum / reach, -0.5, 1.0)
    back = exhaust_kpa * np.square(s + 0.4 * flow * (1.0 - load))
    reach = reach * np.maximum(1.0 - back / 100.0, 0.05)
    flow = flow / (1.0 + back / 40.0)
    load = between(vacuum / reach, -0.5, 1.0)
    return reach, constants.suction * flow * (1.0 + constants.bend * load) / reach


def step(gas: Gas, drive: Drive, check_c: Array, constants: Constants, dt: float) -> tuple[Gas, Flows]:
    """One step of `dt` seconds. Mass is conserved exactly; pressures are implicit, conductances those of its start."""
    ways = _ways(gas, drive, check_c, constants)
    pressure = _solve(gas, ways, constants, dt)
    p1, p2 = pressure
    air, t1 = constants.ambient, gas.pressure[0] / gas.cold[0]
    flows = Flows(
        ejector=ways.ejector * (p1 - ways.floor) / t1,
        cup=ways.cup * (air - p2) / ways.leaving,
        generator=ways.back * (air - p1),
        opening=ways.opening * (air - p2) / ways.leaving,
        blow=ways.blow,
        filter=ways.filter * (p2 - p1) / ways.through,
    )
    near = flows.filter - flows.ejector + flows.generator + flows.blow
    far = flows.cup + flows.opening - flows.filter
    return Gas(pressure, gas.cold + dt / constants.volumes * rows(near, far)), flows


def _ways(gas: Gas, drive: Drive, check_c: Array, constants: Constants) -> Ways:
    """What the gas can pass at the start of a step."""
    p1, p2 = gas.pressure
    air = constants.ambient
    t1, t2 = gas.pressure / gas.cold
    c = constants.c.copy()
    c[BACK] += check_c
    c[OPENING] = drive.opening_c
    g = secant(rows(p1, p2, p1, p2, p2), rows(p2, air, air, air, air), c, constants.b) * constants.warm
    through = np.where(p1 > p2, t1, t2)
    reach, suction = suction_curve(constants, drive.pressure, drive.exhaust_kpa, air - p1)
    return Ways(
        filter=g[FILTER] * np.sqrt(through),
        cup=g[HOLE] + g[RESIDUAL] + constants.pores * (air + p2),
        opening=g[OPENING],
        back=g[BACK],
        ejector=np.where(p1 > air - reach, suction * t1 * constants.heat_ratio, 0.0),
        floor=air - reach,
        blow=drive.blow,
        through=through,
        leaving=np.where(p2 > air, t2, 1.0),
    )


def _solve(gas: Gas, ways: Ways, constants: Constants, dt: float) -> Array:
    """Pressures after the step from the energy balance V·dp/dt = γ·ΣQ + heat from the walls.

    The heat follows the temperature p/(mass) of the step's end, linearised; `eta` carries the masses into it, so
    that fast walls make the gas isothermal without a limit on the step.
    """
    air, (p1, p2), t1 = constants.ambient, gas.pressure, gas.pressure[0] / gas.cold[0]
    passing = ways.filter * np.abs(p2 - p1)
    g_air = ways.cup + ways.opening
    turnover = rows(passing + ways.blow, passing + g_air * np.abs(air - p2))
    streaming = turnover / (constants.volumes * constants.wall * gas.pressure)
    heat = constants.volumes * air * constants.wall * (1.0 + constants.convection * streaming / (1.0 + streaming / 4.0))
    stored = constants.volumes / dt + heat / gas.cold
    eta1, eta2 = heat * gas.pressure * dt / (constants.volumes * gas.cold * gas.cold)
    f12, f21 = ways.filter * (GAMMA + eta1 / ways.through), ways.filter * (GAMMA + eta2 / ways.through)
    back, sucked = ways.back * (GAMMA + eta1), ways.ejector * (GAMMA + eta1 / t1)
    leak = g_air * (GAMMA + eta2 / ways.leaving)
    a11, a22 = stored[0] + f12 + back + sucked, stored[1] + f21 + leak
    r1 = constants.volumes[0] * p1 / dt + heat[0] + back * air + sucked * ways.floor + ways.blow * (GAMMA + eta1)
    r2 = constants.volumes[1] * p2 / dt + heat[1] + leak * air
    inverse = 1.0 / (a11 * a22 - f12 * f21)
    return rows((r1 * a22 + f12 * r2) * inverse, (r2 * a11 + f21 * r1) * inverse)


def blow_in(release_c: Array, supply_kpa: Array, share: Array, constants: Constants) -> Array:
    """Throughput [kPa·mL/s] of the release valve: choked from the supply, which is far above ambient."""
    return Q_PER_C_KPA * release_c * (supply_kpa + SUPPLY_AMBIENT_KPA) * share * constants.warm
