"""Random stations are coherent and vary widely; random scenarios cover every label."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.errors import UsageError
from tracekit.simulate import simulate
from tracekit.simulate.draw import deepest_kpa, draw_station, nominal_evacuation_s
from tracekit.simulate.draw_scenario import (
    CHANGES,
    baseline_of,
    random_combo,
    random_labels,
    random_pair,
    random_scenario,
    random_series,
)
from tracekit.simulate.faults import labels
from tracekit.simulate.scenario import Scenario
from tracekit.simulate.schedule import healthy_schedule, volume_ml
from tracekit.simulate.steady import ultimate_vacuum

SEEDS = st.integers(0, 10**6)


@given(seed=SEEDS, saving=st.booleans())
def test_settings_keep_their_order(seed: int, saving: bool) -> None:
    """Reset + 1 ≤ supply_on < supply_off, reset < set point < supply_off, and supply_off below what is reached."""
    station = draw_station(np.random.default_rng(seed), saving)
    assert station.switch.reset_point_kpa < station.switch.set_point_kpa
    assert station.volumes.open_cup_kpa + 10.0 < station.switch.reset_point_kpa
    assert (station.saving is not None) == saving
    if station.saving is not None:
        assert station.switch.reset_point_kpa + 1.0 <= station.saving.supply_on_kpa < station.saving.supply_off_kpa
        assert station.switch.set_point_kpa + 1.0 <= station.saving.supply_off_kpa <= deepest_kpa(station) - 4.0


@given(seed=SEEDS)
def test_the_planned_vacuum_is_the_true_one(seed: int) -> None:
    """The vacuum that settings are drawn against is the ultimate vacuum of the truth within 0.6 kPa."""
    station = draw_station(np.random.default_rng(seed), True)
    schedule = healthy_schedule(Scenario(name="x", cycles=40, station=station), np.random.default_rng(seed))
    assert np.median(ultimate_vacuum(station, schedule)[0]) == pytest.approx(deepest_kpa(station), abs=0.6)


def test_nuisances_vary_widely() -> None:
    """Among 300 stations volumes, weather, wiring, noise, rates and range ends reach near their limits."""
    drawn = [draw_station(np.random.default_rng([5, k]), True) for k in range(300)]
    volumes = [volume_ml(s) for s in drawn]
    assert (min(volumes), max(volumes)) == (pytest.approx(10.0, abs=3.0), pytest.approx(700.0, abs=120.0))
    assert {s.valves.normally_open for s in drawn} == {s.switch.reversed_output for s in drawn} == {True, False}
    assert {s.recorder.rate_hz for s in drawn} >= {20.0, 50.0, 100.0, 500.0, 1000.0, 2000.0}
    assert {s.sensor.high_kpa for s in drawn} == {0.0, 10.0, 100.0}
    noise = [s.sensor.noise_kpa for s in drawn]
    assert min(noise) < 0.035
    assert 0.25 < max(noise) <= 0.45
    assert max(abs(s.sensor.gain_error) for s in drawn) <= 0.008
    assert max(abs(s.sensor.offset_kpa) for s in drawn) <= 0.5


def test_every_fault_can_be_drawn() -> None:
    """The labels of random scenarios are those of the faults, and the two healthy kinds."""
    assert set(random_labels()) == {*labels(), "healthy_airsave", "healthy_plain"}
    for label in random_labels():
        for severity in (1, 2, 3):
            scenario = random_scenario(label, 40 + severity, severity)
            assert scenario == random_scenario(label, 40 + severity, severity)
            assert (label in {f.label for f in scenario.faults}) != label.startswith("healthy")


@given(seed=SEEDS)
def test_a_baseline_is_the_same_station(seed: int) -> None:
    """Same parts and settings, no fault, another seed and other weather."""
    scenario = random_scenario("cup_leak_orifice", seed)
    base = baseline_of(scenario)
    assert (base.station.volumes, base.station.switch) == (scenario.station.volumes, scenario.station.switch)
    assert base.faults == ()
    assert base.seed != scenario.seed
    assert abs(base.station.air.ambient_kpa - scenario.station.air.ambient_kpa) < 3.0


@pytest.mark.parametrize("change", CHANGES)
def test_pairs_say_what_changed(change: str) -> None:
    """Before and after are one station; the marks tell the truth about the leak."""
    before, after = random_pair(change, 8)
    marks = [s.marks["pair"] for s in (before, after)]
    assert [m["role"] for m in marks] == ["before", "after"]
    assert marks[0]["really_changed"] == (change != "nothing_done")
    rates = [s.faults[0].size["rate_kpa_s"] * 1000.0 if s.faults else 0.0 for s in (before, after)]
    assert rates == pytest.approx([marks[0]["leak_rate_before"], marks[0]["leak_rate_after"]])
    assert before.station.volumes == after.station.volumes


@pytest.mark.parametrize("law", ["linear", "exponential"])
def test_series_grow(law: str) -> None:
    """Six days of one station, a leak that rises from nothing, dates that follow one another."""
    days = random_series(9, law=law)
    rates = [d.faults[0].size["end_kpa_s"] if d.faults else 0.0 for d in days]
    assert rates == sorted(rates)
    assert (rates[0], len(set(rates))) == (0.0, 6)
    assert [d.start for d in days] == sorted(d.start for d in days)
    assert len({d.station.volumes for d in days}) == 1


def test_two_faults_at_once() -> None:
    """A combination has both, on one station, and is called so in the truth."""
    combo = random_combo(("cup_leak_orifice", "weak_release"), 21)
    assert [f.label for f in combo.faults] == ["cup_leak_orifice", "weak_release"]
    assert combo.name == "combo"


def test_a_random_healthy_log_is_healthy() -> None:
    """Every part held, evacuation as planned."""
    scenario = random_scenario("healthy_airsave", 2)
    log = simulate(scenario)
    assert log.truth["summary"]["outcomes"] == {"held": scenario.cycles}
    took = np.median([c["true_setpoint_s"] - c["supply_on_s"] for c in log.truth["cycles"]])
    assert took == pytest.approx(nominal_evacuation_s(scenario.station), abs=0.08)


def test_what_cannot_be_drawn_is_refused() -> None:
    """Unknown labels, severities and changes are one message each."""
    with pytest.raises(UsageError, match='Did you mean "porous_part"'):
        random_scenario("porous_parts", 1)
    with pytest.raises(UsageError, match="severity 4; expected 1, 2 or 3"):
        random_scenario("porous_part", 1, 4)
    with pytest.raises(UsageError, match="expected a known one"):
        random_pair("painted", 1)
