"""Stations whose settings are wrong: chatter, short cycling, cuts out of reach, set points too high or too low."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tracekit.simulate.draw import deepest_kpa, log_uniform
from tracekit.simulate.scenario import Fault, Saving, StationSpec

Random = np.random.Generator
Turned = Callable[[StationSpec, Random, int], tuple[StationSpec, tuple[Fault, ...]]]


def _loop(station: StationSpec) -> Saving:
    return station.saving if station.saving is not None else Saving()


def _chatter(station: StationSpec, rng: Random, severity: int) -> tuple[StationSpec, tuple[Fault, ...]]:
    """Either the saw-tooth crosses the switch's thresholds, or noise does where the vacuum lingers."""
    noise = max(station.sensor.noise_kpa, float(rng.uniform(0.15, 0.4)))
    if station.saving is not None and rng.random() < 0.5:
        loop = station.saving
        band = loop.supply_off_kpa - loop.supply_on_kpa
        reset = loop.supply_on_kpa + band * float(rng.uniform(0.25, 0.5))
        point = loop.supply_off_kpa - band * float(rng.uniform(0.1, 0.25))
        leak = 2.5 * band / station.sequencer.transport_s
        station = replace(station, volumes=replace(station.volumes, residual_leak_kpa_s=leak))
        size = {"set_point_kpa": round(point, 1), "reset_point_kpa": round(reset, 1)}
        return station, (Fault(label="switch_chatter", kind="reset_above_supply_on", size=size),)
    hysteresis = noise * float(rng.uniform(0.5, 1.5)) / severity**0.5
    if station.saving is not None:
        leak = 2.5 / station.sequencer.transport_s
        station = replace(station, volumes=replace(station.volumes, residual_leak_kpa_s=leak))
    point = _lingering_kpa(station) + float(rng.uniform(-0.9, 0.0)) * noise
    size = {"set_point_kpa": round(point, 2), "reset_point_kpa": round(point - hysteresis, 2)}
    station = replace(station, sensor=replace(station.sensor, noise_kpa=noise, coloured_share=0.8))
    response = float(rng.uniform(0.003, 0.012))
    station = replace(station, switch=replace(station.switch, response_on_s=response, response_off_s=response))
    return station, (Fault(label="switch_chatter", kind="hysteresis_too_small_for_noise", size=size),)


def _lingering_kpa(station: StationSpec) -> float:
    """Reading at which the vacuum of a hold stays long [kPa]."""
    if station.saving is None:
        return deepest_kpa(station) * (1.0 + station.sensor.gain_error) - station.sensor.offset_kpa
    return station.saving.supply_off_kpa - 0.65 * (
        1.0 + station.volumes.residual_leak_kpa_s * station.sequencer.transport_s
    )


def _short(station: StationSpec, rng: Random, severity: int) -> tuple[StationSpec, tuple[Fault, ...]]:
    loop = _loop(station)
    band = float(rng.uniform(0.4, 1.2)) / severity**0.5
    narrow = Fault(
        label="supply_valve_short_cycling",
        kind="band_too_narrow",
        size={"supply_on_kpa": round(loop.supply_off_kpa - band, 2)},
    )
    leaky = replace(station, volumes=replace(station.volumes, residual_leak_kpa_s=log_uniform(rng, 0.8, 2.0)))
    if rng.random() < 0.6:
        return leaky, (narrow,)
    leak = Fault(label="cup_leak_orifice", kind="cup", size={"rate_kpa_s": log_uniform(rng, 3.0, 8.0), "b": 0.35})
    return station, (narrow, leak)


def _unreachable(station: StationSpec, rng: Random, _severity: int) -> tuple[StationSpec, tuple[Fault, ...]]:
    loop, deepest = _loop(station), deepest_kpa(station)
    kind = str(rng.choice(["setting", "setting", "supply", "leak"]))
    if kind == "supply":
        wanted = (loop.supply_off_kpa - float(rng.uniform(2.0, 5.0))) / deepest
        share = _supply_share(wanted)
        supply = station.ejector.optimum_kpa * share + station.supply.droop_kpa
        size = {"supply_kpa": supply, "cut_off_kpa": loop.supply_off_kpa, "ultimate_kpa": wanted * deepest}
        point = round(min(station.switch.set_point_kpa, wanted * deepest - 5.0), 1)
        reset = round(min(station.switch.reset_point_kpa, point - 3.0), 1)
        station = replace(station, switch=replace(station.switch, set_point_kpa=point, reset_point_kpa=reset))
    elif kind == "leak":
        missing = deepest - loop.supply_off_kpa + float(rng.uniform(2.0, 4.0))
        rate = missing / station.ejector.time_constant_s * (1.0 + station.ejector.bend)
        size = {
            "rate_kpa_s": rate,
            "scatter": 0.02,
            "cut_off_kpa": loop.supply_off_kpa,
            "ultimate_kpa": deepest - missing,
        }
    else:
        off = round(deepest + float(rng.uniform(1.0, 4.0)), 1)
        size = {
            "supply_off_kpa": off,
            "supply_on_kpa": round(off - 6.0, 1),
            "cut_off_kpa": off,
            "ultimate_kpa": deepest,
        }
    return station, (Fault(label="cutoff_unreachable", kind=kind, size=size),)


def _supply_share(strength: float) -> float:
    """Share of the optimum supply pressure at which an ejector reaches `strength` of its best vacuum."""
    shares = np.linspace(0.2, 1.0, 801)
    return float(np.interp(strength, shares**1.5 * (2.5 - 1.5 * shares), shares))


def _too_high(station: StationSpec, rng: Random, severity: int) -> tuple[StationSpec, tuple[Fault, ...]]:
    deepest = deepest_kpa(station)
    above = (0.0, 0.4, 0.9)[severity - 1]
    if station.saving is not None:
        point = station.saving.supply_off_kpa + float(rng.uniform(0.0, 1.0)) + above
    else:
        point = deepest - float(rng.uniform(0.0, 1.2)) + above
    size = {"set_point_kpa": round(point, 1), "reset_point_kpa": round(point - 4.0, 1), "ultimate_kpa": deepest}
    station = replace(station, sequencer=replace(station.sequencer, lift_on="part_present"))
    return station, (Fault(label="setpoint_too_high", size=size),)


def _too_low(station: StationSpec, rng: Random, severity: int) -> tuple[StationSpec, tuple[Fault, ...]]:
    empty = max(station.volumes.open_cup_kpa, 6.0)
    station = replace(station, volumes=replace(station.volumes, open_cup_kpa=empty))
    point = empty - float(rng.uniform(0.8, 1.6)) * (0.8 + 0.3 * severity)
    size = {"set_point_kpa": round(point, 1), "reset_point_kpa": round(point - 1.0, 1), "open_cup_vacuum_kpa": empty}
    sequencer = station.sequencer
    settle = sequencer.settle_s + 2.2 * station.ejector.time_constant_s
    sequencer = replace(sequencer, approach_s=max(sequencer.approach_s, 0.12), settle_s=settle)
    station = replace(station, sequencer=sequencer)
    low = Fault(label="setpoint_too_low", size=size)
    missed = Fault(label="missed_picks", size={"share": float(rng.uniform(0.05, 0.15))})
    return station, (low, missed)


TURNED: tuple[tuple[str, Turned], ...] = (
    ("switch_chatter", _chatter),
    ("supply_valve_short_cycling", _short),
    ("cutoff_unreachable", _unreachable),
    ("setpoint_too_high", _too_high),
    ("setpoint_too_low", _too_low),
)
