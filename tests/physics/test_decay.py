"""Closed forms of decay against worked figures and against an integration written here.

Row names are those of a table of check values worked out twice (air, 20 °C, ambient 101.325 kPa, ideal hole b = 0.528).
"""

from collections.abc import Callable

import numpy as np
import pytest

from tracekit.physics import decay, flow

AMBIENT = 101.325
B = 0.528


def ratio(vacuum_kpa: float) -> float:
    return (AMBIENT - vacuum_kpa) / AMBIENT


def integrate(slope: Callable[[float], float], start: float, duration: float, steps: int = 4000) -> float:
    """Runge-Kutta of the fourth order, step by step."""
    x, h = start, duration / steps
    for _ in range(steps):
        a = slope(x)
        b = slope(x + 0.5 * h * a)
        c = slope(x + 0.5 * h * b)
        d = slope(x + h * c)
        x += h / 6.0 * (a + 2.0 * b + 2.0 * c + d)
    return x


def hole_rate(volume_ml: float, diameter_mm: float) -> float:
    """Choked dx/dt of an ideal hole [1/s]."""
    flow_pa_m3_s = float(flow.hole_throughput_pa_m3_s(flow.hole_conductance_dm3_s_bar(diameter_mm), B, AMBIENT, 1.0))
    return flow_pa_m3_s / (volume_ml * 1e-6 * AMBIENT * 1e3)


@pytest.mark.parametrize(
    ("volume_ml", "diameter_mm", "expected_s"),
    [
        (50, 0.3, 2.1745595793470454), (50, 0.5, 0.782841448564936), (50, 1.0, 0.195710362141234),
        (100, 0.3, 4.349119158694091), (100, 0.5, 1.565682897129872), (1000, 1.0, 3.9142072428246806),
    ],
)  # fmt: skip
def test_decay_through_a_hole_from_80_to_20_kpa(volume_ml: float, diameter_mm: float, expected_s: float) -> None:
    """The vacuum falls from 80 to 20 kPa in the time of rows D01."""
    got = decay.hole_time_s(ratio(80), ratio(20), hole_rate(volume_ml, diameter_mm), B)
    assert float(got) == pytest.approx(expected_s, rel=1e-6)


@pytest.mark.parametrize(
    ("vacuum_kpa", "expected_s"), [(60, 0.5061036723961442), (40, 1.0131017732431884), (30, 1.2764155438135125)]
)
def test_decay_through_a_hole_in_parts(vacuum_kpa: float, expected_s: float) -> None:
    """100 mL and 0.5 mm reach 60, 40 and 30 kPa of vacuum in the times of rows D04."""
    got = decay.hole_time_s(ratio(80), ratio(vacuum_kpa), hole_rate(100, 0.5), B)
    assert float(got) == pytest.approx(expected_s, rel=1e-6)


def test_share_of_the_decay_that_is_straight() -> None:
    """0.520 of the time from 80 to 20 kPa is choked and so straight, whatever the size (row D03)."""
    rate = hole_rate(77, 0.4)
    part = decay.hole_time_s(ratio(80), B, rate, B) / decay.hole_time_s(ratio(80), ratio(20), rate, B)
    assert float(part) == pytest.approx(0.5200185600556164, rel=1e-6)


@pytest.mark.parametrize(
    ("form", "first", "second"),
    [("hole", 1.0017672830680433, 1.0918338554440679), ("pores", 1.2232073575864504, 1.8441804645275528)],
)
def test_ratios_of_times_tell_the_forms_apart(form: str, first: float, second: float) -> None:
    """Times for 60→40 and 40→20 kPa over the time for 80→60 kPa (rows D07)."""
    levels = [(ratio(a), ratio(a - 20)) for a in (80.0, 60.0, 40.0)]
    if form == "hole":
        times = [float(decay.hole_time_s(a, b, 1.0, B)) for a, b in levels]
    else:
        times = [float(decay.laminar_time_s(a, b, 1.0)) for a, b in levels]
    assert times[1] / times[0] == pytest.approx(first, rel=1e-7)
    assert times[2] / times[0] == pytest.approx(second, rel=1e-7)


@pytest.mark.parametrize("b", [0.2, 0.35, 0.528])
@pytest.mark.parametrize("duration_s", [0.3, 1.1, 3.0])
def test_hole_ratio_is_the_integral_of_the_flow(b: float, duration_s: float) -> None:
    """The closed form equals a step-by-step integration of the ISO 6358 flow."""
    rate = 0.17
    expected = integrate(lambda x: rate * float(flow.subsonic_factor(x, b)), 0.15, duration_s)
    assert float(decay.hole_ratio(duration_s, 0.15, rate, b)) == pytest.approx(expected, abs=1e-6)


def test_hole_ratio_inverts_hole_time() -> None:
    """Time and ratio are inverse to each other over the whole range, and the decay ends at ambient."""
    x = np.linspace(0.1, 0.999, 50)
    back = decay.hole_ratio(decay.hole_time_s(0.1, x, 0.3, 0.4), 0.1, 0.3, 0.4)
    assert np.allclose(back, x, atol=1e-12)
    assert float(decay.hole_ratio(1e4, 0.1, 0.3, 0.4)) == pytest.approx(1.0, abs=1e-12)


def test_laminar_decay() -> None:
    """With κ = 0.05/s the vacuum falls from 80 to 20 kPa in 17.845 s (row D08), as a step-by-step integration says."""
    time = float(decay.laminar_time_s(ratio(80), ratio(20), 0.05))
    assert time == pytest.approx(17.84531343656684, rel=1e-9)
    assert integrate(lambda x: 0.05 * (1.0 - x * x), ratio(80), time) == pytest.approx(ratio(20), abs=1e-9)
    assert float(decay.laminar_ratio(time, ratio(80), 0.05)) == pytest.approx(ratio(20), abs=1e-12)


def test_throughput_of_a_pressure_rise() -> None:
    """100 mL that gain 2 kPa in 10 s leak 0.02 Pa·m³/s (row P03)."""
    assert float(decay.throughput_pa_m3_s(100.0, 0.2)) == pytest.approx(0.02, rel=1e-12)


def test_throughput_with_temperatures() -> None:
    """1 L from 21.325 to 22.325 kPa in 30 s while the gas warms by 1 K leaks 0.0308 Pa·m³/s (row P04)."""
    got = decay.corrected_throughput_pa_m3_s(1000.0, (21.325, 22.325), (293.15, 294.15), 30.0, 293.15)
    assert got == pytest.approx(0.030803444954388273, rel=1e-9)


def test_throughput_of_the_vacuum_decay_rule() -> None:
    """The worked example of 40 CFR 1065.644 (2 L, 25.3 to 50.6 kPa, 293.15 K, 70 s) leaks 0.72286 Pa·m³/s (row P02)."""
    got = decay.corrected_throughput_pa_m3_s(2000.0, (25.3, 50.6), (293.15, 293.15), 70.0, 293.15)
    assert got == pytest.approx(0.7228571428571429, rel=1e-9)


def test_volume_from_two_slopes() -> None:
    """0.6 kPa/s alone and 13.0 kPa/s with a 0.3 mm ideal hole mean 114.73 mL (row P06)."""
    extra = flow.hole_throughput_pa_m3_s(flow.hole_conductance_dm3_s_bar(0.3), B, AMBIENT, 30.0)
    assert float(decay.volume_ml(extra, 0.6, 13.0)) == pytest.approx(114.72850187813539, rel=1e-6)


@pytest.mark.parametrize(
    ("vacuum_kpa", "expected_s"), [(40, 1.152493219552698), (60, 2.1400161437984284), (80, 4.1748238026244975)]
)
def test_evacuation_time(vacuum_kpa: float, expected_s: float) -> None:
    """1 L at 0.5 L/s towards 10 kPa absolute reaches 40, 60 and 80 kPa of vacuum in the times of rows E02."""
    got = decay.evacuation_time_s(2.0, AMBIENT, AMBIENT - vacuum_kpa, 10.0)
    assert float(got) == pytest.approx(expected_s, rel=1e-7)


def test_evacuation_against_a_leak() -> None:
    """A leak of 5 kPa/s lifts 10 to 20 kPa absolute at τ = 2 s, costs 8.234 s to 80 kPa (rows E03, E04, E06)."""
    ultimate = float(decay.ultimate_kpa(10.0, 5.0, 2.0))
    assert ultimate == pytest.approx(20.0, rel=1e-12)
    assert float(decay.rate_of_ultimate_kpa_s(ultimate - 10.0, 2.0)) == pytest.approx(5.0, rel=1e-12)
    time = float(decay.evacuation_time_s(2.0, AMBIENT, 21.325, ultimate))
    assert time == pytest.approx(8.23408202584246, rel=1e-7)
    assert integrate(lambda p: -(p - 10.0) / 2.0 + 5.0, AMBIENT, time) == pytest.approx(21.325, abs=1e-6)


def test_two_volumes_even_out_like_their_integration() -> None:
    """Pressures of joined volumes follow the exponential, and the content of both stays."""
    volumes, conductance = (20.0, 60.0), 150.0
    one, two = decay.evened_out_kpa(0.08, 25.0, 40.0, volumes, conductance)
    p, q, h = 25.0, 40.0, 0.08 / 20_000
    for _ in range(20_000):
        passed = conductance * (q - p) * h
        p, q = p + passed / volumes[0], q - passed / volumes[1]
    assert (float(one), float(two)) == (pytest.approx(p, abs=1e-3), pytest.approx(q, abs=1e-3))
    assert 20.0 * float(one) + 60.0 * float(two) == pytest.approx(20.0 * 25.0 + 60.0 * 40.0, rel=1e-12)


def test_period_of_air_saving() -> None:
    """Rows T11 and T12: 5.25 s without delays, 5.901 s with 20 ms on and 30 ms off."""
    assert 1.0 / decay.air_saving_period_s(10.0, 2.0, 40.0) == pytest.approx(0.19047619047619047, rel=1e-9)
    assert decay.air_saving_period_s(10.0, 2.0, 40.0, 0.020, 0.030) == pytest.approx(5.901, rel=1e-9)
