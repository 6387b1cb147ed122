"""Parts of the segmentation on their own: wiring, noise, quantisation, spikes, thresholds, periods and bins."""

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from segment.made_traces import KNOWN, PLAIN, SAVING, Piece, blow_off, data_of, evacuate, hold, idle, measured, trace_of

from tracekit.model.cycle import PULSES, Wiring
from tracekit.model.station import Settings
from tracekit.model.trace import Layout
from tracekit.options.segment import SegmentOptions
from tracekit.segment.samples import Samples, find_quantisation, make_samples, samples_in, second_difference_noise
from tracekit.segment.thresholds import Brackets, agreed, explained
from tracekit.segment.wiring import find_wiring

OPTIONS = SegmentOptions()


def samples_of(
    pressure: np.ndarray, digital: np.ndarray | None = None, interval: float = 0.01, noise: float = 0.05
) -> Samples:
    wiring = Wiring(supply_on_level=1, release_on_level=1, present_on_level=1, evidence={})
    bits = np.zeros(len(pressure), np.uint8) if digital is None else digital
    time = np.arange(len(pressure)) * interval
    return make_samples(time, pressure, bits, wiring, interval=interval, noise=noise, options=OPTIONS)


def layout(**on_level: int) -> Layout:
    return Layout(
        stations=("a",), has_supply=True, has_release=True, has_present=True, on_level=on_level, supply_signal="valve",
        assumptions=(), columns={},
    )  # fmt: skip


@pytest.mark.parametrize("sigma", [0.05, 0.3])
def test_noise_on_a_slope(sigma: float) -> None:
    """Noise is that of single samples about a smooth curve, whatever the slope."""
    values = np.linspace(0, 60, 4000) + np.random.default_rng(2).normal(0, sigma, 4000)
    np.testing.assert_allclose(second_difference_noise(values, 0.0), sigma, rtol=0.08)


def test_noise_of_a_coarse_recorder() -> None:
    """Noise is never under the deviation of a uniform step: step / sqrt(12) (JCGM 100, 4.3.7)."""
    np.testing.assert_allclose(second_difference_noise(np.zeros(100), 0.5), 0.5 / np.sqrt(12))
    np.testing.assert_allclose(second_difference_noise(np.zeros(3), 0.5), 0.5 / np.sqrt(12))


@pytest.mark.parametrize("step", [0.1, 0.25, 0.0122])
def test_quantisation(step: float) -> None:
    """The step of the recorder is found from readings that lie on a grid, also with an offset."""
    values = np.round(np.random.default_rng(3).normal(30, 20, 3000) / step) * step + 0.013
    np.testing.assert_allclose(find_quantisation(values), step, rtol=0.01)


def test_no_quantisation() -> None:
    """Readings on no grid have no step."""
    assert find_quantisation(np.random.default_rng(4).normal(30, 20, 3000)) == 0.0
    assert find_quantisation(np.zeros(10)) == 0.0


def test_spikes() -> None:
    """A single sample far from agreeing neighbours is replaced; a step is not."""
    pressure = np.full(40, -20.0)
    pressure[10] = -60.0
    pressure[25:] = -50.0
    samples = samples_of(pressure)
    assert samples.spike.tolist() == [10]
    assert samples.vacuum[10] == 20.0
    assert samples.vacuum[24] == 20.0
    assert samples.vacuum[25] == 50.0


def test_spikes_wherever_they_lie() -> None:
    """Of many samples every one far from the mean of two that agree is found, at the ends and between pieces too."""
    rng = np.random.default_rng(9)
    pressure = -20.0 + 0.05 * rng.normal(size=40_000)
    at = np.unique(np.concatenate([[1, 16_383, 16_385, 32_768, 39_998], rng.integers(1, 39_999, 300)]))
    pressure[at] += rng.uniform(-4.0, 4.0, len(at))
    before, here, after = pressure[:-2], pressure[1:-1], pressure[2:]
    off = np.abs(here - 0.5 * (before + after))
    expected = np.flatnonzero((off > 1.0) & (np.abs(before - after) < 0.3 * off)) + 1
    assert len(expected) > 100
    assert samples_of(pressure).spike.tolist() == expected.tolist()


@given(st.integers(0, 2**32 - 1), st.integers(0, 300), st.floats(0.001, 1.0))
def test_every_pause_is_a_gap(seed: int, count: int, interval: float) -> None:
    """A sample that comes later than the limit after the one before begins after a gap, however steps lie about it."""
    rng = np.random.default_rng(seed)
    limit = max(8.0 * interval, 0.15)
    time = np.cumsum(rng.choice([0.1, 0.9, 1.0 + 1e-9, 3.0], count, p=[0.6, 0.3, 0.06, 0.04]) * limit)
    wiring = Wiring(supply_on_level=1, release_on_level=1, present_on_level=1, evidence={})
    still = np.zeros(count)
    samples = make_samples(
        time, still, still.astype(np.uint8), wiring, interval=interval, noise=0.1, options=SegmentOptions()
    )
    assert samples.gap.tolist() == [i for i in range(1, count) if time[i] - time[i - 1] > limit]


def test_missing_readings_are_bridged() -> None:
    """Missing readings are bridged by straight lines, and the input is not touched."""
    pressure = -np.arange(10.0)
    pressure[4:6] = np.nan
    np.testing.assert_allclose(samples_of(pressure).vacuum, np.arange(10.0))
    assert np.isnan(pressure[4])


@given(st.floats(1e-4, 1.0), st.integers(1, 500))
def test_samples_in(interval: float, count: int) -> None:
    """A whole number of intervals holds that many samples, in spite of rounding; a little more holds one more."""
    assert samples_in(count * interval, interval) == count
    assert samples_in(count * interval * (1 + 1e-12), interval) == count
    assert samples_in((count + 0.01) * interval, interval) == count + 1


@pytest.mark.parametrize("turned", [0, 1, 2, 4, 7])
def test_polarity(turned: int) -> None:
    """The logical level of each digital is found whichever are inverted (bits 1, 2, 4)."""
    columns = trace_of(SAVING * 3)
    names = ("supply", "release", "part_present")
    bits = sum((columns[n] ^ (turned >> k & 1)) << k for k, n in enumerate(names)).astype(np.uint8)
    found = find_wiring(columns["pressure_kpa"], bits, layout())
    levels = (found.supply_on_level, found.release_on_level, found.present_on_level)
    assert levels == tuple(1 - (turned >> k & 1) for k in range(3))


def test_given_polarity_wins() -> None:
    """A level that the station file gives is not overruled by the data."""
    columns = trace_of(PLAIN * 3)
    bits = (columns["supply"] | columns["release"] << 1 | columns["part_present"] << 2).astype(np.uint8)
    found = find_wiring(columns["pressure_kpa"], bits, layout(supply=0))
    assert found.supply_on_level == 0
    assert found.evidence["supply"] == "station file"


@pytest.mark.parametrize("pieces", [PLAIN, SAVING])
def test_pulses_of_a_coil_are_no_supply(pieces) -> None:
    """Where the evacuation goes on after the signal no level means on; a supply that is cut at its top is none of these."""
    columns = trace_of((*pieces * 5, idle()))
    supply = columns["supply"].astype(bool)
    bits = columns["release"] * 2 + columns["part_present"] * 4
    usual = find_wiring(columns["pressure_kpa"], (bits + supply).astype(np.uint8), layout())
    assert usual.supply_on_level == 1
    rise = np.flatnonzero(np.diff(supply.astype(int), prepend=0) > 0)
    pulses = np.zeros(len(supply), np.bool_)
    for start in rise:
        pulses[start : start + 5] = True
    for turned in (False, True):
        logged = (bits + (pulses ^ turned)).astype(np.uint8)
        found = find_wiring(columns["pressure_kpa"], logged, layout())
        assert found.supply_on_level is None
        assert found.evidence["supply"] == PULSES


@pytest.mark.parametrize("early", [0, 15, 25])
@pytest.mark.parametrize("turned", [0, 1])
def test_early_strokes_of_a_valve_are_no_pulses(early: int, turned: int) -> None:
    """Digitals stamped early end before the evacuation does: moved, they cover it, which no coil's pulse would."""
    columns = trace_of((*SAVING * 5, idle()))
    bits = (columns["supply"] ^ turned) + columns["release"] * 2 + columns["part_present"] * 4
    logged = np.roll(bits.astype(np.uint8), -early)
    assert find_wiring(columns["pressure_kpa"], logged, layout()).supply_on_level == 1 - turned


@pytest.mark.parametrize("overlap_s", [0.06, 0.15, 0.3])
@pytest.mark.parametrize("turned", [0, 1])
def test_a_release_that_begins_before_the_supply_is_off(overlap_s: float, turned: int) -> None:
    """What the release takes while the supply is still on is no loss of the supply, and no pulse of a coil."""
    both = Piece(seconds=overlap_s, to=2.0, tau_s=0.02, supply=1, release=1)
    columns = trace_of((idle(), *(evacuate(), hold(), both, blow_off()) * 5, idle()))
    bits = (columns["supply"] ^ turned) + columns["release"] * 2 + columns["part_present"] * 4
    assert find_wiring(columns["pressure_kpa"], bits.astype(np.uint8), layout()).supply_on_level == 1 - turned


def test_agreed_value() -> None:
    """The value shared by most brackets is taken: three of four overlap between 50 and 51."""
    low, high = np.array([49.0, 50.0, 48.0, 70.0]), np.array([52.0, 53.0, 51.0, 71.0])
    value, spread = agreed(Brackets(edge=np.arange(4), low=low, high=high), 0.0)
    assert (value, spread) == (50.5, 0.5)


def test_nothing_agreed() -> None:
    """No edge gives no value; edges without a common value give their middle and a wide spread."""
    none = np.zeros(0)
    assert np.isnan(agreed(Brackets(edge=none.astype(np.int64), low=none, high=none), 0.0)[0])
    low = np.array([10.0, 20.0, 30.0, 40.0, 50.0])
    value, spread = agreed(Brackets(edge=np.arange(5), low=low, high=low + 1), 0.0)
    assert value == 30.5
    assert spread > 10


@pytest.mark.parametrize(("level", "expected"), [(30.0, True), (31.0, True), (20.0, False), (45.0, False)])
def test_explained(level: float, expected: bool) -> None:
    """A threshold explains an edge if it was crossed shortly before it, and not later or long before."""
    samples = samples_of(-np.arange(60.0))
    assert explained(samples, np.array([31]), np.array([level]), upward=True).tolist() == [expected]


def test_explained_where_samples_are_next_to_nothing_apart() -> None:
    """What is looked back at never takes more memory than the samples do, however many of them the lag may hold."""
    vacuum = np.concatenate([np.linspace(0, 62, 32), np.full(968, 62.0)])
    samples = replace(samples_of(-vacuum), interval=1e-12)
    edges = np.full(500, 31)
    tracemalloc.start()
    try:
        found = explained(samples, edges, np.full(500, 60.0), upward=True)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert found.all()
    assert peak < 2_000_000


def test_settings_from_edges() -> None:
    """Slow crossings tell all four settings within half a kPa without a station file."""
    slow = (idle(), hold(0.01, 40.0), *SAVING[1:])
    data = data_of(slow * 6)
    assert abs(data.settings["supply_off"].value_kpa - 70.0) < 0.5
    assert abs(data.settings["supply_on"].value_kpa - 63.0) < 0.5
    assert {s.source for s in data.settings.values()} == {"edges"}


def test_settings_of_the_station_file() -> None:
    """Values of the station file are taken where the edges agree, and overruled and shown where they do not."""
    agrees = data_of(SAVING * 5, settings=Settings(supply_off_kpa=70.0, supply_on_kpa=63.0, set_point_kpa=56.0))
    assert [agrees.settings[k].value_kpa for k in ("supply_off", "supply_on", "set_point")] == [70.0, 63.0, 56.0]
    differs = data_of(SAVING * 5, settings=Settings(supply_off_kpa=60.0, supply_on_kpa=50.0))
    assert abs(differs.settings["supply_off"].value_kpa - 70.0) < 0.5
    assert differs.settings["supply_off"].station_file_kpa == 60.0
    assert abs(differs.settings["supply_on"].value_kpa - 63.0) < 0.5


def test_file_without_edges() -> None:
    """A setting that no edge shows is the station file's, and says so."""
    data = data_of(PLAIN * 3, drop=["part_present"], settings=KNOWN)
    assert data.settings["set_point"].source == "station file"
    assert data.settings["supply_off"].source == "absent"


def test_a_reset_point_changed_inside_the_log() -> None:
    """The station file's value explains every blow-off, as any value does; the slow falls through the new one decide."""
    columns = trace_of((*SAVING * 12, idle()))
    vacuum = -columns["pressure_kpa"]
    level, on = np.where(columns["time_s"] > 30.0, 65.5, 51.0), 0
    for i, v in enumerate(vacuum):
        on = int(v >= 66.5 or (on and v > level[i]))
        columns["part_present"][i] = on
    filed = replace(KNOWN, set_point_kpa=66.5, reset_point_kpa=51.0)
    assert measured(columns, settings=filed).settings["reset_point"].value_kpa == pytest.approx(65.5, abs=0.3)
    assert measured(trace_of((*SAVING * 12, idle())), settings=KNOWN).settings["reset_point"].value_kpa == 51.0


def test_periods_tile_the_cycles() -> None:
    """Periods follow one another without hole or overlap from the first cycle's start to the last one's end."""
    data = data_of((*PLAIN, *SAVING) * 3)
    start, end = data.periods.floats("start_s"), data.periods.floats("end_s")
    np.testing.assert_allclose(start[1:], end[:-1], atol=1e-9)
    np.testing.assert_allclose([start[0], end[-1]], [data.cycles.floats("start_s")[0], data.cycles.floats("end_s")[-1]])
    samples = data.periods.codes("samples")
    np.testing.assert_allclose(samples * 0.01, end - start, atol=1e-6)


def test_slopes_of_coasts() -> None:
    """A straight coast from 72 to 63 kPa in 0.8 s loses 11.25 kPa/s at most, and its slope is that of the line."""
    data = data_of(SAVING * 4)
    coasts = data.periods.where("kind", "coast")
    slope = data.periods.floats("slope_kpa_s")[coasts]
    cycle = data.periods.codes("cycle")[coasts]
    second = np.flatnonzero(np.diff(cycle, prepend=-1) == 0)[::2]  # from 70 to 63 kPa
    np.testing.assert_allclose(slope[second], 7.0 / 0.8, rtol=0.01)
    recharge = data.periods.floats("slope_kpa_s")[data.periods.where("kind", "recharge")]
    np.testing.assert_allclose(recharge, -7.0 / 0.2, rtol=0.01)


def test_bins_hold_every_sample_once() -> None:
    """Bins lie inside their periods in order of time, and hold each sample up to the end of the release once."""
    data = data_of((*PLAIN, *SAVING) * 2)
    bins, periods = data.bins, data.periods
    assert (np.diff(bins.time_s) > 0).all()
    start, end = periods.floats("start_s")[bins.period], periods.floats("end_s")[bins.period]
    assert ((start - 1e-9 <= bins.time_s) & (bins.time_s <= end)).all()
    assert (periods.codes("cycle")[bins.period] == bins.cycle).all()
    counted = np.bincount(bins.period, bins.samples, minlength=len(periods))
    idle_kind = periods.where("kind", "idle")
    np.testing.assert_array_equal(counted[~idle_kind], periods.codes("samples")[~idle_kind])
    assert (counted[idle_kind] == 0).all()


def test_noise_alone_gives_the_supply_no_level() -> None:
    """Readings of 0.01 kPa that change with the supply while nothing moves do not say which level is on."""
    level = np.arange(4000) // 500 % 2
    falling = -np.cumsum(2.0 * level - 1.0) / 500
    found = find_wiring(0.01 * falling, level.astype(np.uint8), Layout(
        stations=("a",), has_supply=True, has_release=False, has_present=False, on_level={}, supply_signal="valve",
        assumptions=(), columns={},
    ))  # fmt: skip
    assert found.supply_on_level is None
    moved = find_wiring(60 * falling, level.astype(np.uint8), layout())
    assert moved.supply_on_level == 1
