"""What all coasts show beyond the model: a planted step and its effect on the rate, shapes that cannot be told."""

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.one_volume import Plant, station
from tracekit.measure.leak_bins import Floats, History, gather, timeline
from tracekit.measure.leak_motion import MOST_PLACES, Effects, _bench, _places, seen, unmodelled_rate
from tracekit.measure.leak_pieces import Pieces, Windows, cut_pieces, usable
from tracekit.measure.leak_search import flow_of, inflow, middle_of
from tracekit.measure.leak_sums import (
    Regressors,
    Scales,
    Wall,
    cycle_sums,
    fit_all,
    gas_of,
    regressors,
    sensor_noise,
    stack,
    weights,
)
from tracekit.options.leak import LeakOptions

CYCLES, CUT_S = 12, 0.04
OPTIONS, ALL = LeakOptions(settle_kpa=1e-6), np.ones(CYCLES, bool)
SCALES = Scales(
    noise=sensor_noise(0.05, 0.01), variance=1.0, memory_mean=0.0, memory_sd=0.1, scatter_sd=0.001, temper=2.0
)


def coasts(end_s: float) -> tuple[History, Pieces, Regressors]:
    """A dozen cycles of one station, their coasts up to some time before the end, and the model's columns."""
    data = station(Plant(rates=(4.0,) * CYCLES))
    history = gather(data, timeline(data, OPTIONS), ALL)
    windows = Windows(cut_s=CUT_S, present_from_s=0.0, present_s=0.0, end_s=end_s)
    pieces = cut_pieces(history, usable(history, windows), OPTIONS)
    gas = gas_of(history, Wall(tau_s=0.12, spread_ln=0.0), inflow(history, np.full(CYCLES, 4.0)))
    return history, pieces, regressors(history, pieces, gas, middle_of(flow_of(history, OPTIONS)))


def with_step(history: History, pieces: Pieces, columns: Regressors, height_kpa: float, at_s: float) -> Regressors:
    """The same with a step of some height that passes within 0.15 s from a time since part present on."""
    ramp = np.clip((history.since_present_s[pieces.index] - at_s) / 0.15, 0.0, 1.0)
    return replace(columns, seen=columns.seen + height_kpa * ramp / history.pressure_kpa[pieces.index])


def rate_of(history: History, pieces: Pieces, columns: Regressors) -> float:
    """Median rate of the cycles."""
    weight: Floats = weights(history, pieces, SCALES.noise)
    sums = stack([cycle_sums(pieces, columns, weight, SCALES.ridge)])
    return float(np.median(fit_all(sums, ALL, SCALES).rate[0, 0]))


def error_of(history: History, pieces: Pieces, columns: Regressors, options: LeakOptions = OPTIONS) -> float:
    """What is told of the error of that rate."""
    weight = weights(history, pieces, SCALES.noise)
    return unmodelled_rate(history, pieces, columns, weight, ALL, SCALES, CUT_S, options)


@pytest.mark.parametrize(("height_kpa", "at_s"), [(0.2, 0.4), (-0.2, 0.4), (0.2, 0.7)])
def test_a_step_that_all_coasts_share_is_told_by_what_it_does_to_the_rate(height_kpa: float, at_s: float) -> None:
    """A step of 0.2 kPa somewhere in the coasts shifts the rate; what is told is that shift, within a third of it."""
    history, pieces, columns = coasts(0.1)
    moved = with_step(history, pieces, columns, height_kpa, at_s)
    shift = abs(rate_of(history, pieces, moved) - rate_of(history, pieces, columns))
    assert shift > 0.05
    assert error_of(history, pieces, moved) == pytest.approx(shift, rel=0.33)
    assert error_of(history, pieces, columns) < 0.2 * shift


def with_bump(history: History, pieces: Pieces, columns: Regressors, height_kpa: float, at_s: float) -> Regressors:
    """The same with a bump of some height and 0.3 s in all, about a time since part present."""
    away = np.abs(history.since_present_s[pieces.index] - at_s)
    bump = np.clip(1.0 - away / 0.15, 0.0, 1.0)
    return replace(columns, seen=columns.seen + height_kpa * bump / history.pressure_kpa[pieces.index])


@pytest.mark.parametrize("at_s", [0.4, 0.55, 0.7, 1.0, 1.2])
def test_a_bump_that_springs_back_is_not_taken_for_a_step(at_s: float) -> None:
    """In mid coast a bump hardly moves the rate, where a step moves it most: what is told is within a factor of two."""
    history, pieces, columns = coasts(0.1)
    moved = with_bump(history, pieces, columns, 0.15, at_s)
    shift = abs(rate_of(history, pieces, moved) - rate_of(history, pieces, columns))
    assert 0.6 * shift < error_of(history, pieces, moved) < 2.0 * shift


def test_moves_one_after_another_are_told_together() -> None:
    """Bellows that spring back at both ends of a coast, one way and the other, move a rate by the sum of both."""
    history, pieces, columns = coasts(0.1)
    one = with_bump(history, pieces, columns, 0.15, 0.25)
    both = with_bump(history, pieces, one, -0.15, 1.2)
    alone, together = (abs(rate_of(history, pieces, c) - rate_of(history, pieces, columns)) for c in (one, both))
    told_alone, told = (error_of(history, pieces, c) for c in (one, both))
    assert together > 1.5 * alone
    assert told_alone == pytest.approx(alone, rel=0.33)
    assert told > 1.25 * told_alone


def test_long_coasts_cost_no_more_places() -> None:
    """Over coasts of hours, as of a time in a wrong unit, places lie further apart; all of the coast is covered."""
    history, pieces, _ = coasts(0.05)
    long = replace(history, since_present_s=history.since_present_s * 1e4)
    places = [at for time, at in _places(long, pieces, ALL) if time[0] == long.since_present_s[pieces.index][0]]
    assert 200 <= len(places) <= MOST_PLACES + 1
    assert max(places) > 0.9 * float(long.since_present_s[pieces.index].max())


def test_what_valve_and_volumes_still_settle_hides_in_short_coasts() -> None:
    """0.05 kPa that settle say little against coasts of a second, and much against the first eighth of one."""
    options = LeakOptions(settle_kpa=0.05)
    history, pieces, columns = coasts(0.1)
    whole = error_of(history, pieces, columns, options)
    early = cut_pieces(history, usable(history, Windows(cut_s=CUT_S, present_from_s=0.0, present_s=0.0, end_s=0.1))
                       & (history.since_cut_s < CUT_S + 0.125), OPTIONS)  # fmt: skip
    gas = gas_of(history, Wall(tau_s=0.12, spread_ln=0.0), inflow(history, np.full(CYCLES, 4.0)))
    short = error_of(history, early, regressors(history, early, gas, middle_of(flow_of(history, OPTIONS))), options)
    assert whole < 0.1
    assert short > 3.0 * whole


def effects(*each: tuple[float, float, float]) -> Effects:
    """What shapes of so much per kPa, height and error do."""
    per, height, error = np.array(each).T
    return Effects(per_kpa=per, height_kpa=height, error_kpa=error)


def test_a_shape_counts_as_far_as_it_explains_the_residuals() -> None:
    """Chance heights count nothing, clear ones count in full, and a shape that explains less yields to one that does."""
    chance, clear, worse = (2.0, 0.02, 0.02), (0.5, 0.4, 0.02), (2.0, 0.2, 0.04)
    assert seen(effects(chance), 2.0) == 0.0
    assert seen(effects(clear, worse, chance), 2.0) == pytest.approx(0.2, rel=0.02)
    unseen, told = effects((2.0, 0.0, float("inf")), clear).hidden(0.05)
    assert unseen == pytest.approx(0.1)
    assert told < 0.5 * 0.02


@pytest.mark.parametrize("height_kpa", [0.0, 0.2])
def test_effects_of_shapes_are_those_of_a_fit_beside_levels_rates_and_amplitude(height_kpa: float) -> None:
    """Height and error of a step agree with least squares over all columns at once, as does its pull on the rates."""
    history, pieces, columns = coasts(0.1)
    moved = with_step(history, pieces, columns, height_kpa, 0.4)
    weight = weights(history, pieces, SCALES.noise)
    shape = np.clip((history.since_present_s[pieces.index] - 0.4) / 0.15, 0.0, 1.0)
    found = _bench(history, pieces, moved, weight, ALL, SCALES).effects(np.stack([0.5 * shape, shape]))
    rows = pieces.cycle[pieces.owner]
    level = [np.where(pieces.owner == k, columns.level, 0.0) for k in range(len(pieces.start))]
    leak = [np.where(rows == k, columns.leak[0], 0.0) for k in range(CYCLES)]
    design = np.stack([*level, *leak, columns.memory, shape / history.pressure_kpa[pieces.index]], axis=1)
    # the amplitude of the gas's history has a prior of its own: one more row
    prior = np.zeros(design.shape[1])
    prior[-2] = np.sqrt(SCALES.prior_weight)
    root = np.sqrt(weight)[:, None]
    left = np.append(moved.seen * root[:, 0], prior[-2])
    fit = np.linalg.lstsq(np.vstack([design * root, prior]), left, rcond=None)[0]
    # what the prior says of the amplitude is left out of the square of what it takes, some 10⁻³ of that
    assert found.height_kpa[1] == pytest.approx(fit[-1], rel=5e-3)
    assert found.height_kpa[0] == pytest.approx(2.0 * found.height_kpa[1], rel=1e-9)
    without = np.linalg.lstsq(np.vstack([design[:, :-1] * root, prior[:-1]]), left, rcond=None)[0]
    pull = np.median((without - fit[:-1])[len(level) : len(level) + CYCLES])
    assert found.per_kpa[1] * fit[-1] == pytest.approx(pull, rel=5e-3)
