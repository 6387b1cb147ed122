"""Holm's rule, with tests that cannot speak left out."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.compare.multiple import holm


def test_steps_down() -> None:
    """0.01 falls at 0.05/3; 0.03 is above 0.05/2 and stops the rest."""
    assert holm({"a": 0.01, "b": 0.03, "c": 0.031}, 0.05) == {"a"}
    assert holm({"a": 0.01, "b": 0.02, "c": 0.04}, 0.05) == {"a", "b", "c"}


def test_withheld_values_never_fall() -> None:
    """A p value that is not known takes no share and never falls."""
    assert holm({"a": float("nan"), "b": 0.02}, 0.025) == {"b"}


def test_tests_that_cannot_speak_take_no_share() -> None:
    """A count of nothing can never be significant, so it leaves its share to the others (Tarone 1990)."""
    p = {"primary": 0.02, "drops": 1.0, "misses": 1.0}
    assert holm(p, 0.025) == frozenset()
    assert holm(p, 0.025, {"drops": 1.0, "misses": 1.0}) == {"primary"}
    assert holm(p, 0.025, {"drops": 0.001, "misses": 1.0}) == frozenset()


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=6))
def test_against_the_plain_rule(values: list[float]) -> None:
    """A hypothesis falls where every set that holds it has a p value below the error over its size (closed testing)."""
    names = [str(i) for i in range(len(values))]
    p = dict(zip(names, values, strict=True))
    subsets = [s for k in range(1, len(names) + 1) for s in itertools.combinations(names, k)]
    closed = {n for n in names if all(min(p[m] for m in s) <= 0.05 / len(s) for s in subsets if n in s)}
    assert holm(p, 0.05) == closed


@pytest.mark.parametrize("seed", [1, 2])
def test_keeps_the_error_rate(seed: int) -> None:
    """With nothing to find, some of five hypotheses falls in at most 5 of 100 families."""
    rng = np.random.default_rng(seed)
    wrong = sum(bool(holm({str(k): v for k, v in enumerate(rng.random(5))}, 0.05)) for _ in range(2000))
    assert wrong / 2000 < 0.05 + 3.0 * (0.05 * 0.95 / 2000) ** 0.5
