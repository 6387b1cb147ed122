"""What is worked on at once is bounded: results are the same to the bit, and memory grows with what is kept alone."""

import tracemalloc
from dataclasses import fields, replace
from itertools import pairwise

import numpy as np
import pytest

from tests.measure.one_volume import Plant, station
from tracekit.measure import leak_budget, leak_forms, leak_mixture
from tracekit.measure.leak_bins import gather, timeline
from tracekit.measure.leak_rating import Rates
from tracekit.options.leak import LeakOptions
from tracekit.signal.pieces import whole_runs

PROBABILITIES = (0.025, 0.5, 0.975)


def mixtures(count: int, order: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Means, deviations and weights of so many mixtures of twenty components."""
    draw = np.random.default_rng(5)
    middle = np.asarray(draw.normal(0.05, 0.05, (20, count)), order=order)
    return middle, draw.uniform(0.01, 0.1, count), draw.dirichlet(np.ones(20))[:, None]


@pytest.mark.parametrize("order", ["C", "F"])
@pytest.mark.parametrize("count", [1, 2, 7, 64, 65, 66, 130])
def test_mixtures_in_groups(monkeypatch: pytest.MonkeyPatch, count: int, order: str) -> None:
    """Quantiles do not depend on how many mixtures are worked on at once, with weights for all or for each."""
    middle, sd, weight = mixtures(count, order)
    for own in (weight, np.asarray(np.repeat(weight, count, axis=1), order=order)):
        whole = leak_mixture.positive_quantiles(middle, sd, own, PROBABILITIES)
        below = leak_mixture.share_negative(middle, sd, own)
        monkeypatch.setattr(leak_mixture, "_TOGETHER", 64)
        for one, other in zip(whole, leak_mixture.positive_quantiles(middle, sd, own, PROBABILITIES), strict=True):
            assert one.tobytes() == other.tobytes()
        assert below.tobytes() == leak_mixture.share_negative(middle, sd, own).tobytes()
        monkeypatch.undo()


def test_memory_of_mixtures() -> None:
    """The quantiles of very many mixtures take less memory than their means do."""
    middle, sd, weight = mixtures(50_000, "C")
    tracemalloc.start()
    try:
        leak_mixture.positive_quantiles(middle, sd, weight, PROBABILITIES)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < middle.nbytes


NODES = 10


def rated(count: int) -> tuple[Rates, leak_budget.CycleRates, leak_budget.Models]:
    """Cycles in two groups, rated under ten wall exchanges with every form, all of them probable."""
    draw, models = np.random.default_rng(6), NODES * len(leak_forms.NAMES)
    flat = np.ones(count)
    rates = Rates(
        rate=draw.normal(1.0, 0.1, (models, count)), slope=draw.normal(0.2, 0.01, (models, count)), noise=0.05 * flat,
        misfit=flat, line=flat, vacuum=60.0 * flat, span=flat,
    )  # fmt: skip
    shown = leak_budget.Models(
        weight=draw.dirichlet(100.0 * np.ones(models), 2), amplitude=draw.normal(0.0, 0.3, (2, models)),
        amplitude_sd=np.full((2, models), 0.1), strain=np.zeros(2), narrow=0.0, inflation=1.0, misfit=1.0,
        unmodelled=0.0, common_kpa=1.0, motion_kpa=0.1, windows_u=0.0, volume_u=0.01, reach_kpa=5.0, step_kpa=0.001 * flat,
        quantisation_kpa=0.01,
    )  # fmt: skip
    group = (np.arange(count) % 3 == 0).astype(np.int64)
    return rates, leak_budget.cycle_rates(rates, group, shown, LeakOptions()), shown


@pytest.mark.parametrize("count", [2, 9, 200])
def test_models_in_groups(monkeypatch: pytest.MonkeyPatch, count: int) -> None:
    """The log's rate does not depend on how many models are held at once."""
    rates, cycles, models = rated(count)
    found = []
    for together in (2, 3, 4, 1000):
        monkeypatch.setattr(leak_budget, "MODELS_TOGETHER", together)
        found.append(leak_budget.log_rate(rates, cycles, models, np.ones(count, bool), 0.0, LeakOptions()))
    assert found[1:] == found[:1] * 3


def test_memory_of_the_rate_of_a_log() -> None:
    """The median over very many cycles takes a fraction of the memory that the rates of all models take."""
    rates, cycles, models = rated(20_000)
    tracemalloc.start()
    try:
        leak_budget.log_rate(rates, cycles, models, np.ones(20_000, bool), 0.0, LeakOptions())
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 0.8 * rates.rate.nbytes


@pytest.mark.parametrize("least", [1, 2, 3, 5, 100])
def test_runs_stay_whole(least: int) -> None:
    """Pieces follow one another without a gap, no run is cut, and all but the last hold as many as asked."""
    labels = np.array([0, 0, 0, 2, 2, 5, 6, 6, 6, 6, 6, 9], np.int32)
    found = list(whole_runs(labels, least))
    assert np.concatenate([labels[some] for some in found]).tolist() == labels.tolist()
    assert all(labels[a.stop - 1] != labels[b.start] for a, b in pairwise(found))
    assert all(some.stop - some.start >= least for some in found[:-1])
    assert list(whole_runs(labels[:0], least)) == []


def test_memory_of_some_cycles_of_a_long_log() -> None:
    """The bins of a few cycles from all over a log are found without going through all bins."""
    data = station(Plant(rates=(4.0,) * 20))
    times, cycles = 500, 20
    bins = replace(
        data.bins,
        **{
            name: np.concatenate([getattr(data.bins, name) + k * cycles * (name == "cycle") for k in range(times)])
            for name in ("cycle", "period", "time_s", "pressure_kpa", "samples")
        },
    )
    bins = replace(bins, cycle=bins.cycle.astype(np.int32), period=bins.period.astype(np.int32))
    line = timeline(data, LeakOptions())
    wide = replace(line, **{f.name: np.tile(getattr(line, f.name), times) for f in fields(line)})
    chosen = np.zeros(times * cycles, bool)
    chosen[[0, 7, -1]] = True
    tracemalloc.start()
    try:
        history = gather(replace(data, bins=bins), wide, chosen)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    first = gather(data, line, np.isin(np.arange(cycles), [0, 7, 19]))
    assert history.pressure_kpa.tobytes() == first.pressure_kpa.tobytes()
    assert peak < 0.5 * bins.cycle.nbytes
