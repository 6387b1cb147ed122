"""What comes at the same times of every hold, at times of its own, or as a line: motion, supply dips, a pulsation."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from segment.made_traces import KNOWN, PLAIN, Piece, blow_off, evacuate, hold, idle, measured, trace_of

from tests.judge.test_evidence import calm, effect, judged, quiet
from tests.judge.test_verdict import case_of
from tracekit.judge.course import dip_sign, shared_course, travel_sign
from tracekit.judge.effects import Comparison, _jumps, _scatter, _scatters
from tracekit.judge.evidence import USUAL, combined, log_fit, log_likelihood
from tracekit.judge.falls import SharedFall, fall_sign, shared_fall
from tracekit.judge.fingerprints import FINGERPRINTS
from tracekit.judge.ripple import fast_line_chance, line_chance, pulsation_sign
from tracekit.judge.sensor_rules import sensor_facts
from tracekit.judge.signs import _groups_without_coasts
from tracekit.judge.swing import swing_chance
from tracekit.judge.symptoms import _partly
from tracekit.judge.verdict import judge
from tracekit.options.judge import JudgeOptions

OPTIONS = JudgeOptions()
CYCLE_S, HOLD_FROM_S = 4.5, 1.6


def holds_with(swing_kpa, *, picks: int = 14, everywhere: bool = False, rate_hz: int = 100):
    """Picks held for 3 s at 75 kPa with the supply on, less `swing_kpa` of time [s] and time since the hold began [s]."""
    columns = trace_of((idle(), evacuate(), hold(3.0), blow_off()) * picks, rate_hz, noise=0.03)
    time = columns["time_s"]
    since = np.mod(time, CYCLE_S) - HOLD_FROM_S
    where = 1.0 if everywhere else columns["supply"] * (since > 0.0)
    return measured({**columns, "pressure_kpa": np.round(columns["pressure_kpa"] + swing_kpa(time, since) * where, 2)})


def bell(since, at_s, depth_kpa, width_s=0.1):
    return depth_kpa * np.exp(-0.5 * ((since - at_s) / width_s) ** 2)


def moved(depth_kpa):
    """Vacuum dips at 0.8 s and 1.7 s of every hold."""
    return holds_with(lambda _, since: bell(since, 0.8, depth_kpa) + bell(since, 1.7, 0.8 * depth_kpa))


def dipped(depth_kpa):
    """Vacuum dips every 3.7 s by the clock."""
    return holds_with(lambda time, _: bell(np.mod(time, 3.7), 1.0, depth_kpa))


def test_moves_come_at_the_same_times_of_every_hold():
    """6 kPa at two places of each hold are found, and their depth; the same depth at times of its own is no motion."""
    same, own, still = moved(6.0), dipped(6.0), moved(0.0)
    course = shared_course(same)
    assert course is not None
    assert course.valley_kpa == pytest.approx(6.0, abs=1.0)  # bins are half as long as a dip is wide
    assert course.share > 0.8
    chances = [travel_sign(data, None, OPTIONS).present for data in (same, own, still)]
    assert chances[0] > 0.99
    assert max(chances[1:]) < 0.05


def test_moves_of_a_baseline_are_no_news():
    """2 kPa more than the baseline are; what both show alike, or a sound station may, is not."""
    small = moved(1.5)
    assert travel_sign(small, moved(0.0), OPTIONS).present > 0.9
    assert travel_sign(small, moved(1.4), OPTIONS).present < 0.2
    assert travel_sign(small, None, OPTIONS).present < 0.1
    assert travel_sign(holds_with(lambda t, s: 0.0 * t, picks=5), None, OPTIONS) is None


def test_moves_beyond_those_of_sound_stations_need_no_baseline():
    """Half as much again as the largest move of a sound station, at the same times of every hold, is nearly sure."""
    assert travel_sign(moved(1.6 * OPTIONS.travel_dip_kpa), None, OPTIONS).present > 0.99


def test_dips_of_the_clock_are_the_supply_and_dips_of_the_travel_the_machine():
    """Deep dips and scattered evacuations: without dips at the same times of every hold, the supply dips."""
    effects = {**quiet(), "rise_scatter": effect("rise_scatter", 1.5)}
    own = judged(effects, calm(own_dips=0.98, deep_dips=0.5, scattered_evacuation=0.998, travel_dips=0.001)).present
    same = judged(quiet(), calm(travel_dips=0.9993, deep_dips=0.5), complaint=True).present
    assert own["supply_pressure_dips"] > 0.9
    assert own["motion_dips"] < 0.1
    assert same["motion_dips"] > 0.8


def test_moves_that_fill_a_hold_make_noise_of_it():
    """Dips at the same times of every hold of 10 kPa, sampled slowly: neither a ripple nor a noisy sensor."""
    seen = {"noise": effect("noise", 1.6), "ultimate": effect("ultimate", -9.8)}
    present = judged({**quiet(), **seen}, calm(travel_dips=0.999), complaint=False).present
    assert present["motion_dips"] > 0.5 > 2.0 * present["supply_pulsation"]


def test_dips_without_a_reference():
    """Where the supply is on through every hold, 8 kPa are deep whatever there is to compare with."""
    features = SimpleNamespace(held=np.ones(20, bool), values={"dip": np.full(20, 8.0)})
    nothing = Comparison(effects={}, source="none", onset=None, now=features.held, reference=~features.held)
    assert dip_sign(features, nothing, steady=True, options=OPTIONS)[0].present > 0.9
    assert dip_sign(features, nothing, steady=False, options=OPTIONS)[0].present < 0.1


def test_a_fast_line_is_found_in_single_samples():
    """20.13 Hz, of which no cycle holds a whole number and which bins of a long hold average away; with the valves off as well it is hum, and noise has no line."""
    line = holds_with(lambda time, _: 0.4 * np.sin(2 * np.pi * 20.13 * time))
    hum = holds_with(lambda time, _: 0.4 * np.sin(2 * np.pi * 20.13 * time), everywhere=True)
    assert line_chance(line, OPTIONS) < 0.1
    assert fast_line_chance(line, OPTIONS) > 0.99
    assert pulsation_sign(line, OPTIONS).present > 0.99
    assert fast_line_chance(hum, OPTIONS) < 0.1
    assert fast_line_chance(holds_with(lambda time, _: 0.0 * time), OPTIONS) < 0.01


def test_moves_and_dips_are_no_ripple():
    """A trace that bends one way for several bins does not go back and forth."""
    assert pulsation_sign(moved(8.0), OPTIONS).present < 0.1
    assert pulsation_sign(dipped(8.0), OPTIONS).present < 0.1


@pytest.mark.parametrize("tone_hz", [1.23, 1.61, 2.17])
def test_a_swing_of_a_few_periods_a_hold_is_a_pulsation(tone_hz):
    """Three to six periods in each hold, too few for a line of a spectrum; at the same times of each it is motion."""
    free = holds_with(lambda time, _: 1.5 * np.sin(2 * np.pi * tone_hz * time), everywhere=True)
    bound = holds_with(lambda _, since: 1.5 * np.sin(2 * np.pi * tone_hz * since), everywhere=True)
    assert pulsation_sign(free, OPTIONS).present > 0.99
    assert swing_chance(bound, OPTIONS) < 0.01
    for other in (moved(8.0), dipped(8.0), dipped(3.0), holds_with(lambda time, _: 0.2 * np.sin(0.2 * time))):
        assert swing_chance(other, OPTIONS) < 0.05


def saved(fall_kpa, *, warming_kpa=0.0, picks=14):
    """Holds of 3 s after a cut at 75 kPa that leak 2 kPa/s; `fall_kpa` more go 1.6 s after the cut, or at once."""
    pieces = (idle(), evacuate(), Piece(seconds=3.0, to=69.0), blow_off()) * picks
    columns = trace_of(pieces, 100, noise=0.03)
    since = np.mod(columns["time_s"], 4.5) - 1.2
    here = (since > 0.0) & (since < 3.0)
    more = fall_kpa / (1.0 + np.exp(-(since - 1.6) / 0.03)) + warming_kpa * (1.0 - np.exp(-np.maximum(since, 0.0) / 0.3))
    return measured({**columns, "pressure_kpa": np.round(columns["pressure_kpa"] + more * here, 2)})


def test_a_fall_at_one_time_of_every_coast_is_motion():
    """5 kPa more within 0.1 s at one time of every hold are a move; gas that warms after the cut is none."""
    fall = fall_sign(saved(5.0), None, OPTIONS)
    assert fall is not None
    assert fall.name == "travel_dips"
    assert fall.present > 0.9
    assert fall_sign(saved(5.0), saved(0.0), OPTIONS).present > 0.9
    assert not shared_fall(saved(5.0), pulses=True).refilled
    for data, baseline in ((saved(0.0), None), (saved(0.0, warming_kpa=6.0), None), (saved(5.0), saved(5.0))):
        assert fall_sign(data, baseline, OPTIONS) is None


def test_a_hold_whose_end_alone_is_low_leaks_no_more():
    """Every fourth hold ends 6 kPa lower: a group if it never reached more, none if it reached what the others do."""
    low = np.arange(40) % 4 == 0
    jitter = np.linspace(-0.02, 0.02, 40)
    values = {"ultimate": 80.0 - 6.0 * low + jitter, "top": 100.0 - 9.0 * low + jitter, "open": 5.0 + jitter, "blow": jitter}

    def chance(peak):
        features = SimpleNamespace(held=np.ones(40, bool), values={**values, "peak": peak}, floor={"ultimate": 0.05})
        return _groups_without_coasts(features, np.zeros(40, bool))[1]

    assert chance(values["ultimate"]) > 0.99
    assert chance(80.0 + jitter) < 0.01


def test_scatter_of_a_healthy_evacuation_is_no_news():
    """1 % beside a baseline of 0.3 % is no dip of the supply, nor 3 % of an evacuation that all cycles slow by 20 %."""
    fine = replace(effect("rise"), jumps=0.003)
    slowed = replace(effect("rise", 0.2), jumps=0.003)
    drawn = np.random.default_rng(3).normal(size=40)

    def scattered(by: float) -> np.ndarray:
        return drawn * by / _jumps(drawn)

    assert _scatter(fine, scattered(0.009), 2.5, OPTIONS).shift == 0.0
    assert _scatter(slowed, scattered(0.027), 2.5, OPTIONS).z < 1.0
    assert _scatter(fine, scattered(0.15), 2.5, OPTIONS).z > 3.0
    assert _scatter(fine, scattered(0.15), 2.5, OPTIONS).n_now == 40


def test_the_scatter_of_the_blow_off_is_told_beside_that_of_the_evacuation():
    """Both are those of all cycles after an onset, and a blow-off comes no nearer to an end for being slow."""
    every = np.ones(40, np.bool_)
    slow = replace(effect("blow", 0.4), jumps=0.003)
    made = SimpleNamespace(values={"rise": 0.2 * np.sin(2.4 * np.arange(40.0)), "blow": 0.2 * np.sin(2.4 * np.arange(40.0))})
    found = _scatters({"rise": replace(effect("rise", 0.4), jumps=0.003), "blow": slow}, made, every, OPTIONS)
    assert set(found) == {"rise_scatter", "blow_scatter"}
    assert found["blow_scatter"].shift == pytest.approx(found["rise_scatter"].shift)
    assert found["blow_scatter"].error < 0.5 * found["rise_scatter"].error
    assert set(_scatters({"blow": slow}, made, every, OPTIONS)) == {"blow_scatter"}


def test_a_range_that_holds_both_ways_adds_to_none():
    """A clogged filter lets a blow-off be sooner or later; a leak beside it forbids neither."""
    both = combined(FINGERPRINTS["flow_restricted"], FINGERPRINTS["leak_steady"])
    for shift in (-0.4, 0.2):
        assert log_fit(both["blow"], effect("blow", shift), OPTIONS.worst_logp) > -8.0


def test_behind_a_restriction_vacuum_rises_on_after_the_cut():
    """At the cup side a clogged filter delays all, and goes on rising after the cut: no lagging sensor does so alone."""
    seen = {"rise": 0.7, "fast_fall": -3.4, "overshoot": 1.7, "blow": 0.44, "blow_start": 0.04, "over": -2.4, "ultimate": 6.0}
    effects = {**{k: v for k, v in quiet().items() if k not in ("open", "response")}, **{k: effect(k, v) for k, v in seen.items()}}
    at_cup = replace(USUAL, sensor_at_cup=True)
    flow, slow = (log_likelihood((code,), effects, calm(), OPTIONS, at_cup) for code in ("flow_restricted", "sensor_slow"))
    assert flow > slow + 2.0


def bursts(share: float, at_rest: bool):
    """Picks of which a share, here and there, scatters by 0.5 kPa instead of 0.03, in the hold and at rest or not."""
    columns = trace_of(PLAIN * 40, noise=0.03)
    pick = np.floor(columns["time_s"] / 2.5 + 0.001)
    loud = np.mod(pick * 7, 20) < 20 * share
    where = loud * (1 if at_rest else columns["supply"])
    draw = np.random.default_rng(3).normal(0.0, 0.5, len(pick))
    return measured({**columns, "pressure_kpa": np.round(columns["pressure_kpa"] + draw * where, 2)}, settings=KNOWN)


def noisy_chance(data) -> float:
    """Of the rules for a log with nothing to compare with."""
    found = [f.probability for f in sensor_facts(data, False, OPTIONS) if f.code == "sensor_noisy"]
    assert len(found) == 1
    return found[0]


def test_noise_that_comes_and_goes_without_a_reference():
    """A third of the picks is noisy, at rest as well: the sensor's. With the supply on alone, or in one pick, it is not."""
    assert noisy_chance(bursts(0.35, True)) > 0.8
    assert noisy_chance(bursts(0.35, False)) < 0.1
    assert noisy_chance(bursts(0.05, True)) < 0.2
    assert noisy_chance(bursts(0.0, True)) < 0.1


def test_noise_that_comes_and_goes_against_a_baseline():
    """The median cycle is as quiet as the baseline's; the upper part of them is not."""
    usual = case_of(PLAIN * 40)

    def chance(share: float) -> float:
        case = replace(usual, data=bursts(share, True), baseline=usual.data, baseline_leak=usual.leak)
        return {c.code: c.chance for c in judge(case, OPTIONS).causes}["sensor_noisy"]

    assert chance(0.35) > 0.8
    assert chance(0.0) < 0.05


def test_what_comes_back_in_other_holds_is_no_lost_cup():
    """Holds whose end is caught in a dip by the clock lost no cup; a fall to the same level that lasts is one."""

    def chance(data) -> float:
        held = data.cycles.where("outcome", "held")
        fact = _partly(data, held, OPTIONS)
        return 0.0 if fact is None else fact.probability

    wide = holds_with(lambda time, _: 20.0 * (np.mod(time, 3.7) < 0.9))
    lost = holds_with(lambda time, since: 20.0 * (since > 1.0) * (np.mod(np.floor(time / CYCLE_S), 3) == 0))
    assert _partly(wide, wide.cycles.where("outcome", "held"), OPTIONS) is not None
    assert chance(wide) < 0.2
    assert chance(lost) > 0.8
    # a step that is small beside the peak comes back by as little
    small = holds_with(lambda time, _: 7.0 * (np.mod(time, 3.7) < 0.9))
    assert chance(small) < 0.2


@pytest.mark.parametrize(("inside", "told"), [(0.38, True), (0.2, False)])
def test_a_move_that_longer_holds_make_later(monkeypatch: pytest.MonkeyPatch, inside: float, told: bool) -> None:
    """Four in ten holds that fall by 4.6 kPa at one time, and none at another, are moves; two in ten are none of all."""
    fall = SharedFall(depth_kpa=4.6, at_s=1.1, inside=inside, outside=0.0, refilled=False)
    monkeypatch.setattr("tracekit.judge.falls.shared_fall", lambda data, *, pulses: fall)
    assert (fall_sign(saved(0.0), None, OPTIONS) is not None) == told
