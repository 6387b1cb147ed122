"""Group-sequential bounds against printed tables and by simulation."""

import numpy as np
import pytest

from tracekit.compare.sequential import bounds_at, chance_of_crossing, drift_for, information_of, spent

# O'Brien-Fleming-type spending of Lan and DeMets, one-sided 2.5 %, equally spaced looks. Recalled from printed tables
# of group-sequential methods (from memory, not verified); the simulation below checks them independently.
LAN_DEMETS_1983 = {
    1: (1.9600,),
    2: (2.9626, 1.9686),
    3: (3.7103, 2.5114, 1.9930),
    4: (4.3326, 2.9631, 2.3590, 2.0141),
    5: (4.8769, 3.3570, 2.6803, 2.2898, 2.0310),
}


@pytest.mark.parametrize("looks", LAN_DEMETS_1983)
def test_bounds_as_printed(looks: int) -> None:
    """Bounds at equally spaced looks agree with the printed ones to three decimals."""
    found = bounds_at([(k + 1) / looks for k in range(looks)], 0.025)
    assert found == pytest.approx(LAN_DEMETS_1983[looks], abs=2e-3)


def test_all_is_spent_at_the_end() -> None:
    """Hardly any of the error is spent early, all at the end."""
    assert spent(1.0, 0.025) == pytest.approx(0.025)
    assert spent(0.25, 0.025) < 1e-5
    shares = [spent(k / 10, 0.025) for k in range(1, 11)]
    assert shares == sorted(shares)


@pytest.mark.parametrize("information", [(0.3, 0.5, 1.0), (0.4, 0.67, 0.86, 1.0), (0.9, 0.95, 1.0)])
def test_the_error_rate_is_kept(information: tuple[float, ...]) -> None:
    """Whatever the spacing, the chance of crossing without a change is 2.5 %."""
    assert chance_of_crossing(information, bounds_at(information, 0.025), 0.0) == pytest.approx(0.025, abs=1e-6)


def test_the_error_rate_by_simulation() -> None:
    """200 000 random walks cross the four bounds in 2.5 ± 0.1 of 100 cases, and 10 and more of 100 without bounds."""
    rng = np.random.default_rng(11)
    steps = rng.normal(size=(200_000, 4)) * 0.5
    z = np.cumsum(steps, axis=1) / np.sqrt([0.25, 0.5, 0.75, 1.0])
    bounds = np.array(bounds_at([0.25, 0.5, 0.75, 1.0], 0.025))
    assert np.mean((z > bounds).any(axis=1)) == pytest.approx(0.025, abs=0.001)
    assert np.mean((z > 1.96).any(axis=1)) > 0.05


def test_power_by_simulation() -> None:
    """The chance of crossing with a drift agrees with random walks."""
    rng = np.random.default_rng(12)
    z = np.cumsum(rng.normal(size=(100_000, 3)) * np.sqrt(1 / 3) + 1.0, axis=1) / np.sqrt([1 / 3, 2 / 3, 1.0])
    bounds = bounds_at([1 / 3, 2 / 3, 1.0], 0.025)
    simulated = float(np.mean((z > np.array(bounds)).any(axis=1)))
    assert chance_of_crossing([1 / 3, 2 / 3, 1.0], bounds, 3.0) == pytest.approx(simulated, abs=0.006)


def test_one_look_is_the_plain_test() -> None:
    """One look takes the plain drift of 1.960 + 0.842; more looks take a little more."""
    one = drift_for([1.0], bounds_at([1.0], 0.025), 0.8)
    four = drift_for([0.25, 0.5, 0.75, 1.0], bounds_at([0.25, 0.5, 0.75, 1.0], 0.025), 0.8)
    assert one == pytest.approx(1.959964 + 0.841621, abs=1e-4)
    assert one < four < 1.02 * one


def test_information_while_after_grows() -> None:
    """Half of AFTER beside the whole of BEFORE gives two thirds of the information."""
    assert information_of([0.5, 1.0]) == pytest.approx((2 / 3, 1.0))
