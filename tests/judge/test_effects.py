"""How the cycles now are held against a reference: growth, scatter of a leak beyond noise, blow-offs cut short."""

import numpy as np
import pytest

from tracekit.judge.effects import Effect, _allow_for_start, _long_enough, compare_feature
from tracekit.judge.effects_of import unevenness
from tracekit.judge.features import Features
from tracekit.judge.setting_rules import _far_below_the_hold
from tracekit.options.judge import JudgeOptions

OPTIONS = JudgeOptions()
CYCLES = 60


def rates(level: float, scatter: float, noise: float, seed: int, said: float | None = None) -> Features:
    """Leak rates of cycles that differ by a share and are measured with noise, of which `said` is known [kPa/s]."""
    rng = np.random.default_rng(seed)
    rate = level * (1.0 + scatter * rng.normal(size=CYCLES)) + noise * rng.normal(size=CYCLES)
    return Features(
        values={"decay": rate}, floor={"decay": 0.05}, held=np.ones(CYCLES, np.bool_),
        at_least=np.zeros(CYCLES, np.bool_), decay_noise=np.full(CYCLES, noise if said is None else said),
    )  # fmt: skip


def scatter_of(features: Features, reference: Features | None = None) -> tuple[float, float]:
    """Relative scatter that is found, and its error as a logarithm."""
    effect = unevenness(np.ones(CYCLES, np.bool_), features, reference)
    assert effect is not None
    return float(np.exp(effect.now)), effect.error


def test_scatter_of_a_leak_is_found() -> None:
    """Fifteen in a hundred from cycle to cycle, whatever the noise adds."""
    found = [scatter_of(rates(3.0, 0.15, 0.1, seed))[0] for seed in range(40)]
    assert np.median(found) == pytest.approx(0.15, rel=0.12)


def test_noise_is_no_scatter_of_the_leak() -> None:
    """Rates that differ by noise alone leave a bound far under it, and a wide one."""
    found = [scatter_of(rates(2.0, 0.0, 0.07, seed)) for seed in range(40)]
    blind = [scatter_of(rates(2.0, 0.0, 0.07, seed, said=0.0)) for seed in range(40)]
    assert np.median([f for f, _ in blind]) == pytest.approx(0.035, rel=0.15)
    assert np.median([f for f, _ in found]) < 0.022
    assert np.median([e for _, e in found]) > 0.6


def test_what_a_healthy_log_scatters_is_taken_off() -> None:
    """A leak behind the check valve is even, though the parts of a healthy log already differ."""
    healthy = rates(0.5, 0.2, 0.01, 1)
    now = Features(
        values={"decay": rates(0.5, 0.2, 0.01, 2).values["decay"] + 2.0}, floor=healthy.floor, held=healthy.held,
        at_least=healthy.at_least, decay_noise=healthy.decay_noise,
    )  # fmt: skip
    assert scatter_of(now, healthy)[0] < scatter_of(now)[0]


def test_growth_is_no_scatter() -> None:
    """A measure that grows through the last cycles is known as well as one that has grown and stays."""
    rng = np.random.default_rng(3)
    healthy = rng.normal(20.0, 0.5, 50)
    steady = compare_feature("over", rng.normal(45.0, 0.5, 15), healthy, 0.05, same_log=False, options=OPTIONS)
    grows = np.linspace(35.0, 55.0, 15) + rng.normal(0.0, 0.5, 15)
    growing = compare_feature("over", grows, healthy, 0.05, same_log=False, options=OPTIONS)
    assert steady is not None
    assert growing is not None
    assert growing.error < 2.0 * steady.error


def test_a_blow_off_cut_short_is_not_fast() -> None:
    """Where the command ended before the usual time was over, nothing is known; where it was long, it was slow."""
    now = np.log([0.010, 0.012, 0.060, 0.030])
    kept = _long_enough(now, np.array([True, True, True, False]), np.log(np.full(8, 0.031)))
    assert np.isnan(kept).tolist() == [True, True, False, False]


def test_a_set_point_far_below_the_hold_says_so() -> None:
    """Its evidence names the share."""

    class Data:
        """What the rule looks at."""

        usual_peak_kpa = 90.0

    fact = _far_below_the_hold(13.5, 0.15, 0.9, Data())
    assert fact.code == "set_point_too_low"
    assert "15 %" in fact.reason


def test_a_blow_off_from_another_vacuum_is_known_less_well() -> None:
    """Started from 20 kPa of 80 nearer, its time between two levels gets 0.1 · 20 / 80 = 2.5 % of error beside its own."""

    def effect(shift: float, reference: float, error: float) -> Effect:
        return Effect(
            now=reference + shift, reference=reference, shift=shift, error=error, n_now=20, n_reference=20,
            tail_up=0.0, tail_down=0.0, scatter=1.0,
        )  # fmt: skip

    effects = {"start": effect(-20.0, 80.0, 0.5), "blow": effect(0.05, -3.7, 0.02)}
    _allow_for_start(effects, JudgeOptions())
    assert effects["blow"].error == pytest.approx(np.hypot(0.02, 0.025))
    unmoved = {"start": effect(-0.3, 80.0, 0.5), "blow": effect(0.05, -3.7, 0.02)}
    _allow_for_start(unmoved, JudgeOptions())
    assert unmoved["blow"].error == 0.02
