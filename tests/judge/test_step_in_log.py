"""An ultimate vacuum that falls by a step inside a log that also has a baseline."""

from dataclasses import replace

import numpy as np
import pytest
from segment.made_traces import PLAIN, Piece, blow_off, evacuate, hold, idle

from tests.judge.test_other_cut import effects
from tests.judge.test_verdict import case_of
from tracekit.judge.facts import Fact
from tracekit.judge.features import choose_bands, make_features
from tracekit.judge.verdict import _seen, judge
from tracekit.options.judge import JudgeOptions

LOWER = (idle(), evacuate(to=73.8), hold(to=73.8), blow_off())


def test_a_step_between_two_cycles_is_not_the_weather():
    """1.2 kPa less from one cycle to the next is told by the log itself; on another day the weather may do it."""
    usual = case_of(PLAIN * 14)
    step = effects(case_of(PLAIN * 14 + LOWER * 14), usual)["ultimate"]
    other_day = effects(case_of(LOWER * 28), usual)["ultimate"]
    back = effects(case_of(LOWER * 14 + PLAIN * 14), usual)["ultimate"]
    assert abs(step.shift + 1.2) < 0.15
    assert step.z < -2.5
    assert abs(step.now - 73.8) < 0.1
    assert abs(step.reference - 75.0) < 0.1
    assert abs(other_day.z) < 2.0
    assert abs(back.shift) < 0.1


OPEN_CUP = Piece(seconds=0.3, to=32.0, tau_s=0.02, supply=1)


def test_a_change_that_no_cause_explains_hides_no_older_one():
    """An empty cup that reads 32 kPa is clogged, also where vacuum got deeper in the middle of the log."""
    before = (idle(), OPEN_CUP, evacuate(to=74.0), hold(to=74.0), blow_off())
    after = (idle(), OPEN_CUP, evacuate(), hold(), blow_off())
    case = case_of(before * 14 + after * 14)
    assert _seen(case, JudgeOptions()).comparison.source == "earlier cycles"
    found = judge(case, JudgeOptions())
    assert found.comparison.source == "none"
    assert found.causes[0].code == "flow_restricted"
    assert found.causes[0].chance > 0.7


def test_a_change_that_a_setting_explains_keeps_its_reference(monkeypatch: pytest.MonkeyPatch):
    """Where somebody turned the set point, picks given up since are no weak blow-off of all cycles."""
    turned = Fact(code="set_point_too_high", probability=0.97)
    monkeypatch.setattr("tracekit.judge.verdict.setting_facts", lambda *given: (turned,))
    before = (idle(), OPEN_CUP, evacuate(to=74.0), hold(to=74.0), blow_off())
    after = (idle(), OPEN_CUP, evacuate(), hold(), blow_off())
    assert judge(case_of(before * 14 + after * 14), JudgeOptions()).comparison.source == "earlier cycles"


def test_the_release_of_a_pick_that_was_given_up_starts_in_a_sequence_of_its_own():
    """When its blow-off starts is held against no other; how fast it is, is."""
    refused = tuple(replace(piece, present=0) for piece in PLAIN)
    case = case_of(PLAIN * 10 + refused * 6)
    missed = case.data.cycles.where("outcome", "missed")
    values = make_features(case.data, case.leak, choose_bands((case.data,))).values
    np.testing.assert_array_equal(missed, np.arange(16) >= 10)
    np.testing.assert_array_equal(np.isnan(values["blow_start"]), missed)
    assert np.isfinite(values["blow"]).all()
