"""Two groups in a row of values, how often they take turns, and how noisy a sensor must be to be called so."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from tests.judge.test_evidence import calm, quiet
from tests.judge.test_verdict import case_of, saving_with
from tracekit.judge.case import Seen
from tracekit.judge.effects import Comparison, Effect
from tracekit.judge.evidence import Circumstances
from tracekit.judge.features import choose_bands, make_features
from tracekit.judge.leaky import mixed_products
from tracekit.judge.rank import posterior
from tracekit.judge.sensor_rules import _noisy
from tracekit.judge.signs import _groups_without_coasts, _intervals_apart, alternations, group_sign, two_groups
from tracekit.judge.turns import pattern_nats
from tracekit.judge.verdict import _seldom
from tracekit.options.judge import JudgeOptions


def mixed(low: int, high: int, gap: float = 5.0) -> np.ndarray:
    """Values about 1 and about 1 + gap, one after the other as far as they reach."""
    values = np.concatenate([1.0 + 0.01 * np.arange(low), 1.0 + gap + 0.01 * np.arange(high)])
    return values[np.random.default_rng(3).permutation(len(values))]


@pytest.mark.parametrize(("low", "high"), [(20, 4), (4, 20), (6, 6)])
def test_a_group_of_four_is_found(low, high):
    """The upper of two groups is told; the gap is counted in spreads, twenty at most."""
    values = mixed(low, high)
    upper, gap = two_groups(values, 0.5)
    assert upper.tolist() == (values > 3.0).tolist()
    assert gap == 20.0


@pytest.mark.parametrize(("low", "high"), [(20, 3), (3, 20)])
def test_a_group_of_three_stays_alone(low, high):
    """Three odd cycles do not take their nearest neighbour into their group; two are no group."""
    values = mixed(low, high)
    upper, gap = two_groups(values, 0.5)
    assert upper.tolist() == (values > 3.0).tolist()
    assert gap == 20.0
    assert not two_groups(mixed(min(low, 20), 2) if high == 3 else mixed(2, high), 0.5)[0].any()


def test_no_groups_where_there_are_none():
    """A gap under the least, and fewer than ten values, are one group; missing values belong to none."""
    assert not two_groups(mixed(10, 10, gap=0.3), 0.5)[0].any()
    assert not two_groups(mixed(5, 4), 0.5)[0].any()
    holes = mixed(10, 10)
    holes[::5] = np.nan
    upper, _ = two_groups(holes, 0.5)
    assert not upper[::5].any()
    assert upper.sum() == (holes > 3.0).sum()


def test_gap_in_spreads():
    """A gap of 2 between groups that spread by 0.2 and 0.1 (robust) is 2/√(0.2² + 0.1²) of them, about 8.9."""
    rng = np.random.default_rng(8)
    values = np.concatenate([1.0 + 0.2 * rng.standard_normal(4000), 4.0 + 0.1 * rng.standard_normal(4000)])
    _, gap = two_groups(values, 0.5)
    assert gap == pytest.approx(3.0 / np.hypot(0.2, 0.1), rel=0.05)


def test_turns_of_a_flag():
    """How often a flag changes from one cycle to the next."""
    assert alternations(np.array([False, True, True, False, False, True])) == 3
    assert alternations(np.array([True, True])) == 0


def noisy(level: float, step: float = 0.0):
    """What is said of a sensor whose readings scatter by `level` and which is read in steps."""
    data = SimpleNamespace(
        cycles=SimpleNamespace(floats=lambda _: np.array([level, np.nan, level])), timing={}, sensor=SimpleNamespace(quantisation_kpa=step, noise_kpa=9.9)
    )
    return _noisy(data, JudgeOptions())


def test_noise_beyond_what_is_usual():
    """At the usual limit it is a toss-up, well beyond it nearly sure; what the recorder's steps make is taken out first."""
    limit = JudgeOptions().noisy_kpa
    assert noisy(limit).probability == pytest.approx(0.95 / 2)
    assert noisy(limit + 0.5).probability > 0.93
    assert noisy(0.3).probability < 0.05  # good
    assert noisy(0.3 * np.sqrt(3.0)).probability > 0.8  # three times its power
    assert noisy(0.3 * np.sqrt(2.0)).probability < 0.25  # twice
    assert noisy(limit - 0.3).probability < 0.05 or limit < 0.3
    assert noisy(np.hypot(limit, 1.0 / np.sqrt(12.0)), step=1.0).probability == pytest.approx(0.95 / 2)
    evidence = noisy(limit + 0.5).evidence[0]
    assert (evidence.measure, evidence.unit, evidence.reference, evidence.reference_source) == ("noise_kpa", "kPa", limit, "common practice")
    assert f"{limit + 0.5:.2f} kPa" in evidence.text


@pytest.mark.parametrize(("half_width", "apart"), [(0.2, True), (0.8, False)])
def test_rates_that_are_known_badly_make_no_groups(half_width, apart):
    """Groups about 0.5 and 1.5 kPa/s are apart where the intervals of their rates are, and where none is known."""
    rate = np.array([0.5] * 12 + [1.5] * 5)
    columns = {"decay_rate_lower_kpa_s": rate - half_width, "decay_rate_upper_kpa_s": rate + half_width}
    upper = rate > 1.0
    known = SimpleNamespace(cycles=SimpleNamespace(floats=columns.__getitem__))
    assert _intervals_apart(known, upper, ~upper) == apart
    unknown = SimpleNamespace(cycles=SimpleNamespace(floats=lambda name: np.full(17, np.nan)))
    assert _intervals_apart(unknown, upper, ~upper)


@pytest.mark.parametrize(("by_turns", "told"), [(True, True), (False, False)])
def test_what_all_rates_share_in_doubt_hides_no_pattern(monkeypatch, by_turns, told):
    """1 and 2.2 kPa/s whose intervals overlap: by turns they are two nests, at random they may be one group."""
    monkeypatch.setattr("tracekit.judge.signs._intervals_apart", lambda *_: False)
    leaky = np.arange(24) % 3 == 1
    order = np.arange(24) if by_turns else np.random.default_rng(5).permutation(24)
    case = case_of(tuple(piece for more in leaky[order] for piece in saving_with(2.2 if more else 1.0)))
    sign, group = group_sign(case.data, make_features(case.data, case.leak, choose_bands((case.data,))))
    np.testing.assert_array_equal(group, leaky[order])
    assert (sign.present > 0.9) == told
    assert told or sign.present == 0.5


@pytest.mark.parametrize(("half_width", "told"), [(0.1, True), (0.9, False)])
def test_a_third_that_leaks_at_random_is_told_where_its_rates_are_known_well(half_width, told):
    """1 and 2.2 kPa/s in no order: the usual intervals of the leaking third are held against those of the others alone."""
    leaky = (np.arange(24) % 3 == 1)[np.random.default_rng(5).permutation(24)]
    case = case_of(tuple(piece for more in leaky for piece in saving_with(2.2 if more else 1.0)))
    rate = make_features(case.data, case.leak, choose_bands((case.data,))).values["decay"]
    ends = {"decay_rate_lower_kpa_s": rate - half_width, "decay_rate_upper_kpa_s": rate + half_width}
    data = replace(case.data, cycles=case.data.cycles.with_columns(**ends))
    sign, group = group_sign(data, make_features(data, case.leak, choose_bands((data,))))
    np.testing.assert_array_equal(group, leaky)
    assert (sign.present > 0.9) == told
    assert told or sign.present == 0.5


def kinds(context=None, picks=36):
    """A log of some picks, with a part type beside each where `context` names them."""
    columns = {} if context is None else {"context_recipe": context}
    return SimpleNamespace(cycles=SimpleNamespace(data=columns, codes=columns.__getitem__))


def test_a_group_that_comes_by_turns_or_with_a_part_type_is_no_chance():
    """Every third pick, or every pick of one type, is told by it; as many picks at random are told by nothing."""
    every, seen = np.arange(36), np.ones(36, bool)
    order = np.random.default_rng(5).permutation(36)
    turns, mixed = every % 3 == 1, (every % 3 == 1)[order]
    assert pattern_nats(kinds(), turns, seen) == 6.0
    assert pattern_nats(kinds(), mixed, seen) < 1.0
    assert pattern_nats(kinds(mixed.astype(np.int64)), mixed, seen) == 6.0
    assert pattern_nats(kinds(every), mixed, seen) < 1.0  # a number of its own for each pick names no kind
    assert pattern_nats(kinds(), seen, seen) == 0.0


@pytest.mark.parametrize(("high", "volume_ml", "mixed"), [(4.0, 24.0, True), (8.0, 24.0, False), (4.0, 300.0, False), (4.0, None, False)])
def test_two_part_types_within_what_sound_stations_leak(high, volume_ml, mixed):
    """2 and 4 kPa/s on 24 mL are 0.03 and 0.06 L/min: a product mix. Four times as much, or on 300 mL, is a leak."""
    upper = np.arange(20) % 2 == 0
    features = SimpleNamespace(held=np.ones(20, bool), values={"decay": np.where(upper, high, 2.0)})
    assert mixed_products(features, upper, volume_ml, JudgeOptions()) == mixed


@pytest.mark.parametrize(("share", "blamed"), [(0.0, True), (0.8, False), (None, False)])
def test_a_valve_that_seats_badly_now_and_then_moves_no_median(share, blamed):
    """A quarter of the cycles leaks and evacuates as the others do: only where that is known, dirt on a seat is asked."""
    balance = Effect(
        now=0.0, reference=0.0, shift=share or 0.0, error=0.08, n_now=10, n_reference=30, tail_up=0.0, tail_down=0.0,
        scatter=1.0,
    )  # fmt: skip
    effects = quiet() if share is None else {**quiet(), "balance": balance}
    every = np.ones(40, bool)
    compared = Comparison(effects={}, source="baseline", onset=None, now=every, reference=~every)
    signs = tuple(replace(sign, present=0.999) if sign.name == "rate_groups" else sign for sign in calm())
    seen = Seen(effects=effects, signs=signs, cycles={"rate_groups": np.arange(40) % 4 == 0}, comparison=compared)
    few = _seldom(seen, JudgeOptions())
    assert ("check_valve_leak" in few) == blamed
    assert "leak_part_dependent" in few
    present = posterior(effects, signs, (), True, JudgeOptions(), Circumstances(seldom=few)).present
    assert (present["check_valve_leak"] > present["leak_part_dependent"]) == blamed


@pytest.mark.parametrize(("open_less", "told"), [(0.0, True), (2.0, False)])
def test_without_coasts_an_open_cup_that_is_the_same_clears_the_supply(open_less, told):
    """A third of the holds reaches 10 kPa less and never comes near the top; a weaker open cup before them is a dip."""
    leaky = np.arange(30) // 5 % 3 == 1
    rng = np.random.default_rng(2)
    values = {
        "ultimate": np.full(30, 78.0), "peak": np.where(leaky, 68.0, 78.5) + 0.8 * rng.normal(size=30),
        "top": np.where(leaky, np.nan, 34.0 + 0.3 * rng.normal(size=30)),
        "open": 5.5 - open_less * leaky + 0.05 * rng.normal(size=30),
        "blow": np.where(leaky, -4.3, -5.1) + 0.05 * rng.normal(size=30),
    }  # fmt: skip
    features = SimpleNamespace(values=values, held=np.ones(30, bool), floor={"ultimate": 0.02})
    group, chance = _groups_without_coasts(features, np.zeros(30, bool))
    np.testing.assert_array_equal(group, leaky)
    assert (chance > 0.9) == told
