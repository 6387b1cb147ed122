"""Flows against figures with their source. Rows are those of a vetted list of check values, named beside each."""

import numpy as np
import pytest

from tracekit.simulate.gas import LINEAR_FROM, Q_PER_L_MIN, Q_PER_PA_M3_S, laminar_flow, orifice_flow, secant

AIR_KPA = 101.325
IDEAL_C_PER_MM2 = 0.1560033361612939  # O06: C [dm³/(s·bar)] of an ideal nozzle of 1 mm diameter


@pytest.mark.parametrize(
    ("mm", "vacuum_kpa", "litres_per_min"),
    [
        (0.3, 20.0, 0.6942364427048506),
        (0.3, 40.0, 0.8420763143910452),
        (0.5, 20.0, 1.9284345630690296),
        (0.5, 60.0, 2.3710557054814654),
        (1.0, 40.0, 9.356401271011613),
        (1.0, 80.0, 9.484222821925862),
    ],
)
def test_ideal_orifice(mm: float, vacuum_kpa: float, litres_per_min: float) -> None:
    """Rows O08: flow of an ideal orifice into vacuum by the ellipse of ISO 6358, b = 0.528."""
    flow = orifice_flow(AIR_KPA, AIR_KPA - vacuum_kpa, IDEAL_C_PER_MM2 * mm * mm, 0.528)
    assert float(flow) / Q_PER_L_MIN == pytest.approx(litres_per_min, rel=1e-6)


def test_iso_form_with_b_of_a_real_part() -> None:
    """Row O10a: C = 0.2 dm³/(s·bar), b = 0.3, from 1 bar to 0.6 bar passes 0.18070158 dm³/s at reference conditions."""
    flow = orifice_flow(100.0, 60.0, 0.2, 0.3)
    assert float(flow) / 100.0 / 1000.0 == pytest.approx(0.18070158058105026, rel=1e-9)


def test_laminar_capillary() -> None:
    """Row D11: a capillary 0.1 mm × 20 mm passes 0.033069731 Pa·m³/s from 101.325 to 21.325 kPa (Hagen-Poiseuille)."""
    viscosity_pa_s = 18.205675178515367e-6  # row D10
    per_pa = np.pi * 0.1e-3**4 / (128.0 * viscosity_pa_s * 20e-3) / 2.0  # Q = per_pa·(p₁² − p₂²), SI
    kappa = per_pa * 1e9  # m³/(s·Pa) -> mL/(s·kPa)
    flow = laminar_flow(AIR_KPA, 21.325, kappa)
    assert float(flow) / Q_PER_PA_M3_S == pytest.approx(0.03306973093422251, rel=1e-9)


def test_laminar_ratio() -> None:
    """Row D14: pores pass 1.5081463 times as much at 80 kPa of vacuum as at 40."""
    ratio = laminar_flow(AIR_KPA, AIR_KPA - 80.0, 1.0) / laminar_flow(AIR_KPA, AIR_KPA - 40.0, 1.0)
    assert float(ratio) == pytest.approx(1.5081463264678758, rel=1e-9)


def test_secant_agrees_with_the_flow() -> None:
    """The secant times the pressure difference is the ISO 6358 flow, in both directions and until the linear range."""
    low = np.array([10.0, 40.0, 70.0, 99.0]) * AIR_KPA / 101.0
    high, c, b = np.full(4, AIR_KPA), np.full(4, 0.7), np.full(4, 0.4)
    flow = orifice_flow(high, low, c, b)
    assert secant(high, low, c, b) * (high - low) == pytest.approx(flow, rel=1e-12)
    assert secant(low, high, c, b) == pytest.approx(secant(high, low, c, b), rel=1e-12)


def test_secant_is_finite_at_rest() -> None:
    """Where the pressures meet the secant keeps the value of the edge of the linear range, and nothing divides by zero."""
    one = np.array([1.0])
    at_rest = secant(one * AIR_KPA, one * AIR_KPA, one, one * 0.4)
    at_edge = secant(one * AIR_KPA, one * AIR_KPA * LINEAR_FROM, one, one * 0.4)
    assert at_rest == pytest.approx(at_edge, rel=1e-12)
