"""Parts of the leak estimator: sums, mixtures, groups, residuals, forms."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measure.one_volume import Plant, station
from tracekit.measure import (
    leak_forms,
    leak_groups,
    leak_mixture,
    leak_pieces,
    leak_posterior,
    leak_residuals,
    leak_sums,
)
from tracekit.measure.leak_bins import OF_BINS, History, break_at_falls, cut_delay_s, gather, timeline
from tracekit.measure.leak_pieces import Pieces, Windows, cut_pieces, usable
from tracekit.measure.leak_residuals import Fitted
from tracekit.measure.leak_search import Coasts, flow_of, inflow, middle_of, thinned
from tracekit.measure.leak_sums import (
    Regressors,
    Scales,
    Wall,
    bin_noise,
    cycle_sums,
    gas_of,
    regressors,
    sensor_noise,
    weights,
)
from tracekit.measure.leak_walls import lagrange
from tracekit.model.tables import PERIOD_KINDS
from tracekit.options.leak import LeakOptions

OPTIONS = LeakOptions()


def pieces_of(counts: list[int]) -> Pieces:
    """Pieces of given lengths, each in a cycle of its own."""
    bins, rows = sum(counts), len(counts)
    return leak_pieces.pieces_of(np.arange(bins), np.array(counts), np.arange(rows), np.zeros(bins), rows)


def test_sums_equal_a_least_squares_fit_per_piece() -> None:
    """A rate from the sums is that of an ordinary fit of level, own amplitude and leak, piece by piece."""
    data = station(Plant(rates=(4.0, 5.0)))
    line = timeline(data, OPTIONS)
    history = gather(data, line, np.ones(2, bool))
    windows = Windows(cut_s=cut_delay_s(history, 0.002, OPTIONS), present_from_s=0.0, present_s=0.3, end_s=0.1)
    pieces = cut_pieces(history, usable(history, windows), OPTIONS)
    gas = gas_of(history, Wall(tau_s=0.12, spread_ln=0.5), np.zeros(len(history.time_s)))
    flow = leak_forms.relative_flow(history.pressure_kpa, 100.0, 60.0)[1:2]
    columns = regressors(history, pieces, gas, flow)
    noise = sensor_noise(0.05, 0.01)
    weight = weights(history, pieces, noise)
    sums = cycle_sums(pieces, columns, weight, ridge=1e-9)
    by_sums = (sums.gu[0] - sums.gh[0]) / sums.gg[0]
    for cycle in range(2):
        assert by_sums[cycle] == pytest.approx(slow_rate(columns, pieces, weight, cycle), rel=1e-5)


def slow_rate(columns: Regressors, pieces: Pieces, weight: np.ndarray, cycle: int) -> float:
    """The same rate by one weighted least-squares problem with a level and an amplitude of every piece."""
    own = np.flatnonzero(pieces.cycle == cycle)
    rows = np.isin(pieces.owner, own)
    design = [columns.leak[0][rows]]
    for piece in own:
        here = pieces.owner[rows] == piece
        design += [np.where(here, columns.level[rows], 0.0), np.where(here, columns.memory[rows], 0.0)]
    root = np.sqrt(weight[rows])
    return float(np.linalg.lstsq(np.stack(design, 1) * root[:, None], columns.seen[rows] * root, rcond=None)[0][0])


def test_a_fall_inside_a_coast_starts_it_anew() -> None:
    """After a hidden recharge the time since the cut is counted from the fall of pressure."""
    data = station(Plant(rates=(15.0,) * 4, unlogged_recharge=True, noise_kpa=0.02))
    history = gather(data, timeline(data, OPTIONS), np.ones(4, bool))
    cut = cut_delay_s(history, 0.002, OPTIONS)
    broken = break_at_falls(history, cut, bin_noise(history, sensor_noise(0.02, 0.01)))
    coast = history.coast >= 0
    assert np.all(broken.since_cut_s[coast] <= history.since_cut_s[coast])
    assert np.any(broken.since_cut_s[coast] < history.since_cut_s[coast] - 0.1)


def test_noise_that_is_not_white_does_not_cut_coasts_at_its_lowest_readings() -> None:
    """Bins that scatter ten times as far as the samples' noise says are no recharges."""
    data = station(Plant(rates=(1.0,) * 10, noise_kpa=0.5))
    history = gather(data, timeline(data, OPTIONS), np.ones(10, bool))
    told = bin_noise(history, sensor_noise(0.05, 0.01))
    fall = np.diff(history.pressure_kpa, prepend=history.pressure_kpa[:1])[history.coast >= 0]
    assert np.count_nonzero(fall < -5.0 * np.sqrt(2.0) * told.max()) > 20
    assert np.array_equal(break_at_falls(history, 0.05, told).since_cut_s, history.since_cut_s)


def test_a_history_holds_of_resting_gas_only_what_comes_before_others() -> None:
    """Bins of idle, open and release are left out, for no coast depends on them, but the last before an evacuation."""
    data = station(Plant(rates=(4.0,) * 3))
    whole = gather(data, timeline(data, OPTIONS), np.ones(3, bool))
    kinds, rest = data.periods.codes("kind").copy(), PERIOD_KINDS.index("open")
    first = np.flatnonzero(np.diff(data.periods.codes("cycle"), prepend=-1))
    kinds[first] = rest
    opened = replace(data, periods=data.periods.with_columns(kind=kinds))
    history = gather(opened, timeline(opened, OPTIONS), np.ones(3, bool))
    assert np.count_nonzero(history.free) == 3
    assert np.array_equal(history.pressure_kpa[history.coast >= 0], whole.pressure_kpa[whole.coast >= 0])


def test_fewer_pieces_are_those_of_whole_cycles_spread_over_the_log() -> None:
    """Thinning to 16 of 40 pieces keeps cycles from first to last with all their pieces, and leaves few as they are."""
    history = gather(data := station(Plant(rates=(15.0,) * 20)), timeline(data, OPTIONS), np.ones(20, bool))
    windows = Windows(cut_s=0.05, present_from_s=0.0, present_s=0.3, end_s=0.1)
    pieces = cut_pieces(history, usable(history, windows), OPTIONS)
    some = Coasts(history=history, pieces=pieces, rho=np.zeros(len(history.time_s)))
    few = thinned(some, len(pieces.start) // 2, OPTIONS)
    kept = few.history.rows
    assert (len(kept), kept[0], kept[-1]) == (10, 0, 19)
    assert np.array_equal(np.bincount(few.pieces.cycle), np.bincount(pieces.cycle)[kept])
    whole = np.isin(history.cycle[pieces.index], kept)
    assert np.array_equal(few.history.time_s[few.pieces.index], history.time_s[pieces.index][whole])
    assert len(few.rho) == len(few.history.time_s) < len(history.time_s)
    assert thinned(some, len(pieces.start), OPTIONS) is some


def test_polynomials_through_nodes_are_exact_to_their_degree() -> None:
    """Six nodes carry a polynomial of fifth degree to any place between them, and to themselves unchanged."""
    nodes, x = np.array([0.0, 0.3, 0.9, 1.4, 1.9, 2.0]), np.linspace(0.0, 2.0, 23)
    at = np.polynomial.Polynomial([1.0, -2.0, 0.5, 3.0, -1.0, 0.2])
    assert lagrange(nodes, x) @ at(nodes) == pytest.approx(at(x), rel=1e-9, abs=1e-9)
    assert lagrange(nodes, nodes) == pytest.approx(np.eye(6), abs=1e-12)


def test_a_variance_led_by_a_polynomial_stays_one() -> None:
    """Where variances rise steeply from node to node the polynomial dips below zero; what is made of it does not."""
    nodes, grid = np.linspace(0.0, 1.0, 6), np.linspace(0.0, 1.0, 41)
    variance = np.array([1e-6, 1e-6, 1e-6, 1e-6, 1.0, 1.0])[:, None]
    between = lagrange(nodes, grid)
    assert (between @ variance).min() < 0.0
    kept = leak_posterior.within(between, variance)
    assert kept.min() == 1e-6
    assert kept.max() == 1.0


def test_the_table_of_the_normal_distribution_passes_what_is_unknown_on() -> None:
    """NaN stays NaN and disturbs no neighbour."""
    share = leak_mixture.normal_share(np.array([0.0, np.nan, 9.0]))
    assert share[0] == pytest.approx(0.5, abs=1e-6)
    assert np.isnan(share[1])
    assert share[2] == pytest.approx(1.0, abs=1e-6)


def test_the_cut_delay_is_past_the_valve() -> None:
    """The plant's valve closes 12 ms after the command; a coast begins 30–80 ms after it."""
    data = station(Plant(rates=(4.0,) * 6))
    history = gather(data, timeline(data, OPTIONS), np.ones(6, bool))
    assert 0.03 <= cut_delay_s(history, 0.002, OPTIONS) <= 0.08


def test_the_cut_delay_waits_for_a_slow_sensor() -> None:
    """A sensor of 0.1 s goes on falling for some 0.35 s, where bins are met by a few coasts only.

    Bins grow along a coast, and differently in each, as those of long coasts do. What the lag still hides at the start
    is then less than a tenth of a kPa.
    """
    data = station(Plant(rates=(2.0,) * 8, sensor_s=0.1, hold_s=2.4))
    history = gather(data, timeline(data, OPTIONS), np.ones(8, bool))
    since = history.since_cut_s
    spaced = (since / (0.03 + 0.004 * history.cycle)).astype(int)
    late = (history.coast >= 0) & (since > 0.15) & (np.diff(spaced, prepend=-1) == 0)
    keep = np.flatnonzero(~late)
    of_bins = {k: getattr(history, k)[keep] for k in (*OF_BINS, "cycle")}
    cut = cut_delay_s(replace(history, **of_bins), 0.002, OPTIONS)
    assert 0.3 <= cut <= 0.8


def test_quantiles_of_one_normal_far_from_zero_are_the_normal_ones() -> None:
    """A rate of 5 ± 0.1 has the quantiles 5 ± 0.196 and the median 5 (tables of the normal distribution)."""
    low, middle, high = leak_mixture.positive_quantiles(
        np.array([[5.0]]), np.array([0.1]), np.array([[1.0]]), (0.025, 0.5, 0.975)
    )
    assert (low[0], middle[0], high[0]) == (
        pytest.approx(4.804, abs=1e-3), pytest.approx(5.0, abs=1e-3), pytest.approx(5.196, abs=1e-3),
    )  # fmt: skip


def test_a_rate_about_zero_has_the_quantiles_of_the_half_normal() -> None:
    """A found rate of 0 ± 1 means 0.674 in the median and at most 2.241 (half-normal distribution)."""
    _, middle, high = leak_mixture.positive_quantiles(
        np.array([[0.0]]), np.array([1.0]), np.array([[1.0]]), (0.025, 0.5, 0.95 * 1.0 + 0.025)
    )
    assert middle[0] == pytest.approx(0.6745, abs=2e-3)
    assert high[0] == pytest.approx(2.2414, abs=3e-3)


@given(st.lists(st.tuples(st.floats(0.0, 40.0), st.floats(0.05, 1.0)), min_size=1, max_size=5), st.floats(0.01, 3.0))
def test_quantiles_of_mixtures_are_ordered_and_never_negative(parts: list[tuple[float, float]], sd: float) -> None:
    """Whatever the models say, the quantiles rise with their probability and start at zero or above."""
    weight = np.array([[w] for _, w in parts])
    box = (np.array([[m] for m, _ in parts]), np.array([sd]), weight / weight.sum())
    low, middle, high = (float(q[0]) for q in leak_mixture.positive_quantiles(*box, (0.025, 0.5, 0.975)))
    assert 0.0 <= low <= middle <= high


def test_groups_need_an_empty_stretch() -> None:
    """Two clusters part in their gap; one broad cluster, a drift and three stray cycles below the least number do not."""
    rng = np.random.default_rng(3)
    low, high = rng.uniform(0.1, 0.4, 30), rng.uniform(7.0, 9.0, 12)
    noise = np.full(42, 0.05)
    (edge,) = leak_groups.limits(np.concatenate([low, high]), noise, OPTIONS)
    assert 0.4 < edge < 7.0
    assert leak_groups.limits(rng.uniform(5.0, 9.0, 42), noise, OPTIONS) == ()
    assert leak_groups.limits(np.linspace(0.2, 6.0, 42), noise, OPTIONS) == ()
    assert leak_groups.limits(np.concatenate([low, high[:2]]), noise[:32], OPTIONS) == ()


def test_groups_are_not_made_of_noise() -> None:
    """A gap that is narrow against the noise of the rates parts nothing."""
    rates = np.concatenate([np.full(10, 1.0), np.full(10, 3.0)])
    assert leak_groups.limits(rates, np.full(20, 0.6), OPTIONS) == ()


def test_unknown_rates_have_no_group() -> None:
    """A cycle without a rate belongs to group −1."""
    assert leak_groups.assign(np.array([0.2, np.nan, 8.0]), (3.0,)).tolist() == [0, -1, 1]


def noisy(lasting_s: float) -> float:
    """Inflation found in coasts of a plant with noise of 0.15 kPa that lasts so long, drawn here step by step."""
    data = station(Plant(rates=(4.0,) * 40, noise_kpa=0.01))
    history = gather(data, timeline(data, OPTIONS), np.ones(40, bool))
    rng, keep = np.random.default_rng(3), np.exp(-0.012 / lasting_s) if lasting_s else 0.0
    noise = rng.normal(size=len(history.time_s))
    for k in range(1, len(noise)):
        noise[k] = keep * noise[k - 1] + np.sqrt(1.0 - keep**2) * noise[k]
    pressure = history.pressure_kpa + 0.15 * noise
    history = replace(history, pressure_kpa=pressure, log_pressure=np.log(pressure / history.ambient_kpa))
    windows = Windows(cut_s=0.04, present_from_s=0.0, present_s=0.0, end_s=0.05)
    pieces = cut_pieces(history, usable(history, windows), OPTIONS)
    coasts = Coasts(history=history, pieces=pieces, rho=inflow(history, np.full(40, 4.0)))
    scales = Scales(
        noise=sensor_noise(0.15, 0.01), variance=1.0, memory_mean=0.0, memory_sd=0.1, scatter_sd=0.01, temper=2.0
    )
    flow = middle_of(flow_of(history, OPTIONS))
    wall = Wall(tau_s=0.12, spread_ln=0.0)
    return leak_residuals.beyond_noise(coasts, wall, flow, np.ones(40, bool), scales)[0]


def test_slow_noise_is_told_as_slow_though_the_fit_takes_part_of_it() -> None:
    """White noise widens nothing; noise of 30 ms in bins of 12 makes a rate's variance some five times larger.

    A long record of correlation ρ has (1 + ρ)/(1 − ρ) = 5.1 at ρ = e^(−12/30); blocks of six bins alone show 2 to 3.
    """
    assert noisy(0.0) < 1.4
    assert 3.3 < noisy(0.030) < 7.5


def test_white_residuals_too_few_for_blocks_widen_nothing() -> None:
    """Where no ten whole blocks lie inside pieces the slowness is not known."""
    few = Fitted(residual=np.zeros(1), slowness=float("nan"), slowness_u=1.0, scatter=1.0)
    assert leak_residuals.inflation(few, [few, few]) == 1.0


def test_what_few_blocks_have_beyond_the_samples_noise_counts_as_slow() -> None:
    """Twenty blocks cannot tell how slow a scatter of six times the noise is, so that all of it widens; 200 can."""
    white = Fitted(residual=np.zeros(1), slowness=1.0, slowness_u=0.0, scatter=1.0)
    seen = replace(white, slowness_u=float(np.sqrt(2.0 / 20.0)), variance=6.0)
    assert leak_residuals.inflation(seen, [white, replace(white, slowness=4.0, scatter=9.0)]) == 6.0
    many = replace(seen, slowness_u=float(np.sqrt(2.0 / 200.0)))
    assert leak_residuals.inflation(many, [white, replace(white, slowness=4.0, scatter=9.0)]) == 1.0


def test_forms_agree_at_the_reference_and_bend_as_they_should() -> None:
    """All forms are 1 at 60 kPa of vacuum; from 70 to 60 pores lose most, wide holes nothing (trade figures at 62/68)."""
    flow = leak_forms.relative_flow(101.325 - np.array([60.0, 62.0, 68.0]), 101.325, 60.0)
    assert np.allclose(flow[:, 0], 1.0)
    ratio = flow[:, 1] / flow[:, 2]
    assert ratio[0] == pytest.approx(0.985, abs=1e-3)
    assert ratio[-1] == pytest.approx(0.952, abs=1e-3)
    assert ratio[2] == pytest.approx(1.0, abs=1e-3)
    assert leak_forms.PRIOR.sum() == pytest.approx(1.0)


def test_a_volume_that_gives_way_makes_dp_dt_grow_with_vacuum() -> None:
    """d(pV)/dt = Q with V = V₀ − w·v, integrated here: dp/dt at 75 and 60 kPa differ as the share 2w/V says."""
    ambient, lost = 100.0, 0.05 / 60.0
    pressure, step, found = 15.0, 1e-4, {}
    content = pressure * (1.0 - lost * (ambient - pressure))
    for vacuum in (75.0, 60.0):
        while ambient - pressure > vacuum:
            content += step
            pressure = float(np.max(np.roots([lost, 1.0 - lost * ambient, -content]).real))
        later = float(np.max(np.roots([lost, 1.0 - lost * ambient, -content - step]).real))
        found[vacuum] = (later - pressure) / step
    share = 2.0 * lost / (1.0 + lost * (ambient - 120.0))
    flat = leak_forms.giving_way(np.ones((len(leak_forms.NAMES), 1)), np.array([15.0]))[:: len(leak_forms.NAMES), 0]
    shares = [s for s, _ in leak_forms.SHRINK_1_KPA]
    assert found[75.0] / found[60.0] == pytest.approx(np.exp(15.0 * share), rel=1e-3)
    assert np.interp(share, shares, flat) == pytest.approx(found[75.0] / found[60.0], rel=1e-3)


def test_models_are_carried_to_the_reference_by_their_own_share() -> None:
    """What a share adds to the flow at a coast's vacuum it takes from the rate; models keep node, share and form apart."""
    models = np.arange(2 * leak_forms.TRIED)
    node, share, form = leak_forms.parted(models)
    assert np.array_equal((node * len(leak_forms.SHRINK_1_KPA) + share) * len(leak_forms.NAMES) + form, models)
    assert np.array_equal(leak_forms.row_of(models), node * len(leak_forms.NAMES) + form)
    beyond = np.array([-8.0, 0.0, 17.0])
    grown = leak_forms.giving_way(np.ones((len(leak_forms.NAMES), 3)), beyond)
    assert np.allclose(leak_forms.carried(models[: leak_forms.TRIED], beyond) * grown, 1.0)
    assert leak_forms.prior_of_tried().sum() == pytest.approx(1.0)
    told = leak_forms.shares(leak_forms.prior_of_tried())
    assert told == pytest.approx({"hole": 0.75, "mixture": 0.10, "porous": 0.15})


def test_where_the_mean_coast_fits_no_form_its_bins_do_not_choose() -> None:
    """A usual misfit divides log-likelihoods as it is, or the doubt about the shape does; a larger one by far more."""
    assert leak_residuals.shared_divisor(1.0, 1.0, OPTIONS) == 1.0
    assert leak_residuals.shared_divisor(2.4, 1.0, OPTIONS) == pytest.approx(2.4)
    assert leak_residuals.shared_divisor(2.4, 6.0, OPTIONS) == 6.0
    assert leak_residuals.shared_divisor(10.0, 6.0, OPTIONS) == pytest.approx(80.0)


def test_an_interval_holds_the_less_probable_path_too() -> None:
    """Of a path of 15 % the mixture's interval would leave out a sixth; of one of 4 % nothing is asked."""
    middle, sd = np.array([[2.0], [1.0]]), np.array([0.05])
    for share, guarded in ((0.15, True), (0.04, False)):
        box = (middle, sd, np.array([[1.0 - share], [share]]))
        low, high = leak_mixture.guarded_ends(*box, np.array([0, 1]), (0.025, 0.975))
        plain, top = leak_mixture.positive_quantiles(*box, (0.025, 0.975))
        assert high == pytest.approx(top)
        assert low == pytest.approx(1.0 - 1.645 * 0.05 if guarded else float(plain[0]), abs=2e-3)
        assert bool(low < plain - 0.01) == guarded


@pytest.mark.parametrize("last_bit", [-1e-13, 1e-13])
def test_rounding_does_not_choose_between_forms_that_tie(last_bit: float) -> None:
    """Holes choked over the whole coast cost the same: the first of them is taken, whatever the last bits say."""
    cost = np.array([[5.0, 4.0, 3.0, 3.0 + last_bit], [6.0, 3.0 - last_bit, 4.0, 3.5]])
    assert leak_forms.first_best(cost) == 2
    assert leak_forms.first_best(cost[:, :2]) == 3


def test_noise_hides_the_recorder_s_steps() -> None:
    """Without noise a step leaves 0.22 of itself after averaging, with noise of half a step nearly nothing."""
    assert sensor_noise(0.5 / 12**0.5, 0.5).step_kpa == pytest.approx(0.22 * 0.5, rel=0.03)
    assert sensor_noise(0.29, 0.5).step_kpa < 0.02 * 0.5


def hold_of(rng: np.random.Generator, common_kpa: float) -> tuple[Pieces, History, np.ndarray]:
    """The coasts of a dozen cycles, with white residuals and a wave that all of them share."""
    data = station(Plant(rates=(4.0,) * 12))
    history = gather(data, timeline(data, OPTIONS), np.ones(12, bool))
    pieces = cut_pieces(history, history.coast >= 0, OPTIONS)
    wave = common_kpa * np.sin(2.0 * np.pi * history.since_cut_s[pieces.index] / 0.3)
    return pieces, history, wave + rng.normal(size=len(pieces.index))


def test_what_all_coasts_share_is_told_from_noise() -> None:
    """White residuals leave a mean coast as scatter says; a wave of half the noise common to all does not."""
    pieces, history, white = hold_of(np.random.default_rng(4), 0.0)
    assert leak_residuals.common_misfit(history, pieces, white) < 1.8
    pieces, history, shared = hold_of(np.random.default_rng(4), 0.5)
    assert leak_residuals.common_misfit(history, pieces, shared) > 5.0


def doubt_of(noise_kpa: float, cycles: int) -> float:
    """How much a mean coast of some cycles is doubted beyond its noise."""
    data = station(Plant(rates=(4.0,) * cycles))
    history = gather(data, timeline(data, OPTIONS), np.ones(cycles, bool))
    pieces = cut_pieces(history, history.coast >= 0, OPTIONS)
    coasts = Coasts(history=history, pieces=pieces, rho=np.zeros(len(history.time_s)))
    scales = Scales(
        noise=sensor_noise(noise_kpa, 1e-4), variance=1.0, memory_mean=0.0, memory_sd=0.1, scatter_sd=0.01, temper=2.0
    )
    return leak_residuals.shape_doubt(coasts, np.ones(cycles, bool), 1.0, scales, OPTIONS.shape_kpa)


def test_a_mean_coast_is_not_believed_better_than_its_shape_is_known() -> None:
    """Four times as many cycles, or half of the noise, say more of the mean coast, and four times as much is doubted."""
    few, many, quiet = doubt_of(0.1, 6), doubt_of(0.1, 24), doubt_of(0.05, 6)
    assert 1.0 < few < 1.2
    assert many - 1.0 == pytest.approx(4.0 * (few - 1.0), rel=0.05)
    assert quiet - 1.0 == pytest.approx(4.0 * (few - 1.0), rel=0.05)


def narrow_of(plant: Plant) -> float:
    """The share of a plant's coasts that are later ones and hardly rise."""
    data = station(plant)
    history = gather(data, timeline(data, OPTIONS), np.ones(len(plant.rates), bool))
    pieces = cut_pieces(history, history.coast >= 0, OPTIONS)
    return leak_residuals.narrow_share(history, pieces, OPTIONS.narrow_kpa)


def test_a_narrow_band_of_the_supply_is_told() -> None:
    """A band of 1 kPa makes most of a hold's time narrow coasts, one of 10 kPa hardly any."""
    assert narrow_of(Plant(rates=(6.0,) * 4, supply_on_kpa=71.0)) > 0.2
    assert narrow_of(Plant(rates=(6.0,) * 4)) < 0.05


def test_steps_count_where_the_noise_is_small() -> None:
    """Half a step of noise smooths a recorder's steps away; a reading that stands still keeps a tenth of a step."""
    left = leak_sums.steps_left(np.array([0.144, 0.35]), 0.5)
    assert left[0] == pytest.approx(0.11, abs=0.005)
    assert left[1] < 0.002


def test_a_second_window_takes_out_later_motion() -> None:
    """Bins between the second window's ends are not used, and without one they are."""
    data = station(Plant(rates=(4.0, 5.0)))
    history = gather(data, timeline(data, OPTIONS), np.ones(2, bool))
    plain = Windows(cut_s=0.05, present_from_s=0.0, present_s=0.2, end_s=0.0)
    twice = replace(plain, again_from_s=0.6, again_s=0.9)
    gone = usable(history, plain) & ~usable(history, twice)
    assert gone.any()
    assert np.all((history.since_present_s[gone] > 0.6) & (history.since_present_s[gone] < 0.9))
