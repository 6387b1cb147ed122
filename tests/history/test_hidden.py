"""A small repair that nobody noted may hide in the scatter: where it may, the slope's interval is wider."""

import numpy as np
import pytest

from tracekit.history.hidden import allow_for_hidden_step, best_step
from tracekit.history.slope import robust_slope
from tracekit.options.history import TrendOptions

OPTIONS = TrendOptions()


def least_squares_gain(time: np.ndarray, value: np.ndarray, cut: int) -> float:
    """What a step before log `cut` takes off the squared residuals, by two whole fits."""
    line = np.stack([np.ones(len(time)), time], axis=1)
    step = np.concatenate([line, (np.arange(len(time)) >= cut).astype(float)[:, None]], axis=1)
    left = [float(((value - shape @ np.linalg.lstsq(shape, value, rcond=None)[0]) ** 2).sum()) for shape in (line, step)]
    return left[0] - left[1]


def test_the_best_step_is_that_of_all_fits() -> None:
    """The gain found from sums equals that of whole least-squares fits, and no other cut gains more."""
    rng = np.random.default_rng(1)
    time, value = np.sort(rng.uniform(0, 90, 40)), rng.normal(size=40)
    gain, cut = best_step(time, value, 4)
    gains = {at: least_squares_gain(time, value, at) for at in range(4, 37)}
    assert gain == pytest.approx(max(gains.values()), rel=1e-9)
    assert gains[cut] == pytest.approx(gain, rel=1e-9)


def test_a_hidden_repair_widens_towards_the_truth() -> None:
    """A leak that grows by 0.2 % a day and loses 18 % on day 60: the plain interval misses the growth, the wider one holds it."""
    rng = np.random.default_rng(2)
    days = np.arange(120.0)
    value = 0.002 * days - 0.2 * (days >= 60) + 0.06 * rng.normal(size=120)
    plain = robust_slope(days, value)
    assert plain is not None
    assert not plain.lower <= 0.002 <= plain.upper
    wide = allow_for_hidden_step(days, value, plain, OPTIONS)
    assert wide.lower <= 0.002 <= wide.upper
    assert (wide.slope, wide.p_value) == (plain.slope, plain.p_value)
    assert wide.se / plain.se == pytest.approx((wide.upper - wide.lower) / (plain.upper - plain.lower))


def test_few_logs_and_clean_lines_stay_as_they_are() -> None:
    """Under twenty logs, and where a line says all, nothing is widened."""
    rng = np.random.default_rng(3)
    short = np.arange(19.0)
    noisy = rng.normal(size=19) - 3.0 * (short >= 9)
    line = robust_slope(short, noisy)
    assert line is not None
    assert allow_for_hidden_step(short, noisy, line, OPTIONS) is line
    days = np.arange(60.0)
    straight = 0.01 * days + 0.001 * np.where(np.arange(60) % 2 == 0, 1.0, -1.0)
    clean = robust_slope(days, straight)
    assert clean is not None
    assert allow_for_hidden_step(days, straight, clean, OPTIONS) is clean
