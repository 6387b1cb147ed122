"""An ultimate vacuum that falls by a step inside a log that also has a baseline."""

from segment.made_traces import PLAIN, blow_off, evacuate, hold, idle

from tests.judge.test_other_cut import effects
from tests.judge.test_verdict import case_of

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
