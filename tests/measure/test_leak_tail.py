"""What is not known of the shape of the gas's warming: how much it doubts a mean coast, and what that does to a leak."""

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.one_volume import Plant, station
from tracekit.measure.leak import estimate_leak
from tracekit.measure.leak_bins import gather, timeline
from tracekit.measure.leak_budget import LogRate
from tracekit.measure.leak_pieces import cut_pieces
from tracekit.measure.leak_residuals import tail_doubt
from tracekit.measure.leak_rules import given
from tracekit.measure.leak_search import Coasts, flow_of
from tracekit.measure.leak_sums import Scales, Wall, sensor_noise
from tracekit.model.estimate import Bound, Estimate, Withheld
from tracekit.model.result import LeakResult
from tracekit.options.leak import LeakOptions

OPTIONS = LeakOptions()


def doubt_of(tau_s: float, cycles: int, share: float, variance: float = 1.0) -> float:
    """How much the mean coast of some cycles is doubted for a tail with one wall exchange."""
    data = station(Plant(rates=(4.0,) * cycles, tau_s=tau_s))
    history = gather(data, timeline(data, OPTIONS), np.ones(cycles, bool))
    pieces = cut_pieces(history, history.coast >= 0, OPTIONS)
    coasts = Coasts(history=history, pieces=pieces, rho=np.zeros(len(history.time_s)))
    scales = Scales(
        noise=sensor_noise(0.05, 1e-4), variance=variance, memory_mean=0.0, memory_sd=0.1, scatter_sd=0.01, temper=2.0
    )
    flow, wall = flow_of(history, OPTIONS)[1:2], Wall(tau_s=tau_s, spread_ln=0.0)
    return tail_doubt(coasts, wall, flow, np.ones(cycles, bool), scales, share)


def test_a_tail_is_doubted_by_its_own_size_over_noise() -> None:
    """Four times the cycles doubt four times as much, twice the share as well, twice the variance half as much."""
    one = doubt_of(0.12, 6, 0.02)
    assert one > 0.1
    assert doubt_of(0.12, 24, 0.02) == pytest.approx(4.0 * one, rel=0.1)
    assert doubt_of(0.12, 6, 0.04) == pytest.approx(4.0 * one)
    assert doubt_of(0.12, 6, 0.02, variance=2.0) == pytest.approx(0.5 * one)


def test_a_tail_that_is_over_at_once_is_not_doubted() -> None:
    """Bends that pass within some bins weigh little against those that last as long as a coast."""
    assert doubt_of(0.02, 6, 0.02) < 0.3 * doubt_of(0.2, 6, 0.02)


def leaks_of(tau_s: float) -> tuple[LeakResult, LeakResult]:
    """A hole beside a tail, estimated as if the tail's shape were known, and as by default."""
    data = station(Plant(rates=tuple(4.0 + 0.02 * k for k in range(20)), tau_s=tau_s, hold_s=2.0, noise_kpa=0.01))
    known = estimate_leak(data, options=replace(OPTIONS, tail_share=0.0))
    return known, estimate_leak(data, options=OPTIONS)


def test_beside_a_long_tail_the_curve_tells_less_of_the_path() -> None:
    """A tail as long as the coast leaves no more than the prior; one of a tenth of it leaves a hole a hole.

    The rate is the same: which path it is makes little of it.
    """
    known, doubted = leaks_of(0.4)
    assert doubted.mechanism == "undecided"
    assert doubted.form_probability["hole"] < known.form_probability["hole"] - 0.05
    assert doubted.decay_rate == known.decay_rate
    known, doubted = leaks_of(0.05)
    assert doubted.mechanism == "hole"


def rate_of(value: float, lower: float, upper: float) -> LogRate:
    """A log's rate with its interval."""
    estimate = Estimate(value=value, lower=lower, upper=upper, unit="kPa/s", n=30, method="made")
    return LogRate(estimate=estimate, plain=value, sd=0.1, budget=())


def test_a_weak_leak_too_uncertain_for_a_value_is_bounded() -> None:
    """An interval wider than the rate says at most how large a weak leak is; of a larger one nothing is given."""
    bound, said = given(rate_of(0.5, 0.1, 0.9), 30, 30, OPTIONS)
    assert isinstance(bound, Bound)
    assert (bound.status, bound.limit) == ("upper_bound", 0.9)
    assert any("at most 0.9 kPa/s" in text for text in said)
    assert isinstance(given(rate_of(0.8, 0.2, 1.4), 30, 30, OPTIONS)[0], Withheld)
