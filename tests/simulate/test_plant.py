"""The gas against closed forms that are written out here, and against rows of a vetted list of check values."""

from dataclasses import replace

import numpy as np
import pytest
from simulate.bench import STANDARD_KPA, crossing_s, gas_at, run, vessel, with_hole

from tracekit.simulate.gas import GAMMA, Q_PER_C_KPA
from tracekit.simulate.plant import Drive, constants, suction_curve
from tracekit.simulate.schedule import hole_for_rate, pores_for_rate, suction_l_min

IDEAL_C_PER_MM2 = 0.1560033361612939  # O06: C [dm³/(s·bar)] of an ideal nozzle of 1 mm diameter
ISOTHERMAL_S, ADIABATIC_S = 1e-6, 1e9


def test_choked_slope_is_the_sum_of_the_leaks() -> None:
    """Rows P06, P06b: 114.7285 mL with an own leak of 0.6 kPa/s and a choked ideal 0.3 mm orifice rises at 13.0 kPa/s."""
    station, schedule = vessel(114.72850187813539, ISOTHERMAL_S)
    own = 0.6 * 114.72850187813539 / (Q_PER_C_KPA * STANDARD_KPA)
    schedule = with_hole(schedule, IDEAL_C_PER_MM2 * 0.09 + own, 0.528)
    course = run(station, schedule, gas_at(21.325, 21.325), 0.5)
    assert (course.cup_kpa[-1] - course.cup_kpa[0]) / 0.5 == pytest.approx(13.0, rel=5e-5)


@pytest.mark.parametrize(
    ("volume_ml", "mm", "seconds"),
    [(50.0, 0.5, 0.7828414485648671), (100.0, 0.5, 1.565682897129872), (100.0, 1.0, 0.391420724282468)],
)
def test_fill_through_an_orifice(volume_ml: float, mm: float, seconds: float) -> None:
    """Rows D01: isothermal time from −80 to −20 kPa through an ideal orifice, linear and then an arcsine."""
    station, schedule = vessel(volume_ml, ISOTHERMAL_S)
    schedule = with_hole(schedule, IDEAL_C_PER_MM2 * mm * mm, 0.528)
    course = run(station, schedule, gas_at(STANDARD_KPA - 82.0, STANDARD_KPA - 82.0), 1.2 * seconds)
    assert crossing_s(course, -20.0) - crossing_s(course, -80.0) == pytest.approx(seconds, rel=2e-3)


def test_shape_of_the_fill() -> None:
    """Rows D04: −80 to −60, −40, −30 kPa through 0.5 mm into 100 mL takes 0.5061, 1.0131, 1.2764 s."""
    station, schedule = vessel(100.0, ISOTHERMAL_S)
    schedule = with_hole(schedule, IDEAL_C_PER_MM2 * 0.25, 0.528)
    course = run(station, schedule, gas_at(STANDARD_KPA - 82.0, STANDARD_KPA - 82.0), 1.6)
    took = [crossing_s(course, gauge) - crossing_s(course, -80.0) for gauge in (-60.0, -40.0, -30.0)]
    assert took == pytest.approx([0.5061036723961442, 1.0131017732431884, 1.2764155438135125], rel=1e-3)


def test_laminar_fill_is_a_hyperbolic_tangent() -> None:
    """Row D08, ten times as fast: pores with κ = 0.5 1/s take 1.78453 s from −80 to −20 kPa, on x = tanh(κ(t − t₀))."""
    station, schedule = vessel(60.0, ISOTHERMAL_S)
    schedule = replace(schedule, pores=np.array([0.5 * 60.0 / STANDARD_KPA]))
    start = STANDARD_KPA - 80.0
    course = run(station, schedule, gas_at(start, start), 1.85)
    assert crossing_s(course, -20.0) == pytest.approx(1.784531343656684, rel=1e-3)
    expected = STANDARD_KPA * np.tanh(0.5 * course.time_s + np.arctanh(start / STANDARD_KPA))
    assert course.cup_kpa == pytest.approx(expected, rel=1e-3)


def test_discriminator_of_hole_and_pores() -> None:
    """Rows D07: the time from −40 to −20 over that from −80 to −60 is 1.0918 for an orifice, 1.8442 for pores."""
    station, tight = vessel(80.0, ISOTHERMAL_S)
    start = STANDARD_KPA - 81.0
    for schedule, ratio in (
        (with_hole(tight, 0.12, 0.528), 1.0918338554440679),
        (replace(tight, pores=np.array([0.6])), 1.8441804645275528),
    ):
        course = run(station, schedule, gas_at(start, start), 2.3)
        early = crossing_s(course, -60.0) - crossing_s(course, -80.0)
        assert (crossing_s(course, -20.0) - crossing_s(course, -40.0)) / early == pytest.approx(ratio, rel=2e-3)


def test_inflow_without_heat_exchange_is_steeper_by_gamma() -> None:
    """Row P13: the same inflow raises the pressure 1.4 times as fast where the gas cannot give its heat to the walls."""
    slopes = []
    for wall_time_s in (ISOTHERMAL_S, ADIABATIC_S):
        station, schedule = vessel(60.0, wall_time_s)
        course = run(station, with_hole(schedule, 0.02, 0.35), gas_at(30.0, 30.0), 0.02)
        slopes.append((course.cup_kpa[-1] - course.cup_kpa[0]) / 0.02)
    assert slopes[1] / slopes[0] == pytest.approx(1.4, rel=2e-3)


def test_gas_that_was_cooled_warms_exponentially() -> None:
    """Cold gas at constant volume goes to the wall's temperature with the time constant τ·p/p_air, and p with it."""
    station, schedule = vessel(60.0, 0.2)
    course = run(station, schedule, gas_at(20.0, 20.0, theta=0.95), 0.2)
    tau = 0.2 * (20.0 / 0.95) / STANDARD_KPA
    expected = 20.0 / 0.95 * (1.0 - 0.05 * np.exp(-course.time_s / tau))
    assert course.cup_kpa == pytest.approx(expected, rel=2e-4)


def test_one_kelvin_at_21_kpa_is_73_pascal() -> None:
    """Row P05: 1 K of warming at 21.325 kPa and 293.15 K raises the pressure by 72.744 Pa without any leak."""
    station, schedule = vessel(60.0, 0.02)
    course = run(station, schedule, gas_at(21.325, 21.325, theta=1.0 - 1.0 / 294.15), 1.0)
    assert 1000.0 * (course.cup_kpa[-1] - 21.325) == pytest.approx(72.74432884188982, rel=1e-4)


def test_two_volumes_even_out_exponentially() -> None:
    """Near equal pressures the filter is linear: the difference falls as exp(−G(1/V₁ + 1/V₂)t) for isothermal gas."""
    station, schedule = vessel(60.0, ISOTHERMAL_S)
    station = replace(station, volumes=replace(station.volumes, generator_ml=20.0, cup_ml=40.0))
    schedule = replace(schedule, filter_c=np.array([0.01]))
    course = run(station, schedule, gas_at(30.0, 30.2), 0.15, dt=0.0001)
    edge = np.sqrt(1.0 - ((0.99 - 0.4) / 0.6) ** 2) / 0.01
    conductance = Q_PER_C_KPA * 0.01 * edge
    expected = 0.2 * np.exp(-conductance * (1.0 / 20.0 + 1.0 / 40.0) * course.time_s)
    assert course.cup_kpa - course.generator_kpa == pytest.approx(expected, rel=1e-2, abs=1e-5)


def test_mass_balance_closes() -> None:
    """What flowed through every boundary is what the volumes hold more or less, to rounding."""
    station, schedule = vessel(60.0, 0.1)
    schedule = replace(with_hole(schedule, 0.05, 0.3), pores=np.array([0.05]), fitting_c=np.array([0.01]))
    drive = Drive(np.array([450.0]), np.array([80.0]), np.array([0.2]), np.zeros(1))
    start = gas_at(60.0, 80.0)
    course = run(station, schedule, start, 0.3, drive=drive)
    inflow = sum(float((f.cup + f.opening + f.generator + f.blow - f.ejector)[0]) for f in course.flows) * 0.0005
    held = float((np.array([30.0, 30.0]) * (course.last.cold - start.cold)[:, 0]).sum())
    assert held == pytest.approx(inflow, abs=1e-9 * sum(float(f.ejector[0]) for f in course.flows))


def test_evacuation_is_exponential_with_the_ejectors_time_constant() -> None:
    """For a straight suction curve isothermal gas tends to the deepest pressure with τ = V·vacuum/(p_ref·q₀)."""
    station, schedule = vessel(60.0, ISOTHERMAL_S, bend=0.0)
    full = Drive(np.array([station.ejector.optimum_kpa]), np.zeros(1), np.zeros(1), np.zeros(1))
    course = run(station, schedule, gas_at(STANDARD_KPA, STANDARD_KPA), 0.4, dt=0.0002, drive=full)
    deepest = station.ejector.vacuum_ratio * STANDARD_KPA
    tau = 60.0 * deepest / (100.0 * suction_l_min(station) * 1000.0 / 60.0)
    assert tau == pytest.approx(station.ejector.time_constant_s, rel=1e-9)
    expected = deepest * (1.0 - np.exp(-course.time_s / tau))
    assert STANDARD_KPA - course.generator_kpa[50:] == pytest.approx(expected[50:], rel=0.01)


def test_suction_falls_nearly_linearly_with_a_bend() -> None:
    """Suction flow is q₀ at ambient, 0 at the deepest vacuum and q₀/2·(1 + bend/2) half-way."""
    station, schedule = vessel(60.0, ISOTHERMAL_S, bend=0.2)
    fixed, drive = constants(station, schedule), np.array([station.ejector.optimum_kpa])
    flows = []
    for share in (0.0, 0.5, 1.0):
        vacuum = share * station.ejector.vacuum_ratio * schedule.ambient_kpa
        reach, per_kpa = suction_curve(fixed, drive, np.zeros(1), vacuum)
        flows.append(float((per_kpa * (reach - vacuum))[0]))
    assert np.array(flows) / fixed.suction == pytest.approx([1.0, 0.55, 0.0], abs=1e-9)


@pytest.mark.parametrize(("supply_kpa", "exhaust_kpa"), [(300.0, 0.0), (550.0, 0.0), (450.0, 15.0)])
def test_ejector_is_best_at_its_optimum_and_with_a_free_exhaust(supply_kpa: float, exhaust_kpa: float) -> None:
    """Lower or higher supply pressure, and back-pressure in the exhaust, each cost vacuum."""
    station, schedule = vessel(60.0, ISOTHERMAL_S)
    fixed, vacuum = constants(station, schedule), np.array([70.0])
    best, _ = suction_curve(fixed, np.array([450.0]), np.zeros(1), vacuum)
    worse, _ = suction_curve(fixed, np.array([supply_kpa]), np.array([exhaust_kpa]), vacuum)
    assert float(worse[0]) < float(best[0]) - 1.0


def test_leak_sizes_are_rates_at_60_kpa() -> None:
    """A hole and pores sized for 4 kPa/s both raise the pressure at 4 kPa/s at 60 kPa of vacuum, isothermally."""
    station, tight = vessel(90.0, ISOTHERMAL_S)
    hole = with_hole(tight, float(hole_for_rate(station, 4.0, 0.3)), 0.3)
    pores = replace(tight, pores=pores_for_rate(station, np.array([4.0])))
    for schedule in (hole, pores):
        course = run(station, schedule, gas_at(STANDARD_KPA - 60.0, STANDARD_KPA - 60.0), 0.02)
        assert (course.cup_kpa[-1] - course.cup_kpa[0]) / 0.02 == pytest.approx(4.0, rel=1e-3)


def test_gamma_is_that_of_air() -> None:
    """Air is diatomic: γ = 7/5."""
    assert pytest.approx(7.0 / 5.0) == GAMMA
