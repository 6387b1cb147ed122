"""More formulas of measuring against values worked out by hand, in a loop or by least squares."""

from types import SimpleNamespace

import numpy as np
import pytest
from segment.made_traces import KNOWN, PLAIN, SAVING, data_of

from tracekit.measure.excerpts import _ranks
from tracekit.measure.hold import _single_scatter, supply_on_time
from tracekit.measure.leak_groups import _numbered, _split, assign, limits, names
from tracekit.measure.leak_pieces import pieces_of
from tracekit.measure.leak_posterior import _log_sum, within
from tracekit.measure.leak_rating import Nodes, _misfit, nodes_of, straight_lines
from tracekit.measure.leak_shape import _centred, _grown, _piece_mean
from tracekit.measure.leak_sums import Wall
from tracekit.measure.leak_walls import _parabola
from tracekit.measure.release import measure_release
from tracekit.options.leak import LeakOptions
from tracekit.segment.hold import DROPPED, HELD, MISSED

OPTIONS = LeakOptions()
OFTEN = 1000


def walls_of(ln_tau: np.ndarray, spread: float) -> tuple[Wall, ...]:
    return tuple(Wall(tau_s=float(np.exp(x)), spread_ln=spread) for x in ln_tau)


def test_three_nodes_keep_mass_and_mean_of_a_spread() -> None:
    """Nodes lie at the mean of ln tau and 1.6 standard deviations off it; straight shares keep every wall's own place."""
    x = np.array([-0.2, -0.1, 0.0, 0.1, 0.2])
    mass = np.array([0.05, 0.2, 0.5, 0.2, 0.05])
    found = nodes_of(walls_of(x - 1.0, 0.3), mass[None, :, None])
    sd = np.sqrt(2.0 * (0.05 * 0.04 + 0.2 * 0.01))
    at = np.log([wall.tau_s for wall in found.walls])
    np.testing.assert_allclose(at, -1.0 + 1.6 * sd * np.array([-1.0, 0.0, 1.0]), atol=1e-6)
    np.testing.assert_allclose(found.share.sum(axis=1), 1.0)
    inside = np.abs(x) <= 1.6 * sd
    np.testing.assert_allclose((found.share @ at)[inside], (x - 1.0)[inside], atol=1e-9)
    np.testing.assert_allclose(found.share[0], [1.0, 0.0, 0.0])  # beyond the outer node: its own
    assert {wall.spread_ln for wall in found.walls} == {0.3}


@pytest.mark.parametrize(("share", "nodes"), [(0.01, 0), (0.03, 1), (0.19, 1), (0.21, 3)])
def test_an_improbable_spread_gets_few_nodes(share: float, nodes: int) -> None:
    """A spread of under 2 % has none, of under 20 % one at its own mean."""
    x = np.array([0.0, 0.4])
    weight = np.array([0.5 * (1.0 - share)] * 2 + [0.25 * share, 0.75 * share])
    found = nodes_of((*walls_of(x, 0.1), *walls_of(x, 0.5)), weight[None, :, None])
    own = [k for k, wall in enumerate(found.walls) if wall.spread_ln == 0.5]
    assert len(own) == nodes
    assert len(found.walls) == 3 + nodes
    if nodes == 1:
        assert found.walls[own[0]].tau_s == pytest.approx(np.exp(0.3), rel=1e-6)
        np.testing.assert_array_equal(found.share[:, own[0]], [0.0, 0.0, 1.0, 1.0])


def test_weights_and_means_carried_to_nodes() -> None:
    """Two walls shared between two nodes: each node has its share of weight, and the mean of what it carries."""
    nodes = Nodes(walls=walls_of(np.zeros(2), 0.1), share=np.array([[1.0, 0.0], [0.25, 0.75]]))
    of_walls = np.array([[[0.6], [0.4]]])
    np.testing.assert_allclose(nodes.weight(of_walls), [[[0.7], [0.3]]])
    values = np.array([[[10.0], [20.0]]])
    np.testing.assert_allclose(nodes.mean(values, of_walls), [[[(6.0 + 2.0) / 0.7], [20.0]]], rtol=1e-6)


def test_the_misfit_of_a_cycle_is_that_of_least_squares() -> None:
    """What is left of u after the amplitude times h and the best rate times g are taken off, summed in squares."""
    rng = np.random.default_rng(3)
    u, h, g = rng.normal(size=(3, 2, 30))
    d = 0.3
    sums = SimpleNamespace(
        gg=np.full((3, 2, 2), 7.0), gh=np.zeros((3, 2, 2)), gu=np.zeros((3, 2, 2)), uu=np.zeros((3, 2)),
        uh=np.zeros((3, 2)), hh=np.zeros((3, 2)),
    )  # fmt: skip
    sums.gg[1, 0], sums.gh[1, 0], sums.gu[1, 0] = (g * g).sum(1), (g * h).sum(1), (g * u).sum(1)
    sums.uu[1], sums.uh[1], sums.hh[1] = (u * u).sum(1), (u * h).sum(1), (h * h).sum(1)
    amplitude = np.full((3, 2), 9.0)
    amplitude[1, 0] = d
    found = _misfit(sums, amplitude, 2, np.array([True, True]))
    for k in range(2):
        rest = u[k] - (1.0 + d) * h[k]
        left = np.linalg.lstsq(g[k][:, None], rest, rcond=None)[1][0]
        assert found[k] == pytest.approx(left)


def test_straight_lines_through_pieces_against_least_squares() -> None:
    """One slope and a level per piece, bins weighted by their samples; the vacuum is the samples' mean."""
    rng = np.random.default_rng(5)
    time = np.concatenate([np.arange(4.0), 10.0 + np.arange(6.0), 30.0 + np.arange(5.0)])
    samples = rng.integers(1, 9, 15).astype(float)
    pressure = 40.0 + rng.normal(size=15) + 0.7 * time
    history = SimpleNamespace(samples=samples, time_s=time, pressure_kpa=pressure, ambient_kpa=101.0)
    pieces = pieces_of(np.arange(15), np.array([4, 6, 5]), np.array([0, 0, 2]), np.ones(15), 3)
    slope, vacuum, span = straight_lines(history, pieces)
    for cycle, rows in ((0, np.arange(10)), (2, np.arange(10, 15))):
        levels = (pieces.owner[rows][:, None] == np.unique(pieces.owner[rows])).astype(float)
        root = np.sqrt(samples[rows])
        design = np.column_stack([time[rows], levels]) * root[:, None]
        expected = np.linalg.lstsq(design, (pressure[rows] - 101.0) * root, rcond=None)[0][0]
        assert slope[cycle] == pytest.approx(expected)
        assert vacuum[cycle] == pytest.approx(-np.average(pressure[rows] - 101.0, weights=samples[rows]))
    np.testing.assert_allclose(span, [np.sqrt(9.0 + 25.0), 0.0, 4.0])
    assert np.isnan(slope[1])


def test_what_a_form_lets_in_along_a_piece() -> None:
    """A rate of 2 kPa/s through a flow that halves at once: trapezoids from the piece's own first bin, none without a rate."""
    time = np.array([0.0, 1.0, 2.0, 10.0, 11.0, 12.0])
    pieces = pieces_of(np.arange(6), np.array([3, 3]), np.array([0, 1]), np.ones(6), 2)
    search = SimpleNamespace(pieces=pieces, history=SimpleNamespace(time_s=time))
    grown = _grown(search, np.array([2.0, np.nan]), np.array([1.0, 0.5, 0.5, 1.0, 1.0, 1.0]))
    np.testing.assert_allclose(grown[:3], [0.0, 1.5, 2.5])
    assert np.isnan(grown[3:]).all()
    after = _grown(search, np.array([5.0, 2.0]), np.ones(6))
    np.testing.assert_allclose(after[3:], [0.0, 2.0, 4.0])
    np.testing.assert_allclose(_piece_mean(pieces, time), [1.0] * 3 + [11.0] * 3)
    np.testing.assert_allclose(_centred(pieces, time), [-1.0, 0.0, 1.0] * 2)


@pytest.mark.parametrize("lowest", [-0.31, 0.0, 0.12])
def test_the_lowest_point_of_a_parabola(lowest: float) -> None:
    """A cost of (x - a)²/(2 s²) + 4 has its minimum at a, its standard deviation s, and costs 4 there."""
    x = np.linspace(-0.5, 0.5, 11)
    place, sd, cost = _parabola(x, (x - lowest) ** 2 / (2.0 * 0.05**2) + 4.0)
    assert (place, sd, cost) == (pytest.approx(lowest), pytest.approx(0.05), pytest.approx(4.0))


def test_a_cost_that_bends_nowhere_is_lowest_where_it_is() -> None:
    """A roof has no valley: the lowest point of the grid stands, one step wide."""
    x = np.linspace(0.0, 0.4, 5)
    place, sd, cost = _parabola(x, np.array([1.0, 3.0, 4.0, 3.5, 2.0]))
    assert (place, sd, cost) == (0.0, pytest.approx(0.1), 1.0)
    place, sd, cost = _parabola(x, x**2)  # the minimum is the first point of the grid
    assert (place, sd, cost) == (pytest.approx(0.0), pytest.approx(0.1 / np.sqrt(0.02)), pytest.approx(0.0))


def test_sums_of_likelihoods_in_logarithms() -> None:
    """ln(1 + 3) beside a common factor that no exponential holds; what is led between nodes stays among theirs."""
    assert _log_sum(np.array([[-2000.0, -2000.0 + np.log(3.0)]]))[0] == pytest.approx(-2000.0 + np.log(4.0))
    between = np.array([[0.5, 0.5], [1.5, -0.5], [-1.0, 2.0]])
    led = within(between, np.array([[2.0, 5.0], [4.0, 1.0]]))
    np.testing.assert_allclose(led, [[3.0, 3.0], [2.0, 5.0], [4.0, 1.0]])


def test_two_kinds_of_parts_are_parted_in_the_middle_of_their_gap() -> None:
    """Twelve rates about 0.5 and twelve about 2 kPa/s; with noise as wide as the gap, or too few, they stay one."""
    low, high = np.linspace(0.4, 0.6, 12), np.linspace(1.9, 2.1, 12)
    rate = np.concatenate([high, low])
    quiet = np.full(24, 0.01)
    assert _split(rate, quiet, OPTIONS) == pytest.approx(1.25)
    assert limits(rate, quiet, OPTIONS) == (pytest.approx(1.25),)
    assert limits(rate, quiet, OPTIONS, depth=0) == ()
    assert _split(rate, np.full(24, 1.0), OPTIONS) is None
    assert _split(rate[-13:], quiet[-13:], OPTIONS) is None
    assert assign(np.array([0.5, np.nan, 2.0, 1.25]), (1.25,)).tolist() == [0, -1, 1, 1]


def test_three_kinds_of_parts_are_parted_twice() -> None:
    """Limits ascend, whichever of the gaps is the widest, and an unknown rate is of no side."""
    rate = np.concatenate([np.linspace(a, a + 0.1, 12) for a in (0.2, 1.2, 4.0)] + [[np.nan]])
    found = limits(rate, np.full(37, 0.01), OPTIONS)
    assert found == (pytest.approx(0.75), pytest.approx(2.65))
    assert np.bincount(assign(rate, found)[:-1]).tolist() == [12, 12, 12]


def context(values: list[str | None]) -> SimpleNamespace:
    known = sorted({v for v in values if v is not None})
    codes = np.array([-1 if v is None else known.index(v) for v in values])
    columns = [SimpleNamespace(name="outcome"), SimpleNamespace(name="context_part_type")]
    return SimpleNamespace(columns=columns, codes=lambda _: codes, categories={"context_part_type": known})


def test_groups_are_called_by_the_context_that_parts_them() -> None:
    """Parts A and C leak little, B more; a column that says the same of both groups names neither."""
    groups = (np.array([True] * 4 + [False] * 4), np.array([False] * 4 + [True] * 4))
    assert names(context(["A", "A", "C", None, *"BBBB"]), groups, OPTIONS) == ("part_type", ("A, C", "B"))
    for useless in (["A"] * 8, list("ABABABAB"), [None] * 8):
        assert names(context(useless), groups, OPTIONS) == ("rate", ("smaller leak", "larger leak"))
    four = tuple(np.arange(8) // 2 == k for k in range(4))
    told = names(context([None] * 8), four, OPTIONS)[1]
    assert told == ("smallest leak", "larger leak 1", "larger leak 2", "largest leak")
    assert _numbered(["a", "b"]) == ["a", "b"]


def scatter_samples(vacuum: np.ndarray, noise: float) -> SimpleNamespace:
    return SimpleNamespace(vacuum=vacuum, noise=noise)


def test_the_scatter_of_single_readings() -> None:
    """Normal readings of 0.2 kPa on a slope: their deviation in each range; what stands has none; a corner counts little."""
    rng = np.random.default_rng(1)
    vacuum = np.concatenate([rng.normal(0.0, 0.2, 4000) + 0.01 * np.arange(4000), np.full(100, 50.0)])
    found = _single_scatter(scatter_samples(vacuum, 0.2), np.array([1, 2000, 4050]), np.array([1900, 3900, 4090]))
    np.testing.assert_allclose(found, [0.2, 0.2, 0.0], rtol=0.06)
    kink = np.concatenate([np.zeros(50), np.full(50, 40.0)])
    two_bends = 2.0 * 6.0 * np.sqrt(6.0) * 0.1 / 98.0 * np.sqrt(np.pi / 2.0) / np.sqrt(6.0)
    assert _single_scatter(scatter_samples(kink, 0.1), np.array([1]), np.array([99])) == pytest.approx(two_bends)


def test_the_ends_of_a_recording_show_no_bend() -> None:
    """The first and the last reading have one neighbour: they count as straight."""
    zigzag = np.array([0.0, 0.1, 0.0, 0.1, 0.0])
    bend = 0.2 * np.sqrt(np.pi / 2.0) / np.sqrt(6.0)
    found = _single_scatter(scatter_samples(zigzag, 1.0), np.array([0, 1]), np.array([5, 4]))
    np.testing.assert_allclose(found, [bend * 3.0 / 5.0, bend])


def test_the_supply_is_on_between_its_edges() -> None:
    """Each cycle counts what lies in it: on at its start until 1.0 s, again from 2.5 s to its end; the next until 4.5 s."""
    time = np.arange(60) / 10.0
    supply = np.zeros(60, bool)
    supply[2:10] = supply[25:45] = True
    change = np.flatnonzero(np.diff(supply.astype(int))) + 1
    samples = SimpleNamespace(time=time, supply=supply, supply_rise=change[::2], supply_fall=change[1::2])
    spans = SimpleNamespace(start=np.array([2, 30]), end=np.array([30, 60]))
    np.testing.assert_allclose(supply_on_time(samples, spans), [0.8 + 0.5, 1.5])


def test_how_a_release_is_timed() -> None:
    """From the command to the first reading at a tenth over the idle vacuum; over-pressure is what goes under none."""
    time = np.arange(200) / 100.0
    vacuum = np.full(200, 70.0)
    vacuum[100:] = np.maximum(70.0 - 700.0 * (np.arange(100) / 100.0), -3.0)
    samples = SimpleNamespace(time=time, vacuum=vacuum, smooth=vacuum, interval=0.01, noise=0.02)
    spans = SimpleNamespace(release=np.array([100, -1]), release_end=np.array([120, -1]), end=np.array([200, 200]))
    hold = SimpleNamespace(quit=np.array([100, 100]), outcome=np.array([HELD, HELD]))
    found = measure_release(samples, spans, hold, np.array([1.0, np.nan]))
    level = 1.0 + 0.1 * 69.0
    assert found["release_time_s"][0] == pytest.approx((70.0 - level) / 700.0 + 0.005)
    assert found["residual_vacuum_kpa"][0] == pytest.approx(-3.0)
    assert found["release_peak_kpa"][0] == found["over_kpa"][0] == pytest.approx(3.0)
    assert all(np.isnan(values[1]) for values in found.values())


@pytest.mark.parametrize(("outcome", "grip_kpa", "timed"), [(HELD, 70.0, True), (DROPPED, 70.0, False), (HELD, 5.5, False)])
def test_only_a_held_part_is_timed(outcome: int, grip_kpa: float, timed: bool) -> None:
    """A lost part, or one held by 4.5 kPa over the idle vacuum, tells nothing of the release; what is left still shows."""
    vacuum = np.concatenate([np.full(50, grip_kpa), np.linspace(grip_kpa, 0.8, 10), np.full(40, 0.8)])
    samples = SimpleNamespace(time=np.arange(100) / 100.0, vacuum=vacuum, smooth=vacuum, interval=0.01, noise=0.02)
    spans = SimpleNamespace(release=np.array([50]), release_end=np.array([80]), end=np.array([100]))
    hold = SimpleNamespace(quit=np.array([50]), outcome=np.array([outcome]))
    found = measure_release(samples, spans, hold, np.array([1.0]))
    assert np.isfinite(found["release_time_s"][0]) == timed
    assert found["residual_vacuum_kpa"][0] == pytest.approx(0.8)
    assert (found["release_peak_kpa"][0], found["over_kpa"][0]) == (0.0, pytest.approx(-0.8))


def test_which_cycles_are_kept_first() -> None:
    """Losses from either end, misses and retries by age, chatter by edges, holds by weakness, evacuations by length."""
    cycles = {
        "outcome": np.array([HELD, DROPPED, MISSED, HELD]), "chatter_edges": np.array([0, 6, -1, 2]),
        "attempts": np.array([1, 2, 1, 3]), "hold_min_vacuum_kpa": np.array([60.0, 20.0, np.nan, 55.0]),
        "evacuation_time_s": np.array([0.2, 0.4, np.nan, 0.3]),
    }  # fmt: skip
    kinds = _ranks(cycles, np.array([12, 13, 14, 16]))
    first = [[12 + (0, 1, 2, 4)[i] for i in np.argsort(-rank, kind="stable") if np.isfinite(rank[i])] for _, _, rank in kinds]
    assert [(why, most) for why, most, _ in kinds] == [
        ("chatter", 1), ("drop", 8), ("drop", 4), ("missed", 2), ("retry", 2), ("weak", 2), ("slow", 2), ("usual", 3), ("usual", 8),
    ]  # fmt: skip
    assert first[:7] == [[13, 16], [13], [13], [14], [13, 16], [16, 12], [13, 16, 12]]
    assert first[7] == [12, 13, 14, 16]
    assert first[8] == [16, 12, 14, 13]  # 16, 4, 2 and 1 are their largest powers of two
    late = _ranks(cycles, np.array([0, OFTEN, 2, 3]))
    assert int(np.argmax(late[8][2])) == 0  # the first cycle of a log is kept


@pytest.mark.parametrize("pieces", [PLAIN * 3, SAVING * 3])
def test_a_cycle_ends_where_the_next_begins(pieces: tuple) -> None:
    """Start, hold and end of cycles follow one another in time, and the supply is on for no longer than the cycle."""
    data = data_of(pieces, settings=KNOWN)
    start, end = data.cycles.floats("start_s"), data.cycles.floats("end_s")
    np.testing.assert_allclose(start[1:], end[:-1], atol=0.011)
    begins, ends = data.cycles.floats("hold_start_s"), data.cycles.floats("hold_end_s")
    assert ((start < begins) & (begins < ends) & (ends <= end)).all()
    assert (data.cycles.floats("supply_on_time_s") <= end - start + 1e-9).all()
