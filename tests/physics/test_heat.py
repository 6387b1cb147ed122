"""Heat between gas and wall against an integration of mass and energy written here, and a slow twin of the recursion."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from tracekit.physics import heat

AMBIENT = 100.0
Floats = NDArray[np.float64]


def station(tau_s: float, pump_s: float, leak_kpa_s: float, cut_s: float, end_s: float) -> NDArray[np.float64]:
    """Mass and energy of one volume, Euler steps of 10 µs: evacuated until `cut_s`, then coasting.

    Rows of (time, pressure, ln(T/T_a), content as pressure at ambient temperature), one a millisecond.
    """
    step, gamma = 1e-5, 1.4
    pressure, warmth = AMBIENT, 1.0
    rows = []
    for k in range(round(end_s / step)):
        x = pressure / AMBIENT
        wall = (1.0 / warmth - 1.0) / (tau_s * np.sqrt(x)) * pressure
        suction = max(pressure - 0.12 * AMBIENT, 0.0) / pump_s if k * step < cut_s else 0.0
        content = pressure / warmth + step * (leak_kpa_s - suction / warmth)
        pressure += step * (gamma * (leak_kpa_s - suction) + wall)
        warmth = pressure / content
        if k % 100 == 0:
            rows.append((k * step, pressure, np.log(warmth), content))
    return np.array(rows)


def memory_of(time: Floats, u: Floats, exchange: Floats, inflow: Floats) -> Floats:
    """The gas's memory, first to first order in its temperature, then with the boost that this gives."""
    step, first = np.diff(time, prepend=time[0]), np.arange(len(time)) == 0
    rough = heat.follow(u, (exchange + inflow) * step, first)
    boost = heat.exchange_boost(u, rough)
    return heat.follow(u, (exchange * boost + inflow / boost) * step, first)


@pytest.mark.parametrize(("tau_s", "pump_s", "leak_kpa_s"), [(0.1, 0.08, 3.0), (0.4, 0.08, 20.0), (0.2, 0.05, 1.0)])
def test_gas_memory_gives_the_temperature_of_the_gas(tau_s: float, pump_s: float, leak_kpa_s: float) -> None:
    """The temperature computed from the pressure alone is that of the integration within 0.3 K per 30 K of cooling."""
    time, pressure, warmth, _ = station(tau_s, pump_s, leak_kpa_s, 0.3, 0.9).T
    u = np.log(pressure / AMBIENT)
    exchange = heat.exchange_rate_1_s(tau_s, pressure / AMBIENT)
    memory = memory_of(time, u, exchange, leak_kpa_s / pressure)
    got = heat.MEMORY_SHARE * (u - memory)
    assert float(np.abs(warmth).max()) > 0.05
    assert np.abs(got - warmth).max() < 0.012 * np.abs(warmth).max() + 2e-4


def test_virtual_pressure_rises_at_the_isothermal_rate() -> None:
    """After the cut the virtual pressure rises at the leak's isothermal rate while the pressure itself does not."""
    time, pressure, _, _ = station(0.15, 0.08, 3.0, 0.3, 1.2).T
    u = np.log(pressure / AMBIENT)
    exchange = heat.exchange_rate_1_s(0.15, pressure / AMBIENT)
    memory = memory_of(time, u, exchange, 3.0 / pressure)
    virtual = AMBIENT * heat.virtual_pressure(u, memory)
    coast = (time > 0.31) & (time < 0.7)
    slope = np.polyfit(time[coast], virtual[coast], 1)[0]
    straight = np.polyfit(time[coast], pressure[coast], 1)[0]
    assert slope == pytest.approx(3.0, rel=0.02)
    assert straight > 1.5 * slope


def test_first_rise_of_a_filled_vessel_is_adiabatic() -> None:
    """Gas let into a resting vessel raises its pressure 1.4 times as fast at first as isothermally (row P13)."""
    time, pressure, _, content = station(1e3, 1.0, 5.0, 0.0, 0.05).T
    assert (pressure[-1] - AMBIENT) / (content[-1] - AMBIENT) == pytest.approx(1.4, rel=1e-3)
    assert time[-1] == pytest.approx(0.049)


def test_conduction_times() -> None:
    """A 4 mm hose has 0.01 s and a 30 mm cup 0.6 s at 35 kPa absolute (r²/(5.8 α), common practice)."""
    assert heat.conduction_time_s(2.0, 35.0) == pytest.approx(0.0113, rel=0.01)
    assert heat.conduction_time_s(15.0, 35.0) == pytest.approx(0.638, rel=0.01)


def slow_twin(factor: list[float], into: list[float]) -> list[float]:
    """The recursion as a plain loop."""
    out, y = [], 0.0
    for a, b in zip(factor, into, strict=True):
        y = a * y + b
        out.append(y)
    return out


@given(st.lists(st.tuples(st.floats(0.0, 1.0), st.floats(-5.0, 5.0)), min_size=1, max_size=80))
def test_recursion_equals_the_plain_loop(pairs: list[tuple[float, float]]) -> None:
    """Doubling gives what a loop gives, with restarts where the factor is 0."""
    factor, into = [0.0, *(a for a, _ in pairs[1:])], [b for _, b in pairs]
    got = heat.recursion(np.array(factor), np.array(into))
    assert np.allclose(got, slow_twin(factor, into), atol=1e-6)


def test_follow_is_exact_for_a_ramp() -> None:
    """A first-order lag behind a ramp has its textbook solution at any step."""
    rate, step = 7.0, np.array([0.0, 0.3, 0.01, 0.9, 0.2])
    time = np.cumsum(step)
    got = heat.follow(2.0 * time, rate * step, np.arange(5) == 0)
    assert np.allclose(got, 2.0 * time - 2.0 / rate * (1.0 - np.exp(-rate * time)), atol=1e-12)


def test_parts_of_one_time_constant_are_one_part() -> None:
    """Without spread there is one mode of rate 1.4, as the single law says; gains always add up to one."""
    assert float(heat.wall_parts(0.0).lam[0]) == pytest.approx(1.4)
    for spread in (0.0, 0.5, 1.0):
        assert float(heat.wall_parts(spread).gain.sum()) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("spread", [0.3, 1.0])
def test_modes_of_two_parts_are_the_solution_of_their_joint_law(spread: float) -> None:
    """After a step of the content the mean memory of two parts follows its modes, as a step-by-step integration says."""
    parts = heat.wall_parts(spread)
    y, start, q, step = np.array([-0.3, -0.1]), np.array([-0.3, -0.1]), 0.2, 1e-4
    for _ in range(8000):
        u = 1.4 * q - 0.4 * y.mean()
        y = y + step * parts.kappa * (u - y)
    faded = np.exp(-parts.lam * 0.8)
    closed = q * float(np.sum(parts.gain * (1.0 - faded))) + float(faded @ (parts.take @ start))
    assert float(y.mean()) == pytest.approx(closed, abs=2e-5)


def test_parts_of_a_volume_are_shared_and_cannot_be_written() -> None:
    """Modes are worked out once per spread; nobody who holds them can change them for the others."""
    parts = heat.wall_parts(0.5)
    assert heat.wall_parts(0.5) is parts
    with pytest.raises(ValueError, match="read-only"):
        parts.gain[0] = 1.0
