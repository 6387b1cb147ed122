"""What lets a second cause be seen beside a first: shares that it frees, weak open cups, scatter, comparable ends."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from judge.test_evidence import calm, effect, judged, quiet
from segment.made_traces import PLAIN

from tests.judge.test_verdict import case_of
from tracekit.judge.effects import Effect, _one_ultimate
from tracekit.judge.effects_of import _usable, with_idle_real
from tracekit.judge.evidence import combined
from tracekit.judge.features import Features, choose_bands, make_features
from tracekit.judge.fingerprints import FINGERPRINTS
from tracekit.judge.signs import scatter_sign, weak_open_sign
from tracekit.judge.verdict import _alike_in_response
from tracekit.options.judge import JudgeOptions

OPTIONS = JudgeOptions()


def test_a_filter_frees_the_share_of_a_zero() -> None:
    """A clogged filter lifts the open cup, so that a zero beside it no longer moves both readings alike."""
    seen = {"idle": 4.4, "open": 9.0, "over": 3.0, "fast_fall": 1.0, "blow": -0.2, "blow_start": -0.01}
    effects = with_idle_real({**quiet(), **{name: effect(name, shift) for name, shift in seen.items()}})
    assert effects["idle_real"].shift < -1.5
    post = judged(effects, calm())
    assert post.present["flow_restricted"] > 0.9
    assert post.present["sensor_zero_shift"] > 0.4
    pair = combined(FINGERPRINTS["sensor_zero_shift"], FINGERPRINTS["flow_restricted"])["idle_real"]
    leak = combined(FINGERPRINTS["sensor_zero_shift"], FINGERPRINTS["leak_steady"])["idle_real"]
    assert pair.least < -5.0
    assert leak == FINGERPRINTS["sensor_zero_shift"]["idle_real"]


def cycles_with(**values) -> Features:
    """Features of forty held cycles of which only some measures are known."""
    every = np.ones(40, np.bool_)
    floor = {"open": 0.02, "rise": 0.004}
    return Features(values=values, floor=floor, held=every, at_least=~every, decay_noise=np.full(40, np.nan))


SLOW = np.arange(40) % 8 == 3
JITTER = 0.05 * np.sin(np.arange(40.0))


def test_a_supply_that_dips_weakens_the_open_cup_of_its_slow_cycles() -> None:
    """Four instead of eight kPa before the slow ones: the generator was weak; the same before all: it was not."""
    weak = weak_open_sign(cycles_with(open=8.0 - 4.0 * SLOW + JITTER), SLOW)
    alike = weak_open_sign(cycles_with(open=8.0 + JITTER), SLOW)
    unknown = weak_open_sign(cycles_with(open=np.where(SLOW, np.nan, 8.0)), SLOW)
    assert weak.present > 0.95
    assert alike.present < 0.05
    assert unknown.present == 0.5


def test_dips_beside_a_leak_are_named_by_the_open_cup() -> None:
    """A leak explains what is measured; slow evacuations after weaker open cups are then the supply's."""
    leak = {**quiet(), "decay": effect("decay", 4.0), "balance": effect("balance", 0.7)}
    signs = {"scattered_evacuation": 0.9995, "spared_cycles": 0.02}
    weak, alike = (judged(leak, calm(**signs, weak_open=present)).present for present in (0.99, 0.02))
    assert weak["leak_steady"] > 0.8
    assert weak["supply_pressure_dips"] > 0.4
    assert alike["supply_pressure_dips"] < 0.25


def widened(z: float) -> Effect:
    return Effect(
        now=z, reference=0.0, shift=z, error=1.0, n_now=40, n_reference=40, tail_up=0.0, tail_down=0.0, scatter=5.0
    )


def test_evacuations_that_all_scatter_are_scattered() -> None:
    """None stands out of the others, but all scatter far more than in the reference."""
    features = cycles_with(rise=0.3 * np.sin(1.7 * np.arange(40.0)), decay=np.ones(40))
    none = np.zeros(40, np.bool_)

    def present(z: float | None) -> float:
        return scatter_sign(features, none, none, None if z is None else widened(z))[0].present

    assert present(None) < 0.1
    assert present(0.5) < 0.1
    assert present(5.0) > 0.9


def test_an_end_that_was_reached_against_one_that_was_not() -> None:
    """A settled vacuum is held against an extrapolated one, the less surely the further that reaches past the peak."""

    def of(now: float, past: float) -> Effect:
        shown = {
            "ultimate_any": replace(effect("ultimate"), now=now, reference=77.0, shift=now - 77.0, error=1.2),
            "extrapolated": replace(effect("ultimate"), now=0.0, reference=past, shift=-past, error=0.2),
        }
        _one_ultimate(shown, OPTIONS)
        return shown["ultimate"]

    assert of(59.0, 0.5).z < -10.0
    assert of(59.0, 20.0).error == pytest.approx(np.hypot(1.2, OPTIONS.bent_share * 20.0))
    measured = {"ultimate": effect("ultimate", 1.0), "ultimate_any": effect("ultimate", 9.0)}
    _one_ultimate(measured, OPTIONS)
    assert measured["ultimate"].shift == 1.0


@pytest.fixture(scope="module")
def plain():
    return case_of(PLAIN * 12)


def test_a_fit_never_ends_under_what_was_reached(plain) -> None:
    """An evacuation in two steps is fitted to an end below its own peak: the peak was reached."""
    cycles = plain.data.cycles
    n = len(cycles)
    low = {**cycles.data, "ultimate_vacuum_kpa": np.full(n, 60.0), "ultimate_extrapolated": np.ones(n, np.int64)}
    data = replace(plain.data, cycles=replace(cycles, data=low))
    features = make_features(data, plain.leak, choose_bands((data,)))
    peak = cycles.floats("peak_vacuum_kpa") - np.nanmedian(cycles.floats("idle_vacuum_kpa"))
    assert np.nanmin(features.values["ultimate_fit"]) > 0.9 * np.nanmin(peak)


def test_the_band_near_the_top_is_timed_under_a_shifted_zero(plain) -> None:
    """Readings 4 kPa too deep reach a level above their own zero 4 kPa later: the band lies so much lower."""
    cycles = plain.data.cycles
    shifted = {**cycles.data, "idle_vacuum_kpa": cycles.floats("idle_vacuum_kpa") + 4.0}
    data = replace(plain.data, cycles=replace(cycles, data=shifted))
    usual, lower = (choose_bands((one,)).top_high for one in (plain.data, data))
    assert usual <= 0.97 * plain.data.usual_peak_kpa
    assert lower <= 0.97 * plain.data.usual_peak_kpa - 4.0


def answers(plain, values: float, open_kpa: float):
    """A log whose answers are `values` and whose parts are met 0.28 s after the command."""
    n = len(plain.data.cycles)
    table = {**plain.data.cycles.data, "contact_s": plain.data.timing["try_s"] + 0.28}
    data = replace(plain.data, usual_open_kpa=open_kpa, cycles=replace(plain.data.cycles, data=table))
    every = np.ones(n, np.bool_)
    features = Features(
        values={"response": np.full(n, values)}, floor={"response": 0.001}, held=every, at_least=~every,
        decay_noise=np.full(n, np.nan),
    )  # fmt: skip
    return features, data


@pytest.mark.parametrize(("answer_s", "against_s"), [(0.02, 0.02), (0.29, 0.28)])
def test_an_answer_before_the_contact_did_not_wait_for_it(plain, answer_s: float, against_s: float) -> None:
    """Behind a clogged filter the generator answers at once without an open cup: no answer is 0.26 s early."""
    now, usual = answers(plain, answer_s, np.nan), answers(plain, 0.02, 10.0)
    own, healthy = _alike_in_response(*now, *usual)
    assert np.median(own.values["response"]) == answer_s
    assert np.median(healthy.values["response"]) == pytest.approx(against_s)
    assert own.floor["response"] == healthy.floor["response"] > 0.01


def test_a_balance_that_no_leak_has_is_not_used() -> None:
    """A drive that weakened too makes the balance of a leak ten: its scatter is then all there is, and counts less."""
    balance = SimpleNamespace(shift=0.7, error=0.1)
    assert _usable(balance, OPTIONS)
    assert not _usable(SimpleNamespace(shift=10.0, error=0.3), OPTIONS)
    assert not _usable(SimpleNamespace(shift=0.5, error=0.6), OPTIONS)
