"""Order statistics of long arrays are those of the ordered array, to the bit."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.signal import select

LENGTHS = (1, 2, 3, 10, 4096, 32_767, 32_768, 100_000, 100_001)


def made(kind: str, count: int, seed: int) -> np.ndarray:
    """Values without a pattern, on a grid, ordered, in a wave whose period divides the sampling, or mostly alike."""
    rng = np.random.default_rng(seed)
    values = {
        "any": rng.normal(size=count),
        "grid": np.round(rng.normal(size=count), 1),
        "ordered": np.sort(rng.normal(size=count)),
        "wave": np.round(40.0 * np.sin(2.0 * np.pi * np.arange(count) / 48.0), 2),
        "alike": np.where(rng.random(count) < 0.999, 1.0, rng.normal(size=count)),
    }
    return values[kind]


@given(
    st.sampled_from(["any", "grid", "ordered", "wave", "alike"]), st.sampled_from(LENGTHS), st.integers(0, 99), st.floats(0, 1)
)  # fmt: skip
def test_as_the_ordered_array_says(kind: str, count: int, seed: int, share: float) -> None:
    """Quantiles and medians are those of NumPy."""
    values = made(kind, count, seed)
    assert select.quantile(values, share) == np.quantile(values, share)
    assert select.median(values) == np.median(values)


def test_values_stay_in_their_order() -> None:
    """Nothing is moved in the array that is handed in."""
    values = made("any", 50_000, 1)
    before = values.copy()
    select.quantile(values, 0.3)
    np.testing.assert_array_equal(values, before)


def test_nothing_has_no_quantile() -> None:
    """Without values there is neither."""
    with pytest.raises(ValueError, match="no values"):
        select.quantile(np.zeros(0), 0.5)
    with pytest.raises(ValueError, match="no values"):
        select.median(np.zeros(0))
