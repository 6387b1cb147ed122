"""Vacuum that dips and comes back while the supply is cut was never lost: the machine moved."""

from dataclasses import replace

import numpy as np
import pytest
from segment.made_traces import Piece, blow_off, coast, evacuate, idle, recharge

from tests.judge.test_verdict import case_of
from tracekit.judge.case import Case
from tracekit.judge.rebound import rebound_sign, shared_rebound
from tracekit.judge.verdict import judge
from tracekit.options.judge import JudgeOptions

OPTIONS = JudgeOptions()
PICKS = 16
LEAK_KPA_S = 2.0


def pick(dip_kpa: float, at_s: float) -> tuple[Piece, ...]:
    """One pick that saves air: in its first coast of 2 s vacuum dips by `dip_kpa` and comes back within 0.2 s."""
    low = 74.0 - LEAK_KPA_S * at_s
    after_s = 1.8 - at_s
    back = low - 0.2 * LEAK_KPA_S
    return (
        idle(), evacuate(), coast(at_s, low), coast(0.05, low - dip_kpa), coast(0.1, low - dip_kpa), coast(0.05, back),
        coast(after_s, back - LEAK_KPA_S * after_s), recharge(0.3, 74.0), coast(0.5, 73.0), blow_off(),
    )  # fmt: skip


def dipping(dips_kpa, at_s=0.9) -> Case:
    when = np.broadcast_to(at_s, len(dips_kpa))
    return case_of(tuple(piece for dip, at in zip(dips_kpa, when, strict=True) for piece in pick(dip, float(at))))


@pytest.fixture(scope="module")
def moving() -> Case:
    return dipping([4.0] * PICKS)


def test_dips_that_come_back_in_coasts_are_motion(moving):
    """4 kPa for 0.2 s, 0.9 s after the cut of every hold."""
    found = shared_rebound(moving.data)
    assert found is not None
    assert found.depth_kpa == pytest.approx(4.0, abs=1.0)  # bins of 10 ms and longer round its tip
    assert found.outside == 0.0
    sign = rebound_sign(moving.data, None, OPTIONS)
    assert sign is not None
    assert sign.name == "travel_dips"
    assert sign.present > 0.99
    first = next(f for f in judge(moving, OPTIONS).findings if f.kind == "cause")
    assert first.code == "motion_dips"
    assert first.severity != "info"


def test_a_move_that_began_inside_the_log_counts():
    """Six of sixteen holds dip, the last ones."""
    assert rebound_sign(dipping([0.0] * 10 + [4.0] * 6).data, None, OPTIONS) is not None
    assert rebound_sign(dipping([0.0] * 14 + [4.0] * 2).data, None, OPTIONS) is None


def test_dips_at_times_of_their_own_are_no_move_of_the_machine():
    """Each hold dips once, at another time than the others."""
    assert rebound_sign(dipping([4.0] * PICKS, np.linspace(0.3, 1.7, PICKS)).data, None, OPTIONS) is None


def test_shallow_dips_are_those_of_any_machine():
    """1.1 kPa without a baseline; with one that shows none they are new, with one that shows them they are not."""
    shallow, still = dipping([1.1] * PICKS).data, dipping([0.0] * PICKS).data
    assert rebound_sign(shallow, None, OPTIONS) is None
    assert rebound_sign(shallow, still, OPTIONS) is not None
    assert rebound_sign(shallow, shallow, OPTIONS) is None
    assert rebound_sign(still, None, OPTIONS) is None


def test_noise_that_comes_together_is_no_dip(moving):
    """Samples that scatter by 1 kPa show dips of 4 kPa in every coast."""
    rng = np.random.default_rng(5)
    still = dipping([0.0] * PICKS).data
    noise = rng.normal(0.0, 1.0, len(still.bins.pressure_kpa))
    noisy = replace(still, bins=replace(still.bins, pressure_kpa=still.bins.pressure_kpa + noise))
    found = shared_rebound(noisy)
    assert found is not None
    assert found.depth_kpa > 2.0 * OPTIONS.rebound_kpa
    assert found.noise_kpa == pytest.approx(1.0, rel=0.3)
    assert rebound_sign(noisy, None, OPTIONS) is None


def test_digitals_that_were_written_late_say_nothing(moving):
    """Edges that may lie 0.2 s off give no time of a hold."""
    assert rebound_sign(replace(moving.data, late_s=0.2), None, OPTIONS) is None


def pumped(dip_kpa: float, times_s=(0.9,)) -> tuple[Piece, ...]:
    """One pick without air saving: in its hold of 2 s vacuum dips by `dip_kpa` for 0.15 s at some times."""
    pieces, now_s = [idle(), evacuate()], 0.0
    for at_s in times_s:
        pieces += [recharge(at_s - now_s, 75.0), recharge(0.05, 75.0 - dip_kpa), recharge(0.05, 75.0 - dip_kpa)]
        pieces += [recharge(0.05, 75.0)]
        now_s = at_s + 0.15
    return (*pieces, recharge(2.0 - now_s, 75.0), blow_off())


def test_dips_at_one_time_of_holds_that_are_pumped_are_motion():
    """Four of ten holds dip, the last ones; without dips, or with dips all through the hold, nothing is told."""
    case = case_of(pumped(0.0) * 12 + pumped(5.0) * 8)
    assert not case.data.air_saving
    sign = rebound_sign(case.data, None, OPTIONS)
    assert sign is not None
    assert sign.name == "travel_dips"
    assert rebound_sign(case_of(pumped(0.0) * 20).data, None, OPTIONS) is None
    still = case_of(pumped(0.0) * 20).data
    ripple_kpa = 2.5 * (1.0 + np.sin(2.0 * np.pi * 3.3 * still.bins.time_s))
    rippling = replace(still, bins=replace(still.bins, pressure_kpa=still.bins.pressure_kpa + ripple_kpa))
    assert shared_rebound(still) is not None
    assert shared_rebound(rippling) is None
    assert rebound_sign(rippling, None, OPTIONS) is None
