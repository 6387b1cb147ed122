"""The second simulator's own physics, against formulas."""

from dataclasses import replace

import numpy as np
import pytest

from apart.gas import REFERENCE_K, Volume, both_ways, through_orifice, through_pores
from apart.plan import Plan, draw_plan, draw_station, leak_conductance, open_conductance, pore_factor
from apart.record import record, starts_of
from apart.run import BEFORE_S, Course, run
from apart.truth import rates_kpa_s, truth_of


def _ran(seed: int = 3, **given: object) -> tuple[Plan, Course]:
    rng = np.random.default_rng(seed)
    station = replace(draw_station(rng, air_saving=True), wall_s=(0.02, 0.02), sensor_at_cup=False)
    plan = draw_plan(rng, station, 3)
    for name, value in {"noise_kpa": 0.0, "offset_kpa": 0.0, "gain": 1.0, "hold_s": 2.0, **given}.items():
        plan[name][:] = value
    return plan, run(plan, rng)


def test_a_coast_between_cold_walls_decays_at_the_rate_of_its_truth() -> None:
    """A choked hole, temperature held by the walls: the slope after the cut is the true isothermal rate within 2 %."""
    rng = np.random.default_rng(3)
    station = draw_station(rng, air_saving=True)
    plan, course = _ran(
        leak=leak_conductance(4.0, station.generator_m3 + station.cup_m3, station.ambient_kpa, station.wall_k),
        check=0.0, off_kpa=70.0, on_kpa=50.0, set_kpa=45.0, reset_kpa=40.0,
    )  # fmt: skip
    cut = next(t for t, cycle, on in course.edges["supply"] if cycle == 0 and not on)
    rows = (course.time_s > cut + 0.3) & (course.time_s < cut + 1.3)
    slope = -np.polyfit(course.time_s[rows], course.reading_kpa[rows, 0], 1)[0]
    assert slope == pytest.approx(rates_kpa_s(plan)[0], rel=0.02)
    assert rates_kpa_s(plan)[0] == pytest.approx(4.0)


def test_the_conductance_of_a_hole_gives_the_rate_that_was_asked_for() -> None:
    """C·p·p₀ at 60 kPa of vacuum, choked: 1 kPa/s in 100 mL at 293.15 K is 0.1 Pa·m³/s."""
    conductance = leak_conductance(1.0, 100e-6, 100.0, REFERENCE_K)
    assert conductance * 100e3 * 1e5 == pytest.approx(0.1)


def test_pores_give_the_rate_that_was_asked_for() -> None:
    """Laminar flow at 60 kPa of vacuum: factor × (100² − 40²) kPa²."""
    factor = pore_factor(1.0, 100e-6, 100.0, REFERENCE_K)
    assert through_pores(np.array([factor]), 100e3, np.array([40e3]))[0] == pytest.approx(0.1)


def test_a_hole_is_choked_below_its_critical_ratio_and_shut_at_none() -> None:
    """ISO 6358: full flow at and below b, none without a difference of pressure."""
    flow = through_orifice(np.full(3, 1e-9), np.full(3, 1e5), np.array([1e4, 4e4, 1e5]))
    assert flow == pytest.approx([10.0, 10.0, 0.0])


def test_a_filter_lets_flow_both_ways_alike() -> None:
    """Only the sign changes with the direction."""
    high, low, hose = np.array([9e4]), np.array([6e4]), np.array([1e-9])
    assert both_ways(hose, high, low) == pytest.approx(-both_ways(hose, low, high))


def test_no_gas_is_made_or_lost() -> None:
    """What a volume holds is what it held, plus what came, less what went."""
    gas = Volume(np.array([1e-4]), 1e5, 293.15, 0.1)
    before = gas.amount.copy()
    for _ in range(100):
        gas.step([(np.array([2.0]), 293.15)], np.array([3.0]), 1e-3)
    assert gas.amount == pytest.approx(before - 0.1)


def test_gas_let_in_fast_warms_as_an_adiabatic_filling_does() -> None:
    """Without walls dp = γ·R·T·dm/V: the pressure rises 1.4 times the isothermal amount."""
    gas = Volume(np.array([1e-4]), 4e4, 293.15, 1e9)
    for _ in range(10):
        gas.step([(np.array([1.0]), 293.15)], np.array([0.0]), 1e-4)
    assert gas.pressure_pa[0] - 4e4 == pytest.approx(1.4 * 1e-3 / 1e-4, rel=0.01)


def test_the_open_cup_stands_where_it_was_set_out_for() -> None:
    """Suction and the open cup's inflow balance at the vacuum that was asked for, with a suction line that is straight."""
    conductance = open_conductance(50.0, 80.0, 8.0, 100.0)
    flow = through_orifice(np.array([conductance]), np.array([1e5]), np.array([92e3]))[0]
    assert flow == pytest.approx(50.0 * (1.0 - 8.0 / 80.0))


def test_a_log_is_as_its_truth_says() -> None:
    """Digitals as wired, every cycle held, part present on between contact and the end."""
    plan, course = _ran()
    log = record(plan, course, np.random.default_rng(1))
    truth = truth_of(plan, course, "healthy")
    cycles = truth["cycles"]
    assert isinstance(cycles, list)
    assert [c["outcome"] for c in cycles] == ["held"] * 3
    starts, _ = starts_of(plan, course)
    first = (log["time_s"] >= starts[1] - 0.5 * BEFORE_S) & (log["time_s"] < starts[1] + 0.1)
    on = log[first & (log["supply"] == plan.station.supply_on_level)]["time_s"].min()
    assert on == pytest.approx(starts[1], abs=1.5 / plan.station.log_hz + plan.station.late_s + 0.001)
