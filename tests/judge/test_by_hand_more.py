"""More formulas of the judgement against values worked out by hand or in a loop, and what facts say word for word."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from judge.test_by_hand import DROPPED, HELD, MISSED, OPTIONS, effect
from segment.made_traces import KNOWN, PLAIN, SAVING, data_of

from tests.judge.test_rules import in_force, timed, with_columns
from tracekit.judge.approach import _ranks, met_early
from tracekit.judge.coasting import last_or_middle, spread
from tracekit.judge.detect import _hidden_by, _nothing
from tracekit.judge.effects import compare_feature, robust_spread
from tracekit.judge.evidence import Circumstances, _log_fit
from tracekit.judge.features import Features, _note_dips, _time_at, highest_yet
from tracekit.judge.fingerprints import SAME, Change
from tracekit.judge.frozen import in_runs
from tracekit.judge.given_up import earlier_tries, retried_while_rising, timeout_fact
from tracekit.judge.late import rested_picks, where_all_are_late
from tracekit.judge.moved import _at_two_times
from tracekit.judge.onset import _rank_scores, _scores, find_onset
from tracekit.judge.practice import _against, _depth
from tracekit.judge.sensor_rules import _noisy, _noisy_in_bursts, _zero
from tracekit.judge.setting_rules import _far_below_the_hold, _hysteresis, _overlap, _standing, setting_facts
from tracekit.judge.signs import _drift, _slow, _slow_but_tight
from tracekit.judge.swing import swing_of
from tracekit.judge.symptoms import symptom_facts
from tracekit.judge.turns import _nats, pattern_nats
from tracekit.model.cycle import StationData
from tracekit.model.station import Station


@pytest.fixture(scope="module")
def plain() -> StationData:
    return data_of(PLAIN * 12, settings=KNOWN, noise=0.03)


@pytest.fixture(scope="module")
def saving() -> StationData:
    return data_of(SAVING * 12, settings=replace(KNOWN, supply_off_kpa=72.0, supply_on_kpa=64.0), noise=0.03)


def chance(x: float) -> float:
    return float(1.0 / (1.0 + np.exp(-x)))


def features_of(count: int, **values: np.ndarray) -> Features:
    """Held cycles of which only some measures show, each to 0.01."""
    names = ("decay", "rise", "open", "ultimate", "peak", "blow", "residual", "over", "idle", "release", "noise")
    return Features(
        values={**{name: np.full(count, np.nan) for name in names}, **values}, floor=dict.fromkeys((*names, "response"), 0.01),
        held=np.ones(count, np.bool_), at_least=np.zeros(count, np.bool_), decay_noise=np.zeros(count),
    )  # fmt: skip


def test_steps_by_ranks_against_the_rank_sum_test() -> None:
    """At every split the squared normal score of Wilcoxon's rank sum, ties sharing their mean rank."""
    values = np.array([3.0, 1.0, 2.0, 2.0, 5.0, 7.0, 6.0, 6.0])
    rank = np.array([3.0, 0.0, 1.5, 1.5, 4.0, 7.0, 5.5, 5.5])
    k = np.arange(1, 8)
    found = _rank_scores(values, k)
    for split, score in zip(k, found, strict=True):
        sampling = np.mean((rank - 3.5) ** 2) * split * (8 - split) / 8
        assert score == pytest.approx((rank[:split].sum() - split * 3.5) ** 2 / sampling)


def test_a_step_is_found_where_it_is() -> None:
    """Twelve cycles at 1.0 and eighteen at 1.5: the score peaks at the twelfth, and unseen cycles shift nothing."""
    rng = np.random.default_rng(6)
    values = np.concatenate([np.full(12, 1.0), np.full(18, 1.5)]) + rng.normal(0.0, 0.02, 30)
    score = _scores(values, 0.01, 5)
    assert int(np.argmax(score)) == 12
    assert (score[:5] == 0.0).all()
    assert (score[26:] == 0.0).all()
    gaps = values.copy()
    gaps[[3, 20]] = np.nan
    assert int(np.argmax(_scores(gaps, 0.01, 5))) == 12
    assert not _scores(values, 0.3, 5).any()  # half a unit is no step where 0.3 is the least that shows
    assert not _scores(values[:9], 0.01, 5).any()
    steady = 1.0 + rng.normal(0.0, 0.02, 30)
    assert not _scores(steady, 0.01, 5).any()


def test_the_onset_is_the_step_that_measures_share() -> None:
    """Two measures step at cycle 20 of 40, one alone at 12 by less; cycles that are not held are left out."""
    rng = np.random.default_rng(8)
    noise = rng.normal(0.0, 0.02, (3, 40))
    late, early = (np.arange(40) >= 20).astype(float), (np.arange(40) >= 12).astype(float)
    found = find_onset(features_of(40, decay=late + noise[0], rise=late + noise[1], open=0.2 * early + noise[2]), OPTIONS)
    assert found == 20
    assert find_onset(features_of(40, decay=noise[0], rise=noise[1]), OPTIONS) is None
    lost = replace(features_of(40, decay=late + noise[0]), held=np.arange(40) < 20)
    assert find_onset(lost, OPTIONS) is None


def test_how_well_kinds_tell_a_group() -> None:
    """Every second of 40 cycles: kinds by twos tell all of it, 40 ln 2 less what kinds and tries cost, at most six."""
    inside = np.arange(40) % 2 == 1
    assert _nats(np.zeros(40, np.int64), inside) == pytest.approx(-40.0 * np.log(2.0))
    assert _nats((np.arange(40) % 2).astype(np.int64), inside) == pytest.approx(0.0)
    data = SimpleNamespace(cycles=SimpleNamespace(data={}))
    seen = np.ones(40, np.bool_)
    assert pattern_nats(data, inside, seen) == 6.0
    few = np.arange(40) < 6
    gain = 6.0 * np.log(2.0) - 0.5 * np.log(6.0) - np.log(15.0)  # one of fifteen ways, one share more
    assert pattern_nats(data, inside, few) == pytest.approx(max(gain, 0.0))
    assert pattern_nats(data, ~np.zeros(40, np.bool_), seen) == 0.0
    by_part = SimpleNamespace(data={"context_part": 0}, codes=lambda _: np.repeat([0, 1, 0], [7, 6, 27]))
    group = np.repeat([False, True, False], [7, 6, 27])
    assert pattern_nats(SimpleNamespace(cycles=by_part), group, seen) == 6.0
    assert pattern_nats(data, group, seen) < 6.0


def test_falls_at_two_times_of_the_holds() -> None:
    """Four at 1.0 s, three at 2.0 s, one elsewhere: seven of eight, whichever comes first."""
    at_s = np.array([2.0, 1.0, 1.02, 2.01, 0.99, 1.01, 2.02, 5.0])
    assert _at_two_times(at_s, 0.05) == pytest.approx(7.0 / 8.0)
    assert _at_two_times(np.array([1.0, 2.0, 3.0]), 0.05) == pytest.approx(2.0 / 3.0)


def test_runs_of_three() -> None:
    """Two in a row are chance; three or more stand whole."""
    flag = np.array([1, 1, 0, 1, 1, 1, 0, 0, 1, 1, 1, 1], np.bool_)
    assert in_runs(flag).tolist() == [False] * 3 + [True] * 3 + [False] * 2 + [True] * 4
    assert not in_runs(np.zeros(4, np.bool_)).any()


def test_cycles_spread_over_a_log_and_the_middle_of_each() -> None:
    """Every third of nine when three are wanted; of each owner's values the one that half of them lie under."""
    assert np.flatnonzero(spread(np.arange(20) < 9, 3)).tolist() == [0, 3, 6]
    owner, value = np.array([4, 2, 4, 4, 2]), np.array([3.0, 8.0, 1.0, 2.0, 9.0])
    rows, place = last_or_middle(value, owner, 0.5)
    assert (rows.tolist(), value[place].tolist()) == ([2, 4], [9.0, 2.0])
    assert value[last_or_middle(value, owner, 1.0)[1]].tolist() == [9.0, 3.0]


def test_the_highest_from_here_on() -> None:
    """Within each stretch alone, whatever the next one reaches."""
    values, owner = np.array([1.0, 5.0, 2.0, 9.0, 3.0, 4.0]), np.array([0, 0, 0, 1, 1, 1])
    np.testing.assert_allclose(highest_yet(values, owner), [5.0, 5.0, 2.0, 9.0, 4.0, 4.0])


def test_how_deep_dips_are() -> None:
    """A dip of 4 kPa that comes back counts from the line between the ends; a fall that stays is none."""
    time = np.tile(np.linspace(0.0, 1.0, 11), 2)
    vacuum = np.concatenate([70.0 - 2.0 * np.linspace(0.0, 1.0, 11), np.full(11, 60.0)])
    vacuum[4] -= 4.0
    vacuum[15:] = 50.0
    bins = SimpleNamespace(period=np.repeat([3, 7], 11), time_s=time, pressure_kpa=-vacuum, cycle=np.repeat([1, 2], 11))
    out = np.full(4, np.nan)
    _note_dips(bins, np.arange(22), out)
    assert out[1] == pytest.approx(70.0 - 2.0 * 0.5 - (70.0 - 0.8 - 4.0) - 0.2 + 0.4 - 0.0, abs=0.41)
    assert out[1] == pytest.approx(min(4.0, 69.0 - 65.2))
    assert out[2] == pytest.approx(0.0)
    assert np.isnan(out[[0, 3]]).all()


def test_the_time_at_a_level_between_two_of_the_grid() -> None:
    """By a straight line; a level hardly over the last one passed goes on a fifth slower, a farther one shows none."""
    levels, times = np.array([10.0, 20.0, 30.0]), np.array([[0.1, 0.2, 0.5], [0.1, 0.2, np.nan]])
    np.testing.assert_allclose(_time_at(times, levels, np.array([15.0, 20.0])), [0.15, 0.2])
    found = _time_at(times, levels, np.array([25.0, 22.0]))
    np.testing.assert_allclose(found, [0.35, 0.2 + 0.2 * (2.2 * 0.2 - 1.2 * 0.1 - 0.2)])
    assert np.isnan(_time_at(times, levels, np.array([20.0, 25.0]))[1])


def test_a_likelihood_of_a_range_by_numbers() -> None:
    """A narrow range at the shift is as likely as its chance; unchanged loses z²/2; what is hopeless stops at the worst."""
    near = Change(0.99, 1.01, 0.8)
    assert _log_fit(near, 1.0, 0.5, -9.0) == pytest.approx(np.log(0.8 + 0.2 * np.exp(-2.0)), abs=2e-3)
    assert _log_fit(SAME, 1.0, 0.5, -9.0) == pytest.approx(-2.0)
    assert _log_fit(SAME, 9.0, 0.5, -9.0) == -9.0
    wide = Change(-10.0, 10.0, 1.0)
    assert _log_fit(wide, 0.0, 0.01, -50.0) == pytest.approx(_log_fit(wide, 5.0, 0.01, -50.0), abs=1.5)


def test_causes_that_pull_either_way_leave_it_unchanged_too() -> None:
    """Of two that may each be there by half: up, down, both, or neither, which an unmoved reading fits as well as any."""
    up = Change(0.999, 1.001, 0.5)
    both = replace(up, against=Change(-1.001, -0.999, 0.5))
    inside = float(np.mean([np.exp(-0.5 * ((x + 1.0) / 0.05) ** 2) for x in np.linspace(-1.001, 1.001, 4001)]))
    assert _log_fit(both, -1.0, 0.05, -50.0) == pytest.approx(np.log(0.25 + 0.25 * inside), abs=0.12)
    assert _log_fit(both, 0.0, 0.05, -50.0) > np.log(0.25)


def test_effects_between_two_recordings() -> None:
    """Medians, their scatter with every third cycle counted, the spread between recordings; shares outside on either side."""
    rng = np.random.default_rng(9)
    b, a = 2.0 + rng.normal(0.0, 0.1, 60), 2.5 + rng.normal(0.0, 0.1, 60)
    a[:6], a[6:9] = 9.0, -9.0
    found = compare_feature("idle", a, np.append(b, np.nan), 0.01, False, OPTIONS)
    assert found.shift == pytest.approx(np.median(a) - np.median(b))
    own = [min(robust_spread(a), 1.5 * robust_spread(np.diff(a)) / np.sqrt(2.0)), robust_spread(b)]
    error = np.sqrt(1.25**2 * (own[0] ** 2 + own[1] ** 2) / 20.0 + 0.01**2 + OPTIONS.spread_idle**2)
    assert found.error == pytest.approx(error)
    alike = b.copy()
    alike[:6], alike[6:9] = 9.0, -9.0
    tails = compare_feature("idle", alike, b, 0.01, False, OPTIONS)
    assert (tails.tail_up, tails.tail_down) == (pytest.approx(0.1), pytest.approx(0.05))
    assert (found.n_now, found.n_reference) == (60, 60)
    within = compare_feature("idle", a, b, 0.01, True, OPTIONS)
    assert within.error < found.error
    assert compare_feature("idle", a[:3], b, 0.01, False, OPTIONS) is None
    assert found.z == pytest.approx(found.shift / found.error)


def test_a_cause_hidden_by_one_that_was_found() -> None:
    """A decay that grew by ten errors as a leak moves it hides the check valve; a small or an opposite move hides none."""
    usual = Circumstances()
    for shift, hidden in ((1.0, "decay"), (0.5, None), (-1.0, None)):
        effects = {"decay": effect(1.0, 0.1, shift)}
        assert _hidden_by("check_valve_leak", ("leak_steady",), effects, usual) == hidden
    moved = {"decay": effect(1.0, 0.1, 1.0)}
    assert _hidden_by("leak_steady", ("leak_steady",), moved, usual) is None
    assert _hidden_by("sensor_zero_shift", ("leak_steady",), moved, usual) is None
    assert _hidden_by("check_valve_leak", ("sensor_zero_shift",), moved, usual) is None
    told = _nothing("leak_steady", "decay", "why not")
    assert (told.code, told.smallest, told.why) == ("leak_steady", None, "why not")


def test_cycles_slow_beside_the_drift_of_a_log() -> None:
    """Evacuations that lengthen steadily are none; four far over that line are those."""
    count = 60
    rise = 0.01 * np.arange(count) + 0.001 * (np.arange(count) % 3)
    np.testing.assert_allclose(np.diff(_drift(rise)), 0.01, rtol=0.02)
    assert not _slow(features_of(count, rise=rise)).any()
    some = rise.copy()
    some[[7, 22, 38, 51]] += 0.3
    assert np.flatnonzero(_slow(features_of(count, rise=some))).tolist() == [7, 22, 38, 51]
    assert not _slow(features_of(9, rise=some[:9])).any()
    assert not _drift(np.full(count, np.nan)).any()


@pytest.mark.parametrize(("rate", "tight"), [(1.0, True), (3.0, False)])
def test_slow_cycles_whose_cup_is_tight(rate: float, tight: bool) -> None:
    """Five of twenty evacuate slowly; where they leak three times as much, they leak."""
    slow = np.arange(20) % 4 == 1
    features = features_of(20, rise=np.where(slow, 0.5, 0.0), decay=np.where(slow, rate, 1.0))
    assert _slow_but_tight(features, features.held) == tight
    assert not _slow_but_tight(features, np.arange(20) < 7)


def test_parts_met_before_the_generator_has_spun_up() -> None:
    """The open cup of the others reads more the later they meet their part, and the slow ones meet theirs first."""
    contact = np.linspace(0.1, 0.3, 30)
    data = SimpleNamespace(cycles=SimpleNamespace(floats=lambda _: 5.0 + contact), timing={"try_s": np.full(30, 5.0)})
    slow = np.arange(30) < 5
    level = 10.0 + 20.0 * contact
    made = features_of(30, open=level, rise=np.where(slow, 0.2, 0.0))
    assert met_early(data, made, slow)
    assert not met_early(data, features_of(30, open=level[::-1].copy(), rise=np.where(slow, 0.2, 0.0)), slow)
    assert not met_early(data, features_of(30, open=level, rise=np.where(slow, 0.3, 0.0)), slow)
    assert not met_early(data, made, slow[::-1].copy())
    assert _ranks(np.array([3.0, 1.0, 2.0])).tolist() == [2.0, 0.0, 1.0]


def stretches(hertz: float, size: float, *, locked: bool = False) -> list[tuple[np.ndarray, np.ndarray]]:
    rng = np.random.default_rng(3)
    time = 0.2 + np.arange(100) * 0.01
    phases = np.zeros(9) if locked else rng.uniform(0.0, 2.0 * np.pi, 9)
    return [(time, -60.0 + time + size * np.sin(2.0 * np.pi * hertz * time + p) + rng.normal(0.0, 0.01, 100)) for p in phases]


def test_a_slow_swing_is_told_by_its_sine() -> None:
    """Four periods of 0.5 kPa in a second explain nearly all; a phase that all share is the machine's."""
    free, locked = swing_of(stretches(4.0, 0.5)), swing_of(stretches(4.0, 0.5, locked=True))
    assert free.periods == pytest.approx(4.0, abs=0.15)
    assert free.amplitude_kpa == pytest.approx(0.5, rel=0.05)
    assert free.share > 0.98
    assert free.coherent < 0.5
    assert locked.coherent == pytest.approx(1.0, abs=0.01)
    assert swing_of(stretches(4.0, 0.0)).share < 0.3
    assert swing_of(stretches(4.0, 0.5)[:5]) is None


def test_chatter_beside_its_hysteresis(plain: StationData) -> None:
    """Six edges too many in each of twelve holds, over the distance of the thresholds in force."""
    data = in_force(with_columns(plain, chatter_edges=6), set_point=56.0, reset_point=55.0)
    fact = _hysteresis(data)
    assert fact.probability == pytest.approx(0.98)
    assert fact.evidence[0].reference == pytest.approx(1.0)
    assert fact.evidence[0].value == pytest.approx(6.0)
    assert fact.evidence[0].text == "72 output edges too many in 12 of 12 holds"
    assert fact.reason == "the output toggles in 12 of 12 holds"
    moved = in_force(with_columns(data, hold_vacuum_kpa=70.0, hold_min_vacuum_kpa=60.0), set_point=56.0, reset_point=51.0)
    assert _hysteresis(moved).probability == pytest.approx(0.35, abs=0.01)
    one = _hysteresis(with_columns(data, chatter_edges={0: 4}) if False else with_columns(plain, chatter_edges={0: 4}))
    assert one.probability == pytest.approx(chance(1.0 / 1.2) * chance((1.0 / 12.0 - 0.03) / 0.008))
    assert _hysteresis(plain) is None


def test_where_the_supply_resumes_in_words() -> None:
    """Above, below, at."""
    assert _standing(1.24) == "supply resumes 1.2 kPa above the reset point"
    assert _standing(-0.5) == "supply resumes 0.5 kPa below the reset point"
    assert _standing(0.04) == "supply resumes at the reset point"


def test_a_set_point_far_below_the_hold(plain: StationData) -> None:
    """A third of what a held part reaches is told in per cent, with the usual peak."""
    fact = _far_below_the_hold(25.0, 1.0 / 3.0, 0.9, plain)
    assert fact.reason == "the set point stands at 33 % of what a held part reaches"
    assert (fact.evidence[0].value, fact.evidence[0].reference) == (25.0, plain.usual_peak_kpa)
    low = {f.code: f for f in setting_facts(in_force(plain, set_point=20.0), Station(), np.ones(12, np.bool_), OPTIONS)}
    assert low["set_point_too_low"].probability == pytest.approx(0.95 * chance((OPTIONS.low_share - 20.0 / plain.usual_peak_kpa) / 0.03))


def test_valves_that_overlap(plain: StationData) -> None:
    """Six of twelve cycles by 0.1 s: half of them, told with its usual length; one in twelve is none."""
    now = np.ones(12, np.bool_)
    fact = _overlap(timed(plain, overlap_s=dict.fromkeys(range(6), 0.1)), now, OPTIONS)
    assert fact.evidence[0].value == pytest.approx(0.1)
    assert fact.probability == pytest.approx(0.95 * chance((0.5 - 0.3) / 0.06))
    assert fact.cycles == tuple(range(6))
    assert _overlap(timed(plain, overlap_s={0: 0.1}), now, OPTIONS) is None


@pytest.mark.parametrize(("edges", "told"), [({0: 2, 1: 2}, True), ({0: 3}, False), ({0: 4, 3: -1}, True)])
def test_chatter_counts_edges_of_held_picks(plain: StationData, edges: dict[int, int], told: bool) -> None:
    """Four edges too many are chatter, three are not yet."""
    facts = {f.code: f for f in symptom_facts(with_columns(plain, chatter_edges=edges), OPTIONS)}
    assert ("switch_chatter" in facts) == told
    if told:
        assert facts["switch_chatter"].evidence[0].value == 4.0


def test_the_idle_reading_of_a_sensor(plain: StationData) -> None:
    """Two kPa of vacuum at rest may be a passing valve's; two of pressure cannot; a part that hangs on is another matter."""
    over, under = (_zero(with_columns(plain, idle_vacuum_kpa=level, residual_vacuum_kpa=level), OPTIONS) for level in (2.0, -2.0))
    whole = 0.9 * chance((2.0 - OPTIONS.zero_kpa) / 0.2)
    assert over.probability + over.instead == pytest.approx(whole)
    assert over.instead == pytest.approx(OPTIONS.passing_share * whole)
    assert (under.probability, under.instead, under.alternatives) == (pytest.approx(whole), 0.0, ())
    assert (over.reason, under.reason) == ("the idle reading is +2.0 kPa", "the idle reading is -2.0 kPa")
    hung = _zero(with_columns(plain, idle_vacuum_kpa=8.0, residual_vacuum_kpa=20.0), OPTIONS)
    assert hung.probability + hung.instead == pytest.approx(0.9 * 0.2, rel=1e-3)


def test_noise_of_single_readings(plain: StationData) -> None:
    """0.5 kPa in hold and at rest is the sensor's; what halves at rest is half of the process; the step is taken off."""
    loud = with_columns(plain, noise_kpa=0.5)
    alike, still = (replace(loud, timing={**loud.timing, "idle_noise_kpa": np.full(12, rest)}) for rest in (0.5, 0.1))
    assert (_noisy(alike, OPTIONS).evidence[0].value, _noisy(still, OPTIONS).evidence[0].value) == (0.5, pytest.approx(0.2))
    own = np.sqrt(0.25 - plain.sensor.quantisation_kpa**2 / 12.0)
    assert _noisy(alike, OPTIONS).probability == pytest.approx(0.95 * chance((own - OPTIONS.noisy_kpa) / 0.03))
    assert _noisy(alike, OPTIONS).reason == "single readings scatter by 0.50 kPa"


def test_noise_that_comes_in_bursts() -> None:
    """Twelve of 48 cycles at ten times the noise, in hold and at rest; in the hold alone it is the process."""
    data = data_of(PLAIN * 48, settings=KNOWN, noise=0.03)
    burst = np.where(np.arange(48) % 4 == 1, 1.0, 0.1)
    loud = with_columns(data, noise_kpa=burst)
    fact = _noisy_in_bursts(replace(loud, timing={**loud.timing, "idle_noise_kpa": burst}), OPTIONS)
    assert fact.cycles == tuple(range(1, 48, 4))
    assert (fact.evidence[0].value, fact.evidence[0].reference) == (1.0, 0.1)
    assert fact.probability == pytest.approx(0.9 * chance((0.25 - 0.5 * OPTIONS.burst_share) / 0.02))
    assert _noisy_in_bursts(replace(loud, timing={**loud.timing, "idle_noise_kpa": np.full(48, 0.1)}), OPTIONS) is None


def test_what_stands_out_of_the_usual() -> None:
    """Only more than usual is news, from four values on; the reach of generators falls short of it or goes beyond."""
    assert _against(np.array([1.0, 2.0, 3.0]), 0.0, 1.0) is None
    found = _against(np.array([3.0, np.nan, 5.0, 4.0, 4.0]), 1.5, 0.5)
    assert (found.now, found.shift, found.error, found.n_now) == (4.0, 2.5, 0.5, 4)
    assert _against(np.full(4, 1.0), 1.5, 0.5).shift == 0.0


@pytest.mark.parametrize("share", [0.5, 0.999])
def test_the_depth_that_a_generator_reaches(plain: StationData, share: float) -> None:
    """Half of ambient is short of the usual reach, nearly all of it beyond what any generator draws."""
    none = {name: replace(found, value_kpa=None) for name, found in plain.settings.items()}
    data = replace(plain, settings=none)
    reached = share * data.ambient_kpa
    found = _depth(data, features_of(12, ultimate_any=np.full(12, reached)), OPTIONS)
    edge = OPTIONS.usual_reach if share < 0.6 else OPTIONS.most_reach
    assert found.now == pytest.approx(reached)
    assert found.shift == pytest.approx(reached - edge * data.ambient_kpa)


def test_picks_after_a_pause(plain: StationData) -> None:
    """A pick that begins 5 s after the one before, others after 0.6 s."""
    start, end = np.array(plain.cycles.floats("start_s")), plain.timing["release_end_s"].copy()
    start[6:], end[6:] = start[6:] + 4.4, end[6:] + 4.4
    moved = replace(with_columns(plain, start_s=start), timing={**plain.timing, "release_end_s": end, "quit_s": end})
    assert np.flatnonzero(rested_picks(moved)).tolist() == [6]
    usual = SimpleNamespace(z=OPTIONS.onset_least_z - 0.1)
    late = SimpleNamespace(present=0.1)
    assert where_all_are_late(late, usual, OPTIONS) is late
    assert where_all_are_late(late, None, OPTIONS) is late


def test_tries_before_the_last_one(saving: StationData) -> None:
    """A log without a second try has none, and no fact of a time-out; misses that still rise are one."""
    assert [len(part) for part in earlier_tries(saving)] == [0, 0, 0]
    flag, at_kpa = retried_while_rising(saving)
    assert not flag.any()
    assert np.isnan(at_kpa)
    assert timeout_fact(saving, np.ones(12, np.bool_), OPTIONS) is None
    assert {HELD, DROPPED, MISSED} == {0, 1, 2}
