"""Quantiles of columns with gaps against NumPy's own."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.signal.known import known_quantiles

SHARES = (0.0, 0.05, 0.3, 0.5, 0.95, 1.0)
VALUES = st.one_of(st.just(float("nan")), st.floats(-100.0, 100.0), st.sampled_from([0.0, 1.0]))


@given(st.integers(1, 4).flatmap(lambda m: st.lists(st.lists(VALUES, min_size=m, max_size=m), min_size=1, max_size=30)))
@pytest.mark.filterwarnings("ignore:All-NaN")
def test_quantiles_are_those_of_numpy(rows: list[list[float]]) -> None:
    """To the bit, NaN where a column holds nothing."""
    values = np.array(rows)
    found, expected = known_quantiles(values, SHARES), np.nanquantile(values, SHARES, axis=0)
    assert np.array_equal(found, expected, equal_nan=True)
