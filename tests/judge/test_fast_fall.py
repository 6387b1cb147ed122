"""A fall just after the cut of the supply: after every cut it is two volumes evening out, after one it is motion."""

import numpy as np
from segment.made_traces import Piece, blow_off, coast, evacuate, idle, recharge

from tests.judge.test_verdict import case_of
from tracekit.judge.features import choose_bands, make_features


def fall_of(first_kpa: float, second_kpa: float) -> float:
    """The fall of picks with two coasts, in whose first 0.12 s vacuum falls by so much, and then by 1 kPa."""

    def after_cut(fall: float) -> tuple[Piece, ...]:
        return coast(0.12, 70.0 - fall), coast(0.5, 69.0 - fall)

    one = (
        idle(), evacuate(0.3, to=73.0), *after_cut(first_kpa), recharge(0.2, 70.0), *after_cut(second_kpa), blow_off(),
    )  # fmt: skip
    case = case_of(one * 10)
    values = make_features(case.data, case.leak, choose_bands((case.data,))).values["fast_fall"]
    return float(np.nanmedian(values))


def test_only_what_follows_every_cut_is_a_fall_after_the_cut():
    """6 kPa after both cuts are read as such, within what bins of 10 ms smear; after the first cut alone as nothing."""
    assert fall_of(6.0, 6.0) > 3.0
    assert fall_of(6.0, 0.3) < 0.6
    assert fall_of(0.3, 0.3) < 0.6
