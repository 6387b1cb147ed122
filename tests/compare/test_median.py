"""The median of one side and its band."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.compare.median import fit_median
from tracekit.options.compare import SerialOptions

OPTIONS = SerialOptions()

values = st.lists(st.integers(-500, 500), min_size=8, max_size=40).map(lambda v: np.array(v) / 10.0)


@given(values)
def test_the_median_is_the_median(data: np.ndarray) -> None:
    """Without weights the value is the plain median, and every band holds it."""
    fit = fit_median(data, OPTIONS)
    assert fit.median == pytest.approx(np.median(data), abs=1e-9)
    low, high = fit.band(1.0)
    assert low <= fit.median <= high


@given(values, st.floats(0.5, 3.0))
def test_moving_and_turning_the_values(data: np.ndarray, by: float) -> None:
    """Adding a constant moves the band, changing the sign turns it round."""
    fit = fit_median(data, OPTIONS)
    moved, turned = fit_median(data + by, OPTIONS), fit_median(-data, OPTIONS)
    assert moved.band(1.5) == pytest.approx(tuple(v + by for v in fit.band(1.5)), abs=1e-6)
    assert turned.band(1.5) == pytest.approx(tuple(-v for v in fit.band(1.5)[::-1]), abs=1e-6)


def test_the_band_widens() -> None:
    """A wider band holds the narrower one, and beyond the data it is unbounded."""
    fit = fit_median(np.random.default_rng(1).normal(size=30), OPTIONS)
    ends = [fit.band(z) for z in (0.5, 1.0, 2.0, 50.0)]
    assert all(a[0] >= b[0] and a[1] <= b[1] for a, b in itertools.pairwise(ends))
    assert ends[-1] == (-np.inf, np.inf)


def test_weights_move_the_median() -> None:
    """Cycles that count thrice pull the median to their side."""
    data = np.r_[np.linspace(0.0, 1.0, 20), np.linspace(4.0, 5.0, 20)]
    heavy = np.r_[np.ones(20), np.full(20, 3.0)]
    assert fit_median(data, OPTIONS, weights=heavy).median > 4.0
    assert fit_median(data, OPTIONS, weights=heavy[::-1]).median < 1.0


def test_common_errors_add_in_squares() -> None:
    """What all cycles share is added to each end by squares, and does not shrink with n."""
    data = np.random.default_rng(2).normal(size=400)
    plain, shared = fit_median(data, OPTIONS), fit_median(data, OPTIONS, common=(0.3, 0.4))
    assert shared.median - shared.band(2.0)[0] == pytest.approx(np.hypot(plain.median - plain.band(2.0)[0], 0.6))
    assert shared.band(2.0)[1] - shared.median == pytest.approx(np.hypot(plain.band(2.0)[1] - plain.median, 0.8))
    assert shared.common == pytest.approx(0.35)
    assert not shared.open_ended


def test_an_open_end() -> None:
    """A side of which only a lower bound is known has no upper end, and its known end counts."""
    fit = fit_median(np.random.default_rng(3).normal(size=50), OPTIONS, common=(0.1, np.inf))
    assert fit.open_ended
    assert fit.common == pytest.approx(0.1)
    assert fit.band(2.0)[1] == np.inf
    assert np.isfinite(fit.band(2.0)[0])


def test_values_that_are_all_alike() -> None:
    """A count that never changes has a band without width."""
    fit = fit_median(np.full(40, 2.0), OPTIONS)
    assert fit.band(2.0) == (2.0, 2.0)
    assert fit.sampling == 0.0
