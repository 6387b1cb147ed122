"""Settings in force, and what is not known about them."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tune import tuned_stations as stations
from tracekit.model.station import Load
from tracekit.options.tune import TuneOptions
from tracekit.tune.known import known_settings
from tracekit.tune.needed import needed_kpa

OPTIONS = TuneOptions()


def test_a_file_that_the_edges_confirm_is_exact():
    """Settings of the station file that the edges explain have no doubt."""
    known = known_settings(stations.diagnosed(stations.HEALTHY).data, OPTIONS)
    assert {n: k.half_width for n, k in known.items()} == dict.fromkeys(("set_point", "reset_point", "supply_off", "supply_on"), 0.0)


@pytest.mark.parametrize("made", [stations.HEALTHY, stations.PLAIN, stations.NARROW, stations.ORDER, stations.LEAKING], ids=["healthy", "plain", "narrow", "order", "leak"])
def test_the_doubt_holds_the_truth(made):
    """Without a station file the interval of each setting holds the value that the simulator uses."""
    known = known_settings(stations.diagnosed(made, with_file=False).data, OPTIONS)
    station = made.station
    true = {"set_point": station.switch.set_point_kpa, "reset_point": station.switch.reset_point_kpa}
    if station.saving is not None:
        true |= {"supply_off": station.saving.supply_off_kpa, "supply_on": station.saving.supply_on_kpa}
    assert known
    for name, k in known.items():
        assert k.low - 0.35 <= true[name] <= k.high + 0.35, name


def test_fast_crossings_are_not_taken_for_exact():
    """A reset point that only the release tells is known too roughly to be lowered or kept exactly."""
    known = known_settings(stations.diagnosed(stations.HEALTHY, with_file=False).data, OPTIONS)
    assert known["reset_point"].half_width > OPTIONS.exact_kpa


@pytest.mark.parametrize(("load", "expected"), [
    (None, None),
    (Load(mass_kg=2.0), None),
    (Load(needed_vacuum_kpa=41.0, mass_kg=2.0, cup_diameter_mm=40.0), 41.0),
    # 2 kg, 5 m/s², 2-fold safety, 4 cups of 40 mm: sideways m(g + a/µ)·S = 2·(9.80665 + 10)·2 N on 50.27 cm²
    (Load(mass_kg=2.0, acceleration_m_s2=5.0, cups=4, cup_diameter_mm=40.0), 15.761),
    # the same on a vertical face: m(g + a)/µ·S
    (Load(mass_kg=2.0, acceleration_m_s2=5.0, cups=4, cup_diameter_mm=40.0, orientation="vertical"), 23.564),
])  # fmt: skip
def test_what_the_load_needs(load, expected):
    """The needed vacuum wins over mass and cups; without enough of them nothing is known."""
    found = needed_kpa(load)
    assert found is None if expected is None else found == pytest.approx(expected, abs=0.01)


def test_levels_are_finite():
    """The values named are finite and lie inside their own interval."""
    for k in known_settings(stations.diagnosed(stations.NARROW, with_file=False).data, OPTIONS).values():
        assert np.isfinite([k.low, k.value, k.high]).all()
        assert k.low <= k.value <= k.high


def test_no_switch_resets_above_its_set_point():
    """A reset point that only a fast release tells may be known badly, but never over the set point in force."""
    known = known_settings(stations.diagnosed(stations.PLAIN, with_file=False).data, OPTIONS)
    fast = stations.diagnosed(stations.HEALTHY, with_file=False).data
    assert known["reset_point"].high <= known["set_point"].high
    assert known_settings(fast, OPTIONS)["reset_point"].high <= known_settings(fast, OPTIONS)["set_point"].high


@pytest.mark.parametrize(("over", "expected"), [(0.4, 0.4), (9.0, 0.9)], ids=["within the doubt", "far over it"])
def test_edges_that_tell_a_reset_over_the_set_point_are_put_in_order(over, expected):
    """The set point is then as high as the reset point says and its own doubt allows, and the reset point no higher."""
    data = stations.diagnosed(stations.PLAIN, with_file=False).data
    point = replace(data.settings["set_point"], spread_kpa=0.9 - data.sensor.noise_kpa)
    reset = replace(data.settings["reset_point"], value_kpa=point.value_kpa + over)
    known = known_settings(replace(data, settings={**data.settings, "set_point": point, "reset_point": reset}), OPTIONS)
    assert known["set_point"].value == pytest.approx(point.value_kpa + expected)
    for one in known.values():
        assert one.low <= one.value <= one.high
    assert known["reset_point"].value == known["set_point"].value
