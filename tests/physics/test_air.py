"""Atmosphere and reference states against table values (row names: a table of check values worked out twice)."""

import pytest

from tracekit.physics import air


@pytest.mark.parametrize(
    ("altitude_m", "expected_kpa"), [(0, 101.325), (500, 95.4608), (1000, 89.8746), (1500, 84.5560), (2000, 79.4952)]
)
def test_standard_atmosphere(altitude_m: float, expected_kpa: float) -> None:
    """Pressures of ISO 2533:1975 at geopotential altitudes (rows A01; table digits recalled, ±0.3 Pa)."""
    assert float(air.standard_pressure_kpa(altitude_m)) == pytest.approx(expected_kpa, abs=3e-4)


@pytest.mark.parametrize(("height_m", "expected_kpa"), [(500, 95.46128549), (1000, 89.87627760), (2000, 79.50141107)])
def test_geometric_heights(height_m: float, expected_kpa: float) -> None:
    """Heights above sea level become geopotential altitudes first (rows A02)."""
    assert float(air.standard_pressure_kpa(air.geopotential_m(height_m))) == pytest.approx(expected_kpa, rel=2e-5)


def test_reference_flow() -> None:
    """1 Pa·m³/s at 20 °C is 0.6 L/min ANR (row L03), and less when the gas is warmer."""
    assert float(air.anr_l_min(1.0, 293.15)) == pytest.approx(0.6, rel=1e-12)
    assert float(air.anr_l_min(1.0, 313.15)) == pytest.approx(0.6 * 293.15 / 313.15, rel=1e-12)
    per_ml = float(air.anr_l_min(1e-3, air.ANR_K))  # 1 mL·kPa/s is 1e-3 Pa·m³/s
    assert pytest.approx(per_ml, rel=1e-12) == air.L_MIN_ANR_PER_ML_KPA_S
    assert float(air.throughput_of_anr_pa_m3_s(1.0, 293.15)) == pytest.approx(1.6666666666666667, rel=1e-12)


def test_normal_litres() -> None:
    """1 L/min at the normal state is 1.08744 L/min ANR (row L05)."""
    assert float(air.anr_of_normal(1.0)) == pytest.approx(1.0874400054914881, rel=1e-9)


def test_reference_vacuum_depends_on_the_ambient() -> None:
    """60 kPa of vacuum leave 40.8 % of ambient at sea level and 33.2 % at 1 000 m."""
    assert float(air.reference_vacuum_ratio(60.0, 101.325)) == pytest.approx(0.4078460399703923, rel=1e-12)
    assert float(air.reference_vacuum_ratio(60.0, 89.8746)) == pytest.approx(0.3324031483, rel=1e-9)
