"""Measures of cycles drawn by hand: evacuation, hold, release, and the thinned strip, with answers known beforehand."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from segment.made_traces import KNOWN, PLAIN, Piece, blow_off, data_of, evacuate, hold, idle

from tracekit.measure.evacuation import _bounded, fit_exponential
from tracekit.measure.stream import grain
from tracekit.measure.strip import StripMaker
from tracekit.model.cycle import Wiring
from tracekit.options.measure import MeasureOptions
from tracekit.options.segment import SegmentOptions
from tracekit.segment.samples import make_samples

RATE_HZ = 200


def median(data, column: str) -> float:
    return float(np.nanmedian(data.cycles.floats(column)))


@pytest.mark.parametrize("tau", [0.08, 0.15, 0.3])
def test_time_constant(tau: float) -> None:
    """The time constant and the ultimate vacuum of an exact exponential are found to a percent."""
    pieces = (idle(), evacuate(2.0, to=78.0, tau_s=tau), hold(0.5, 78.0), blow_off())
    data = data_of(pieces * 6, rate_hz=RATE_HZ, settings=KNOWN)
    np.testing.assert_allclose(median(data, "pump_time_constant_s"), tau, rtol=0.01)
    np.testing.assert_allclose(median(data, "ultimate_vacuum_kpa"), 78.0, atol=0.1)


@pytest.mark.parametrize("end", [10.0, 10.03])
def test_an_end_of_the_range_beside_the_grid_does_not_hide_the_step(end: float) -> None:
    """Readings in steps of 0.0989 kPa, cut at an end that lies between two of them: step and noise are still told."""
    true = -70.0 + 90.0 * np.sin(np.linspace(0.0, 30.0, 20_000)) ** 8
    noisy = true + 0.02 * np.random.default_rng(3).standard_normal(len(true))
    step, noise = grain(np.round(np.minimum(np.round(noisy / 0.0989) * 0.0989, end), 6), None)
    np.testing.assert_allclose(step, 0.0989, rtol=1e-4)
    assert noise >= step / 12.0**0.5 - 1e-9


def test_ultimate_is_extrapolated_where_supply_is_cut_near_it() -> None:
    """Cut a little before its end the rise tells it, and says so; cut on the way up it does not; else it is read off."""
    early = (idle(), evacuate(0.4, to=80.0, tau_s=0.2), Piece(seconds=1.0, to=62.0), blow_off())
    cut = data_of(early * 8, rate_hz=RATE_HZ)
    assert cut.cycles.codes("ultimate_extrapolated").tolist() == [-1] * 8
    assert not np.isfinite(cut.cycles.floats("ultimate_vacuum_kpa")).any()
    np.testing.assert_allclose(np.median(cut.timing["tends_to_kpa"]), 80.0, rtol=0.03)
    near = (idle(), evacuate(1.0, to=80.0, tau_s=0.2), Piece(seconds=1.0, to=70.0), blow_off())
    bounded = data_of(near * 8, rate_hz=RATE_HZ)
    assert bounded.cycles.codes("ultimate_extrapolated").tolist() == [1] * 8
    np.testing.assert_allclose(median(bounded, "ultimate_vacuum_kpa"), 80.0, atol=0.3)
    seen = data_of((idle(), evacuate(2.0, to=78.0), blow_off()) * 6, rate_hz=RATE_HZ)
    assert seen.cycles.codes("ultimate_extrapolated").tolist() == [0] * 6


@pytest.mark.parametrize(("fitted", "told"), [(71.0, 73.0), (73.2, 73.2), (90.0, 73.6)])
def test_an_extrapolated_end_is_bounded(fitted: float, told: float) -> None:
    """It lies between the vacuum reached (73) and as much over it as the last time constant gained (0.6)."""
    time = np.arange(0.0, 2.0, 0.005)
    vacuum = 73.0 - 0.6 * (1.0 - np.clip(time, 1.0, 1.2) / 0.2 + 5.0)
    samples = SimpleNamespace(time=time, smooth=vacuum)
    reached = SimpleNamespace(peak=np.array([73.0]))
    cut = np.array([int(1.2 / 0.005) + 1])
    end = _bounded(samples, reached, cut, np.array([0.2]), np.array([fitted]), MeasureOptions())
    np.testing.assert_allclose(end, told, atol=0.02)
    unbounded = _bounded(samples, reached, cut, np.array([np.nan]), np.array([fitted]), MeasureOptions())
    assert not np.isfinite(unbounded).any()


def test_evacuation_time() -> None:
    """Evacuation to 56 of 75 kPa with a time constant of 0.3 s takes 0.3·ln(75/19) = 0.412 s, to half a sample."""
    pieces = (idle(), evacuate(2.0, tau_s=0.3), blow_off())
    data = data_of(pieces * 6, rate_hz=RATE_HZ, settings=KNOWN)
    np.testing.assert_allclose(median(data, "evacuation_time_s"), 0.3 * np.log(75 / 19), atol=0.5 / RATE_HZ + 1e-3)


def test_open_cup_and_contact() -> None:
    """An open-cup stretch before contact gives its vacuum, the time of contact and the sealing time."""
    pieces = (idle(), Piece(seconds=0.4, to=8.0, tau_s=0.02, supply=1), evacuate(1.5, tau_s=0.2), blow_off())
    data = data_of(pieces * 8, rate_hz=RATE_HZ, noise=0.02, settings=KNOWN)
    np.testing.assert_allclose(median(data, "open_cup_vacuum_kpa"), 8.0, atol=0.1)
    contact = data.cycles.floats("contact_s") - data.cycles.floats("start_s")
    np.testing.assert_allclose(np.nanmedian(contact), 0.4, atol=0.015)
    np.testing.assert_allclose(median(data, "seal_time_s"), 0.2 * np.log(67 / 19), atol=0.02)
    kinds = set(data.periods.texts("kind"))
    assert "open" in kinds


@pytest.mark.parametrize("level", [14.0, 19.0, 28.0, 34.0])
@pytest.mark.parametrize("rate_hz", [100, 500])
def test_a_deep_open_cup_shows(level: float, rate_hz: int) -> None:
    """A clogged filter's open cup lies over the share of the peak from which rises are fitted, and shows all the same."""
    deep = Piece(seconds=0.35, to=level, tau_s=0.03, supply=1, present=0)
    data = data_of(
        (idle(), deep, evacuate(1.5, tau_s=0.2), blow_off()) * 8, rate_hz=rate_hz, noise=0.02, settings=KNOWN
    )
    np.testing.assert_allclose(data.cycles.floats("open_cup_vacuum_kpa"), level, atol=0.2)
    contact = data.cycles.floats("contact_s") - data.cycles.floats("start_s")
    np.testing.assert_allclose(contact, 0.35, atol=0.015)
    np.testing.assert_allclose(median(data, "pump_time_constant_s"), 0.2, rtol=0.05)


def test_the_evacuation_of_a_dropped_pick_is_measured() -> None:
    """A part torn off later was evacuated like any other: open cup, contact and time constant are told, no end of it."""
    start = (idle(), Piece(seconds=0.4, to=8.0, tau_s=0.02, supply=1), evacuate(0.5, tau_s=0.2))
    torn = (*start, Piece(seconds=0.1, to=5.0, tau_s=0.02, supply=1), Piece(seconds=0.4, to=5.0, supply=1))
    data = data_of((*start, blow_off()) * 6 + (*torn, blow_off()) * 3, rate_hz=RATE_HZ, noise=0.02, settings=KNOWN)
    dropped = data.cycles.where("outcome", "dropped")
    assert dropped.tolist() == [False] * 6 + [True] * 3
    for column, value in (("open_cup_vacuum_kpa", 8.0), ("pump_time_constant_s", 0.2), ("seal_time_s", 0.25)):
        np.testing.assert_allclose(data.cycles.floats(column)[dropped], value, rtol=0.06)
    told = data.cycles.floats("ultimate_vacuum_kpa")[dropped]
    assert not (told < data.cycles.floats("peak_vacuum_kpa")[dropped]).any()


def test_no_contact_where_none_shows() -> None:
    """A cup that is closed from the start shows neither contact nor open-cup vacuum."""
    data = data_of(PLAIN * 6, rate_hz=RATE_HZ, settings=KNOWN)
    for column in ("contact_s", "open_cup_vacuum_kpa", "seal_time_s"):
        assert not np.isfinite(data.cycles.floats(column)).any()


@pytest.mark.parametrize("delay", [0.02, 0.06])
def test_response_delay(delay: float) -> None:
    """The answer to the supply command is found by extrapolation to its onset, whatever the time constant."""
    for tau in (0.1, 0.3):
        pieces = (idle(), Piece(seconds=delay, to=0.0, supply=1), evacuate(2.0, tau_s=tau), blow_off())
        data = data_of(pieces * 6, rate_hz=500, settings=KNOWN)
        np.testing.assert_allclose(median(data, "response_delay_s"), delay, atol=0.006)


def test_hold_vacua() -> None:
    """Peak, mean and lowest vacuum of a hold that dips from 75 to 53 kPa, between reset and set point, and comes back."""
    dip = (Piece(seconds=0.4, to=53.0, supply=1), Piece(seconds=0.4, to=75.0, supply=1))
    data = data_of((idle(), evacuate(1.0, tau_s=0.08), *dip, hold(0.6), blow_off()) * 5, settings=KNOWN)
    np.testing.assert_allclose(median(data, "peak_vacuum_kpa"), 75.0, atol=0.1)
    np.testing.assert_allclose(
        median(data, "hold_min_vacuum_kpa"), 53.0 + 0.55 * 2 / 3, atol=0.05
    )  # mean of three samples
    assert 53.0 < median(data, "hold_vacuum_kpa") < 75.0


def test_release() -> None:
    """The release takes tau·ln(10) to 10 % of the way left, and its over-pressure and rest are read off."""
    over = (Piece(seconds=0.3, to=-4.0, tau_s=0.05, release=1), Piece(seconds=0.1, to=0.0))
    data = data_of((idle(), evacuate(), hold(), *over) * 6, rate_hz=RATE_HZ, settings=KNOWN)
    # from 75 towards −4 kPa, 7.5 kPa is reached after 0.05·ln(79/11.5)
    np.testing.assert_allclose(median(data, "release_time_s"), 0.05 * np.log(79 / 11.5), atol=0.006)
    np.testing.assert_allclose(median(data, "release_peak_kpa"), 4.0, atol=0.3)
    np.testing.assert_allclose(median(data, "residual_vacuum_kpa"), -4.0, atol=0.3)


def test_weak_release_leaves_vacuum() -> None:
    """A release that ends with vacuum left tells how much: the mean of its last three samples, 1.1 kPa apart."""
    weak = (Piece(seconds=0.2, to=30.0, release=1), Piece(seconds=0.4, to=0.0))
    data = data_of((idle(), evacuate(), hold(), *weak) * 6, rate_hz=RATE_HZ, settings=KNOWN)
    np.testing.assert_allclose(median(data, "residual_vacuum_kpa"), 30.0 + 1.125, atol=0.1)


@pytest.mark.parametrize("zero", [0.0, 1.5, -2.0])
def test_idle_vacuum(zero: float) -> None:
    """The idle reading is the sensor's zero, whatever its sign."""
    pieces = (Piece(seconds=0.6, to=zero), evacuate(), hold(), blow_off(), Piece(seconds=0.2, to=zero))
    data = data_of(pieces * 5, settings=KNOWN)
    np.testing.assert_allclose(data.cycles.floats("idle_vacuum_kpa")[1:], zero, atol=0.05)


@pytest.mark.parametrize(
    ("before", "zero", "rise"),
    [
        ((Piece(seconds=0.6, to=1.0, tau_s=0.03), Piece(seconds=0.25, to=18.0, tau_s=0.06)), 1.0, 16.3),
        ((Piece(seconds=0.85, to=6.0, tau_s=0.5),), 6.6, 0.0),
        ((Piece(seconds=0.02, to=-5.0), Piece(seconds=0.5, to=-5.0), Piece(seconds=0.3, to=0.0, tau_s=0.03)), 0.0, 0.0),
    ],
    ids=["a valve that passes", "rest of a hold", "a blow-off that is not logged"],
)
def test_vacuum_made_before_the_command(before: tuple[Piece, ...], zero: float, rise: float) -> None:
    """Vacuum that rises with nothing on is told by itself: the idle reading and the over-pressure keep their zero."""
    gone = (Piece(seconds=0.3, to=0.0, tau_s=0.02, release=1), Piece(seconds=0.1, to=0.0))
    left = (Piece(seconds=0.3, to=9.0, tau_s=0.05, release=1),)
    after = left if rise == 0.0 and zero else gone
    data = data_of((*before, evacuate(), hold(), *after) * 6, rate_hz=RATE_HZ, settings=KNOWN, noise=0.03)
    np.testing.assert_allclose(data.cycles.floats("idle_vacuum_kpa")[2:], zero, atol=0.6 if zero > 1.0 else 0.1)
    np.testing.assert_allclose(data.timing["idle_rise_kpa"][2:], rise, atol=0.6)


@pytest.mark.parametrize("sigma", [0.05, 0.2])
def test_noise_per_cycle(sigma: float) -> None:
    """Each cycle's noise is the standard deviation of its single samples in the hold."""
    data = data_of((idle(), evacuate(), hold(3.0), blow_off()) * 6, noise=sigma, settings=KNOWN)
    np.testing.assert_allclose(median(data, "noise_kpa"), sigma, rtol=0.1)


def test_air_time() -> None:
    """Air is used as long as the supply is commanded: 1.6 s a pick."""
    np.testing.assert_allclose(data_of(PLAIN * 4).cycles.floats("supply_on_time_s"), 1.6, atol=1e-9)


def test_chatter_frequency() -> None:
    """An output that goes off and on every 0.1 s chatters at 5 Hz: a full cycle takes 0.2 s."""
    toggles = tuple(Piece(seconds=0.1, to=75.0, tau_s=0.1, supply=1, present=k % 2) for k in range(10))
    data = data_of((idle(), evacuate(), *toggles, blow_off()) * 4, settings=KNOWN)
    assert (data.cycles.codes("chatter_edges") >= 8).all()
    np.testing.assert_allclose(median(data, "chatter_frequency_hz"), 5.0, rtol=0.15)
    extra = data.edges.codes("chatter").sum()
    assert extra == data.cycles.codes("chatter_edges").sum()


def test_edges_table() -> None:
    """The edges are those of the log, in order of time, as logical levels, each with its cycle."""
    data = data_of((*PLAIN * 3, idle()), settings=KNOWN)
    edges = data.edges
    assert edges.texts("signal")[:6] == ["supply", "part_present", "supply", "release", "part_present", "release"]
    assert edges.codes("value")[:6].tolist() == [1, 1, 0, 1, 0, 0]
    assert (np.diff(edges.floats("time_s")) >= 0).all()
    np.testing.assert_array_equal(edges.codes("cycle"), np.repeat(np.arange(3), 6))


@given(st.floats(0.03, 1.0), st.floats(20.0, 95.0), st.floats(0.0, 15.0))
def test_exact_exponential(tau: float, end: float, begin: float) -> None:
    """The batched fit returns time constant and end level of exact exponentials."""
    time = np.arange(400) * tau / 80.0
    vacuum = end + (begin - end) * np.exp(-time / tau)
    wiring = Wiring(supply_on_level=1, release_on_level=1, present_on_level=1, evidence={})
    samples = make_samples(
        time, -vacuum, np.zeros(400, np.uint8), wiring, interval=tau / 80.0, noise=0.01, options=SegmentOptions()
    )
    found, level = fit_exponential(samples, np.array([0, 5]), np.array([200, 9]), 6)
    np.testing.assert_allclose(found[0], tau, rtol=5e-3)
    np.testing.assert_allclose(level[0], end, rtol=5e-3)
    assert np.isnan(found[1])  # too few samples


@given(st.lists(st.integers(1, 300), min_size=1, max_size=12))
def test_strip_does_not_depend_on_blocks(sizes: list[int]) -> None:
    """The thinned strip is the same to the bit in whatever blocks the rows arrive, and keeps both extremes."""
    rows = sum(sizes)
    time, pressure = np.arange(rows) * 0.01, np.random.default_rng(rows).normal(0, 30, rows)
    whole, blocks = StripMaker(8), StripMaker(8)
    whole.feed(time, pressure)
    at = 0
    for size in sizes:
        blocks.feed(time[at : at + size], pressure[at : at + size])
        at += size
    first, second = whole.strip(), blocks.strip()
    np.testing.assert_array_equal(first.time_s, second.time_s)
    np.testing.assert_array_equal(first.lowest_kpa, second.lowest_kpa)
    np.testing.assert_array_equal(first.highest_kpa, second.highest_kpa)
    assert first.lowest_kpa.min() == pressure.min()
    assert first.highest_kpa.max() == pressure.max()
    assert len(first.time_s) <= 17
