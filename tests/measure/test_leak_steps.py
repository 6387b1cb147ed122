"""Steps in mid-coast, as lips open for a moment where a machine turns: they part a coast and leave its rate alone."""

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.one_volume import Plant, station
from tracekit.measure.leak import estimate_leak
from tracekit.measure.leak_bins import Floats, History, gather, timeline
from tracekit.measure.leak_pieces import Windows, cut_pieces, usable
from tracekit.measure.leak_steps import calm
from tracekit.measure.leak_sums import Scales, sensor_noise
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Estimate
from tracekit.options.leak import LeakOptions

CYCLES, CUT_S, RATE = 12, 0.04, 0.8
OPTIONS = LeakOptions()
SCALES = Scales(
    noise=sensor_noise(0.05, 0.01), variance=1.0, memory_mean=0.0, memory_sd=0.1, scatter_sd=0.01, temper=2.0
)
AT_S = 1.2 + 0.5 * np.random.default_rng(3).random(CYCLES)
"""Times of the steps since part present: no two coasts have theirs at one place of any clock."""


def log(rate: float = RATE) -> StationData:
    """A dozen holds of 4 s, each with one coast in which nothing moves."""
    return station(Plant(rates=tuple(rate * (1.0 + 0.02 * k) for k in range(CYCLES)), hold_s=4.0))


def since_present(data: StationData) -> Floats:
    """Time of every bin since part present [s]."""
    return data.bins.time_s - timeline(data, OPTIONS).present_s[data.bins.cycle]


def moved(data: StationData, height_kpa: float, back: bool = False, at_s: Floats = AT_S) -> StationData:
    """The same with a loss of so much in 0.15 s of every coast, or with what springs back in as long again."""
    since = (since_present(data) - at_s[data.bins.cycle]) / 0.15
    shape = np.clip(1.0 - np.abs(since - 1.0), 0.0, 1.0) if back else np.clip(since, 0.0, 1.0)
    pressure = (data.bins.pressure_kpa + height_kpa * shape).astype(data.bins.pressure_kpa.dtype)
    return replace(data, bins=replace(data.bins, pressure_kpa=pressure))


def calmed(data: StationData) -> History:
    """The bins of all cycles with the steps that are found in them."""
    return calm(gather(data, timeline(data, OPTIONS), np.ones(CYCLES, bool)), CUT_S, SCALES, OPTIONS)


def given(data: StationData) -> Estimate:
    """The log's rate, which must be there."""
    rate = estimate_leak(data, options=OPTIONS).decay_rate
    assert isinstance(rate, Estimate)
    return rate


@pytest.mark.parametrize("height_kpa", [0.8, 4.0])
def test_what_is_lost_in_a_step_is_no_leak(height_kpa: float) -> None:
    """With a step in every coast, each at a time of its own, the rate is that of the same log without."""
    data = log()
    still, shaken = given(data), given(moved(data, height_kpa))
    assert shaken.value == pytest.approx(still.value, abs=0.04)
    assert shaken.lower < RATE * 1.11 < shaken.upper
    assert shaken.upper - shaken.lower < 3.0 * (still.upper - still.lower)


def test_a_step_parts_a_coast_into_two_pieces() -> None:
    """What is left out holds the step and little more; before and after it there is a piece of each coast."""
    history = calmed(moved(log(), 0.8))
    for cycle in range(CYCLES):
        out = history.since_present_s[history.stepped & (history.cycle == cycle)]
        assert out.min() < AT_S[cycle] + 0.02
        assert out.max() > AT_S[cycle] + 0.13
        assert np.ptp(out) < 0.5
    windows = Windows(cut_s=CUT_S, present_from_s=0.0, present_s=0.4, end_s=0.4)
    pieces = cut_pieces(history, usable(history, windows), OPTIONS)
    assert np.bincount(pieces.cycle).tolist() == [2] * CYCLES


@pytest.mark.parametrize("rate", [0.1, 0.8, 2.0])
def test_a_calm_coast_has_no_step(rate: float) -> None:
    """Gas that warms and a leak that slows bend a coast one way."""
    assert not calmed(log(rate)).stepped.any()


def test_what_springs_back_is_no_step() -> None:
    """Bellows lose nothing: a coast parted at the top of a bump would fall from there."""
    assert not calmed(moved(log(), 0.4, back=True)).stepped.any()


def test_steps_at_the_lift_are_left_to_the_windows() -> None:
    """Windows take what moves near the lift out of all coasts alike, whether a coast shows it or not."""
    assert not calmed(moved(log(), 0.8, at_s=np.full(CYCLES, 0.15))).stepped.any()
