"""Flows against published figures and against second routes written here.

Row names are those of a table of check values worked out twice (air 287.05 J/(kg K), 20 °C, ambient 101.325 kPa).
"""

import numpy as np
import pytest

from tracekit.physics import flow


def test_critical_ratio_is_that_of_the_isentropic_nozzle() -> None:
    """The critical ratio of an ideal nozzle is 0.5283 (gas-dynamics tables, ratio of heats 1.4)."""
    assert abs(flow.IDEAL_CRITICAL_RATIO - 0.5282817877171742) < 1e-12


@pytest.mark.parametrize(
    ("diameter_mm", "expected"), [(0.3, 0.014040300254516446), (0.5, 0.03900083404032347), (1.0, 0.1560033361612939)]
)
def test_conductance_of_a_hole(diameter_mm: float, expected: float) -> None:
    """A round hole has C = 0.1560·d² dm³/(s·bar) at a discharge coefficient of one (derived, rows O06)."""
    assert float(flow.hole_conductance_dm3_s_bar(diameter_mm)) == pytest.approx(expected, rel=1e-6)
    assert float(flow.hole_conductance_dm3_s_bar(diameter_mm, 0.61)) == pytest.approx(0.61 * expected, rel=1e-6)


@pytest.mark.parametrize(
    ("vacuum_kpa", "expected_l_min"), [(20, 0.69423644), (40, 0.84207611), (60, 0.85358005), (80, 0.85358005)]
)
def test_throughput_of_a_small_hole_follows_the_ellipse(vacuum_kpa: float, expected_l_min: float) -> None:
    """A 0.3 mm ideal hole (b = 0.528) passes the ISO 6358 flow (rows O08, in L/min at 100 kPa and 20 °C)."""
    conductance = flow.hole_conductance_dm3_s_bar(0.3)
    got = flow.hole_throughput_pa_m3_s(conductance, 0.528, 101.325, 101.325 - vacuum_kpa)
    assert float(got) * 0.6 == pytest.approx(expected_l_min, rel=1e-7)  # printed digits end there


@pytest.mark.parametrize(
    ("vacuum_kpa", "expected_mg_s"), [(20, 38.268038), (40, 46.343729), (60, 46.961619), (80, 46.961619)]
)
def test_nozzle_mass_flow(vacuum_kpa: float, expected_mg_s: float) -> None:
    """A 0.5 mm ideal nozzle passes the isentropic mass flow (rows O07; a real-gas route agrees within 0.4 %)."""
    assert float(flow.nozzle_mass_flow_kg_s(0.5, 101.325, 101.325 - vacuum_kpa)) * 1e6 == pytest.approx(
        expected_mg_s, rel=1e-6
    )


def test_nozzle_agrees_with_the_flat_tyre_of_a_textbook() -> None:
    """A 4 mm hole in a tyre of 220 kPa gauge at 94 kPa and 25 °C loses 0.554 kg/min (Cengel and Cimbala, Ex. 12-5)."""
    got = flow.nozzle_mass_flow_kg_s(4.0, 314.0, 94.0, temperature_k=298.0)
    assert float(got) * 60.0 == pytest.approx(0.554, rel=2e-3)  # printed to three digits, with R = 287


def test_subsonic_index_and_worked_example() -> None:
    """With b = 0.3 and a ratio of 0.6 the factor is 0.9035 (row O10a), with an index of 0.6 it is 0.8854 (row O10b)."""
    assert 0.2 * float(flow.subsonic_factor(0.6, 0.3)) == pytest.approx(0.18070158058105026, rel=1e-9)
    assert 0.2 * float(flow.subsonic_factor(0.6, 0.3, index=0.6)) == pytest.approx(0.17707136796521716, rel=1e-9)


def test_ellipse_stays_within_a_third_of_a_per_cent_of_the_nozzle() -> None:
    """The ellipse with b = 0.528 falls short of the isentropic nozzle by at most 0.3335 % (row O09)."""
    ratio = np.linspace(flow.IDEAL_CRITICAL_RATIO, 1.0 - 1e-6, 20_001)
    nozzle = flow.nozzle_mass_flow_kg_s(1.0, 100.0, 100.0 * ratio) / flow.nozzle_mass_flow_kg_s(1.0, 100.0, 1.0)
    short = 1.0 - flow.subsonic_factor(ratio, 0.528) / nozzle
    assert 100.0 * float(short.max()) == pytest.approx(0.33348324259663276, rel=5e-3)


@pytest.mark.parametrize(
    ("vacuum_kpa", "expected"),
    [(70, 0.9463412148389728), (60, 0.8722992254382389), (40, 0.6630656339176518), (10, 0.19634121483897277)],
)
def test_laminar_slopes(vacuum_kpa: float, expected: float) -> None:
    """Laminar slopes relative to the one at 80 kPa of vacuum (rows D06, ambient 101.325 kPa)."""
    x = (101.325 - np.array([vacuum_kpa, 80.0])) / 101.325
    slope = flow.laminar_factor(x)
    assert float(slope[0] / slope[1]) == pytest.approx(expected, rel=1e-9)


def test_capillary_throughput_and_the_local_law() -> None:
    """A capillary of 0.1 mm × 20 mm leaks 0.03307 Pa·m³/s (row D11); integrating p·dp/dl along it gives its outlet."""
    viscosity = 18.205675178515367e-6
    got = float(flow.capillary_throughput_pa_m3_s(0.1, 20.0, 101.325, 21.325, viscosity))
    assert got == pytest.approx(0.03306973093422251, rel=1e-9)
    pressure, steps = 101_325.0, 200_000
    pull = 128.0 * viscosity * got / (np.pi * 1e-4**4) * (0.02 / steps)
    for _ in range(steps):
        pressure -= pull / pressure
    assert pressure == pytest.approx(21_325.0, rel=1e-3)  # first-order steps
