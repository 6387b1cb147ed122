"""Rank statistics against published examples and plain enumeration."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.compare.ranks import p_equal_means, p_pairs_above, pairs_above, shift, shift_limits

# Hollander and Wolfe, Nonparametric Statistical Methods: permeability of the chorioamnion, at term and at 12 to 26 weeks
HOLLANDER_WOLFE_TERM = np.array([0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46])
HOLLANDER_WOLFE_EARLY = np.array([1.15, 0.88, 0.90, 0.74, 1.21])


def test_mann_whitney() -> None:
    """U is 35 and its exact one-sided p value 0.1272 on the permeability data (Hollander and Wolfe; 0.1272 recalled)."""
    assert pairs_above(HOLLANDER_WOLFE_TERM, HOLLANDER_WOLFE_EARLY) == 35.0
    p = p_pairs_above(HOLLANDER_WOLFE_TERM, HOLLANDER_WOLFE_EARLY)
    assert p == pytest.approx(0.1272061272061272, rel=1e-9)


def test_hodges_lehmann() -> None:
    """The shift is 0.305 with the exact 95 % limits -0.15 and 0.76 (same data; limits recalled to two digits)."""
    assert shift(HOLLANDER_WOLFE_TERM, HOLLANDER_WOLFE_EARLY) == pytest.approx(0.305, abs=5e-4)
    limits = shift_limits(HOLLANDER_WOLFE_TERM, HOLLANDER_WOLFE_EARLY, 0.025)
    assert limits == pytest.approx((-0.15, 0.76), abs=0.01)


def test_mann_whitney_two_sided_of_five_and_four() -> None:
    """U = 17 of 20 pairs with five and four values has the two-sided p value 14/126 = 0.1111."""
    first, second = np.array([19.0, 22.0, 16.0, 29.0, 24.0]), np.array([20.0, 11.0, 17.0, 12.0])
    assert pairs_above(first, second) == 17.0
    assert 2.0 * p_pairs_above(first, second) == pytest.approx(14 / 126, rel=1e-9)


@given(st.lists(st.integers(0, 400), min_size=3, max_size=9, unique=True), st.data())
def test_p_by_enumeration(values: list[int], data: st.DataObject) -> None:
    """The exact p value is the share of all splits that reach U."""
    n = data.draw(st.integers(1, len(values) - 1))
    all_values = np.array(values, float)
    reached = pairs_above(all_values[:n], all_values[n:])
    splits = list(itertools.combinations(range(len(values)), n))
    more = sum(
        pairs_above(all_values[list(s)], np.delete(all_values, list(s))) >= reached - 1e-9 for s in splits
    )
    assert p_pairs_above(all_values[:n], all_values[n:]) == pytest.approx(more / len(splits), rel=1e-9)


def test_ties_use_the_normal_form() -> None:
    """Equal values leave p near one half, and a clear shift with ties far below it."""
    assert p_pairs_above(np.full(20, 2.0), np.full(20, 2.0)) > 0.5
    assert p_pairs_above(np.repeat([3.0, 4.0], 20), np.repeat([2.0, 3.0], 20)) < 1e-4


def test_shift_without_enough_values() -> None:
    """Two values a side cannot give a 95 % interval."""
    assert shift_limits(np.array([1.0, 2.0]), np.array([3.0, 4.0]), 0.025) == (-np.inf, np.inf)


def test_shift_of_large_sets_is_thinned() -> None:
    """A million by a million pairs are thinned and still give the shift."""
    rng = np.random.default_rng(3)
    assert shift(rng.normal(size=20_000) + 1.0, rng.normal(size=20_000)) == pytest.approx(1.0, abs=0.1)


def test_two_one_sided_t_tests() -> None:
    """The p value of equivalence within 0.3 is 0.006187: Schuirmann 1987, also by a second statistics package."""
    first = np.array([10.1, 9.8, 10.3, 10.0, 9.9, 10.2, 10.1, 9.7])
    second = np.array([10.0, 10.2, 9.9, 10.1, 10.3, 9.8, 10.0, 10.1])
    assert p_equal_means(first, second, 0.3) == pytest.approx(0.006186767347166509, rel=1e-9)
