"""What lets a second cause be seen beside a first: shares that it frees, weak open cups, scatter, comparable ends."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from judge.test_evidence import calm, effect, judged, quiet
from segment.made_traces import KNOWN, PLAIN, blow_off, coast, evacuate, hold, idle

from tests.judge.test_verdict import case_of
from tracekit.judge.case import Seen
from tracekit.judge.detect import detectable
from tracekit.judge.effects import Comparison, Effect, _one_ultimate, compare, compare_feature
from tracekit.judge.effects_of import _usable, with_idle_real, with_starved
from tracekit.judge.evidence import USUAL, Circumstances, Sign, combined
from tracekit.judge.features import Features, choose_bands, make_features
from tracekit.judge.fingerprints import FINGERPRINTS
from tracekit.judge.motion import late_fall_kpa
from tracekit.judge.onset import ONSET_MEASURES
from tracekit.judge.rank import posterior
from tracekit.judge.setting_rules import _hardly_cut, _unreachable
from tracekit.judge.signs import empties_at_once, loss_signs, scatter_sign
from tracekit.judge.slow import weak_open_sign
from tracekit.judge.verdict import _alike_in_response, _seldom
from tracekit.model.cycle import StationData
from tracekit.model.station import Station
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
    closed = weak_open_sign(cycles_with(open=8.0 + 6.0 * SLOW + JITTER), SLOW)
    assert weak.present > 0.95
    assert alike.present < 0.05
    assert unknown.present == 0.5
    assert closed.present == 0.5  # a dip in a cup that has closed makes a level of its own, which is no open cup's


def test_two_far_weaker_open_cups_tell_of_a_weak_generator() -> None:
    """Dips begin at any time: three of five slow cycles with a usual open cup say nothing against two far weaker ones."""
    at = np.flatnonzero(SLOW)
    level = 8.0 + JITTER
    level[at[:2]] = 4.0
    two = weak_open_sign(cycles_with(open=level), SLOW)
    one = weak_open_sign(cycles_with(open=np.where(np.arange(40) == at[0], 4.0, 8.0 + JITTER)), SLOW)
    few = weak_open_sign(cycles_with(open=8.0 + JITTER), SLOW & (np.arange(40) < 30))
    assert two.present > 0.95
    assert "before 2 slow evacuations" in two.text
    assert one.present < 0.1
    assert few.present == pytest.approx(0.2)  # four of them are too few to tell against it


def test_dips_beside_a_leak_are_named_by_the_open_cup() -> None:
    """A leak explains what is measured; slow evacuations after weaker open cups are then the supply's."""
    leak = {**quiet(), "decay": effect("decay", 4.0), "balance": effect("balance", 0.7)}
    signs = {"scattered_evacuation": 0.9995, "spared_cycles": 0.02}
    weak, alike = (judged(leak, calm(**signs, weak_open=present)).present for present in (0.99, 0.02))
    assert weak["leak_steady"] > 0.8
    assert weak["supply_pressure_dips"] > 0.4
    assert alike["supply_pressure_dips"] < 0.25


def test_as_many_slow_cycles_as_a_healthy_log_has_are_no_dips() -> None:
    """A station that meets its parts now sooner, now later, evacuates slowly now and then when healthy, too."""
    rise = 0.4 * SLOW + 0.005 * np.sin(3.3 * np.arange(40.0))
    none = np.zeros(40, np.bool_)
    features, even = (cycles_with(rise=r, decay=np.ones(40)) for r in (rise, rise - 0.4 * SLOW))

    def present(reference: Features | None) -> float:
        return scatter_sign(features, none, none, None, reference)[0].present

    assert present(None) > 0.9
    assert present(even) > 0.9
    assert present(features) < 0.05


def test_what_gets_slower_through_a_log_does_not_scatter() -> None:
    """A filter that clogs lets each evacuation be a little quicker than the one before: none is slow here and there."""
    some = np.arange(40) * 0.03
    none = np.zeros(40, np.bool_)
    jitter = 0.005 * np.sin(3.3 * np.arange(40.0))
    steady, dips = (cycles_with(rise=r, decay=np.ones(40)) for r in (jitter - some, jitter - some + 0.4 * SLOW))
    assert scatter_sign(steady, none, none)[0].present < 0.1
    assert scatter_sign(dips, none, none)[0].present > 0.9


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

    def of(now: float, past: float, past_now: float = 0.0) -> Effect:
        shown = {
            "ultimate_any": replace(effect("ultimate"), now=now, reference=77.0, shift=now - 77.0, error=1.2),
            "extrapolated": replace(
                effect("ultimate"), now=past_now, reference=past, shift=past_now - past, error=0.2
            ),
        }
        _one_ultimate(shown, OPTIONS)
        return shown["ultimate"]

    assert of(59.0, 0.5).z < -10.0
    assert of(59.0, 20.0).error == pytest.approx(np.hypot(1.2, OPTIONS.bent_share * 20.0))
    # a fit that was cut short ended under what is reached now; one that ends too deep now, past a lag, is news
    assert of(85.0, 0.0).shift == 0.0
    assert of(85.0, 0.0, 9.0).shift == 8.0
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


def test_what_touches_few_cycles_moves_no_median() -> None:
    """Dips in a tenth of the cycles leave the usual one where it was: if that is weaker too, the supply is low."""
    weak = {**quiet(), "rise": effect("rise", 0.4), "ultimate": effect("ultimate", -10.0)}
    weak |= {"open": effect("open", -1.5), "blow": effect("blow", 0.2)}
    signs = calm(scattered_evacuation=0.9995, weak_open=0.98, tight_scatter=0.9)
    often, seldom = (
        posterior(weak, signs, (), True, OPTIONS, Circumstances(seldom=codes)).present
        for codes in ((), ("supply_pressure_dips",))
    )
    assert seldom["supply_pressure_low"] > often["supply_pressure_low"] + 0.2
    assert seldom["supply_pressure_dips"] > 0.5


def seen_with(share_slow: float) -> Seen:
    """What was seen of forty cycles of which a share is slow."""
    slow = np.arange(40) < round(40 * share_slow)
    every = np.ones(40, np.bool_)
    comparison = Comparison(effects={}, source="baseline", onset=None, now=every, reference=~every)
    sign = Sign(name="scattered_evacuation", present=0.99)
    return Seen(effects={}, signs=(sign,), cycles={"scattered_evacuation": slow}, comparison=comparison)


@pytest.mark.parametrize(("share", "few"), [(0.0, False), (0.15, True), (0.6, False)])
def test_how_many_cycles_are_few(share: float, few: bool) -> None:
    """A sign in one cycle of seven is seldom; in most of them, or in none that stands out, it is not."""
    assert _seldom(seen_with(share), OPTIONS) == (("supply_pressure_dips",) if few else ())


def test_a_zero_may_drift_either_way_beside_a_weak_blow_off() -> None:
    """Vacuum left lifts the idle reading, which therefore says nothing against a zero that lowers it."""
    seen = {"idle": -3.3, "residual": 50.0, "command": -1.6, "over": -2.0}
    post = judged({**quiet(), **{name: effect(name, shift) for name, shift in seen.items()}}, calm())
    assert post.present["release_weak"] > 0.9
    assert post.present["sensor_zero_shift"] > 0.5


def test_a_log_that_ends_in_misses_is_compared_by_its_closed_cups(plain) -> None:
    """Most cycles are held, but none after the change: the last ones are what the station does now."""
    cycles = plain.data.cycles
    codes = cycles.codes("outcome").copy()
    codes[-4:] = cycles.categories["outcome"].index("missed")
    data = replace(plain.data, cycles=replace(cycles, data={**cycles.data, "outcome": codes}))
    assert make_features(data, plain.leak, choose_bands((data,))).held[-4:].all()


def coasts(fall_kpa: float) -> StationData:
    """Twelve picks with a coast of 1.2 s that loses 1 kPa, and `fall_kpa` more within 0.15 s of it."""
    step = (coast(0.15, 73.7 - fall_kpa), coast(0.3, 73.5 - fall_kpa))
    return case_of((idle(), evacuate(0.3, to=75.0), coast(0.75, 74.0), *step, blow_off()) * 12).data


def test_a_fall_late_in_a_coast_is_a_move() -> None:
    """Eight kPa lost 0.75 s after the cut are no volumes that even out; a steady fall is none at all."""
    moved, still = (np.nanmedian(late_fall_kpa(coasts(kpa))) for kpa in (8.0, 0.0))
    assert moved > 5.0
    assert still < 1.0


def rated(rate: float, doubt: float) -> Features:
    """Twenty held cycles that leak alike, with a doubt that all their rates share."""
    every = np.ones(20, np.bool_)
    values = {**dict.fromkeys((*ONSET_MEASURES, "ultimate"), np.full(20, np.nan)), "decay": np.full(20, rate)}
    floor = dict.fromkeys(values, 0.05)
    return Features(
        values=values, floor=floor, held=every, at_least=~every, decay_noise=np.full(20, np.nan), decay_doubt=doubt
    )  # fmt: skip


def test_rates_known_badly_differ_for_that_alone() -> None:
    """Rates of 1.3 and 3.7 kPa/s whose logs doubt them by 1.1 and 1.8 are no news; known well, they are."""
    known, doubted = (
        compare(rated(1.3, 1.1 * k), rated(3.7, 1.8 * k), OPTIONS).effects["decay"] for k in (0.0, 1.0)
    )
    assert known.z < -4.0
    assert abs(doubted.z) < 2.2


def test_a_step_inside_a_log_is_no_weather() -> None:
    """1.2 kPa of the ultimate vacuum from one cycle to the next is more than the supply wanders within a log."""
    now, before = (level + 0.03 * np.sin(np.arange(40.0)) for level in (80.8, 82.0))
    day, within = (compare_feature("ultimate", now, before, 0.02, same, OPTIONS) for same in (False, True))
    assert day is not None
    assert within is not None
    assert abs(day.z) < 2.0
    assert within.z < -4.0


def test_a_blow_off_starts_at_what_the_gauge_reads_above_its_zero(plain) -> None:
    """The supply is cut at the same reading, which is 5 kPa less vacuum where the zero is 5 kPa off."""
    cycles = plain.data.cycles
    shifted = {**cycles.data, "idle_vacuum_kpa": cycles.floats("idle_vacuum_kpa") + 5.0}
    data = replace(plain.data, cycles=replace(cycles, data=shifted))
    bands = choose_bands((data, plain.data))
    start = [np.nanmedian(make_features(one, plain.leak, bands).values["start"]) for one in (data, plain.data)]
    assert start[0] == pytest.approx(start[1] - 5.0)


def barely(cut_s: float, off_kpa: float) -> StationData:
    """Picks of some two seconds whose supply is cut once, `cut_s` after the grip, at a vacuum that rises no more."""
    pieces = (idle(), evacuate(0.6, to=75.0), hold(cut_s), coast(2.2 - cut_s, 74.5), blow_off())
    station = Station(settings=replace(KNOWN, supply_off_kpa=off_kpa, supply_on_kpa=68.0))
    return case_of(pieces * 10, station).data


def test_a_threshold_that_noise_alone_crosses_is_out_of_reach() -> None:
    """Cut at the end of its hold, at what it reached long before, a supply saves no air; cut at once it does."""
    late, soon = (_hardly_cut(barely(cut_s, 75.0), 75.0)[1] for cut_s in (1.6, 0.2))
    assert late.mean() > 0.7
    assert not soon.any()


def test_a_threshold_raised_out_of_reach_is_told() -> None:
    """Cut in every hold at 70 kPa, then held at 79 and never cut: the vacuum stands over where supply_off stood."""
    cut = (idle(), evacuate(0.3, to=70.0), coast(1.0, 69.0), hold(0.6), blow_off())
    uncut = (idle(), evacuate(0.6, to=79.0), hold(1.6), blow_off())
    station = Station(settings=replace(KNOWN, supply_off_kpa=70.0, supply_on_kpa=64.0))
    data = case_of((*cut * 10, *uncut * 10), station).data
    now = np.arange(20) >= 10
    moved, always = (_unreachable(data, station, part) for part in (now, ~now))
    assert moved is not None
    assert moved.probability > 0.9
    assert always is None or always.probability < 0.1


def test_a_leak_that_empties_a_cup_at_once_makes_losses_sudden(plain) -> None:
    """At 150 kPa/s a hold is lost in a sixth of a second: no collision is needed; at 5 kPa/s one is."""
    n = len(plain.data.cycles)
    table = {**plain.data.cycles.data, "outcome": np.full(n, plain.data.cycles.categories["outcome"].index("dropped"))}
    data = replace(plain.data, cycles=replace(plain.data.cycles, data=table))
    kinds = data.cycles.categories["drop_kind"].index("sudden")
    data = replace(data, cycles=replace(data.cycles, data={**table, "drop_kind": np.full(n, kinds)}))

    def sudden(rate: float) -> float:
        found = loss_signs(data, cycles_with(decay=np.full(n, rate)), np.zeros(n, np.bool_))
        return next(sign.present for sign, _ in found if sign.name == "sudden_losses")

    assert empties_at_once(data, cycles_with(decay=np.full(n, 400.0)))
    assert not empties_at_once(data, cycles_with(decay=np.full(n, 5.0)))
    assert sudden(5.0) > 0.9
    assert sudden(400.0) == 0.5


def test_what_a_cause_that_was_found_hides_is_told() -> None:
    """A low supply that slows the evacuation far hides a clogged silencer beside it, but no shifted zero."""
    weak = {**quiet(), "rise": effect("rise", 0.6), "ultimate": effect("ultimate", -14.0), "blow": effect("blow", 0.3)}
    beside, alone = (
        {d.code: d for d in detectable(weak, calm(), (), USUAL, True, OPTIONS, found)}
        for found in (("supply_pressure_low",), ())
    )
    assert beside["exhaust_restricted"].smallest is None
    assert "may not be seen" in beside["exhaust_restricted"].why
    assert alone["exhaust_restricted"].smallest is not None
    assert beside["sensor_zero_shift"].smallest is not None
    assert beside["supply_pressure_low"].smallest is not None


@pytest.mark.parametrize(("weaker", "first"), [(0.0, "leak_steady"), (0.12, "exhaust_restricted")])
def test_an_open_cup_as_strong_as_before_clears_the_generator(weaker: float, first: str) -> None:
    """A tenth slower, an end 3 kPa lower: a weaker generator weakens the open cup as much, a leak does not."""
    level = replace(effect("open", -weaker * 11.0), reference=11.0, now=11.0 * (1.0 - weaker))
    ends = replace(effect("ultimate", -3.0), reference=82.0, now=79.0)
    moved = {**quiet(), "rise": effect("rise", 0.09), "open": level, "ultimate": ends}
    moved.pop("decay")
    told = with_starved(moved, OPTIONS)
    assert told["starved"].shift == pytest.approx(-np.log(1.0 - weaker) / 0.09)
    signs = calm()
    present = posterior(told, signs, (), True, OPTIONS, Circumstances(rated=False)).present
    assert max(present, key=lambda code: present[code]) == first
    assert "starved" not in with_starved({**moved, "rise": effect("rise", 0.02)}, OPTIONS)
    assert "starved" not in with_starved({**moved, "open": replace(level, reference=1.0)}, OPTIONS)
