"""Shares of cycles against published and recomputed figures."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.compare.counts import (
    clean_by_chance,
    clean_cycles,
    exact_fewer,
    exact_limits,
    share_difference,
    smallest_p,
)


@pytest.mark.parametrize(
    ("success", "cycles"),
    [(0.9, 29), (0.95, 59), (0.99, 299), (0.999, 2995)],
)
def test_success_run(success: float, cycles: int) -> None:
    """Clean cycles that show a success rate at 95 %: the success-run theorem, 2995 as printed for 0.999."""
    assert clean_cycles(1.0 - success, 0.95) == cycles


def test_clean_cycles_for_a_quarter_of_an_old_rate() -> None:
    """A rate below a quarter of 2 % takes 598 clean cycles; the rule of three says 600."""
    assert clean_cycles(0.005, 0.95) == 598


def test_clean_run_by_chance() -> None:
    """150 clean cycles are 4.8 % likely although every fiftieth drops: (1 - p)^n."""
    assert clean_by_chance(0.02, 150) == pytest.approx(0.04829602124348778, rel=1e-9)


@pytest.mark.parametrize(
    ("events", "one_sided", "upper"),
    [
        (0, 0.05, 0.0029912495450953314),  # 1 - 0.05^(1/1000)
        (0, 0.025, 0.00368208389686564),  # 1 - 0.025^(1/1000)
        (1, 0.05, 0.004734993575499777),  # beta distribution, and a root of the binomial tail
    ],
)
def test_clopper_pearson(events: int, one_sided: float, upper: float) -> None:
    """Upper limits of a share in 1000 cycles, Clopper and Pearson 1934."""
    assert exact_limits(events, 1000, one_sided)[1] == pytest.approx(upper, rel=1e-6)


def test_all_events_and_none() -> None:
    """No event has the lower limit 0, events only the upper limit 1."""
    assert exact_limits(0, 20, 0.025)[0] == 0.0
    assert exact_limits(20, 20, 0.025)[1] == 1.0


@given(st.integers(1, 60), st.data())
def test_limits_turn_round(cycles: int, data: st.DataObject) -> None:
    """Counting the clean cycles instead mirrors the limits."""
    events = data.draw(st.integers(0, cycles))
    low, high = exact_limits(events, cycles, 0.025)
    mirrored = exact_limits(cycles - events, cycles, 0.025)
    assert (1.0 - high, 1.0 - low) == pytest.approx(mirrored, abs=1e-12)


def test_fisher() -> None:
    """Eight of 400 before and none of 400 after: one-sided p 0.00377, Fisher's exact test by the hypergeometric."""
    assert exact_fewer((8, 0), (400, 400)) == pytest.approx(0.0037706450711151593, rel=1e-9)


@given(st.integers(1, 9), st.integers(1, 9), st.data())
def test_fisher_by_enumeration(n: int, m: int, data: st.DataObject) -> None:
    """The p value is the share of all ways to deal the events that give the second side as few or fewer."""
    first, second = data.draw(st.integers(0, n)), data.draw(st.integers(0, m))
    total = first + second
    deals = list(itertools.combinations(range(n + m), total))
    few = sum(sum(place >= n for place in deal) <= second for deal in deals)
    assert exact_fewer((first, second), (n, m)) == pytest.approx(few / len(deals), rel=1e-9)


def test_smallest_p_without_events() -> None:
    """Without any event no test can speak, with eight the smallest p is that of all on one side."""
    assert smallest_p((0, 0), (400, 400)) == 1.0
    assert smallest_p((5, 3), (400, 400)) == pytest.approx(exact_fewer((8, 0), (400, 400)))


def test_smallest_p_with_more_events_than_cycles_on_a_side() -> None:
    """More events in all than a side has cycles leave that side full, which is no proof."""
    assert 0.0 < smallest_p((30, 2), (30, 4)) <= 1.0


@given(st.integers(0, 30), st.integers(0, 30))
def test_difference_of_shares_turns_round(first: int, second: int) -> None:
    """Exchanging the sides mirrors the interval, which holds the difference seen."""
    low, high = share_difference((first, second), (30, 30), 0.025)
    other = share_difference((second, first), (30, 30), 0.025)
    assert (-high, -low) == pytest.approx(other, abs=1e-12)
    assert low <= (second - first) / 30 <= high


def test_difference_of_shares_covers() -> None:
    """The interval misses the true difference in fewer than 5 of 100 worlds: exact sum over all counts."""
    n, p, q = 40, 0.10, 0.05
    chance = [[math.comb(n, k) * s**k * (1 - s) ** (n - k) for k in range(n + 1)] for s in (p, q)]
    missed = 0.0
    for first, second in itertools.product(range(n + 1), repeat=2):
        low, high = share_difference((first, second), (n, n), 0.025)
        if not low <= q - p <= high:
            missed += chance[0][first] * chance[1][second]
    assert missed < 0.05
