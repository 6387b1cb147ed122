"""The vacuum at which suction and leak balance with the cup closed, for the truth."""

import numpy as np

from tracekit.simulate.gas import Q_PER_C_KPA, Array, laminar_flow, orifice_flow
from tracekit.simulate.plant import blow_in, constants, suction_curve
from tracekit.simulate.scenario import StationSpec
from tracekit.simulate.schedule import Schedule


def ultimate_vacuum(station: StationSpec, schedule: Schedule) -> tuple[Array, Array]:
    """True vacuum at generator and cup [kPa], shape (n,), by bisection on the cup's pressure."""
    fixed = constants(station, schedule)
    air = schedule.ambient_kpa
    drive = schedule.supply_kpa - schedule.droop_kpa
    weep = blow_in(schedule.weep_c, drive, np.ones_like(air), fixed)
    low, high = np.full_like(air, 2.0), air.copy()
    for _ in range(40):
        cup = 0.5 * (low + high)
        leak = cup_inflow(station, schedule, cup) * fixed.warm
        generator = cup - filter_drop(station, schedule, leak, cup)
        reach, per_kpa = suction_curve(fixed, drive, schedule.exhaust_kpa, air - generator)
        back = orifice_flow(air, np.maximum(generator, 0.1), schedule.fitting_c, 0.3) * fixed.warm
        suction = np.maximum(per_kpa * (generator - air + reach), 0.0) * fixed.heat_ratio
        deeper = suction > leak + back + weep
        low, high = np.where(deeper, low, cup), np.where(deeper, cup, high)
    return air - generator, air - cup


def cup_inflow(station: StationSpec, schedule: Schedule, cup_kpa: Array) -> Array:
    """Throughput [kPa·mL/s] that enters at a closed cup at absolute pressure `cup_kpa`, air at 293.15 K."""
    air = schedule.ambient_kpa
    holes = orifice_flow(air, cup_kpa, schedule.residual_c, station.volumes.residual_leak_b)
    holes = holes + orifice_flow(air, cup_kpa, schedule.hole_c, schedule.hole_b)
    return np.asarray(holes + laminar_flow(air, cup_kpa, schedule.pores), np.float64)


def filter_drop(station: StationSpec, schedule: Schedule, flow: Array, upstream_kpa: Array) -> Array:
    """Pressure drop [kPa] of a steady flow over the filter; at most 90 % of the upstream pressure."""
    b = station.volumes.filter_b
    share = np.minimum(flow / (Q_PER_C_KPA * schedule.filter_c * upstream_kpa), 1.0)
    drop = (1.0 - b - (1.0 - b) * np.sqrt(1.0 - share * share)) * upstream_kpa
    return np.asarray(np.where(share < 1.0, drop, 0.9 * upstream_kpa), np.float64)
