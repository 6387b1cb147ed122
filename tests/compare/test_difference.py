"""The difference of two medians: interval, tests, equivalence."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.compare.compared_stations import correlated
from tracekit.compare.difference import (
    Difference,
    bounds,
    difference_of,
    p_above,
    p_below,
    p_equivalent,
    p_equivalent_share,
)
from tracekit.compare.median import fit_median
from tracekit.options.compare import SerialOptions

OPTIONS = SerialOptions()
TAIL = 0.025


def _pair(seed: int, shift: float = 0.0, n: tuple[int, int] = (80, 120), fade: float = 0.4) -> Difference:
    rng = np.random.default_rng(seed)
    sides = [correlated(rng, k, fade, 0.5, 0.0) for k in n]
    return difference_of(fit_median(sides[0], OPTIONS), fit_median(sides[1] + shift, OPTIONS))


@given(st.integers(0, 40), st.floats(-1.0, 1.0))
def test_interval_and_tests_agree(seed: int, shift: float) -> None:
    """The one-sided p value is below 2.5 % exactly where the interval lies beyond the limit asked about."""
    difference = _pair(seed, shift)
    low, high = bounds(difference, TAIL)
    assert low <= difference.value <= high
    for limit in (-0.5, 0.0, 0.3):
        if abs(low - limit) > 1e-6:
            assert (p_above(difference, limit) <= TAIL) == (low >= limit)
        if abs(high - limit) > 1e-6:
            assert (p_below(difference, limit) <= TAIL) == (high <= limit)


@given(st.integers(0, 40))
def test_p_values_of_both_sides_sum_to_one(seed: int) -> None:
    """What speaks for more does not speak for less."""
    difference = _pair(seed, 0.2)
    assert p_above(difference, 0.0) + p_below(difference, 0.0) == pytest.approx(1.0)


@given(st.integers(0, 40))
def test_exchanging_the_sides_turns_everything_round(seed: int) -> None:
    """compare(a, b) = -compare(b, a)."""
    difference = _pair(seed, 0.3)
    other = difference_of(difference.after, difference.before)
    low, high = bounds(difference, TAIL)
    assert bounds(other, TAIL) == pytest.approx((-high, -low), abs=1e-9)
    assert p_above(other, 0.0) == pytest.approx(p_below(difference, 0.0), abs=1e-9)


def test_more_confidence_is_wider() -> None:
    """Intervals grow with their level, and p values fall with the distance."""
    difference = _pair(3, 0.4)
    spans = [np.ptp(bounds(difference, tail)) for tail in (0.1, 0.05, 0.025, 0.005)]
    assert spans == sorted(spans)
    ps = [p_above(difference, limit) for limit in (-1.0, -0.5, 0.0, 0.5)]
    assert ps == sorted(ps)


def test_equivalence_is_the_ninety_per_cent_interval() -> None:
    """Two one-sided tests at 5 % agree with the 90 % interval lying inside the margin."""
    for seed in range(30):
        difference = _pair(seed, 0.05)
        low, high = bounds(difference, 0.05)
        for margin in (0.2, 0.5, 1.0):
            inside = low > -margin and high < margin
            assert (p_equivalent(difference, margin) < 0.05) == inside


def test_a_difference_at_the_margin_is_no_equivalence() -> None:
    """Where the difference seen is the margin, p is one half."""
    difference = _pair(5, 0.0)
    assert p_equivalent(difference, abs(difference.value)) == pytest.approx(0.5, abs=0.01)


def test_a_margin_that_is_a_share_is_uncertain_itself() -> None:
    """Against 10 % of a median before that is known badly, equivalence is harder to show than against its value."""
    rng = np.random.default_rng(6)
    before = fit_median(5.0 + rng.normal(size=60), OPTIONS)
    after = fit_median(5.0 + 0.1 * rng.normal(size=300), OPTIONS)
    difference = difference_of(before, after)
    fixed, own = p_equivalent(difference, 0.1 * before.median), p_equivalent_share(difference, 0.1)
    assert own == pytest.approx(fixed, abs=0.03)
    turned = difference_of(fit_median(-5.0 - rng.normal(size=60), OPTIONS), fit_median(np.full(300, -5.0), OPTIONS))
    assert 0.0 < p_equivalent_share(turned, 0.1) < 0.5
    exact = difference_of(fit_median(np.full(80, 5.0), OPTIONS), after)
    assert p_equivalent_share(exact, 0.1) == pytest.approx(p_equivalent(exact, 0.5), abs=1e-6)


def test_common_errors_keep_a_difference_open() -> None:
    """A shift of one that is plain by the cycles is lost in a common error of one."""
    rng = np.random.default_rng(8)
    sides = rng.normal(size=300), rng.normal(size=300) + 1.0
    plain = difference_of(*(fit_median(s, OPTIONS) for s in sides))
    shared = difference_of(*(fit_median(s, OPTIONS, common=(1.0, 1.0)) for s in sides))
    assert p_above(plain, 0.0) < 1e-3
    assert p_above(shared, 0.0) > 0.1


def test_counts_that_never_change() -> None:
    """Four switches on every cycle before and two after differ by exactly two, with a p value that n decides."""
    few = difference_of(*(fit_median(np.full(9, v), OPTIONS) for v in (4.0, 2.0)))
    many = difference_of(*(fit_median(np.full(90, v), OPTIONS) for v in (4.0, 2.0)))
    assert bounds(many, TAIL) == (-2.0, -2.0)
    assert p_below(many, 0.0) < p_below(few, 0.0) < 0.05
    same = difference_of(*(fit_median(np.full(60, 2.0), OPTIONS) for _ in range(2)))
    assert bounds(same, TAIL) == (0.0, 0.0)
    assert p_equivalent(same, 1.0) < 0.05


def test_an_open_side_gives_a_bound() -> None:
    """With only a lower bound before, the difference has an upper end and no lower one."""
    rng = np.random.default_rng(9)
    before = fit_median(rng.normal(size=60) + 5.0, OPTIONS, common=(0.2, np.inf))
    difference = difference_of(before, fit_median(rng.normal(size=60), OPTIONS))
    low, high = bounds(difference, TAIL)
    assert low == -np.inf
    assert high < -3.0
    assert p_below(difference, 0.0) < TAIL
    assert p_above(difference, 0.0) >= 0.5


@pytest.mark.parametrize(("fade", "share"), [(0.0, 0.0), (0.5, 0.7), (0.8, 0.7)])
def test_coverage(fade: float, share: float) -> None:
    """Over 150 pairs from one station the 95 % interval holds zero in at least 89 of 100."""
    held = 0
    for seed in range(150):
        rng = np.random.default_rng([seed, int(10 * fade)])
        first, second = (fit_median(correlated(rng, n, fade, share, 0.0), OPTIONS) for n in (60, 150))
        low, high = bounds(difference_of(first, second), TAIL)
        held += low <= 0.0 <= high
    assert held / 150 >= 0.89
