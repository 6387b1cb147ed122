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
        "false_drop_share": np.mean([any(level == 0 and t < c["sequence_off_s"] for t, level in c["part_present_edges"]) for c in held]),
        "chatter_edges_per_hold": np.mean([max(len(c["part_present_edges"]) - 2, 0) for c in held]),
    }


@pytest.mark.parametrize("values", [
    {"supply_on": 65.0}, {"supply_on": 61.0}, {"supply_off": 74.0, "supply_on": 66.0}, {"set_point": 48.0, "reset_point": 44.0},
])  # fmt: skip
def test_the_simulator_does_what_was_predicted(values):
    """Switches and evacuation time of entered settings lie in their intervals or within 10 %."""
    found, true = predicted(stations.NARROW, values), simulated(stations.NARROW, values)
    for name in ("evacuation_time_s", "supply_switches_per_hold"):
        value = true[name]
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


@pytest.mark.parametrize(("values", "lost"), [
    ({"supply_on": 60.0, "reset_point": 62.0, "set_point": 66.0}, 0.0),
    ({"supply_on": 67.5, "reset_point": 68.0, "set_point": 69.0}, 1.0),
])  # fmt: skip
def test_a_reset_point_in_the_saw_tooth_loses_the_output(values, lost):
    """A reset point over supply_on loses the output where a hold lasts long enough to fall to it, as in the simulator."""
    found, true = predicted(stations.NARROW, values), simulated(stations.NARROW, values)
    assert true["false_drop_share"] == lost
    for name in ("false_drop_share", "chatter_edges_per_hold"):
        assert found[name].lower <= true[name] <= found[name].upper + 1e-9, (found[name], true[name])


@pytest.mark.parametrize("values", [{"set_point": 80.0}, {"set_point": 78.0, "supply_off": 72.0}, {"supply_off": 50.0, "supply_on": 48.0}])
def test_settings_without_a_hold_tell_missed_picks_alone(values):
    """A set point that vacuum does not reach, or that the supply cuts before: no effect on holds is made up."""
    found = predicted(stations.NARROW, values)
    assert set(found) == {"missed_share"}
    assert found["missed_share"].value > 0.9


def test_an_overshoot_carries_vacuum_over_the_set_point():
    """Cut 3 kPa under the set point the supply still reaches it, as in the simulator: holds are told."""
    values = {"supply_off": 53.0, "supply_on": 51.5}
    assert np.isfinite(simulated(stations.NARROW, values)["supply_switches_per_hold"])
    assert "evacuation_time_s" in predicted(stations.NARROW, values)


def test_a_later_cut_lets_vacuum_reach_a_higher_set_point():
    """What the cut kept from being recorded is not out of reach once the supply cuts later."""
    found = predicted(stations.NARROW, {"set_point": 74.0, "supply_off": 77.0, "supply_on": 74.5})
    assert found["missed_share"].value < 0.05
    assert "evacuation_time_s" in found


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
