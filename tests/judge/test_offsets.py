"""What raises the idle reading, what makes everything late, and how much a leak's scatter may decide alone."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from judge.test_evidence import calm, effect, judged, quiet

from tracekit.judge.effects import Comparison
from tracekit.judge.effects_of import effects_of, with_idle_real, with_late_alike
from tracekit.judge.evidence import combined
from tracekit.judge.features import Bands, Features, _hung_on
from tracekit.judge.fingerprints import FINGERPRINTS
from tracekit.options.judge import JudgeOptions

OPTIONS = JudgeOptions()


def leading(effects, signs=()):
    post = judged(with_late_alike(with_idle_real(effects)), signs)
    return max(post.present, key=lambda code: post.present[code]), post


def test_share_of_the_idle_reading_that_is_real():
    """Measures are taken above the idle reading: a zero leaves the open cup where it was, real vacuum takes its part."""
    raised = {**quiet(), "idle": effect("idle", 3.0)}
    zero = with_idle_real(raised)["idle_real"]
    real = with_idle_real({**raised, "open": effect("open", -2.7)})["idle_real"]
    np.testing.assert_allclose((zero.shift, real.shift), (0.0, 0.9))
    assert "idle_real" not in with_idle_real({**quiet(), "idle": effect("idle", 0.2)})
    assert "idle_real" not in with_idle_real({k: e for k, e in raised.items() if k != "open"})


def test_zero_passing_valve_and_weak_blow_off_are_told_apart():
    """All levels up alike: a zero. Idle up, open cup as it was, less over-pressure: the valve passes. Neither: blow-off."""
    raised = {**quiet(), "idle": effect("idle", 2.0)}
    assert leading(raised)[0] == "sensor_zero_shift"
    less = {"over": effect("over", -2.0), "residual": effect("residual", 2.0), "blow": effect("blow", 0.1)}
    level = {"open": effect("open", -2.0), "ultimate": effect("ultimate", -2.0)}
    assert leading({**raised, **less, **level})[0] == "supply_valve_passing"
    weak = {"over": effect("over", -2.0), "residual": effect("residual", 6.0), "blow": effect("blow", 0.8)}
    code, post = leading({**quiet(), **weak, "blow_start": effect("blow_start", 0.03)})
    assert code == "release_weak"
    assert post.present["sensor_zero_shift"] < 0.05


def test_passing_valve_without_an_open_cup():
    """Where no open cup shows, an idle reading with half the over-pressure still tells the valve, not the blow-off."""
    seen = {"idle": 1.2, "over": -3.7, "residual": 3.6, "blow": 0.17, "rise": 0.04, "ultimate": -1.2}
    effects = {**quiet(), **{name: effect(name, shift) for name, shift in seen.items()}}
    del effects["open"]
    assert leading(effects)[0] == "supply_valve_passing"


def test_zero_and_weak_blow_off_at_once():
    """An idle reading that the open cup shares is no rest of a weak blow-off: both are there."""
    seen = {"idle": 3.0, "residual": 20.0, "blow": 1.3, "blow_start": 0.06}
    _, post = leading({**quiet(), **{name: effect(name, shift) for name, shift in seen.items()}})
    assert post.present["sensor_zero_shift"] > 0.9
    assert post.present["release_weak"] > 0.5
    both = combined(FINGERPRINTS["sensor_zero_shift"], FINGERPRINTS["release_weak"])["idle_real"]
    assert both.least == 0.0
    assert both.most == FINGERPRINTS["release_weak"]["idle_real"].most


def test_one_lag_on_everything_is_the_sensor():
    """Answer, evacuation and blow-off late together: no valve does that. The answer alone late: the supply valve."""
    always = calm(late_response=0.998)
    lag = {"response": 0.025, "blow_start": 0.1, "blow": 0.4, "rise": 0.26, "residual": 15.0, "overshoot": 5.0}
    late = {**quiet(), **{name: effect(name, shift) for name, shift in lag.items()}}
    assert leading(late, always)[0] == "sensor_slow"
    assert leading({**quiet(), "response": effect("response", 0.025)}, always)[0] == "supply_valve_slow"


@pytest.mark.parametrize("rate", [6.0, 12.0])
def test_a_lag_hides_no_leak(rate: float):
    """A lag leaves the slope of a coast as it is: a slope that has grown by so much is a second fault."""
    lag = {"response": 0.025, "blow_start": 0.1, "blow": 0.4, "rise": 0.4, "residual": 15.0, "overshoot": 5.0}
    late = {**quiet(), **{name: effect(name, shift) for name, shift in lag.items()}}
    always = calm(late_response=0.998)
    alone = judged(late, always).present
    leaking = judged({**late, "decay": effect("decay", rate), "balance": effect("balance", 2.0)}, always).present
    leaks = ("leak_steady", "check_valve_leak", "release_valve_leak", "leak_part_dependent")
    assert alone["sensor_slow"] > 0.9
    assert sum(alone[code] for code in leaks) < 0.3
    assert leaking["sensor_slow"] > 0.9
    assert sum(leaking[code] for code in leaks) > 0.9


def test_a_valve_that_closes_late_too_is_no_slow_sensor():
    """Late to open and to close: vacuum overshoots and still rises after the cut; the blow-off starts as it did."""
    seen = {"response": 0.137, "overshoot": 4.7, "fast_fall": -3.5, "blow_start": 0.0}
    slow = {**quiet(), **{name: effect(name, shift) for name, shift in seen.items()}}
    assert leading(slow, calm(late_response=0.998))[0] == "supply_valve_slow"
    later = with_late_alike({**slow, "blow_start": effect("blow_start", 0.137)})["late_alike"]
    np.testing.assert_allclose(later.shift, 1.0)
    assert "late_alike" not in with_late_alike(quiet())


class _Column:
    """Two columns of a cycles table."""

    def __init__(self, left, idle):
        self.cycles = self
        self._of = {"residual_vacuum_kpa": left, "idle_vacuum_kpa": idle}

    def floats(self, name):
        return self._of[name]


def test_an_offset_is_no_rest_of_a_part_that_hung_on():
    """The rest of 25 kPa left varies as those do; 3 kPa that never vary beside them are no vacuum."""
    left = 25.0 + 4.0 * np.sin(np.arange(20.0))
    rest = np.concatenate([[2.5], 0.12 * left[:-1]])
    assert _hung_on(_Column(left, rest))[1:].all()
    assert not _hung_on(_Column(left, np.full(20, 3.0) + 0.02 * np.cos(np.arange(20.0)))).any()


BANDS = Bands(rise_low=25.0, rise_high=55.0, top_low=55.0, top_high=65.0, fall_high=45.0, fall_low=20.0)


def uneven_with(balance_error_kpa_s: float):
    """The scatter of a leak of 3 kPa/s, 2 kPa/s more than before, beside an evacuation known so well near its top."""
    held = np.ones(30, np.bool_)
    rate = 3.0 + 0.2 * np.sin(1.7 * np.arange(30.0))
    features = Features(
        values={"decay": rate, "top": np.full(30, np.nan)}, floor={"decay": 0.05}, held=held, at_least=~held,
        decay_noise=np.full(30, 0.1),
    )  # fmt: skip
    top = replace(effect("top", 0.0), error=balance_error_kpa_s)
    measured = {"decay": replace(effect("decay", 2.0), error=0.1), "top": top}
    comparison = Comparison(effects=measured, source="baseline", onset=None, now=held, reference=~held)
    data = SimpleNamespace(sensor=SimpleNamespace(sample_interval_s=0.01))
    found = effects_of(data, features, comparison, None, ~held, False, BANDS, OPTIONS)
    return found["unevenness"].error


def test_scatter_that_decides_alone_is_known_less_well():
    """With a usable balance beside it the scatter counts as it is; alone, neighbouring cycles count by a third."""
    np.testing.assert_allclose(uneven_with(3.0), OPTIONS.uneven_alone * uneven_with(0.2))
    assert OPTIONS.uneven_alone > 1.5
