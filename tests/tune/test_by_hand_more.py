"""More formulas of tuning against values worked out by hand, in a loop or by another way."""

from dataclasses import replace
from itertools import product
from types import SimpleNamespace

import numpy as np
import pytest
from tune.test_by_hand import FACTS, OPTIONS, rules

from tracekit.model.tuning import Known
from tracekit.tune.chatter import Pulses, _bunched, _depth, _duty, _in_step, _resumed, _tone_share
from tracekit.tune.cost import Levels, drop_cost, point_cost, representatives, reset_cost, weights
from tracekit.tune.intervals import estimate, of_median, of_share
from tracekit.tune.loop import Lanes, recharge_of, run_loop
from tracekit.tune.order import broken, impossible
from tracekit.tune.quantile import high_bound, low_bound
from tracekit.tune.rise import Rise, _first_cut, _monotone, _steep, ultimates
from tracekit.tune.search import _allowed, _candidates, _costs, _spacing

NOW = {"supply_off": 70.0, "supply_on": 62.0, "set_point": 58.0, "reset_point": 54.0}
WEIGHTS = {"false_drop": 100.0, "false_present": 80.0, "missed": 60.0, "chatter": 5.0, "air": 1.0, "switch": 0.15, "time": 2.0, "grip": 0.03}


def problem(**changed) -> SimpleNamespace:
    """What the search reads of a problem; every setting in force is known to half a kPa."""
    known = {name: Known(name=name, value=v, low=v - 0.5, high=v + 0.5) for name, v in NOW.items()}
    facts = replace(FACTS, reach_low=float("nan"))
    usual = {
        "model": SimpleNamespace(facts=facts), "rules": rules(known=known), "options": OPTIONS, "now": NOW, "saving": True,
        "weights": WEIGHTS, "fall": 1.0, "adjustable": tuple(NOW), "levels": levels(),
    }  # fmt: skip
    return SimpleNamespace(**(usual | changed))


def levels(**changed) -> Levels:
    usual = {"empty": np.zeros(0), "reach": np.zeros(0), "floor": np.zeros(0), "sigma": 0.0}
    return Levels(**(usual | changed))


@pytest.mark.parametrize(
    "bound",
    [
        {}, {"needed": 52.0}, {"needed": 57.0}, {"open_level": 56.5}, {"point_most": 59.0}, {"off_most": 71.0},
        {"dip_level": 53.0}, {"hysteresis": 5.0, "band": 7.5, "band_most": 9.0},
    ],
    ids=str,
)  # fmt: skip
def test_the_search_allows_what_breaks_no_rule(bound: dict) -> None:
    """On the whole grid at once as one by one, with the settings in force among the values."""
    asked = problem()
    asked.rules = replace(asked.rules, **{"needed": 1.0, **bound})
    grid = {
        "supply_off": np.array([66.0, 69.0, 70.0, 71.5]), "supply_on": np.array([57.0, 60.5, 62.0, 65.5]),
        "set_point": np.array([56.0, 58.0, 59.5]), "reset_point": np.array([51.0, 53.5, 54.0, 57.0]),
    }  # fmt: skip
    allowed = _allowed(asked, grid, tuple(grid))
    for place in product(*(range(len(values)) for values in grid.values())):
        values = {name: float(grid[name][k]) for name, k in zip(grid, place, strict=True)}
        assert allowed[place] == (not broken(values, asked.rules)), values
    assert allowed.any()
    assert not allowed.all()


def test_a_set_point_is_not_moved_under_half_of_what_is_reached() -> None:
    """The least set point is a share of the weakest vacuum; one that is in force already may stay."""
    asked = problem(model=SimpleNamespace(facts=replace(FACTS, reach_low=100.0)))
    asked.rules = replace(asked.rules, needed=1.0)
    least = OPTIONS.set_least_share * 100.0
    low = {**{name: np.array([value]) for name, value in NOW.items()}, "reset_point": np.array([20.0])}
    for point, fine in ((least - 0.1, False), (least + 0.1, True)):
        assert _allowed(asked, {**low, "set_point": np.array([point])}, tuple(NOW)).ravel().tolist() == [fine]


def test_values_to_try_lie_on_the_steps_of_the_device() -> None:
    """Multiples of its step from the move allowed, or the load's need, to the weakest vacuum, and the one in force."""
    asked = problem(model=SimpleNamespace(facts=replace(FACTS, reach_low=80.0)))
    asked.rules = replace(asked.rules, needed=50.0)
    wide = _candidates(asked, "set_point", None, 0.0)
    np.testing.assert_allclose(wide / 0.5, np.round(wide / 0.5))
    assert (wide.min(), wide.max(), 58.0 in wide) == (50.0, 80.0, True)
    off = _candidates(asked, "supply_off", None, 0.0)
    assert off.min() == pytest.approx(max(70.0 - OPTIONS.most_move_kpa, 0.0))
    near = _candidates(asked, "set_point", 60.0, 1.5)
    assert (near[1:].min(), near.max(), near[0]) == (58.5, 61.5, 58.0)
    fixed = problem(adjustable=("supply_on",))
    assert _candidates(fixed, "set_point", None, 0.0).tolist() == [58.0]
    asked.rules = replace(asked.rules, needed=None)  # without a load nothing is lowered that grips
    assert _candidates(asked, "set_point", None, 0.0)[:2].tolist() == [58.0, 58.5]
    assert _spacing(np.array([3.0, 1.0, 2.0, 2.0])) == 1.0
    assert _spacing(np.array([3.0])) == 0.0


def test_costs_of_a_grid_add_up_axis_by_axis() -> None:
    """Without air saving: the set point's, the reset point's, and the grip of a reset point far under it."""
    rise = Rise(
        level=np.array([40.0, 60.0]), time=np.array([[0.2, 0.4]] * 3), ultimate=np.full(3, 90.0), steep=np.full(3, 0.3)
    )
    model = SimpleNamespace(facts=replace(FACTS, reach_low=80.0), rise=rise)
    seen = levels(empty=np.array([10.0, 12.0]), reach=np.array([75.0, 80.0]), floor=np.array([60.0, 62.0]), sigma=0.2)
    asked = problem(model=model, levels=seen, saving=False)
    grid = {"set_point": np.array([50.0, 60.0, 74.0]), "reset_point": np.array([45.0, 59.5])}
    found = _costs(asked, grid, allow_all=True)
    for (i, point), (k, reset) in product(enumerate(grid["set_point"]), enumerate(grid["reset_point"])):
        slack = max(point - 2.0 * asked.rules.hysteresis - reset, 0.0)
        expected = float(point_cost(np.array([point]), seen, model, WEIGHTS, OPTIONS)[0])
        expected += float(reset_cost(np.array([reset]), seen, WEIGHTS, OPTIONS)[0])
        assert found[i, k] == pytest.approx(expected + OPTIONS.grip_of_reset * 0.03 * slack)


def test_what_a_set_point_costs() -> None:
    """Far from all levels: the time to it, the grip that it lacks, and every pick that never reaches it."""
    rise = Rise(
        level=np.array([40.0, 60.0]), time=np.array([[0.2, 0.4]] * 3), ultimate=np.full(3, 90.0), steep=np.full(3, 0.3)
    )
    model = SimpleNamespace(facts=replace(FACTS, reach_low=80.0), rise=rise)
    seen = levels(empty=np.array([10.0, 70.0]), reach=np.array([50.0, 85.0, 85.0]), sigma=0.1)
    cost = point_cost(np.array([60.0]), seen, model, WEIGHTS, OPTIONS)[0]
    grip = max(OPTIONS.grip_share * 80.0 - 60.0, 0.0)
    assert cost == pytest.approx(80.0 * 0.5 + 60.0 / 3.0 + 2.0 * 0.4 + 0.03 * grip, rel=1e-6)
    never = point_cost(np.array([95.0]), levels(reach=np.array([50.0]), sigma=0.1), model, WEIGHTS, OPTIONS)[0]
    assert never == pytest.approx(60.0 + 2.0 * 10.0)  # no pick comes there: ten seconds stand for never


def test_what_a_lost_output_costs() -> None:
    """At no distance one reading in two is under the reset point, so it happens; ten deviations above it never does."""
    quiet = levels(sigma=0.0, floor=np.array([60.0, 50.0]))
    full = WEIGHTS["false_drop"] + 4.0 * WEIGHTS["chatter"]
    far = 10.0 * OPTIONS.least_spread_kpa
    np.testing.assert_allclose(drop_cost(np.array([0.0, far]), quiet, WEIGHTS, OPTIONS), [full, 0.0], atol=1e-9)
    assert reset_cost(np.array([55.0]), quiet, WEIGHTS, OPTIONS)[0] == pytest.approx(0.5 * full)
    assert reset_cost(np.array([55.0]), levels(), WEIGHTS, OPTIONS)[0] == 0.0
    assert weights(OPTIONS, "valve")["switch"] == OPTIONS.weight_switch * OPTIONS.goal_factor
    assert weights(OPTIONS, "air")["air"] == OPTIONS.weight_air * OPTIONS.goal_factor
    assert weights(OPTIONS, None)["grip"] == OPTIONS.weight_grip


def test_cycles_that_stand_for_all() -> None:
    """From the smallest leak to the largest, evenly in order; all of them where there are few."""
    rate = np.random.default_rng(2).permutation(1000).astype(float)
    chosen = representatives(SimpleNamespace(rate=rate), OPTIONS)
    expected = np.linspace(0.0, 999.0, OPTIONS.representatives).round()
    np.testing.assert_allclose(rate[chosen], expected)
    assert sorted(representatives(SimpleNamespace(rate=rate[:3]), OPTIONS).tolist()) == [0, 1, 2]


def test_an_exponential_rise_goes_on_as_one() -> None:
    """Times are tau ln(U / (U - v)): between recorded levels, beyond the last one, its speed, and never at its end."""
    tau, end = 0.25, 85.0
    level = np.arange(10.0, 61.0, 10.0)
    time = -tau * np.log(1.0 - level / end)[None, :]
    assert _steep(level, time, np.array([end])) == pytest.approx([tau])
    rise = Rise(level=level, time=time, ultimate=np.array([end]), steep=np.array([tau]))
    asked = np.array([5.0, 35.0, 80.0, 85.0])
    np.testing.assert_allclose(rise.at(asked)[0, :3], -tau * np.log(1.0 - asked[:3] / end))
    assert np.isinf(rise.at(asked)[0, 3])
    np.testing.assert_allclose(rise.speed(np.array([50.0]))[0], [(end - 50.0) / tau], rtol=1e-3)
    assert rise.speed(np.array([90.0]))[0, 0] == 0.0
    gone = np.where(level > 35.0, np.nan, time)
    assert replace(rise, time=gone).last_level().tolist() == [30.0]
    np.testing.assert_allclose(replace(rise, time=gone).at(np.array([60.0])), -tau * np.log(1.0 - 60.0 / end))


def test_a_cycle_that_shows_too_little_rises_as_the_others() -> None:
    """One with a single level has the median slope; without any slope a tenth of a second stands; only 12 kPa count."""
    level, end = np.array([20.0, 50.0, 60.0]), np.array([80.0, 80.0, 80.0])
    bent = -np.log(1.0 - level / 80.0)
    time = np.stack([0.2 * bent, 0.4 * bent, [np.nan, np.nan, 0.5]])
    time[0, 0] = 9.0  # 40 kPa under the last level
    assert _steep(level, time, end) == pytest.approx([0.2, 0.4, 0.3])
    assert _steep(level, np.full((2, 3), np.nan), end[:2]) == pytest.approx([0.1, 0.1])
    falling = _monotone(np.array([[0.1, 0.3, 0.2, np.nan, 0.4]]))
    np.testing.assert_allclose(falling, [[0.1, 0.3, 0.3, np.nan, 0.4]])


def test_where_evacuations_tend_stands_over_their_peak() -> None:
    """The fit's end, the median of the others where it shows none, never under the peak and 0.3 kPa."""
    peaks = {"peak_vacuum_kpa": np.array([70.0, 82.0, 60.0]), "ultimate_vacuum_kpa": np.full(3, np.nan)}
    cycles = SimpleNamespace(floats=peaks.__getitem__)
    data = SimpleNamespace(cycles=cycles, timing={"tends_to_kpa": np.array([80.0, 80.0, np.nan])})
    np.testing.assert_allclose(ultimates(data, np.arange(3)), [80.0, 82.3, 80.0])
    none = SimpleNamespace(cycles=cycles, timing={})
    np.testing.assert_allclose(ultimates(none, np.arange(3)), [86.1, 86.1, 86.1])


def test_the_first_cut_of_the_supply() -> None:
    """After the command and before the release, which the last supply-off belongs to; none where it is never cut."""
    edges = {"signal": ["supply"] * 7, "value": [1, 0, 1, 0, 0, 0, 0], "cycle": [0, 0, 0, 0, 0, 1, 2], "time_s": [1.0, 1.4, 1.6, 2.0, 0.9, 5.0, 9.5]}
    table = SimpleNamespace(
        where=lambda name, word: np.array([one == word for one in edges[name]]), codes=lambda name: np.array(edges[name]),
        floats=lambda name: np.array(edges[name]),
    )  # fmt: skip
    timing = {"try_s": np.array([1.0, 4.5, 9.0]), "release_s": np.array([3.0, 5.05, np.nan])}
    data = SimpleNamespace(edges=table, timing=timing, cycles=[0, 1, 2])
    np.testing.assert_allclose(_first_cut(data, np.arange(3)), [0.4, np.nan, 0.5])


@pytest.mark.parametrize(("events", "n"), [(0, 20), (3, 20), (20, 20), (30, 20)])
def test_shares_have_score_intervals_of_two_recordings(events: int, n: int) -> None:
    """Bounds p solve (share - p)² = z²·p(1 - p)/n with z² twice 1.96², for a second recording as long."""
    found = of_share(events, n, "counted")
    share, z2 = min(events / n, 1.0), 2.0 * 1.96**2
    roots = np.sort(np.roots([1.0 + z2 / n, -2.0 * share - z2 / n, share**2]))
    assert found.value == share
    assert (found.lower, found.upper) == (pytest.approx(max(roots[0], 0.0), abs=1e-9), pytest.approx(min(roots[1], 1.0)))
    assert (found.unit, found.n) == ("share of cycles", n)


def test_the_median_of_values_that_share_a_doubt() -> None:
    """Median deviation 1 of five values beside a common 0.5: a second recording's median, and never under the least."""
    found = of_median(np.array([1.0, 2.0, 3.0, 4.0, 5.0]), "kPa", "seen", 0.5)
    assert found.value == 3.0
    half = 1.96 * np.hypot(1.2533 * 1.4826 * np.sqrt(2.0 / 5.0), 0.5)
    assert found.upper - 3.0 == pytest.approx(half)
    assert 3.0 - found.lower == pytest.approx(half)
    low = estimate(0.2, 1.0, "s", 3, "seen")
    assert (low.lower, low.value, low.upper) == (0.0, 0.2, 1.2)


def test_a_bound_beyond_the_extreme_of_few_values() -> None:
    """Five values say of the tenth quantile: under the lowest by half the log of how many are missing, times a spread."""
    values = np.array([10.0, 12.0, 14.0, 16.0, 18.0])
    needed = np.log(0.05) / np.log(0.9)
    expected = 10.0 - 0.5 * np.log(needed / 5.0) * 4.0 / 3.0
    assert low_bound(values, 0.1) == pytest.approx(expected)
    assert high_bound(-values, 0.1) == pytest.approx(-expected)
    many = np.arange(1000.0)
    assert low_bound(many, 0.1) == float(int(100.0 - 1.645 * np.sqrt(90.0)))
    assert np.isnan(low_bound([], 0.1))


def wave(*parts: tuple[float, float], noise: float = 0.0) -> float:
    """Share of one tone in three seconds of a hold at 500 Hz."""
    time = np.arange(1500) / 500.0
    pressure = -60.0 + 2.0 * time + sum(size * np.sin(2.0 * np.pi * hertz * time) for hertz, size in parts)
    pressure = pressure + np.random.default_rng(4).normal(0.0, noise or 1e-9, 1500)
    return _tone_share(time, pressure, np.ones(1500, np.int8))


def test_how_much_of_a_hold_is_one_tone() -> None:
    """A sine is nearly all of it, two alike are half each, noise is none, and a slow swing is no tone."""
    assert wave((20.0, 1.0)) > 0.99
    assert wave((20.0, 1.0), (90.0, 1.0)) == pytest.approx(0.5, abs=0.03)
    assert wave((20.0, 1.0), (90.0, 2.0)) == pytest.approx(0.8, abs=0.03)
    assert wave(noise=1.0) < 0.1
    assert _tone_share(np.arange(31) / 500.0, np.zeros(31), np.ones(31, np.int8)) == 0.0
    assert _tone_share(np.arange(200) / 500.0, np.zeros(200), np.zeros(200, np.int8)) == 0.0


def test_pulses_that_come_in_step() -> None:
    """The two windows of 80 ms that hold the most: three and two of seven; how long the output is off of its time."""
    assert _bunched(np.array([1.0, 1.07, 1.03, 2.0, 2.08, 5.0, 6.0])) == pytest.approx(5.0 / 7.0)
    assert _bunched(np.array([1.0, 1.09])) == 1.0
    assert _bunched(np.zeros(0)) == 0.0
    off = np.array([1.0, 1.5, 7.0])
    assert _duty(Pulses(cycle=np.array([0, 0, 1]), off_s=off, on_s=off + 0.1, vacuum=off)) == pytest.approx(0.3 / 0.7)


def dips(at_s: list[float], depth_kpa: float) -> tuple[SimpleNamespace, Pulses]:
    """Holds of 2 s, one each 10 s, with a dip of 50 ms in each."""
    off = 10.0 * np.arange(len(at_s)) + np.array(at_s)
    time = np.arange(0.0, 10.0 * len(at_s), 0.01)
    vacuum = np.full(len(time), 60.0)
    for one in off:
        vacuum[(time > one - 0.005) & (time < one + 0.055)] -= depth_kpa
    start = 10.0 * np.arange(len(at_s))
    floats = {"hold_start_s": start, "hold_end_s": start + 2.0 + 0.5 * (np.arange(len(at_s)) % 3)}
    bins = SimpleNamespace(time_s=time, pressure_kpa=-vacuum)
    pulses = Pulses(cycle=np.arange(len(at_s)), off_s=off, on_s=off + 0.05, vacuum=np.full(len(at_s), 60.0 - depth_kpa))
    return SimpleNamespace(bins=bins, cycles=SimpleNamespace(floats=floats.__getitem__)), pulses


def test_dips_in_step_with_the_transport() -> None:
    """Nine dips at 0.5 s are, nine spread over the hold are not, nor are edges that no dip of vacuum explains."""
    data, pulses = dips([0.5] * 9, 5.0)
    np.testing.assert_allclose(_depth(data, pulses), 5.0)
    assert _in_step(data, pulses, 0.1) == 1.0
    assert _in_step(data, pulses, 2.0) == 0.0
    assert _in_step(*dips(list(np.linspace(0.2, 1.9, 9)), 5.0), 0.1) < 0.5


def test_pulses_beside_recharges() -> None:
    """The supply resumes inside the first pulse, 0.1 s before the second, long before the third."""
    off = np.array([1.0, 5.1, 9.0])
    pulses = Pulses(cycle=np.arange(3), off_s=off, on_s=off + 0.3, vacuum=off)
    periods = SimpleNamespace(floats=lambda _: np.array([8.0, 1.2, 5.0]), where=lambda *_: np.ones(3, np.bool_))
    inside, before = _resumed(SimpleNamespace(periods=periods), pulses)
    assert (inside.tolist(), before.tolist()) == ([True, False, False], [False, True, False])


def lanes(**changed) -> Lanes:
    """A slow leak of 2 kPa/s between 70 and 60 kPa, gas at the wall's temperature, no delays."""
    zero, one = np.zeros((1, 1)), np.ones((1, 1))
    usual = {
        "off": 70.0 * one, "on": 60.0 * one, "first_cut_s": 1.0 * one, "end_s": 31.0 * one, "rate": 2.0 * one,
        "ambient": 101.0, "exchange_1_s": 1e4 * one, "ultimate": 90.0 * one, "tau_s": 0.5 * one, "delay_on_s": zero,
        "delay_off_s": zero, "delay_later_s": zero, "first_rise": zero, "first_memory": zero, "later_share": one,
    }  # fmt: skip
    return Lanes(**(usual | changed))


def test_a_loop_of_straight_coasts_and_exponential_refills() -> None:
    """Ten kPa at 2 kPa/s are 5 s; back takes tau ln(30/20); edges and supply time are those counted by hand."""
    refill = 0.5 * np.log(30.0 / 20.0)
    found = run_loop(lanes())
    assert found.period_s[0, 0] == pytest.approx(5.0 + refill, rel=1e-3)
    resumed = 6.0 + (5.0 + refill) * np.arange(9)
    whole = int((resumed < 31.0).sum())
    assert found.switches[0, 0] == 1 + whole + int((resumed + refill < 31.0).sum()) == 11
    assert found.on_time_s[0, 0] == pytest.approx(1.0 + whole * refill, rel=1e-3)
    never = run_loop(lanes(first_cut_s=np.array([[40.0]])))
    assert (never.switches[0, 0], never.on_time_s[0, 0]) == (0.0, 31.0)


def test_a_refill_that_answers_late_starts_lower() -> None:
    """At 4 kPa/s and 0.25 s vacuum falls by one more kPa; a refill towards less than the cut never comes."""
    time, _ = recharge_of(lanes(delay_on_s=np.array([[0.25]])), np.zeros((1, 1)), np.full((1, 1), 4.0))
    assert time[0, 0] == pytest.approx(0.25 + 0.5 * np.log(31.0 / 20.0))
    weak, _ = recharge_of(lanes(ultimate=np.array([[60.0]])), np.zeros((1, 1)), np.full((1, 1), 4.0))
    assert weak[0, 0] == 1e4


def test_what_no_device_can_hold() -> None:
    """A reset point at the set point, or supply_on at supply_off, where either is asked for; margins are to one step."""
    known = problem().rules
    told = impossible({**NOW, "reset_point": 58.0}, known)
    assert [(one.name, one.holds, one.margin_kpa) for one in told] == [("reset_point + step <= set_point", False, -0.5)]
    assert [one.name for one in impossible({**NOW, "supply_on": 71.0}, known)] == ["supply_on + step <= supply_off"]
    assert impossible({**NOW, "reset_point": 57.9}, known) == ()
