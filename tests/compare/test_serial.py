"""The worth of dependent cycles, from their sign scores."""

import numpy as np
import pytest

from tests.compare.compared_stations import correlated
from tracekit.compare.serial import fit_serial
from tracekit.options.compare import SerialOptions

OPTIONS = SerialOptions()


def _scores(seed: int, n: int, fade: float, share: float, wander: float = 0.0) -> np.ndarray:
    values = correlated(np.random.default_rng(seed), n, fade, share, wander)
    return np.sign(values - np.median(values)) / 2.0


def _effective(n: int, fade: float, share: float, wander: float = 0.0) -> float:
    return float(np.median([fit_serial(_scores(s, n, fade, share, wander), OPTIONS).effective for s in range(25)]))


def test_independent_cycles_count_nearly_all() -> None:
    """White noise of 400 cycles counts as more than 200 independent ones."""
    assert _effective(400, 0.0, 0.0) > 200.0


def test_correlated_cycles_count_less() -> None:
    """With correlation 0.8 between neighbours the true worth is n/9; what is found lies within a factor of three."""
    worth = _effective(400, 0.8, 1.0)
    by_signs = 1.0 + 2.0 * sum(2.0 / np.pi * np.arcsin(0.8**k) for k in range(1, 60))
    assert 400.0 / by_signs / 3.0 < worth < 400.0 / by_signs * 1.5


def test_slow_drift_counts_least() -> None:
    """A wander of the size of the scatter makes 400 cycles worth fewer than 60."""
    assert _effective(400, 0.0, 0.0, wander=1.0) < 60.0


def test_the_set_of_models_is_weighed() -> None:
    """Weights sum to one, deviations are positive, and doubt grows towards the tail."""
    fit = fit_serial(_scores(1, 100, 0.5, 0.5), OPTIONS)
    assert fit.weight.sum() == pytest.approx(1.0)
    assert (fit.deviation > 0.0).all()
    assert fit.exceeded(0.5) <= fit.exceeded(0.2) <= fit.exceeded(0.01)


def test_the_deviation_of_independent_cycles() -> None:
    """The typical standard deviation of the share below the median is near 0.5/√n for independent cycles."""
    found = np.median([fit_serial(_scores(s, 300, 0.0, 0.0), OPTIONS).typical for s in range(25)])
    assert found == pytest.approx(0.5 / np.sqrt(300), rel=0.35)


def test_all_values_alike() -> None:
    """Scores of nothing but zero give the prior, never an error or a zero."""
    fit = fit_serial(np.zeros(50), OPTIONS)
    assert np.isfinite(fit.typical)
    assert fit.typical > 0.0


def test_two_values() -> None:
    """The shortest series is fitted without an error."""
    assert fit_serial(np.array([0.5, -0.5]), OPTIONS).typical > 0.0


def test_long_series_are_averaged_in_blocks() -> None:
    """Blocks of a long series leave the worth of its cycles as it is."""
    scores = _scores(4, 6000, 0.9, 0.8)
    whole = fit_serial(scores, SerialOptions(most_points=8000)).effective
    assert fit_serial(scores, SerialOptions(most_points=1000)).effective == pytest.approx(whole, rel=0.3)


def test_ties_keep_the_scatter_of_signs() -> None:
    """Many values at the median do not make the median better known than signs can tell."""
    scores = np.tile([0.0, 0.0, 0.0, 0.5, -0.5], 40)
    assert fit_serial(scores, OPTIONS).effective <= 200.0
