"""Formulas of tuning against values worked out by hand or by a reference library."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats
from segment.made_traces import PLAIN, data_of

from tracekit.model.estimate import Estimate
from tracekit.model.station import Load, Settings, Station
from tracekit.options.tune import TuneOptions
from tracekit.tune.entry_order import margins
from tracekit.tune.facts import Facts
from tracekit.tune.figures import _one_noise_time, _scatter
from tracekit.tune.intervals import of_mean
from tracekit.tune.needed import needed_kpa
from tracekit.tune.order import Rules, _margins, _order
from tracekit.tune.predict import _extrapolates, _per_time, _short
from tracekit.tune.prepare import rules_of
from tracekit.tune.quantile import _rank
from tracekit.tune.search import _distances
from tracekit.tune.station_model import _delay_off, _ends

OPTIONS = TuneOptions()
FACTS = Facts(
    sigma=0.4, open_high=10.0, reach_low=80.0, undershoot=0.1, overshoot=0.2, dip=0.5, floor=60.0, slope=1.0,
    overshoot_seen=0.3,
)  # fmt: skip


def rules(**changed) -> Rules:
    usual = {
        "guard": 3.0, "step": 0.5, "hysteresis": 2.0, "band": 5.0, "band_most": 15.0, "needed": None, "open_level": None,
        "point_most": None, "off_most": None, "dip_level": None, "known": {},
    }  # fmt: skip
    return Rules(**(usual | changed))


@pytest.mark.parametrize("n", [10, 58, 59, 60, 93, 150])
@pytest.mark.parametrize("share", [0.05, 0.1, 0.5])
def test_ranks_are_those_of_the_binomial_law(n: int, share: float) -> None:
    """The highest rank that at most 5 % of samples overshoot: scipy's binomial says the same."""
    below = stats.binom.cdf(np.arange(n), n, share)
    assert _rank(n, share) == int((below <= 0.05).sum()) - 1


def test_the_mean_of_few_values() -> None:
    """Sample deviation 1 of three values: a second recording's mean lies within 1.96 sqrt(2/3)."""
    found = of_mean(np.array([1.0, 2.0, 3.0]), "s", "recorded")
    assert found.upper - found.value == pytest.approx(1.96 * np.sqrt(2.0 / 3.0), rel=1e-3)


def test_a_vertical_face_holds_by_friction() -> None:
    """2 kg at rest, twofold safe, friction 0.5: a wall takes 78.5 N, a ceiling half of that; 40 mm cups have 12.57 cm²."""
    load = Load(mass_kg=2.0, cup_diameter_mm=40.0, friction=0.5)
    area_m2 = np.pi * 0.02**2
    wall, ceiling = (needed_kpa(replace(load, orientation=o)) for o in ("vertical", "horizontal"))
    assert wall == pytest.approx(2.0 * 2.0 * 9.80665 / 0.5 / area_m2 / 1e3, rel=1e-3)
    assert ceiling == pytest.approx(wall / 2.0, rel=1e-3)


def test_the_peak_scatters_by_no_less_than_its_lower_end() -> None:
    """From 30 to 90 in equal steps: the median deviation is a quarter of the range, and noise of the recorder is taken off."""
    peaks = np.linspace(30.0, 90.0, 61)
    quiet, rough = _scatter(peaks, 0.0), _scatter(peaks, 10.0)
    assert isinstance(quiet, Estimate)
    assert isinstance(rough, Estimate)
    assert quiet.value == pytest.approx(1.4826 * 15.0)
    assert quiet.lower + quiet.upper == pytest.approx(2.0 * quiet.value)
    assert rough.lower == pytest.approx(np.sqrt(quiet.lower**2 - 100.0))
    assert rough.upper == pytest.approx(np.hypot(quiet.upper, 10.0))


def test_noise_that_hardly_moves_from_sample_to_sample() -> None:
    """First-order noise of 0.2 s at 1 kHz: a time of the order, never without end; white noise is one sample long."""
    rng = np.random.default_rng(3)
    time, present = np.arange(40_000) / 1000.0, np.ones(40_000, np.int8)
    white = rng.normal(size=len(time))
    slow = np.zeros(len(time))
    for i in range(1, len(time)):
        slow[i] = np.exp(-1.0 / 200.0) * slow[i - 1] + white[i]
    assert _one_noise_time(time, white, present) == pytest.approx(0.001)
    assert 0.09 < _one_noise_time(time, slow, present) <= -0.001 / np.log(0.99) + 1e-9


def test_rules_of_a_station() -> None:
    """Every margin as its option says, from a noise of 0.4 kPa and a reach of 80 kPa."""
    found = rules_of(FACTS, {}, Station(settings=Settings(guard_kpa=0.0)), True, 1.5, OPTIONS)
    assert found.hysteresis == pytest.approx(max(OPTIONS.hysteresis_kpa, OPTIONS.hysteresis_sigmas * 0.4))
    assert found.guard == pytest.approx(1.5 + OPTIONS.sigmas * 0.4 + found.step)
    assert found.off_most == pytest.approx(80.0 - OPTIONS.margin_reach_kpa - 0.4)
    assert found.point_most == pytest.approx(min(OPTIONS.set_share * 80.0, found.off_most))
    assert found.open_level == pytest.approx(10.0 + OPTIONS.margin_open_kpa)
    assert found.dip_level is None
    plain = rules_of(FACTS, {}, Station(), False, 1.5, OPTIONS)
    assert plain.dip_level == pytest.approx(60.0 - OPTIONS.sigmas * 0.4 - plain.step)


def test_the_order_of_all_settings_in_all_places() -> None:
    """The same four distances in the search, at entry and in what is printed."""
    values = {"reset_point": 50.0, "supply_on": 60.0, "set_point": 56.0, "supply_off": 70.0}
    of_search = {(low, high): least for low, high, least in _distances(rules())}
    assert of_search == {
        ("reset_point", "supply_on"): 3.0, ("supply_on", "supply_off"): 0.5, ("set_point", "supply_off"): 0.5,
        ("reset_point", "set_point"): 0.5,
    }  # fmt: skip
    expected = sorted(values[high] - values[low] - least for (low, high), least in of_search.items())
    assert sorted(margins(values, 3.0, 0.5)) == pytest.approx(expected)
    assert sorted(margin for _, margin in _order(values, rules())) == pytest.approx(expected)


def test_an_open_cup_that_never_shows_binds_nothing() -> None:
    """Without an open-cup level there is no rule for it, and with one its distance to the set point counts."""
    values = {"set_point": 56.0, "reset_point": 50.0}
    known = {name: SimpleNamespace(value=v - 1.0, low=v - 1.0, high=v - 1.0) for name, v in values.items()}
    name = "open-cup vacuum + margin <= set_point"
    without = dict(_margins(values, rules(known=known)))
    assert name not in without
    assert dict(_margins(values, rules(known=known, open_level=13.0)))[name] == pytest.approx(43.0)


def coasts(first: list[bool], turn_kpa: list[float]) -> SimpleNamespace:
    """Coasts of which only the ends matter."""
    return SimpleNamespace(first=np.array(first), turn_kpa=np.array(turn_kpa))


@pytest.mark.parametrize(("speed", "delay_s"), [(10.0, 0.05), (100.0, 0.005), (0.5, 0.1), (1e4, 0.002)])
def test_the_delay_of_a_cut_is_its_overshoot_over_the_speed(speed: float, delay_s: float) -> None:
    """Half a kPa too far at 10 kPa/s is 50 ms; no cut takes less than 2 or more than 100 ms."""
    data = SimpleNamespace(settings={"supply_off": SimpleNamespace(value_kpa=70.0)})
    rise = SimpleNamespace(speed=lambda level: np.full(len(level), speed))
    seen = coasts([True, True, False, True], [70.4, 70.6, 99.0, np.nan])
    assert _delay_off(data, seen, rise) == pytest.approx(delay_s)
    assert _delay_off(data, coasts([False], [70.0]), rise) == pytest.approx(0.03)


def test_the_end_of_suction_without_a_held_pick() -> None:
    """Given-up picks end when they end; where no end is known at all, after a second."""
    timing = {"quit_s": np.array([3.0, np.nan]), "release_s": np.full(2, np.nan), "try_s": np.array([1.0, 2.0])}
    none = SimpleNamespace(where=lambda *_: np.zeros(2, np.bool_))
    np.testing.assert_allclose(_ends(SimpleNamespace(timing=timing, cycles=none), np.arange(2)), [2.0, 2.0])
    unknown = timing | {"quit_s": np.full(2, np.nan)}
    np.testing.assert_allclose(_ends(SimpleNamespace(timing=unknown, cycles=none), np.arange(2)), [1.0, 1.0])


def scene(**changed) -> SimpleNamespace:
    levels = SimpleNamespace(reach=np.array([60.0, 80.0, 80.0]), sigma=0.1)
    usual = {"saving": False, "levels": levels, "now": {"supply_off": 70.0}, "options": OPTIONS}
    return SimpleNamespace(**(usual | changed))


def test_picks_that_stay_below_a_set_point() -> None:
    """One pick of three reaches only 60 kPa."""
    assert _short(scene(), {"set_point": 70.0}) == pytest.approx(1.0, abs=0.01)
    assert _short(scene(), {"set_point": 50.0}) == pytest.approx(0.0, abs=0.01)


def test_settings_beyond_what_was_recorded() -> None:
    """More than 1 kPa under the floor of a hold, or over the highest vacuum seen, is told."""
    model = SimpleNamespace(facts=FACTS, rise=SimpleNamespace(last_level=lambda: np.array([80.0, 80.0])))
    told = ", beyond the recorded range of vacuum"
    for supply_on, word in ((60.0, ""), (59.5, ""), (58.5, told)):
        assert _extrapolates(scene(model=model), {"supply_on": supply_on}) == word
    for supply_off, word in ((81.2, ""), (81.5, told)):
        assert _extrapolates(scene(model=model), {"supply_off": supply_off}) == word


def test_switches_per_hour_count_from_the_first_start_to_the_last_end(monkeypatch) -> None:
    """Twelve holds of four switches."""
    data = data_of(PLAIN * 12)
    monkeypatch.setattr("tracekit.tune.predict._others", lambda *_: (0.0, 0.0))
    monkeypatch.setattr("tracekit.tune.predict._rescued", lambda *_: 0.0)
    four = Estimate(value=4.0, lower=4.0, upper=4.0, unit="per hold", n=12, method="by hand")
    on_s = Estimate(value=1.0, lower=1.0, upper=1.0, unit="s", n=12, method="by hand")
    found = _per_time(SimpleNamespace(data=data, price=None), four, on_s, set())
    held = int(data.cycles.where("outcome", "held").sum())
    total_s = data.cycles.floats("end_s")[-1] - data.cycles.floats("start_s")[0]
    assert found["supply_switches_per_hour"].value == pytest.approx(3600.0 * 4.0 * held / total_s)
    assert found["supply_on_share"].value == pytest.approx(held / total_s)
    assert "air_l_anr_per_cycle" not in found
