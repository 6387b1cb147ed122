"""The leak of a station, on records of a plant that was integrated apart (`one_volume`)."""

import subprocess
import sys
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.measure.one_volume import Plant, station
from tracekit.measure import leak_forms
from tracekit.measure.leak import estimate_leak
from tracekit.measure.leak_rules import without_coasts
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Bound, Estimate, Withheld
from tracekit.model.result import LeakResult
from tracekit.model.tables import PERIOD_KINDS
from tracekit.options.leak import LeakOptions

SOME = tuple(np.linspace(4.0, 6.0, 20).tolist())


DEFAULTS = LeakOptions()
ONE_VOLUME = LeakOptions(tail_share=0.0)
"""For what the search makes of a curve: the plant has one volume with one wall exchange, and its tail is known."""


@cache
def rated(plant: Plant, options: LeakOptions = DEFAULTS) -> tuple[StationData, LeakResult]:
    """A plant's record and its leak, once per plant."""
    data = station(plant)
    return data, estimate_leak(data, options=options)


def value_of(result: LeakResult) -> Estimate:
    """The log's value, which must be an estimate."""
    assert isinstance(result.decay_rate, Estimate)
    return result.decay_rate


@pytest.mark.parametrize(
    "plant",
    [
        Plant(rates=SOME),
        Plant(rates=SOME, critical_ratio=0.5),
        Plant(rates=SOME, form="porous"),
        Plant(rates=SOME, tau_s=0.3),
        Plant(rates=SOME, noise_kpa=0.25),
        Plant(rates=SOME, ambient_kpa=90.0, set_point_kpa=50.0, supply_off_kpa=66.0, supply_on_kpa=56.0),
    ],
    ids=["hole", "wide hole", "pores", "slow walls", "noisy", "at altitude"],
)
def test_known_leaks_are_found_and_covered(plant: Plant) -> None:
    """The log's value lies within 3 % of the true median, its interval holds it, and so do the cycles' intervals."""
    _, result = rated(plant)
    true, found = float(np.median(plant.rates)), value_of(result)
    assert found.value == pytest.approx(true, rel=0.03)
    assert found.lower <= true <= found.upper
    inside = (result.rate_lower <= plant.rates) & (plant.rates <= result.rate_upper)
    assert inside.mean() >= 0.9


def test_walls_that_conduct_are_covered_as_well() -> None:
    """The wall exchange of this plant takes a time that goes with the pressure, not with its root as the model has it."""
    plant = Plant(rates=SOME, wall_power=1.0, tau_s=0.25, supply_on_kpa=52.0, hold_s=4.0, set_point_kpa=58.0)
    _, result = rated(plant)
    found = value_of(result)
    assert found.lower <= float(np.median(plant.rates)) <= found.upper
    inside = (result.rate_lower <= plant.rates) & (plant.rates <= result.rate_upper)
    assert inside.mean() >= 0.9


@pytest.mark.parametrize(("ref_kpa", "said"), [(60.0, False), (50.0, True)])
def test_a_reference_far_from_the_coasts_is_advised_against(ref_kpa: float, said: bool) -> None:
    """Coasts between 72 and 62 kPa tell little of 50 kPa; the warning names the vacuum that they do tell of."""
    result = estimate_leak(station(Plant(rates=SOME)), ref_vacuum_kpa=ref_kpa)
    advised = [w for w in result.warnings if "ref_vacuum_kpa = 6" in w]
    assert bool(advised) == said


@pytest.mark.parametrize("form", ["hole", "porous"])
def test_cups_that_shrink_far_from_the_reference(monkeypatch: pytest.MonkeyPatch, form: str) -> None:
    """Coasts at 70 to 78 kPa of bellows that lose a tenth of the volume: without shares pores read too high at 60."""
    plant = Plant(
        rates=tuple(np.linspace(1.8, 2.2, 30).tolist()), form=form, shrink_1_kpa=0.0033, set_point_kpa=66.0,
        supply_off_kpa=79.0, supply_on_kpa=71.0, hold_s=3.0, noise_kpa=0.02,
    )  # fmt: skip
    data, result = rated(plant)
    found = value_of(result)
    assert found.lower <= 2.0 <= found.upper
    inside = (result.rate_lower <= plant.rates) & (plant.rates <= result.rate_upper)
    assert inside.mean() >= 0.9
    assert next(b.u_kpa_s for b in result.budget if b.source == "volume that gives way to vacuum") > 0.0
    monkeypatch.setattr(leak_forms, "SHRINK_1_KPA", ((0.0, 0.4), (0.0, 0.3), (0.0, 0.3)))
    stiff = value_of(estimate_leak(data))
    assert form == "hole" or stiff.value > 2.0 + 2.0 * abs(found.value - 2.0)


def test_the_deeper_the_coasts_the_less_the_law_of_the_walls_is_known() -> None:
    """What `model_u_deep` adds to the budget goes with the rise of the coasts in ln P: here at most ln(38/28)."""
    data = station(Plant(rates=SOME))
    without, with_it = (
        estimate_leak(data, options=replace(LeakOptions(), model_u_deep=u)) for u in (0.0, 0.02)
    )  # fmt: skip
    before, after = (
        next(p.u_kpa_s for p in r.budget if p.source == "one gas volume for many") for r in (without, with_it)
    )
    added = np.sqrt(after**2 - before**2) / value_of(with_it).value
    assert 0.15 * 0.02 < added < np.log(38.0 / 28.0) * 0.02


def test_a_straight_line_would_have_been_wrong() -> None:
    """The slope as observed is far above the leak, because gas warms; the value is not."""
    plant = Plant(rates=(1.0,) * 20, tau_s=0.3, hold_s=1.2)
    _, result = rated(plant)
    assert float(np.nanmedian(result.local_rate)) > 1.3
    assert value_of(result).lower <= 1.0 <= value_of(result).upper


@pytest.mark.parametrize("noise_kpa", [0.02, 0.03])
@pytest.mark.parametrize(("form", "word"), [("hole", "hole"), ("porous", "porous")])
def test_the_mechanism_is_told_where_the_curve_shows_it(form: str, word: str, noise_kpa: float) -> None:
    """Sixteen kPa of span at little noise tell a hole from pores, and the evidence names what was seen.

    The less noise, the narrower the valley in which the right wall exchange lies: a search that steps over it finds
    the wrong form and is sure of it. So does one that looks for it with a hole alone, which beside walls that exchange
    slowly looks like pores beside quick ones.
    """
    _, result = rated(Plant(rates=SOME * 2, form=form, noise_kpa=noise_kpa, supply_on_kpa=56.0, hold_s=2.4), ONE_VOLUME)
    assert result.mechanism == word
    assert result.form_probability[word] > 0.9
    assert sum(result.form_probability.values()) == pytest.approx(1.0)
    assert "bends as through" in result.evidence


def test_wall_exchange_is_recovered() -> None:
    """The time constant of the wall is the plant's within 8 %."""
    assert rated(Plant(rates=SOME))[1].wall_time_constant_s == pytest.approx(0.12, rel=0.08)


def test_small_leaks_are_given_with_an_upper_limit_in_words() -> None:
    """A leak of 0.1 kPa/s is found within 0.03 kPa/s, its mechanism is left open, and its limit is said."""
    _, result = rated(Plant(rates=(0.1,) * 20))
    assert value_of(result).value == pytest.approx(0.1, abs=0.03)
    assert result.mechanism == "undecided"
    assert any("at most" in text for text in result.warnings)


def test_a_rate_below_nothing_widens_the_interval_by_as_much() -> None:
    """Evacuation that goes on inside the coasts makes rates negative: no interval of a cycle excludes the true leak.

    The log's value is withheld, since a rate cannot be negative.
    """
    data = rated(Plant(rates=(0.1,) * 20))[0]
    bins, periods = data.bins, data.periods
    coasting = (periods.codes("kind") == PERIOD_KINDS.index("coast"))[bins.period]
    since = bins.time_s - periods.floats("start_s")[bins.period]
    drawn = replace(bins, pressure_kpa=bins.pressure_kpa - np.where(coasting, 1.5 * since, 0.0))
    result = estimate_leak(replace(data, bins=drawn))
    assert isinstance(result.decay_rate, Withheld)
    assert "Vacuum grows" in result.decay_rate.reason
    known = np.isfinite(result.rate)
    assert known.any()
    assert np.all((result.rate_lower[known] <= 0.1) & (result.rate_upper[known] >= 0.1))


def test_coarse_steps_leave_an_upper_bound() -> None:
    """Steps of 0.5 kPa without noise hide 0.1 kPa/s: the log has an upper bound above it and no value."""
    _, result = rated(Plant(rates=(0.1,) * 20, quantisation_kpa=0.5, noise_kpa=0.02))
    assert isinstance(result.decay_rate, Bound)
    assert result.decay_rate.status == "upper_bound"
    assert result.decay_rate.limit > 0.1


def test_cycles_of_two_kinds_become_two_groups() -> None:
    """Rates of 0.2 and 6 kPa/s give two groups with their shares and values, each with a mechanism of its own."""
    rates = tuple([0.2, 6.0] * 10)
    result = estimate_leak(station(Plant(rates=rates), context=("glazed", "raw") * 10))
    small, large = result.groups
    assert (small.label, large.label, large.by) == ("glazed", "raw", "recipe")
    assert (small.share, large.share) == (pytest.approx(0.5), pytest.approx(0.5))
    assert large.cycles == tuple(range(1, 20, 2))
    assert isinstance(large.decay_rate_kpa_s, Estimate)
    assert large.decay_rate_kpa_s.value == pytest.approx(6.0, rel=0.03)
    assert isinstance(small.decay_rate_kpa_s, Estimate)
    assert small.decay_rate_kpa_s.value == pytest.approx(0.2, abs=0.05)
    assert small.mechanism == "undecided"


def test_groups_without_a_context_are_named_by_their_rate() -> None:
    """Where no column explains two rates, the groups are called by them."""
    result = rated(Plant(rates=(0.2,) * 10 + (6.0,) * 10))[1]
    assert [(g.by, g.label) for g in result.groups] == [("rate", "smaller leak"), ("rate", "larger leak")]


def test_motion_is_kept_out() -> None:
    """Lips that lift for 0.2 s after part present do not enter the leak."""
    _, result = rated(Plant(rates=SOME, burst_kpa_s=4.0))
    assert value_of(result).value == pytest.approx(5.0, rel=0.03)


def test_a_recharge_that_the_recorder_missed_does_not_spoil_its_coast() -> None:
    """A fall of pressure inside a coast starts it anew, so that the rate stays right."""
    _, result = rated(Plant(rates=(15.0,) * 20, unlogged_recharge=True))
    assert value_of(result).value == pytest.approx(15.0, rel=0.03)


def test_few_lacking_cycles_widen_and_many_leave_a_lower_bound() -> None:
    """Of 20 cycles 3 without a coast widen the interval and are said; 8 leave only a lower bound."""
    whole = value_of(rated(Plant(rates=SOME))[1])
    _, few = rated(Plant(rates=SOME, reaches=(True,) * 17 + (False,) * 3))
    assert value_of(few).upper - value_of(few).lower > whole.upper - whole.lower
    assert any("have no usable coast" in text for text in few.warnings)
    _, many = rated(Plant(rates=SOME, reaches=(True,) * 12 + (False,) * 8))
    assert isinstance(many.decay_rate, Bound)
    assert many.decay_rate.status == "lower_bound"
    assert many.decay_rate.limit < 5.0


def test_too_few_cycles_are_withheld_with_the_reason() -> None:
    """Four rated cycles make no value for a log."""
    result = rated(Plant(rates=SOME, reaches=(True,) * 4 + (False,) * 16))[1]
    assert isinstance(result.decay_rate, Withheld)


def test_without_coasts_it_says_how_to_get_a_decay_and_how_long_it_takes() -> None:
    """A station that never cuts the supply has no rate, and is told what to do in how many minutes."""
    data, result = rated(Plant(rates=SOME, reaches=(False,) * 20))
    assert not data.air_saving
    assert isinstance(result.decay_rate, Withheld)
    assert "never cut in a hold" in result.decay_rate.reason
    assert "5 minutes" in result.decay_rate.reason
    assert np.isnan(result.rate).all()
    assert result.rate.shape == (20,)


def test_too_few_cycles_are_told_as_such() -> None:
    """Three or four holds with coasts as long as any: what lacks is more of them, not longer ones."""
    for n in (3, 4):
        _, result = rated(Plant(rates=SOME[:n], reaches=(True,) * n))
        assert isinstance(result.decay_rate, Withheld)
        assert result.decay_rate.reason == f"Only {n} held cycles have a coast; 5 are needed. Record more picks."


def test_without_a_supply_channel_nothing_is_said_of_cuts() -> None:
    """A log that does not show the supply is not told that it was never cut."""
    data, _ = rated(Plant(rates=SOME, reaches=(False,) * 20))
    unseen = replace(data, wiring=replace(data.wiring, supply_on_level=None))
    assert "never cut" not in without_coasts(unseen)
    assert "no supply channel" in without_coasts(unseen)


def test_the_budget_adds_up_to_the_interval() -> None:
    """Lines name what is common; their root sum of squares is the half-width over 1.96, within a fifth."""
    _, result = rated(Plant(rates=SOME))
    found = value_of(result)
    together = float(np.sqrt(sum(line.u_kpa_s**2 for line in result.budget)))
    assert 0.5 * (found.upper - found.lower) / 1.96 == pytest.approx(together, rel=0.2)
    assert [line.source for line in result.budget if not line.common] == ["noise"]
    assert {"mechanism", "wall exchange", "sensor gain", "ambient and zero", "quantisation"} <= {
        line.source for line in result.budget
    }


def test_common_errors_do_not_shrink_with_the_cycles() -> None:
    """Four times the cycles leave the interval at least as wide as the sensor's gain alone makes it."""
    found = value_of(rated(Plant(rates=SOME * 4))[1])
    assert 0.5 * (found.upper - found.lower) > 1.96 * LeakOptions().gain_u * found.value


def test_an_unknown_ambient_widens_every_interval() -> None:
    """±10 kPa of ambient cost some ±3 % of the value."""
    data, known = rated(Plant(rates=SOME))
    unknown = value_of(estimate_leak(replace(data, ambient_u_kpa=5.8)))
    assert unknown.upper - unknown.lower > 1.2 * (value_of(known).upper - value_of(known).lower)


def test_zero_shift_and_vacuum_left_by_a_weak_release_are_told_apart() -> None:
    """A zero of 2 kPa is corrected; an idle reading of 30 kPa is no zero and is left alone."""
    shifted = value_of(rated(Plant(rates=SOME, idle_kpa=2.0, supply_off_kpa=72.0))[1])
    assert shifted.value == pytest.approx(5.0, rel=0.03)
    data, plain = rated(Plant(rates=SOME))
    left = data.cycles.with_columns(idle_vacuum_kpa=np.full(20, 30.0))
    assert value_of(estimate_leak(replace(data, cycles=left))).value == pytest.approx(value_of(plain).value, rel=0.005)


def test_the_shape_follows_the_form_that_is_true() -> None:
    """The pooled fall of a hole lies nearer to the hole's curve than to that of pores."""
    shape = rated(Plant(rates=SOME))[1].shape
    assert shape is not None
    assert np.all(np.diff(shape.time_s) > 0.0)
    hole, pores = (float(np.sqrt(np.mean((shape.lost_kpa - c) ** 2))) for c in (shape.hole_kpa, shape.porous_kpa))
    assert hole < 0.7 * pores


def test_the_record_is_not_changed_and_the_result_repeats() -> None:
    """Two runs on one record agree to the bit, and its arrays are what they were."""
    data = station(Plant(rates=SOME))
    before = data.bins.pressure_kpa.copy()
    first, second = estimate_leak(data), estimate_leak(data)
    assert np.array_equal(before, data.bins.pressure_kpa)
    assert np.array_equal(first.rate, second.rate, equal_nan=True)
    assert first.decay_rate == second.decay_rate


def test_neither_scipy_nor_pandas_is_loaded() -> None:
    """The estimator runs on NumPy alone."""
    code = "import tracekit.measure.leak, sys; print([m for m in ('scipy', 'pandas') if m in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


def test_the_leak_is_given_at_the_reference_vacuum_that_is_asked_for() -> None:
    """A porous leak of 5 kPa/s at 60 kPa of vacuum is 4.5 kPa/s at 50, as p_a² − P² says, within 3 %."""
    data = rated(Plant(rates=SOME * 2, form="porous", noise_kpa=0.03))[0]
    result = estimate_leak(data, ref_vacuum_kpa=50.0)
    ratio = (1.0 - 0.5**2) / (1.0 - 0.4**2)
    assert result.ref_vacuum_kpa == 50.0
    assert value_of(result).value == pytest.approx(5.0 * ratio, rel=0.03)


def test_a_reference_vacuum_beyond_the_ambient_is_refused() -> None:
    """At an ambient of 100 kPa there is no vacuum of 99 kPa to compare at; the reason says what to set."""
    result = estimate_leak(rated(Plant(rates=SOME))[0], ref_vacuum_kpa=99.0)
    assert isinstance(result.decay_rate, Withheld)
    assert "ref_vacuum_kpa" in result.decay_rate.reason


def test_a_stuck_reading_has_no_rate() -> None:
    """Cycles whose reading does not move carry no decay; the others' rates and the log's are as without them."""
    data, whole = rated(Plant(rates=SOME))
    still = np.arange(len(data.cycles)) >= 14
    stuck = replace(data, reading_range_kpa=np.where(still, 0.0, 70.0))
    found = estimate_leak(stuck)
    assert np.isnan(found.rate[still]).all()
    np.testing.assert_allclose(found.rate[~still], whole.rate[~still], rtol=0.05)
    assert value_of(found).n == 14
    assert np.isfinite(whole.rate).all()
