"""Everything about a station that can differ from cycle to cycle, as arrays of shape (cycles,)."""


import numpy as np

from tracekit.frozen import dataclass
from tracekit.simulate.gas import Q_PER_C_KPA, Q_PER_L_MIN, REFERENCE_K, Array, choked_share
from tracekit.simulate.scenario import Scenario, StationSpec

NEVER = np.inf
REF_VACUUM_KPA = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """Per-cycle values, all float64 of shape (n,). Times are local to the cycle or durations, in seconds.

    Conductances in dm³/(s·bar), `pores` in mL/(s·kPa). `hole` is the fault's hole at the cup, `residual` the
    healthy one, `fitting` a hole at the generator side. `strike` and `ripen` are the share of the hold at which
    a part is torn off or a lip starts to open (inf: never). `frozen_kpa` is the reading of a stuck sensor (NaN: none).
    """

    ambient_kpa: Array
    residual_c: Array
    hole_c: Array
    hole_b: Array
    pores: Array
    fitting_c: Array
    check_c: Array
    weep_c: Array
    passing: Array
    filter_c: Array
    release_c: Array
    release_delay_s: Array
    release_s: Array
    dead_time_s: Array
    exhaust_kpa: Array
    supply_kpa: Array
    droop_kpa: Array
    neighbour_kpa: Array
    neighbour_period_s: Array
    neighbour_share: Array
    delay_on_s: Array
    delay_off_s: Array
    delay_scatter_s: Array
    offered: Array
    askew_c: Array
    strike: Array
    ripen: Array
    dip_c: Array
    dip_s: Array
    approach_s: Array
    timeout_s: Array
    transport_s: Array
    idle_s: Array
    set_point_kpa: Array
    reset_point_kpa: Array
    supply_off_kpa: Array
    supply_on_kpa: Array
    offset_kpa: Array
    noise_kpa: Array
    lag_s: Array
    frozen_kpa: Array
    link_frozen: Array
    pulsation_kpa: Array
    pulsation_hz: Array


def temperature_k(station: StationSpec) -> float:
    """Ambient (wall) temperature [K]."""
    return station.air.temperature_c + 273.15


def volume_ml(station: StationSpec) -> float:
    """Volume under vacuum [mL]."""
    return station.volumes.generator_ml + station.volumes.cup_ml


def hole_for_rate(station: StationSpec, rate_kpa_s: Array | float, b: Array | float) -> Array:
    """C [dm³/(s·bar)] of the hole that gives this isothermal dp/dt at 60 kPa of vacuum."""
    ambient = station.air.ambient_kpa
    share = choked_share(np.asarray((ambient - REF_VACUUM_KPA) / ambient), b)
    warm = np.sqrt(temperature_k(station) / REFERENCE_K)
    return np.asarray(np.asarray(rate_kpa_s) * volume_ml(station) / (Q_PER_C_KPA * ambient * warm * share), np.float64)


def pores_for_rate(station: StationSpec, rate_kpa_s: Array | float) -> Array:
    """Pores [mL/(s·kPa)] that give this isothermal dp/dt at 60 kPa of vacuum."""
    ambient = station.air.ambient_kpa
    span = ambient**2 - (ambient - REF_VACUUM_KPA) ** 2
    return np.asarray(np.asarray(rate_kpa_s) * volume_ml(station) / span, np.float64)


def suction_l_min(station: StationSpec) -> float:
    """Suction flow at ambient pressure [L/min at reference conditions] that gives the ejector's time constant."""
    vacuum = station.ejector.vacuum_ratio * station.air.ambient_kpa
    return volume_ml(station) * vacuum / station.ejector.time_constant_s / Q_PER_L_MIN


def open_cup_c(station: StationSpec) -> float:
    """C [dm³/(s·bar)] of the open cup, so that the generator draws `open_cup_kpa` there, filter clean."""
    ambient, open_kpa = station.air.ambient_kpa, station.volumes.open_cup_kpa
    share = open_kpa / (station.ejector.vacuum_ratio * ambient)
    flow = suction_l_min(station) * Q_PER_L_MIN * (1.0 - share) * (1.0 + station.ejector.bend * share)
    through_filter = _drop_over(flow, ambient, station.volumes.filter_c, station.volumes.filter_b)
    left = max(open_kpa - through_filter, 0.3 * open_kpa)
    ratio = np.asarray((ambient - left) / ambient)
    return float(flow / (Q_PER_C_KPA * ambient * choked_share(ratio, 0.4)))


def _drop_over(flow: float, upstream_kpa: float, c: float, b: float) -> float:
    """Pressure drop [kPa] of a subsonic flow through C, b; the whole pressure where it would be choked."""
    share = flow / (Q_PER_C_KPA * c * upstream_kpa)
    if share >= 1.0:
        return upstream_kpa
    return float(upstream_kpa * (1.0 - b - (1.0 - b) * np.sqrt(1.0 - share * share)))


def healthy_schedule(scenario: Scenario, rng: np.random.Generator) -> Schedule:
    """The station's cycles with nothing wrong, scatter and drift drawn."""
    n, station = scenario.cycles, scenario.station
    return Schedule(
        **_gas_part(station, n, rng),
        **_drive_part(station, n, rng),
        **_machine_part(station, n, rng),
        **_reading_part(station, n),
    )


def _same(n: int, value: float) -> Array:
    return np.full(n, float(value))


def _gas_part(station: StationSpec, n: int, rng: np.random.Generator) -> dict[str, Array]:
    space, sequencer = station.volumes, station.sequencer
    hours = np.arange(n) * (sequencer.transport_s + sequencer.idle_s + 0.5) / 3600.0
    residual = hole_for_rate(station, space.residual_leak_kpa_s, space.residual_leak_b)
    spread = np.exp(space.residual_scatter * rng.standard_normal(n))
    dip = hole_for_rate(station, np.pi / 2.0 * sequencer.dip_kpa / max(sequencer.dip_s, 0.01), 0.4)
    return {
        "ambient_kpa": np.asarray(station.air.ambient_kpa + station.air.ambient_rate_kpa_h * hours, np.float64),
        "residual_c": residual * spread,
        "hole_c": _same(n, 0.0),
        "hole_b": _same(n, 0.3),
        "pores": _same(n, 0.0),
        "fitting_c": _same(n, 0.0),
        "check_c": _same(n, station.ejector.back_flow_c),
        "weep_c": _same(n, 0.0),
        "passing": _same(n, 0.0),
        "filter_c": _same(n, space.filter_c),
        "askew_c": _same(n, 0.0),
        "offered": _same(n, 1.0),
        "strike": _same(n, NEVER),
        "ripen": _same(n, NEVER),
        "dip_c": dip * rng.uniform(0.4, 1.4, n),
        "dip_s": sequencer.dip_s * rng.uniform(0.85, 1.15, n),
    }


def _drive_part(station: StationSpec, n: int, rng: np.random.Generator) -> dict[str, Array]:
    valves, release = station.valves, station.release
    wander = station.supply.wander_kpa * rng.standard_normal(n)
    return {
        "release_c": _same(n, release.conductance_c),
        "release_delay_s": _same(n, release.delay_s),
        "release_s": _same(n, release.duration_s),
        "dead_time_s": _same(n, release.dead_time_s),
        "exhaust_kpa": _same(n, 0.0),
        "supply_kpa": station.supply.pressure_kpa + wander,
        "droop_kpa": _same(n, station.supply.droop_kpa),
        "neighbour_kpa": _same(n, 0.0),
        "neighbour_period_s": _same(n, 10.0),
        "neighbour_share": _same(n, 0.2),
        "delay_on_s": valves.delay_on_s + np.where(np.arange(n) == 0, valves.cold_s, 0.0),
        "delay_off_s": _same(n, valves.delay_off_s),
        "delay_scatter_s": _same(n, valves.scatter_s),
    }


def _machine_part(station: StationSpec, n: int, rng: np.random.Generator) -> dict[str, Array]:
    sequencer, switch = station.sequencer, station.switch

    def about(middle: float, spread: float, least: float) -> Array:
        return np.maximum(middle + spread * rng.uniform(-1.7, 1.7, n), least)

    off, on = (station.saving.supply_off_kpa, station.saving.supply_on_kpa) if station.saving else (NEVER, -NEVER)
    return {
        "approach_s": about(sequencer.approach_s, sequencer.approach_scatter_s, 0.0),
        "timeout_s": _same(n, sequencer.timeout_s),
        "transport_s": about(sequencer.transport_s, sequencer.transport_scatter_s, 0.2),
        "idle_s": about(sequencer.idle_s, sequencer.idle_scatter_s, 0.15),
        "set_point_kpa": _same(n, switch.set_point_kpa),
        "reset_point_kpa": _same(n, switch.reset_point_kpa),
        "supply_off_kpa": _same(n, off),
        "supply_on_kpa": _same(n, on),
    }


def _reading_part(station: StationSpec, n: int) -> dict[str, Array]:
    sensor = station.sensor
    return {
        "offset_kpa": _same(n, sensor.offset_kpa),
        "noise_kpa": _same(n, sensor.noise_kpa),
        "lag_s": _same(n, sensor.lag_s),
        "frozen_kpa": _same(n, np.nan),
        "link_frozen": _same(n, 0.0),
        "pulsation_kpa": _same(n, sensor.pulsation_kpa),
        "pulsation_hz": _same(n, sensor.pulsation_hz),
    }
