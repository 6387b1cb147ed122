"""Cycles that fall for a moment and leak as the others in between are no group of leaks."""

from dataclasses import replace

import numpy as np
import pytest
from segment.made_traces import Piece, blow_off, coast, evacuate, hold, idle, recharge

from tests.judge.test_verdict import case_of
from tracekit.judge.case import Case
from tracekit.judge.features import choose_bands, make_features
from tracekit.judge.moved import moved_sign, without_moved
from tracekit.judge.verdict import judge
from tracekit.options.judge import JudgeOptions

OPTIONS = JudgeOptions()


def pick(fall_kpa: float, before_s: float = 1.0, leak_kpa_s: float = 2.0) -> tuple[Piece, ...]:
    """One pick that saves air: vacuum falls by `fall_kpa` within 0.1 s, `before_s` after the cut."""
    low = 74.0 - leak_kpa_s * before_s
    after_s = 2.2 - before_s
    moved = low - fall_kpa
    return (
        idle(), evacuate(), coast(before_s, low), coast(0.1, moved), coast(after_s, moved - leak_kpa_s * after_s),
        recharge(0.3, 74.0), coast(0.5, 73.0), blow_off(),
    )  # fmt: skip


def sign_of(case: Case, upper: np.ndarray):
    made = make_features(case.data, case.leak, choose_bands((case.data,)))
    rate = np.where(upper, 12.0, 2.0)
    told = replace(made, values={**made.values, "decay": rate})
    return told, moved_sign(case.data, told, upper, OPTIONS)


@pytest.fixture(scope="module")
def upper() -> np.ndarray:
    return np.arange(24) % 3 == 1


def test_a_move_in_a_third_of_the_holds_is_no_leak_of_parts(upper: np.ndarray) -> None:
    """8 kPa within 0.1 s at the same time of every third hold, 2 kPa/s in between in all of them."""
    case = case_of(tuple(piece for moved in upper for piece in pick(8.0 if moved else 0.2)))
    features, sign = sign_of(case, upper)
    assert sign is not None
    assert sign.name == "travel_dips"
    assert sign.present > 0.9
    np.testing.assert_array_equal(np.isnan(without_moved(features, upper).values["decay"]), upper)
    found = [f.code for f in judge(case, OPTIONS).findings if f.severity != "info"]
    assert "leak_part_dependent" not in found


def test_falls_at_any_time_are_not_the_machine_s(upper: np.ndarray) -> None:
    """The same falls anywhere from 0.4 to 2 s after the cut: still no leak, but no move of the machine."""
    when = np.linspace(0.4, 2.0, int(upper.sum()))[np.cumsum(upper) - 1]
    case = case_of(tuple(piece for k, moved in enumerate(upper) for piece in pick(8.0 if moved else 0.2, when[k])))
    sign = sign_of(case, upper)[1]
    assert sign is not None
    assert sign.name == "own_dips"


def test_a_group_that_leaks_all_the_time_is_one_of_leaks(upper: np.ndarray) -> None:
    """12 instead of 2 kPa/s from one end of the coast to the other."""
    case = case_of(tuple(piece for leaks in upper for piece in pick(0.2, leak_kpa_s=12.0 if leaks else 2.0)))
    assert sign_of(case, upper)[1] is None


@pytest.mark.parametrize(("rest_kpa", "real"), [(28.0, True), (5.0, False)])
def test_much_vacuum_at_rest_is_no_zero(rest_kpa, real):
    """What rests far from nothing is vacuum that is left: the vacuum reached counts from zero all the same."""
    weak = (evacuate(), hold(0.6), Piece(seconds=0.3, to=rest_kpa, tau_s=0.05, release=1), Piece(seconds=0.7, to=rest_kpa))
    case = case_of((idle(), *weak * 12))
    made = make_features(case.data, case.leak, choose_bands((case.data,)))
    assert np.nanmedian(made.values["ultimate_any"]) == pytest.approx(75.0 - (0.0 if real else rest_kpa), abs=0.5)
    assert np.nanmedian(made.values["idle"]) == pytest.approx(rest_kpa, abs=0.5)
    assert np.isnan(made.values["rise"][2:]).all() == real
