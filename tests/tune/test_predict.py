"""Predicted effects against the simulator with the settings entered."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tune import tuned_stations as stations
from tracekit.options.tune import TuneOptions
from tracekit.simulate.log import simulate
from tracekit.simulate.scenario import Saving, Switch
from tracekit.tune.known import known_settings
from tracekit.tune.predict import predict
from tracekit.tune.prepare import prepare
from tracekit.tune.what_if import tables_of

OPTIONS = TuneOptions()


def predicted(made, values):
    result, file = stations.diagnosed(made, stations.LOAD), stations.filed(made, stations.LOAD)
    known = known_settings(result.data, OPTIONS)
    scene = prepare(result.data, result.leak, file, known, None, OPTIONS).scene
    return predict(scene, {**scene.now, **values})


def simulated(made, values, seed=99):
    """Medians and means of held cycles once the settings are entered."""
    station = made.station
    switch = replace(station.switch, set_point_kpa=values.get("set_point", station.switch.set_point_kpa),
                     reset_point_kpa=values.get("reset_point", station.switch.reset_point_kpa))  # fmt: skip
    saving = station.saving
    if saving is not None:
        saving = Saving(supply_off_kpa=values.get("supply_off", saving.supply_off_kpa),
                        supply_on_kpa=values.get("supply_on", saving.supply_on_kpa), tick_s=saving.tick_s)  # fmt: skip
    cycles = simulate(replace(made, seed=seed, station=replace(station, switch=switch, saving=saving))).truth["cycles"]
    held = [c for c in cycles if c["outcome"] == "held"]
    return {
        "evacuation_time_s": np.median([c["true_setpoint_s"] - c["last_try_s"] for c in held]),
        "supply_switches_per_hold": np.mean([len(c["supply_toggles"]) for c in held]),
    }


@pytest.mark.parametrize("values", [
    {"supply_on": 65.0}, {"supply_on": 61.0}, {"supply_off": 74.0, "supply_on": 66.0}, {"set_point": 48.0, "reset_point": 44.0},
])  # fmt: skip
def test_the_simulator_does_what_was_predicted(values):
    """Switches and evacuation time of entered settings lie in their intervals or within 10 %."""
    found, true = predicted(stations.NARROW, values), simulated(stations.NARROW, values)
    for name, value in true.items():
        estimate = found[name]
        inside = estimate.lower <= value <= estimate.upper
        assert inside or abs(value - estimate.value) <= 0.1 * value, (name, estimate, value)


def test_settings_in_force_are_told_as_recorded():
    """Effects of the settings in force are the recorded ones."""
    found = predicted(stations.NARROW, {})
    data = stations.diagnosed(stations.NARROW, stations.LOAD).data
    held = data.cycles.where("outcome", "held")
    assert found["supply_switches_per_hold"].value == pytest.approx(data.cycles.codes("supply_switches")[held].mean())
    assert found["evacuation_time_s"].value == pytest.approx(float(np.nanmedian(data.cycles.floats("evacuation_time_s")[held])))
    assert "recorded" in found["evacuation_time_s"].method


def test_extrapolation_is_said():
    """A prediction beyond the recorded range of vacuum says so."""
    found = predicted(stations.NARROW, {"supply_off": 79.0, "supply_on": 72.0})
    assert "beyond the recorded range" in found["supply_switches_per_hold"].method


def test_a_reset_point_in_the_saw_tooth_loses_the_output():
    """A reset point over supply_on is predicted to lose the output in every hold."""
    found = predicted(stations.NARROW, {"supply_on": 60.0, "reset_point": 62.0, "set_point": 66.0})
    assert found["false_drop_share"].value > 0.95


def test_what_no_log_shows_is_not_predicted():
    """Where the supply was never cut in a hold, how often it will switch is not predicted."""
    far = stations.scenario(stations.spec(saving=Saving(supply_off_kpa=86.0, supply_on_kpa=80.0), switch=Switch()))
    found = predicted(far, {"supply_off": 76.0, "supply_on": 68.0})
    assert "supply_switches_per_hold" not in found
    assert "evacuation_time_s" in found
    result, file = stations.diagnosed(far, stations.LOAD), stations.filed(far, stations.LOAD)
    tables = tables_of(prepare(result.data, result.leak, file, known_settings(result.data, OPTIONS), None, OPTIONS))
    assert tables.switches.size == tables.off.size == 0
    assert tables.drops.size > 0


def test_mostly_rescued_picks_tell_no_hold():
    """Where more picks are rescued than were held, how long a hold lasts is not in the log: no air is predicted."""
    result, file = stations.diagnosed(stations.NARROW, stations.LOAD), stations.filed(stations.NARROW, stations.LOAD)
    cycles = result.data.cycles
    codes = cycles.codes("outcome").copy()
    codes[:16] = cycles.categories["outcome"].index("missed")
    data = replace(result.data, cycles=replace(cycles, data={**cycles.data, "outcome": codes}))
    scene = prepare(data, result.leak, file, known_settings(data, OPTIONS), None, OPTIONS).scene
    lower = predict(scene, {**scene.now, "set_point": 46.0})
    assert "supply_on_share" not in lower
    assert "evacuation_time_s" in lower
    assert "supply_on_share" in predict(scene, {**scene.now, "supply_on": 66.0})


def test_a_loop_raised_over_the_reset_point_keeps_the_output():
    """What-if tables: a reset point in the saw-tooth loses the output, unless supply_on is raised over it as well."""
    result, file = stations.diagnosed(stations.ORDER, stations.LOAD), stations.filed(stations.ORDER, stations.LOAD)
    prepared = prepare(result.data, result.leak, file, known_settings(result.data, OPTIONS), None, OPTIONS)
    tables, scene = tables_of(prepared), prepared.scene
    lost = tables.drops > 0.95
    assert lost.any()
    assert (tables.kept_drops[lost] < 0.05).all()
    assert (tables.kept_edges[lost] < 0.1).all()
    below = tables.reset + scene.fall < scene.now["supply_on"]
    np.testing.assert_array_equal(tables.kept_drops[below], tables.drops[below])
