"""Stretches with nothing moving: what is told where there are none, and by how much a rate hangs on its windows."""

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.one_volume import Plant, station
from tracekit.measure.leak import estimate_leak
from tracekit.measure.leak_bins import Floats, gather, timeline
from tracekit.measure.leak_budget import LogRate, without_noise
from tracekit.measure.leak_pieces import Windows, cut_pieces, usable
from tracekit.measure.leak_rules import given
from tracekit.measure.leak_search import flow_of, inflow, scan
from tracekit.measure.leak_sums import Scales, Wall, sensor_noise
from tracekit.measure.leak_walls import Located
from tracekit.measure.leak_windows import locate_windows
from tracekit.model.estimate import Estimate, Withheld
from tracekit.options.leak import LeakOptions

OPTIONS, CUT_S = LeakOptions(), 0.04
SOME = tuple(np.linspace(4.0, 6.0, 20).tolist())
SCALES = Scales(
    noise=sensor_noise(0.05, 0.01), variance=1.0, memory_mean=0.0, memory_sd=0.1, scatter_sd=0.001, temper=2.0
)
WALL = Wall(tau_s=0.12, spread_ln=0.0)


@pytest.mark.parametrize("burst_kpa_s", [4.0, 8.0])
def test_a_hold_too_short_to_see_where_motion_ends_gives_no_value(burst_kpa_s: float) -> None:
    """Lips lift for 0.2 s of a hold of 0.7 s: no value, the reason is told, and the cycles' intervals hold the truth."""
    result = estimate_leak(station(Plant(rates=SOME, burst_kpa_s=burst_kpa_s, hold_s=0.7)))
    assert isinstance(result.decay_rate, Withheld)
    assert any("too short to see where motion ends" in text for text in result.warnings)
    assert np.all((result.rate_lower <= SOME) & (np.array(SOME) <= result.rate_upper))
    lines = {line.source: line.u_kpa_s for line in result.budget}
    assert lines["motion outside the windows"] > 1.0


@pytest.mark.parametrize(("burst_kpa_s", "hold_s"), [(0.0, 0.7), (8.0, 0.9)])
def test_a_hold_that_shows_where_motion_ends_gives_one(burst_kpa_s: float, hold_s: float) -> None:
    """Without motion, or with 0.2 s more, the same station has a value, and nothing is said of motion."""
    result = estimate_leak(station(Plant(rates=SOME, burst_kpa_s=burst_kpa_s, hold_s=hold_s)))
    assert isinstance(result.decay_rate, Estimate)
    assert result.decay_rate.lower <= 5.0 <= result.decay_rate.upper
    assert not any("motion ends" in text for text in result.warnings)


def doubt_kpa_s(bulge_kpa: float) -> float:
    """By how much the rate hangs on the windows where all coasts bulge by some pressure in their middle."""
    data = station(Plant(rates=(4.0,) * 20))
    history = gather(data, timeline(data, OPTIONS), np.ones(20, bool))
    since = history.since_present_s
    bulge = bulge_kpa * np.clip((since - 0.35) / 0.1, 0.0, 1.0) * (history.coast >= 0)
    pressure = history.pressure_kpa + np.where(np.isfinite(since), bulge, 0.0)
    history = replace(history, pressure_kpa=pressure, log_pressure=np.log(pressure / history.ambient_kpa))
    first = Located(
        walls=(WALL,), log_prior=np.zeros(1), nodes=(WALL,), between=np.ones((1, 1)), best=WALL, scales=SCALES,
        rate=np.full(20, 4.0),
    )  # fmt: skip
    options = replace(OPTIONS, window_z=1e6, window_late_z=1e6)
    windows = locate_windows(history, CUT_S, first, options)
    assert windows is not None
    assert windows.present_s < 0.2
    return windows.doubt_kpa_s


def test_a_rate_that_moves_with_its_windows_is_doubted_by_as_much() -> None:
    """0.3 kPa gained after the window move the rate where the window grows; quiet coasts leave it where it is."""
    assert doubt_kpa_s(0.0) < 0.03
    assert doubt_kpa_s(0.3) > 5.0 * max(doubt_kpa_s(0.0), 0.01)


def test_noise_is_taken_out_of_the_edge_of_a_group() -> None:
    """16 rates about 0.5 and 14 about 2.5: the median of all is the smaller group's edge, not its noisiest rate.

    Over 50 draws; where noise is nothing rates stay as they are, and groups keep their medians.
    """
    rng, group = np.random.default_rng(3), np.repeat([0, 1], [16, 14])
    true = np.where(group == 0, 0.5, 2.5) + 0.03 * rng.standard_normal((50, 30))
    noise = np.full(30, 0.2)
    seen = true + noise * rng.standard_normal((50, 30))
    found: Floats = without_noise(seen, group, noise)
    off, left = (float(np.mean(np.median(r, axis=1) - np.median(true, axis=1))) for r in (seen, found))
    assert off > 0.2
    assert abs(left) < 0.3 * off
    for number in (0, 1):
        here = group == number
        assert np.median(found[:, here], axis=1) == pytest.approx(np.median(seen[:, here], axis=1), abs=1e-12)
    assert without_noise(seen, group, 1e-9 * noise) == pytest.approx(seen)


def test_a_median_between_two_groups_is_as_unsure_as_half_of_the_larger() -> None:
    """Ten rates of 0.2 and ten of 6 kPa/s have a median of 3.1; half of the larger group's error moves it."""
    result = estimate_leak(station(Plant(rates=(0.2, 6.0) * 10)))
    found, larger = result.decay_rate, result.groups[-1].decay_rate_kpa_s
    assert isinstance(found, Estimate)
    assert isinstance(larger, Estimate)
    assert found.lower <= 3.1 <= found.upper
    assert found.upper - found.lower == pytest.approx(0.5 * (larger.upper - larger.lower), rel=0.2)


def test_the_farther_end_of_an_interval_withholds() -> None:
    """An interval from 2.2 to 7.0 kPa/s about 5 reaches more than half of the value down: no value; from 2.6 on one."""

    def of(lower: float) -> object:
        estimate = Estimate(value=5.0, lower=lower, upper=7.0, unit="kPa/s", n=20, method="test")
        return given(LogRate(estimate=estimate, plain=5.0, sd=1.2, budget=()), 20, 20, OPTIONS)[0]

    assert isinstance(of(2.2), Withheld)
    assert isinstance(of(2.6), Estimate)


def test_walls_reckoned_together_have_the_sums_of_each() -> None:
    """A scan of walls of three spreads equals scans of one wall each, within rounding."""
    data = station(Plant(rates=SOME))
    history = gather(data, timeline(data, OPTIONS), np.ones(20, bool))
    windows = Windows(cut_s=CUT_S, present_from_s=0.0, present_s=0.3, end_s=0.1)
    pieces, flow = cut_pieces(history, usable(history, windows), OPTIONS), flow_of(history, OPTIONS)
    rho = inflow(history, np.array(SOME))
    walls = [Wall(tau_s=t, spread_ln=s) for s in (0.0, 0.5, 1.0) for t in (0.05, 0.1, 0.2, 0.4)]
    whole = scan(history, pieces, walls, SCALES, rho, flow)
    for number, wall in enumerate(walls):
        alone = scan(history, pieces, [wall], SCALES, rho, flow)
        for name in ("uu", "uh", "hh", "gg", "gu", "gh", "spread"):
            assert getattr(whole, name)[number] == pytest.approx(getattr(alone, name)[0], rel=1e-9, abs=1e-12)
