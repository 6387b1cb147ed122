"""The cut that ends suction, however deep the vacuum, is no air saving: drawn by hand and simulated."""

from dataclasses import replace

import numpy as np
from segment.made_traces import PLAIN, SAVING, Piece, blow_off, data_of, evacuate, hold, idle, measured

from tracekit.simulate import random_scenario, simulate

NAMES = ("time_s", "pressure_kpa", "supply", "release", "part_present")


def test_a_cut_right_before_the_release_over_supply_off_is_none_of_air_saving() -> None:
    """Where supply_off was set out of reach in mid-log, holds end at more vacuum than it had, and are never cut."""
    never_cut = (idle(), evacuate(0.6, to=80.0), hold(1.2, to=80.0), Piece(seconds=0.03, to=80.0), blow_off())
    data = data_of((*SAVING * 4, *never_cut * 5))
    assert data.air_saving
    assert data.cycles.codes("coasts").tolist() == [3] * 4 + [0] * 5
    assert data.cycles.codes("supply_switches").tolist() == [5] * 4 + [0] * 5


def test_a_cut_on_the_rise_right_before_the_release_is_one_of_air_saving() -> None:
    """The end of the last recharge passes supply_off as it does elsewhere: the device has cut, not the programme."""
    cut_late = (*SAVING[:-2], Piece(seconds=0.05, to=69.9), blow_off())
    data = data_of((*SAVING * 4, *cut_late * 2))
    assert data.cycles.codes("coasts").tolist() == [3] * 6


def test_picks_given_up_at_rest_tell_no_supply_off() -> None:
    """Most picks end without an output, in a cut at the same vacuum, long before the release: nothing saves air."""
    given_up = (idle(), replace(evacuate(1.2, to=54.5), present=0), Piece(seconds=0.4, to=54.0, present=0), blow_off())
    data = data_of((*PLAIN * 4, *given_up * 8))
    assert not data.air_saving
    assert data.settings["supply_off"].value_kpa is None
    assert data.cycles.codes("supply_switches").tolist() == [0] * 12


def test_a_simulated_set_point_out_of_reach_makes_no_air_saving() -> None:
    """The set point is raised over what the generator reaches, on a station that saves no air."""
    scenario = random_scenario("setpoint_too_high", 880_002, 2)
    size = {**scenario.faults[0].size, "set_point_kpa": 92.0, "reset_point_kpa": 88.0}
    fault = replace(scenario.faults[0], onset_cycle=8, size=size)
    station = replace(scenario.station, saving=None)
    log = simulate(replace(scenario, cycles=24, faults=(fault,), station=station))
    data = measured({name: np.asarray(getattr(log, name)) for name in NAMES})
    assert data.cycles.texts("outcome")[-1] == "missed"
    assert not data.air_saving
    assert not data.cycles.codes("supply_switches").any()
