"""Two long decays of one station, the second through a known orifice: what a volume is found from."""

from dataclasses import replace

import numpy as np

from tracekit.simulate.draw import deepest_kpa, draw_station
from tracekit.simulate.gas import Q_PER_C_KPA
from tracekit.simulate.scenario import Fault, Saving, Scenario, StationSpec
from tracekit.simulate.schedule import volume_ml

SI_PER_C = 1e-8  # m³/(s·Pa) in 1 dm³/(s·bar)
HOLD_S = 6.0


def random_calibration(seed: int, cycles: int = 6) -> tuple[Scenario, Scenario]:
    """A reference and the same with a known orifice at the cup; both hold a part long with the supply cut."""
    rng = np.random.default_rng([seed, 44])
    station = _patient(draw_station(rng, saving=True))
    rate, b = float(rng.uniform(4.0, 9.0)), float(rng.uniform(0.3, 0.528))
    conductance = rate * volume_ml(station) / (Q_PER_C_KPA * station.air.ambient_kpa)
    orifice = {"C_m3_s_pa": conductance * SI_PER_C, "b": b, "C_dm3_s_bar": conductance}
    known = Fault(
        label="cup_leak_orifice", kind="cup", size={"rate_kpa_s": rate, "c": conductance, "b": b, "scatter": 0.0}
    )
    made: list[Scenario] = []
    for role, faults in (("reference", ()), ("orifice", (known,))):
        pair = {"role": role, "change": "known_orifice_added", "id": f"calibration_{seed}", "known_orifice": orifice}
        marks = {"pair": pair, "decay_test": True}
        name = "volume_calibration"
        made.append(
            Scenario(name=name, seed=seed + len(made), cycles=cycles, station=station, faults=faults, marks=marks)
        )
    return made[0], made[1]


def _patient(station: StationSpec) -> StationSpec:
    """The station with a long hold in which the supply does not come on again."""
    saving = Saving(supply_off_kpa=round(deepest_kpa(station) - 6.0, 1), supply_on_kpa=6.0)
    switch = replace(station.switch, reset_point_kpa=8.0)
    sequencer = replace(station.sequencer, transport_s=HOLD_S, dip_kpa=0.02, abort_on_loss=False)
    volumes = replace(station.volumes, lost_below_kpa=4.0, open_cup_kpa=min(station.volumes.open_cup_kpa, 5.0))
    return replace(station, saving=saving, switch=switch, sequencer=sequencer, volumes=volumes)
