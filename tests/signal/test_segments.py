"""Range arithmetic agrees with plain loops, whatever the ranges."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from segment import range_twins as twins

from tracekit.signal import segments


@st.composite
def ranged(draw):
    """Values and half-open ranges inside them, empty ones included."""
    values = draw(st.lists(st.floats(-100, 100, allow_nan=False), min_size=4, max_size=40))
    n = len(values)
    ends = draw(st.lists(st.tuples(st.integers(0, n), st.integers(0, n)), min_size=1, max_size=8))
    start = np.array([min(a, b) for a, b in ends])
    stop = np.array([max(a, b) for a, b in ends])
    return np.array(values), start, stop


@given(ranged())
def test_sums_and_extremes(case) -> None:
    """Sum and highest value of each range are those of a plain loop."""
    values, start, stop = case
    np.testing.assert_allclose(segments.range_sum(values, start, stop), twins.total(values, start, stop), atol=1e-9)
    np.testing.assert_array_equal(segments.range_max(values, start, stop), twins.highest(values, start, stop))
    np.testing.assert_array_equal(-segments.range_min(-values, start, stop), twins.highest(values, start, stop))


@given(ranged(), st.floats(0, 1))
def test_quantiles(case, share: float) -> None:
    """A quantile of each range is that of the sorted range."""
    values, start, stop = case
    found = segments.range_quantile(values, start, stop, share)
    np.testing.assert_allclose(found, twins.quantile(values.tolist(), start, stop, share), atol=1e-9)


@given(ranged(), st.floats(-100, 100))
def test_firsts_and_lasts(case, level: float) -> None:
    """First, last and number of the samples over a level are those of a plain loop."""
    values, start, stop = case
    mask = values >= level
    where, levels = np.flatnonzero(mask), np.full(len(start), level)
    first, last = twins.first(mask, start, stop), twins.last(mask, start, stop)
    np.testing.assert_array_equal(segments.first_in(where, start, stop), first)
    np.testing.assert_array_equal(segments.last_in(where, start, stop), last)
    np.testing.assert_array_equal(segments.first_reach(values, levels, start, stop), first)
    np.testing.assert_array_equal(segments.first_fall(-values, -levels, start, stop), first)
    np.testing.assert_array_equal(segments.last_reach(values, levels, start, stop), last)
    np.testing.assert_array_equal(
        segments.count_in(where, start, stop), [int(mask[a:b].sum()) for a, b in zip(start, stop, strict=True)]
    )


@given(st.integers(0, 2**32 - 1), st.floats(-3, 5), st.integers(1, 300))
def test_long_ranges(seed: int, level: float, count: int) -> None:
    """Ranges of some thousand samples, few or many that overlap, give what short ones give."""
    rng = np.random.default_rng(seed)
    values = rng.normal(size=5000)
    start = np.array([0, 2000, 2000, *rng.integers(0, 5000, count)])
    stop = np.minimum(np.array([1999, 2000, 5000, *(start[3:] + rng.integers(0, 4000, count))]), 5000)
    mask, levels = values >= level, np.full(len(start), level)
    np.testing.assert_array_equal(segments.first_reach(values, levels, start, stop), twins.first(mask, start, stop))
    np.testing.assert_array_equal(segments.last_reach(values, levels, start, stop), twins.last(mask, start, stop))


@given(ranged(), st.lists(st.floats(-100, 100), min_size=1, max_size=5))
def test_many_levels_at_once(case, levels: list[float]) -> None:
    """The first sample at each of several levels is that of one level after the other."""
    values, start, stop = case
    found = segments.first_reaches(values, np.array(levels), start, stop)
    for column, level in enumerate(levels):
        np.testing.assert_array_equal(found[:, column], twins.first(values >= level, start, stop))


@given(st.lists(st.booleans(), max_size=30))
def test_edges(bits: list[bool]) -> None:
    """An edge is a sample that differs from the one before it."""
    up, down = segments.edges_of(np.array(bits, np.bool_))
    assert up.tolist() == [i for i in range(1, len(bits)) if bits[i] and not bits[i - 1]]
    assert down.tolist() == [i for i in range(1, len(bits)) if bits[i - 1] and not bits[i]]


@given(ranged())
def test_lines(case) -> None:
    """Slope and standard error of each range follow the textbook sums."""
    values, start, stop = case
    time = np.arange(len(values)) * 0.01
    slope, error, _ = segments.range_line(time, values, start, stop)
    expected = np.array(twins.line(time, values, start, stop))
    np.testing.assert_allclose(slope, expected[:, 0], rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(error, expected[:, 1], rtol=1e-6, atol=1e-5)


def test_a_line_does_not_see_how_ranges_are_taken_together() -> None:
    """Ranges of more samples than are worked on at once have the lines that each has alone, to the bit."""
    rng = np.random.default_rng(4)
    time, values = np.arange(200_000) * 1e-3, np.cumsum(rng.normal(size=200_000))
    bounds = np.sort(rng.choice(200_000, 60, replace=False))
    start, stop = bounds[:-1], bounds[1:]
    found = np.array(segments.range_line(time, values, start, stop))
    alone = [np.array(segments.range_line(time, values, start[k : k + 1], stop[k : k + 1])) for k in range(len(start))]
    np.testing.assert_array_equal(found, np.concatenate(alone, axis=1))
    assert np.isfinite(found).mean() > 0.9


def test_line_of_a_published_example() -> None:
    """JCGM 100:2008 H.3: slope 0.0021826977 with standard deviation 0.00066793877 (thermometer calibration).

    The corrections of table H.6 are recalled, not read again; that both printed results come out to five digits checks them.
    """
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    slope, error, _ = segments.range_line(t, b, np.array([0]), np.array([11]))
    assert slope[0] == pytest.approx(0.0021826977, rel=1e-5)
    assert error[0] == pytest.approx(0.00066793877, rel=1e-5)


def test_levels_after_missing_values() -> None:
    """Missing values count as lower than any level."""
    values = np.array([np.nan, np.nan, 1.0, np.nan, 3.0])
    found = segments.first_reaches(values, np.array([0.5, 2.0, 9.0]), np.array([0, 0]), np.array([5, 2]))
    assert found.tolist() == [[2, 4, -1], [-1, -1, -1]]


@given(ranged(), st.lists(st.floats(-110, 110), min_size=1, max_size=5))
def test_falls_mirror_reaches(case, levels: list[float]) -> None:
    """The first fall to a level is the first reach of the mirrored level by the mirrored values."""
    values, start, stop = case
    wanted = np.sort(np.array(levels))
    mirrored = segments.first_reaches(-values, -wanted, start, stop)
    np.testing.assert_array_equal(segments.first_falls(values, wanted, start, stop), mirrored)


@given(st.integers(0, 2**32 - 1))
def test_few_short_ranges_among_many_samples(seed: int) -> None:
    """What lies between ranges is not looked at, and the sums are the same to the bit."""
    rng = np.random.default_rng(seed)
    values = rng.normal(size=4000)
    start = np.sort(rng.integers(0, 3900, 9))
    stop = start + rng.integers(0, 100, 9)
    expected = [values[a:b].sum() for a, b in zip(start, stop, strict=True)]
    found = segments.range_sum(values, start, stop)
    alone = [
        segments.range_sum(values[a:b], np.array([0]), np.array([b - a]))[0] for a, b in zip(start, stop, strict=True)
    ]
    assert found.tolist() == alone
    np.testing.assert_allclose(found, expected, atol=1e-12)
    np.testing.assert_array_equal(segments.range_max(values, start, stop), twins.highest(values, start, stop))


@given(ranged())
def test_a_range_does_not_see_its_neighbours(case) -> None:
    """A sum is bitwise the same with other samples around the range."""
    values, start, stop = case
    alone = np.concatenate(
        [
            segments.range_sum(values[a:b].copy(), np.array([0]), np.array([b - a]))
            for a, b in zip(start, stop, strict=True)
        ]
    )
    assert alone.tobytes() == segments.range_sum(values, start, stop).tobytes()


@given(st.integers(0, 2**32 - 1), st.floats(0.0, 1.0))
def test_ranges_that_share_boundaries(seed: int, apart: float) -> None:
    """Where most ranges begin at the end of the one before, each is still reduced by itself, to the bit."""
    rng = np.random.default_rng(seed)
    edges = np.cumsum(rng.integers(0, 40, 301))
    values = rng.normal(size=int(edges[-1]) + int(rng.integers(0, 2)))
    start, stop = edges[:-1], edges[1:].copy()
    short = rng.random(300) < 0.5 * apart
    stop[short] = np.maximum(stop[short] - 3, start[short])
    some = rng.random(300) > 0.3 * apart
    own = segments.Ranges(start[some], stop[some])
    pairs = list(zip(start[some].tolist(), stop[some].tolist(), strict=True))
    assert own.sum(values).tolist() == [float(np.add.reduceat(values[a:b], [0])[0]) if b > a else 0.0 for a, b in pairs]
    np.testing.assert_array_equal(own.max(values), twins.highest(values, start[some], stop[some]))
    np.testing.assert_array_equal(-own.min(-values), twins.highest(values, start[some], stop[some]))


def test_crossings_are_interpolated() -> None:
    """A crossing lies on the straight line between its two samples."""
    time, values = np.array([0.0, 1.0, 2.0]), np.array([0.0, 10.0, 30.0])
    at = segments.first_reach(values, np.array([15.0]), np.array([0]), np.array([3]))
    assert segments.crossing_time(time, values, np.array([15.0]), at)[0] == pytest.approx(1.25)


def test_moving_mean_keeps_a_straight_line() -> None:
    """The moving mean of a straight line is the line itself, away from its ends."""
    line = np.arange(50.0) * 0.3
    np.testing.assert_allclose(segments.moving_mean(line, 7)[3:-3], line[3:-3])


@given(st.integers(0, 2**32 - 1), st.sampled_from([3, 5, 7, 9, 21, 33, 201]), st.integers(3, 40_000))
def test_moving_mean(seed: int, width: int, count: int) -> None:
    """A moving mean is the plain mean of its neighbours, the end values standing for those beyond the ends."""
    values = np.random.default_rng(seed).normal(size=count)
    padded = np.pad(values, width // 2, mode="edge")
    some = np.unique(np.linspace(0, count - 1, 50).astype(int))
    expected = [padded[i : i + width].mean() for i in some]
    np.testing.assert_allclose(segments.moving_mean(values, width)[some], expected, atol=1e-12)


@given(st.integers(0, 2**32 - 1), st.sampled_from([3, 7, 21, 32]), st.integers(100, 20_000))
def test_moving_mean_sees_its_neighbours_only(seed: int, width: int, cut: int) -> None:
    """A mean is the same to the bit wherever the samples begin."""
    values = np.random.default_rng(seed).normal(size=40_000)
    whole, part = segments.moving_mean(values, width), segments.moving_mean(values[cut:], width)
    assert whole[cut + width :].tobytes() == part[width:].tobytes()
