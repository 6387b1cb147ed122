"""Draws a healthy station whose parts and settings fit one another."""

from dataclasses import replace

import numpy as np

from tracekit.simulate.gas import Q_PER_C_KPA, Q_PER_L_MIN
from tracekit.simulate.scenario import (
    Air,
    Ejector,
    Recorder,
    Release,
    Saving,
    Sensor,
    Sequencer,
    StationSpec,
    Supply,
    Switch,
    Valves,
    Volumes,
)
from tracekit.simulate.schedule import suction_l_min, volume_ml

Random = np.random.Generator
NAMES = (
    "Glaze line",
    "Loader 2",
    "Kiln feeder",
    "Sorter east",
    "Stacker 4",
    "Press outlet",
    "Edge grinder",
    "Packer 1",
)
RATES_HZ = (20.0, 50.0, 100.0, 200.0, 250.0, 500.0, 1000.0, 2000.0)
RATE_SHARES = (0.03, 0.10, 0.25, 0.25, 0.10, 0.15, 0.09, 0.03)
STEPS_KPA = (0.0, 0.01, 0.0247, 0.05, 0.0989, 0.1, 0.2, 0.5)


def log_uniform(rng: Random, low: float, high: float) -> float:
    """A number between `low` and `high`, uniform in its logarithm."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def deepest_kpa(station: StationSpec) -> float:
    """Vacuum of the healthy station with the cup closed [kPa]: supply under load, its small leak pumped too."""
    ejector, supply = station.ejector, station.supply
    share = (supply.pressure_kpa - supply.droop_kpa) / ejector.optimum_kpa
    strength = share * float(np.sqrt(share)) * (2.5 - 1.5 * share)
    leak = station.volumes.residual_leak_kpa_s * ejector.time_constant_s / (1.0 + ejector.bend)
    return ejector.vacuum_ratio * station.air.ambient_kpa * strength - leak


def nominal_evacuation_s(station: StationSpec) -> float:
    """About how long a healthy pick takes from supply command to set point [s]."""
    deepest = deepest_kpa(station)
    left = max(1.0 - station.switch.set_point_kpa / deepest, 0.03)
    rise = station.ejector.time_constant_s * float(np.log(1.0 / left))
    return station.valves.delay_on_s + station.sequencer.approach_s + rise


def draw_station(rng: Random, saving: bool) -> StationSpec:
    """A healthy station, with or without air saving; volumes from 10 to 700 mL."""
    size = rng.choice(3, p=[0.3, 0.45, 0.25])
    total = log_uniform(rng, *((10.0, 40.0), (40.0, 150.0), (150.0, 700.0))[size])
    station = StationSpec(
        name=str(rng.choice(NAMES)),
        air=Air(
            ambient_kpa=float(rng.uniform(95.0, 103.0)),
            ambient_rate_kpa_h=float(rng.normal(0.0, 0.08)),
            temperature_c=float(rng.uniform(12.0, 32.0)),
        ),
        volumes=_volumes(rng, total, int(size)),
        supply=Supply(
            pressure_kpa=float(rng.uniform(400.0, 520.0)),
            droop_kpa=float(rng.uniform(5.0, 30.0)),
            droop_lag_s=float(rng.uniform(0.02, 0.08)),
            wander_kpa=float(rng.uniform(0.5, 3.0)),
        ),
        valves=Valves(
            delay_on_s=float(rng.uniform(0.008, 0.025)),
            delay_off_s=float(rng.uniform(0.006, 0.020)),
            scatter_s=float(rng.uniform(0.0002, 0.0012)),
            cold_s=float(rng.choice([0.0, rng.uniform(0.0, 0.03)])),
            normally_open=bool(rng.random() < 0.3),
        ),
        sensor=draw_sensor(rng),
    )
    station = replace(station, ejector=_ejector(rng, station, int(size), saving))
    station = replace(station, volumes=_filter(rng, station), release=_release(rng, station))
    switch, loop = _settings(rng, station, saving)
    station = replace(station, switch=switch, saving=loop)
    return replace(station, sequencer=_sequencer(rng, station), recorder=_recorder(rng))


def _volumes(rng: Random, total_ml: float, size: int) -> Volumes:
    near = float(rng.uniform(0.25, 0.6))
    fastest, slowest = ((0.03, 0.15), (0.06, 0.30), (0.12, 0.50))[size]
    return Volumes(
        generator_ml=near * total_ml,
        cup_ml=(1.0 - near) * total_ml,
        wall_time_s=(log_uniform(rng, fastest, slowest), log_uniform(rng, fastest, slowest)),
        convection=float(rng.uniform(0.2, 1.2)),
        filter_b=float(rng.uniform(0.3, 0.5)),
        open_cup_kpa=float(rng.uniform(3.0, 12.0)),
        residual_leak_kpa_s=log_uniform(rng, 0.05, 0.7),
        residual_leak_b=float(rng.uniform(0.2, 0.5)),
        residual_scatter=float(rng.uniform(0.03, 0.12)),
        lost_below_kpa=float(rng.uniform(8.0, 18.0)),
        lip_close_s=float(rng.uniform(0.01, 0.03)),
    )


def _ejector(rng: Random, station: StationSpec, size: int, saving: bool) -> Ejector:
    fastest, slowest = ((0.035, 0.12), (0.06, 0.22), (0.10, 0.38))[size]
    volume = volume_ml(station)
    no_check = not saving and rng.random() < 0.5
    return Ejector(
        time_constant_s=log_uniform(rng, fastest, slowest),
        vacuum_ratio=float(rng.uniform(0.77, 0.91)),
        bend=float(rng.uniform(-0.05, 0.30)),
        nozzle_flow_l_min=log_uniform(rng, 15.0, 120.0),
        optimum_kpa=station.supply.pressure_kpa * float(rng.uniform(0.93, 1.05)),
        lag_on_s=float(rng.uniform(0.008, 0.025)),
        lag_off_s=float(rng.uniform(0.006, 0.020)),
        back_flow_c=volume * log_uniform(rng, 150.0, 600.0) / 1e5 if no_check else 0.0,
    )


def _filter(rng: Random, station: StationSpec) -> Volumes:
    """The filter that costs 0.6 to 3 kPa at full suction."""
    space, ambient = station.volumes, station.air.ambient_kpa
    drop = min(float(rng.uniform(0.6, 3.0)), 0.5 * space.open_cup_kpa)
    beyond = (1.0 - drop / ambient - space.filter_b) / (1.0 - space.filter_b)
    flow = suction_l_min(station) * Q_PER_L_MIN
    return replace(space, filter_c=flow / (Q_PER_C_KPA * ambient * float(np.sqrt(1.0 - beyond * beyond))))


def _release(rng: Random, station: StationSpec) -> Release:
    filling_kpa_s = log_uniform(rng, 600.0, 1600.0)
    upstream = station.supply.pressure_kpa + 101.0
    return Release(
        conductance_c=filling_kpa_s * volume_ml(station) / (Q_PER_C_KPA * upstream * 1.2),
        duration_s=float(rng.uniform(0.14, 0.35)),
        dead_time_s=float(rng.choice([0.0, 0.005, 0.01, 0.02, 0.03])),
        delay_s=float(rng.uniform(0.008, 0.020)),
        lag_s=float(rng.uniform(0.004, 0.012)),
    )


def _settings(rng: Random, station: StationSpec, saving: bool) -> tuple[Switch, Saving | None]:
    """Settings in their order: reset < set point < supply off, supply on above reset with a guard."""
    grid = float(rng.choice([0.1, 0.5, 1.0]))

    def whole(value: float) -> float:
        return round(value / grid) * grid

    off = whole(deepest_kpa(station) - rng.uniform(5.0, 12.0))
    on = whole(off - rng.uniform(4.0, 9.0))
    reset = whole(on - rng.uniform(4.0, 9.0))
    point = min(whole(reset + rng.uniform(3.0, 7.0)), off - 3.0)
    response = float(rng.uniform(0.002, 0.02))
    switch = Switch(
        set_point_kpa=round(point, 3),
        reset_point_kpa=round(reset, 3),
        response_on_s=response,
        response_off_s=response,
        reversed_output=bool(rng.random() < 0.15),
    )
    loop = Saving(
        supply_off_kpa=round(off, 3), supply_on_kpa=round(on, 3), tick_s=float(rng.choice([0.002, 0.005, 0.01]))
    )
    return switch, loop if saving else None


def _sequencer(rng: Random, station: StationSpec) -> Sequencer:
    approach = float(rng.uniform(0.03, 0.30))
    paced = Sequencer(approach_s=approach)
    usual = nominal_evacuation_s(replace(station, sequencer=paced))
    return Sequencer(
        lift_on="part_present" if rng.random() < 0.8 else "timer",
        approach_s=approach,
        approach_scatter_s=float(rng.uniform(0.002, 0.015)),
        settle_s=float(rng.uniform(0.01, 0.10)),
        lift_timer_s=1.7 * (usual - approach) + 0.1,
        timeout_s=max(3.0 * usual, 0.9),
        retries=int(rng.random() < 0.1),
        transport_s=float(rng.uniform(0.7, 2.5)),
        transport_scatter_s=float(rng.uniform(0.0, 0.08)),
        idle_s=float(rng.uniform(0.35, 1.0)),
        idle_scatter_s=float(rng.uniform(0.02, 0.1)),
        tick_s=float(rng.choice([0.002, 0.005, 0.01])),
        dip_kpa=log_uniform(rng, 0.05, 1.0),
        dip_s=float(rng.uniform(0.1, 0.35)),
        abort_on_loss=bool(rng.random() < 0.2),
    )


def draw_sensor(rng: Random) -> Sensor:
    """A sensor within its specification: gain ±0.8 %, zero ±0.5 kPa, noise 0.02 to 0.45 kPa."""
    return Sensor(
        side="generator" if rng.random() < 0.8 else "cup",
        lag_s=log_uniform(rng, 0.001, 0.008),
        gain_error=float(np.clip(rng.normal(0.0, 0.003), -0.008, 0.008)),
        offset_kpa=float(np.clip(rng.normal(0.0, 0.2), -0.5, 0.5)),
        noise_kpa=log_uniform(rng, 0.02, 0.45) if rng.random() < 0.3 else log_uniform(rng, 0.03, 0.15),
        coloured_share=float(rng.uniform(0.2, 0.9)),
        noise_time_s=log_uniform(rng, 0.002, 0.02),
        step_kpa=float(rng.choice(STEPS_KPA)),
        low_kpa=float(rng.choice([-101.3, -101.3, -100.0])),
        high_kpa=float(rng.choice([0.0, 10.0, 10.0, 100.0])),
        spikes_per_s=float(rng.choice([0.0, 0.0, 0.0, 0.02])),
        spike_kpa=float(rng.uniform(2.0, 10.0)),
    )


def _recorder(rng: Random) -> Recorder:
    rate = float(rng.choice(RATES_HZ, p=RATE_SHARES))
    return Recorder(
        rate_hz=rate,
        jitter_s=float(rng.choice([0.0, 0.0, 0.02, 0.1])) / rate,
        missing_share=float(rng.choice([0.0, 0.0, 0.0, 0.001])),
        digital_late_s=float(rng.choice([0.0, 0.0, 0.0, 0.002])),
        time_digits=int(rng.choice([3, 4, 6])) if rate <= 200.0 else 6,
    )
