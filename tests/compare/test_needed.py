"""How many cycles a decision takes."""

import math

import pytest

from tracekit.compare.needed import Scatter, cycles_for, power_to_equal, power_to_show
from tracekit.model.estimate import Withheld

PLAIN = Scatter(per_cycle=2.0, common=0.0)


def test_the_textbook_number() -> None:
    """Two means one half standard deviation apart take 63 values a side for 80 % at two-sided 5 % by the normal form.

    n = 2 (1.960 + 0.842)² / 0.5² = 62.8, any text on sample sizes.
    """
    assert cycles_for(lambda n: power_to_show(0.5, PLAIN, n, 1.959964), 0.8, 10_000) == 63


def test_the_number_just_reaches_the_power() -> None:
    """One cycle fewer misses the power."""
    n = cycles_for(lambda k: power_to_show(0.3, PLAIN, k, 1.959964), 0.8, 10_000)
    assert isinstance(n, int)
    assert power_to_show(0.3, PLAIN, n, 1.959964) >= 0.8 > power_to_show(0.3, PLAIN, n - 1, 1.959964)


def test_equivalence_takes_more_than_showing() -> None:
    """Equivalence within a margin takes n = 2 (1.645 + 1.282)² / margin² when nothing changed (Schuirmann's tests)."""
    n = cycles_for(lambda k: power_to_equal(0.0, 0.5, PLAIN, k, 1.644854), 0.8, 10_000)
    assert n == math.ceil(2.0 * (1.644854 + 1.281552) ** 2 / 0.25)


def test_equivalence_beyond_the_margin_is_never_shown() -> None:
    """A change beyond the margin has next to no power, and none below zero."""
    assert 0.0 <= power_to_equal(0.6, 0.5, PLAIN, 1000, 1.644854) < 0.05


def test_common_errors_set_a_floor() -> None:
    """Where what all cycles share is too large, more cycles are no answer and the reason is given."""
    floor = Scatter(per_cycle=2.0, common=0.25)
    found = cycles_for(lambda n: power_to_show(0.5, floor, n, 1.959964), 0.8, 100_000)
    assert isinstance(found, Withheld)
    assert "several days" in found.reason


@pytest.mark.parametrize("widening", [1.0, 1.25])
def test_wider_intervals_take_more(widening: float) -> None:
    """Intervals that are wider than a known scatter makes them need more cycles, or as many."""
    scatter = Scatter(per_cycle=2.0, common=0.0, widening=widening)
    n = cycles_for(lambda k: power_to_show(0.5, scatter, k, 1.959964), 0.8, 10_000)
    assert n == math.ceil(2.0 * (1.959964 * widening + 0.841621) ** 2 / 0.25)


def test_no_scatter_at_all() -> None:
    """Without any scatter one cycle decides."""
    assert cycles_for(lambda n: power_to_show(1.0, Scatter(per_cycle=0.0, common=0.0), n, 1.96), 0.8, 100) == 1
