"""Bounds of quantiles without a distribution."""

import numpy as np
import pytest

from tracekit.tune.quantile import high_bound, low_bound


@pytest.mark.parametrize("n", [60, 200, 1000])
def test_low_bound_lies_below_the_quantile_in_19_of_20(n):
    """The bound is under the true 5 % quantile in at least 94 % of samples, normal or skewed."""
    rng = np.random.default_rng(n)
    for draw, true in ((rng.standard_normal, -1.6449), (lambda size: rng.exponential(size=size), 0.0513)):
        below = [low_bound(draw(n), 0.05) <= true for _ in range(400)]
        assert np.mean(below) >= 0.92


def test_few_values_are_carried_beyond_the_lowest():
    """With too few values for an order statistic the bound lies beyond the lowest, the farther the fewer they are."""
    values = np.linspace(60.0, 70.0, 12)
    assert low_bound(values, 0.05) < low_bound(np.linspace(60.0, 70.0, 50), 0.05) < 60.0


def test_high_bound_mirrors_the_low_one():
    """The upper bound of values is minus the lower bound of their negatives."""
    values = np.random.default_rng(3).normal(size=80)
    assert high_bound(values, 0.05) == -low_bound(-values, 0.05)


def test_nothing_gives_nothing():
    """No values give NaN, not a number out of the air."""
    assert np.isnan(low_bound([], 0.05))
