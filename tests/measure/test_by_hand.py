"""Formulas of the leak estimator and of the holds against values worked out by hand or by a reference library."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from segment.made_traces import KNOWN, PLAIN, data_of

from tracekit.measure import leak_falls
from tracekit.measure.hold import _chatter_frequency
from tracekit.measure.late import _releases_wait
from tracekit.measure.leak_budget import STEP_SHARE, _spread, _steps, _unknown
from tracekit.measure.leak_mixture import _TOGETHER, _groups
from tracekit.measure.leak_residuals import FEWEST, PLACES, UNTOLD, Fitted, _places, inflation
from tracekit.measure.leak_walls import _grid
from tracekit.options.leak import LeakOptions
from tracekit.options.measure import MeasureOptions

OPTIONS = LeakOptions()


@pytest.mark.parametrize(("fall_kpa_s", "share"), [(0.01, 1.0), (0.1, 1.0), (1.0, 0.1), (10.0, 0.01)])
def test_steps_of_the_recorder_over_a_coast(fall_kpa_s: float, share: float) -> None:
    """A tenth of a kPa over two seconds, until the fall has crossed more than one step; then their saw-tooth averages out."""
    rates = SimpleNamespace(line=np.array([9.9, -fall_kpa_s]), span=np.array([1.0, 1.0]))
    models = SimpleNamespace(quantisation_kpa=0.1, step_kpa=np.array([9.9, 0.1]))
    assert _steps(rates, np.array([1]), models) == pytest.approx(STEP_SHARE * 0.1 * share)
    twice = SimpleNamespace(line=rates.line, span=np.array([1.0, 2.0]))
    left = 0.05 / max(2.0 * fall_kpa_s / 0.1, 1.0)
    assert _steps(twice, np.array([1]), models) == pytest.approx(STEP_SHARE * left)


def test_a_median_of_which_a_share_is_unknown() -> None:
    """Of 100 rates a tenth, and one, may all lie above or below: the quantiles 0.39/0.89 and 0.5/0.89 of those known."""
    rate = np.linspace(0.0, 1.0, 101)[:100]
    lower, upper = _unknown(rate, 0.1)
    low, high = np.quantile(rate, [0.39 / 0.89, 0.5 / 0.89])
    assert (lower, upper) == (pytest.approx(np.median(rate) - low), pytest.approx(high - np.median(rate)))
    assert _unknown(rate, 0.0) == (0.0, 0.0)
    assert _unknown(rate, 0.9) == (pytest.approx(np.median(rate)), pytest.approx(rate.max() - np.median(rate)))


def test_spread_between_labels_is_weighted() -> None:
    """Means 1 and 4 with weights 0.75 and 0.25 about their mean 1.75; a label without weight counts for nothing."""
    values, weight = np.array([1.0, 1.0, 4.0, 99.0]), np.array([0.5, 0.25, 0.25, 0.0])
    label = np.array([0, 0, 1, 2])
    assert _spread(values, weight, label, 1.75) == pytest.approx(np.sqrt(0.75 * 0.75**2 + 0.25 * 2.25**2))


def test_mean_residuals_along_a_coast_against_a_loop() -> None:
    """Twelve cycles of 70 bins: at every place the squared mean over its variance between cycles."""
    rng = np.random.default_rng(7)
    time, cycle = np.tile(np.linspace(0.0, 1.0, 70), 12), np.repeat(np.arange(12), 70)
    residual = rng.normal(size=time.size) + np.repeat(rng.normal(size=12), 70)
    edges = np.quantile(time, np.linspace(0.0, 1.0, PLACES + 1)[1:-1])
    expected = []
    for place in range(PLACES):
        here = np.searchsorted(edges, time, side="right") == place
        mean = residual[here].mean()
        sums = [residual[here & (cycle == c)].sum() - mean * (here & (cycle == c)).sum() for c in range(12)]
        expected.append(mean**2 / (np.sum(np.square(sums)) / here.sum() ** 2) * 9.0 / 12.0)
    np.testing.assert_allclose(_places(time, cycle, residual), expected)
    few = cycle < FEWEST - 1
    assert not len(_places(time[few], cycle[few], residual[few]))


def fitted(slowness: float, scatter: float, slowness_u: float = 0.0, variance: float = 1.0) -> Fitted:
    return Fitted(residual=np.zeros(0), slowness=slowness, slowness_u=slowness_u, scatter=scatter, variance=variance)


def test_slow_noise_inflates_the_scatter_of_rates() -> None:
    """Halfway between two noises that were tried, halfway between what they do; an unknown slowness costs the variance."""
    tried = [fitted(1.0, 2.0), fitted(2.0, 6.0), fitted(4.0, 14.0)]
    assert inflation(fitted(3.0, 0.0), tried) == pytest.approx(5.0)
    assert inflation(fitted(0.9, 0.0), tried) == 1.0
    assert inflation(fitted(float("nan"), 0.0), tried) == 1.0
    assert inflation(fitted(float("nan"), 0.0, variance=3.0), tried) == 1.0
    assert inflation(fitted(float("nan"), 0.0, 2.0 * UNTOLD, 3.0), tried) == 3.0
    shrunk = 1.0 + 2.0 * (1.0 - (0.2 / 2.0) ** 2)
    assert inflation(fitted(3.0, 0.0, 0.1), tried) == pytest.approx(np.interp(shrunk, [1, 2, 4], [1, 3, 7]))


@pytest.mark.parametrize(("low", "high"), [(-9e9, 9e9), (0.0, 1.0), (9e9, 9e9), (-9e9, -9e9), (0.5, 0.5)])
def test_grids_of_wall_exchange_stay_inside_their_limits(low: float, high: float) -> None:
    """At least 0.04 wide in ln τ, rising, within the limits."""
    grid = _grid(low, high, 9, OPTIONS)
    assert len(grid) == 9
    assert (np.diff(grid) > 0.0).all()
    assert grid[-1] - grid[0] >= 0.04 - 1e-9
    assert grid[0] >= np.log(OPTIONS.tau_least_s) - 1e-9
    assert grid[-1] <= np.log(OPTIONS.tau_most_s) + 1e-9


@pytest.mark.parametrize("count", [1, 2, _TOGETHER, _TOGETHER + 1, _TOGETHER + 2, 2 * _TOGETHER + 1, 5000])
def test_groups_of_columns_leave_none_alone(count: int) -> None:
    """All columns once, in order, in groups as large as may be; the last is never a single one behind others."""
    groups = list(_groups(count))
    assert np.concatenate([np.arange(count)[g] for g in groups]).tolist() == list(range(count))
    sizes = [len(range(count)[g]) for g in groups]
    assert sizes[-1] > 1 or len(sizes) == 1
    assert all(size == _TOGETHER for size in sizes[:-1])
    assert sizes[-1] <= _TOGETHER + 1


def test_chatter_frequency_by_hand() -> None:
    """Off and on three times, 0.1 s apart, in a hold that begins with the output on: two and a half cycles in 0.25 s."""
    samples = SimpleNamespace(time=np.arange(200) / 100.0)
    spans = SimpleNamespace(start=np.array([0]), end=np.array([200]))
    up, down = np.array([1, 55, 65, 75]), np.array([50, 60, 70, 120])
    found = _chatter_frequency(samples, spans, up, down, np.array([6]))
    assert found == pytest.approx(5.0 / (2.0 * 0.25))
    assert np.isnan(_chatter_frequency(samples, spans, up[:1], down[:1], np.array([0]))).all()


@pytest.mark.parametrize(("count", "bound"), [(OPTIONS.fewest_cycles - 1, False), (OPTIONS.fewest_cycles, True)])
def test_few_short_coasts_bound_no_leak(monkeypatch, count: int, bound: bool) -> None:
    """As many as make a log's value are enough: 40 kPa/s less what warms, at constant temperature."""
    monkeypatch.setattr(leak_falls, "fall_rate_kpa_s", lambda _: np.array([np.nan] + [40.0] * count))
    data = SimpleNamespace(ambient_kpa=101.0, cycles=SimpleNamespace(floats=lambda _: np.full(count, 60.0)))
    found = leak_falls.least_leak(data, OPTIONS)
    assert (found is not None) == bound
    if found is not None:
        assert found.limit == pytest.approx((40.0 - OPTIONS.fall_warming_kpa_s) / OPTIONS.fall_quick)
        assert (found.n, found.unit, found.status) == (count, "kPa/s", "lower_bound")


def test_releases_that_wait_for_their_command() -> None:
    """Vacuum stands until the command: not late. Too few releases tell nothing; moved by a third of a second they are."""
    data, options = data_of(PLAIN * 12, settings=KNOWN), MeasureOptions()
    assert _releases_wait(data, options)
    late = replace(data, timing={**data.timing, "release_s": data.timing["release_s"] + 0.3})
    assert not _releases_wait(late, options)
    none = replace(data, timing={**data.timing, "release_s": np.full(len(data.cycles), np.nan)})
    assert not _releases_wait(none, options)
