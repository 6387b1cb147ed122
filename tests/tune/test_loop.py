"""The air-saving loop in closed form."""

from dataclasses import replace

import numpy as np
import pytest

from tracekit.physics.decay import air_saving_period_s
from tracekit.tune.loop import Lanes, coast_pressure, coast_time, run_loop


def lanes(**changed) -> Lanes:
    """One lane at 65 to 75 kPa; gas that follows the wall at once unless told otherwise."""
    one = np.ones((1, 1))
    made = Lanes(
        off=75.0 * one, on=65.0 * one, first_cut_s=0.3 * one, end_s=60.0 * one, rate=2.0 * one, ambient=100.0,
        exchange_1_s=1e4 * one, ultimate=1e4 * one, tau_s=(1e4 - 70.0) / 40.0 * one, delay_on_s=0.0 * one,
        delay_off_s=0.0 * one, delay_later_s=0.0 * one, first_rise=40.0 * one, first_memory=0.0 * one,
        later_share=0.0 * one,
    )  # fmt: skip
    return replace(made, **{k: np.asarray(v, float).reshape(1, 1) for k, v in changed.items()})


@pytest.mark.parametrize(("on_delay", "off_delay"), [(0.0, 0.0), (0.02, 0.03)])
def test_isothermal_loop_has_the_saw_tooths_period(on_delay, off_delay):
    """Without warming gas the period is the saw-tooth's, 5.25 s without and 5.901 s with delays (T11, T12)."""
    found = run_loop(lanes(delay_on_s=on_delay, delay_off_s=off_delay, delay_later_s=off_delay))
    assert found.period_s.item() == pytest.approx(air_saving_period_s(10.0, 2.0, 40.0, on_delay, off_delay), rel=2e-3)


def test_edges_of_a_hold_are_counted():
    """In a hold of 60 s with a period of 5.25 s the supply goes off 12 times and on 11 times."""
    found = run_loop(lanes())
    assert found.switches.item() == 23.0
    assert found.on_time_s.item() == pytest.approx(0.3 + 11 * 0.25, rel=0.01)


def test_a_cut_out_of_reach_never_comes():
    """Where the first cut comes after the end of suction nothing switches and the supply is on all the time."""
    found = run_loop(lanes(first_cut_s=np.inf, end_s=2.0))
    assert found.switches.item() == 0.0
    assert found.on_time_s.item() == pytest.approx(2.0)


def test_a_supply_that_resumes_in_vain_stays_on():
    """Where the supply cut once but no longer reaches supply_off it stays on to the end, without a warning on the way."""
    with np.errstate(divide="raise", invalid="raise", over="raise"):
        found = run_loop(lanes(ultimate=65.0, off=75.0, on=66.0, tau_s=0.1, end_s=20.0, rate=4.0, exchange_1_s=9.0))
    assert found.switches.item() == 2.0
    coast = 0.3 + (75.0 - 66.0) / 4.0
    assert found.on_time_s.item() == pytest.approx(0.3 + 20.0 - coast, abs=0.3)


@pytest.mark.parametrize("memory", [-0.45, -0.2, 0.1])
@pytest.mark.parametrize("rate", [0.3, 3.0, 30.0])
def test_coast_against_time_steps(memory, rate):
    """The time of a coast agrees with small steps of the same law within 2 %, or 3 ms.

    The law: z rises at the leak rate, e follows e' = rate/z - k·e, P = z·exp(0.4·e) (physics.heat, to first order).
    """
    k, ambient, start, target = 9.0, 100.0, 72.0, 63.0
    lane = lanes(rate=rate, exchange_1_s=k, off=start, on=target)
    time, _, _ = coast_time(lane, np.array([[start]]), np.array([[memory]]))
    step, z, e, t = 2e-4, (ambient - start) / np.exp(0.4 * memory), memory, 0.0
    while z * np.exp(0.4 * e) < ambient - target and t < 100.0:
        e += step * (rate / z - k * e)
        z += step * rate
        t += step
    assert time.item() == pytest.approx(t, rel=0.02, abs=0.003)


def test_coast_ends_at_the_threshold():
    """The pressure at the end of a coast is that of supply_on."""
    lane = lanes(rate=4.0, exchange_1_s=8.0)
    memory = np.array([[-0.3]])
    time, _, _ = coast_time(lane, np.array([[75.0]]), memory)
    assert coast_pressure(lane, np.array([[75.0]]), memory, time).item() == pytest.approx(35.0, abs=0.02)


def test_wider_bands_switch_less():
    """For every leak a wider band never switches more."""
    rates = np.linspace(0.2, 20.0, 15)
    counts = [
        [run_loop(lanes(rate=r, on=75.0 - band, end_s=4.0, exchange_1_s=9.0, first_memory=-0.3)).switches.item() for band in (2.0, 4.0, 8.0)]
        for r in rates
    ]
    assert all(a >= b >= c for a, b, c in counts)
    assert counts[-1][0] > counts[-1][2]
