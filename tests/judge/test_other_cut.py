"""Logs whose supply is cut at different vacua: what depends on where it is cut is not compared."""

from dataclasses import replace

import numpy as np
import pytest
from segment.made_traces import Piece, blow_off, coast, idle, recharge

from tests.judge.test_verdict import case_of
from tracekit.judge.effects import compare
from tracekit.judge.features import choose_bands, make_features
from tracekit.judge.rank import HYPOTHESES
from tracekit.judge.verdict import judge
from tracekit.options.judge import JudgeOptions

OPTIONS = JudgeOptions()
AT_THE_CUT = {"ultimate", "ultimate_fit", "overshoot", "fast_fall"}


def cut_at(kpa: float) -> tuple[Piece, ...]:
    """One pick that saves air, cut at `kpa`, on a suction curve that bends at 58 kPa: towards 75, then towards 90."""
    start = Piece(seconds=0.15, to=75.0, tau_s=0.1, supply=1)
    at_bend = 75.0 * (1.0 - float(np.exp(-1.5)))
    rest = () if kpa <= at_bend else (
        Piece(seconds=0.18 * float(np.log((90.0 - at_bend) / (90.0 - kpa))), to=90.0, tau_s=0.18, supply=1),
    )  # fmt: skip
    top = max(kpa, at_bend)
    low, back = coast(0.6, top - 1.0), recharge(0.2, top)
    return (idle(), start, *rest, low, back, low, back, coast(0.4, top - 0.7), replace(blow_off(), to=-6.0))


def effects(now, baseline):
    both = (now.data, baseline.data)
    bands = choose_bands(both)
    made = [make_features(case.data, case.leak, bands) for case in (now, baseline)]
    return compare(made[0], made[1], OPTIONS).effects


@pytest.fixture(scope="module")
def usual():
    """Cut at 70 kPa, past the bend."""
    return case_of(cut_at(70.0) * 12)


def test_fits_that_end_at_other_vacua_are_not_compared(usual):
    """Cut at 58 instead of 70 kPa the fit of a bent curve tends to less: no news of the generator."""
    lower = effects(case_of(cut_at(58.0) * 12), usual)
    same = effects(usual, usual)
    assert not AT_THE_CUT & set(lower)
    assert {"ultimate", "overshoot", "fast_fall"} <= set(same)


def test_a_lower_cut_alone_is_no_fault(usual):
    """The station was set otherwise: neither a leak nor a restriction is listed for it."""
    lower = case_of(cut_at(58.0) * 12)
    fit = [float(np.nanmedian(c.data.timing["tends_to_kpa"])) for c in (lower, usual)]
    assert fit[0] < fit[1] - 3.0
    found = judge(replace(lower, baseline=usual.data, baseline_leak=usual.leak), OPTIONS)
    assert not {f.code for f in found.findings if f.severity != "info"} & set(HYPOTHESES)


def test_an_over_pressure_that_starts_deeper_is_known_less_well(usual):
    """A blow-off of the same length from 12 kPa less vacuum ends higher without any change of the way of the air."""
    lower = effects(case_of(cut_at(58.0) * 12), usual)
    assert abs(lower["start"].shift) > 8.0
    assert lower["over"].error > 0.05 * abs(lower["start"].shift) > effects(usual, usual)["over"].error
