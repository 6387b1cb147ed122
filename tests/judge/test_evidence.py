"""Fingerprints, likelihoods and the posterior: signs by hand, injected changes, and what must sum to one."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.judge.detect import detectable
from tracekit.judge.effects import Effect, compare_feature
from tracekit.judge.effects_of import allow_for_weather
from tracekit.judge.evidence import USUAL, Sign, combined, log_fit, sign_evidence
from tracekit.judge.features import Bands
from tracekit.judge.fingerprints import FINGERPRINTS, SAME, SIGN_BACKGROUND, SIGNS, Change, down, up
from tracekit.judge.priors import TWO_CAUSES
from tracekit.judge.rank import HYPOTHESES, Posterior, posterior, rivals
from tracekit.judge.reasons import reason_for
from tracekit.model.finding import CODES
from tracekit.options.judge import JudgeOptions

OPTIONS = JudgeOptions()
MEASURES = tuple(m for m in FINGERPRINTS["none"] if m != "balance")
ERRORS = {
    "decay": 0.1, "rise": 0.01, "ultimate": 0.4, "open": 0.1, "blow": 0.01, "over": 0.1, "idle": 0.1, "residual": 0.15,
    "response": 0.0007, "noise": 0.1, "noise_off": 0.1, "fast_fall": 0.2, "blow_start": 0.0007, "rise_scatter": 0.3, "blow_scatter": 0.3, "overshoot": 0.4, "balance": 0.08,
    "unevenness": 0.4, "command": 0.05, "idle_real": 0.1, "late_alike": 0.1, "stretch": 0.1, "dip": 0.4, "early": 0.2,
    "run_on": 0.007, "starved": 0.12,
}  # fmt: skip
"""Usual standard errors of a difference between two recordings."""
SHARES = ("balance", "idle_real", "late_alike", "stretch", "starved")
"""Measures that are shares: their middle is no geometric one."""

UP, DOWN, SAME_SIGN = "up", "down", "same"
BY_HAND = {
    "leak_steady": {"decay": UP, "rise": UP, "ultimate": DOWN, "blow": DOWN},
    "leak_part_dependent": {"decay": UP, "rise": UP, "ultimate": DOWN, "blow": SAME_SIGN},
    "check_valve_leak": {"decay": UP, "rise": SAME_SIGN, "ultimate": SAME_SIGN, "blow": SAME_SIGN, "open": SAME_SIGN},
    "release_valve_leak": {"decay": UP, "rise": UP, "ultimate": DOWN, "blow": DOWN},
    "flow_restricted": {"decay": SAME_SIGN, "ultimate": SAME_SIGN, "fast_fall": UP, "open": UP, "over": UP, "response": DOWN},
    "exhaust_restricted": {"decay": SAME_SIGN, "rise": UP, "ultimate": DOWN, "blow": SAME_SIGN, "open": DOWN},
    "supply_pressure_low": {"decay": SAME_SIGN, "rise": UP, "ultimate": DOWN, "blow": UP, "open": DOWN},
    "supply_pressure_dips": {"decay": SAME_SIGN, "rise_scatter": UP, "ultimate": DOWN},
    "supply_valve_slow": {"decay": SAME_SIGN, "rise": SAME_SIGN, "ultimate": SAME_SIGN, "response": UP},
    "supply_valve_passing": {"decay": DOWN, "idle": UP, "blow": UP},
    "release_weak": {"decay": SAME_SIGN, "ultimate": SAME_SIGN, "blow": UP, "residual": UP},
    "collision_or_peel": {"decay": SAME_SIGN, "rise": SAME_SIGN, "ultimate": SAME_SIGN, "blow": SAME_SIGN},
    "part_not_presented": {"decay": SAME_SIGN, "rise": SAME_SIGN, "blow": SAME_SIGN},
    "sensor_zero_shift": {"decay": SAME_SIGN, "rise": SAME_SIGN, "blow": SAME_SIGN},
    "sensor_noisy": {"decay": SAME_SIGN, "rise": SAME_SIGN, "blow": SAME_SIGN, "noise": UP},
    "sensor_slow": {"response": UP, "rise": UP, "blow": UP, "blow_start": UP, "residual": UP, "fast_fall": DOWN},
}  # fmt: skip
"""Which way each measure moves, typed by hand from the trade's table, for a sensor at the generator."""

MAY_STAND_FOR = {
    "release_valve_leak": {"leak_steady"},
    "leak_part_dependent": {"leak_steady"},
    "supply_pulsation": {"sensor_noisy"},
    "sensor_noisy": {"supply_pulsation"},
}
"""Rivals that the same measures cannot tell apart."""


def effect(name: str, shift: float = 0.0) -> Effect:
    """A measure that has moved by `shift`, of twenty cycles on either side."""
    return Effect(
        now=shift, reference=0.0, shift=shift, error=ERRORS.get(name, 0.1), n_now=20, n_reference=20, tail_up=0.0,
        tail_down=0.0, scatter=1.0,
    )  # fmt: skip


def quiet() -> dict[str, Effect]:
    """Against a reference, where how long vacuum rises on after a cut is told by how far."""
    return {name: effect(name) for name in MEASURES if name != "run_on"}


def calm(**seen: float) -> tuple[Sign, ...]:
    """All signs nearly absent but for those named; plate and flow signs, and those that part others, undecided."""
    parting = ("tight_scatter", "spared_cycles", "weak_open", "far_slow", "travel_dips", "own_dips")
    undecided = dict.fromkeys(("leaky", *parting), 0.5)
    names = [n for n in SIGNS if not n.endswith("_plate")]
    return tuple(Sign(name=n, present=seen.get(n, undecided.get(n, 0.002))) for n in names)


def injected(code: str) -> dict[str, Effect]:
    """The usual change of every measure that a cause moves more often than not, in the middle of its range."""
    out = quiet()
    for name, change in FINGERPRINTS[code].items():
        if change == SAME or change.chance < 0.5 or (change.least * change.most < 0 and name not in SHARES):
            continue
        if name in SHARES:
            middle = 0.5 * (change.least + change.most)
        else:
            # the geometric middle, but at least five standard errors
            middle = np.sign(change.least) * max(np.sqrt(change.least * change.most), 5.0 * ERRORS[name])
        out[name] = effect(name, float(middle))
    return out


def judged(effects: dict[str, Effect], signs: tuple[Sign, ...] = (), *, complaint: bool = False) -> Posterior:
    return posterior(effects, signs or calm(), (), complaint, OPTIONS)


@pytest.mark.parametrize("code", BY_HAND)
def test_signs_by_hand(code: str) -> None:
    """Every measure moves the way that the trade's table says."""
    for name, expected in BY_HAND[code].items():
        change = FINGERPRINTS[code][name]
        found = SAME_SIGN if change == SAME else UP if min(change.least, change.most) > 0 else DOWN
        assert change == SAME or change.least * change.most > 0, name
        assert found == expected, name


def test_every_cause_has_a_fingerprint() -> None:
    """Every cause is ranked, ranked codes are known ones, and no sign points to an unknown cause."""
    causes = {code for code, kind in CODES.items() if kind == "cause"}
    assert causes <= set(HYPOTHESES)
    assert {CODES[code] for code in HYPOTHESES} == {"cause", "sensor"}
    assert {code for likely in SIGNS.values() for code in likely} <= set(HYPOTHESES)
    assert SIGNS.keys() == SIGN_BACKGROUND.keys()


def test_ranges_are_ordered() -> None:
    """A range goes from its weakest to its strongest change; chances are probabilities."""
    for code, row in FINGERPRINTS.items():
        for name, change in row.items():
            assert 0.0 < change.chance <= 1.0, (code, name)
            if change.least * change.most > 0 and name != "unevenness":  # a logarithm, for which small is no change
                assert abs(change.least) < abs(change.most), (code, name)


def test_nothing_wins_without_effect() -> None:
    """Without any change nothing is the likeliest by far, with or without a complaint."""
    assert judged(quiet()).none > 0.9
    assert max(judged(quiet()).present.values()) < 0.05
    assert judged(quiet(), complaint=True).none > 0.5


@given(st.lists(st.floats(-8, 8), min_size=len(MEASURES), max_size=len(MEASURES)), st.floats(0.001, 0.999))
def test_posterior_sums_to_one(z: list[float], present: float) -> None:
    """Nothing, single causes, pairs and threes share a probability of one, whatever was measured."""
    effects = {n: effect(n, ERRORS[n] * v) for n, v in zip(MEASURES, z, strict=True)}
    post = judged(effects, calm(sudden_losses=present))
    single = sum(post.single.values())
    # a pair counts for both of its causes and is one pair; three count for each of them and are three pairs
    pairs = sum(post.present.values()) - single - sum(post.both.values())
    threes = (sum(post.both.values()) - pairs) / 3.0
    np.testing.assert_allclose(post.none + single + pairs + threes, 1.0, atol=1e-9)
    assert all(0.0 <= post.single[c] <= post.present[c] <= 1.0 + 1e-12 for c in HYPOTHESES)


@pytest.mark.parametrize("code", [c for c in HYPOTHESES if any(e.shift for e in injected(c).values())])
def test_own_fingerprint(code: str) -> None:
    """A cause's own usual changes make it, or a rival that the measures cannot tell from it, the likeliest."""
    post = judged(injected(code))
    best = max(HYPOTHESES, key=lambda c: post.present[c])
    assert best in {code} | MAY_STAND_FOR.get(code, set())
    assert post.none < 0.15


@pytest.mark.parametrize(
    ("sign", "code"),
    [
        ("sudden_losses", "collision_or_peel"),
        ("empty_picks", "part_not_presented"),
        ("deep_dips", "motion_dips"),
        ("pulsation", "supply_pulsation"),
        ("late_response", "supply_valve_slow"),
        ("rate_groups", "leak_part_dependent"),
    ],
)
def test_own_sign(sign: str, code: str) -> None:
    """A sign seen in the cycles alone makes its cause the likeliest."""
    post = judged(quiet(), calm(**{sign: 0.998}), complaint=True)
    assert max(HYPOTHESES, key=lambda c: post.present[c]) == code
    assert post.present[code] > 0.5


def test_scattered_evacuation() -> None:
    """Evacuations that scatter, more than before and here and there, tell a supply that dips."""
    scattered = {**quiet(), "rise_scatter": effect("rise_scatter", 1.5)}
    post = judged(scattered, calm(scattered_evacuation=0.998))
    assert post.present["supply_pressure_dips"] > 0.85


def test_slow_evacuations_without_a_leak() -> None:
    """Slow evacuations whose holds leak no more than the rest speak for the supply beside a leak, not for the parts."""
    leak = {**quiet(), "decay": effect("decay", 4.0), "balance": effect("balance", 0.7)}
    leaky, tight = (
        judged(leak, calm(scattered_evacuation=0.998, spared_cycles=0.02, tight_scatter=present)).present
        for present in (0.02, 0.98)
    )
    assert tight["supply_pressure_dips"] > 3.0 * leaky["supply_pressure_dips"]
    assert tight["leak_part_dependent"] < 0.8 * leaky["leak_part_dependent"]


def test_a_leak_that_spares_no_cycle() -> None:
    """A rise of the leak in every cycle is the station's, one that spares some cycles the parts'."""
    leak = {**quiet(), "decay": effect("decay", 4.0), "balance": effect("balance", 0.7)}
    every, some = (judged(leak, calm(spared_cycles=p)).present["leak_part_dependent"] for p in (0.02, 0.98))
    assert some > 10.0 * every


def test_pairs_share_the_prior_of_two_causes() -> None:
    """Where nothing tells hypotheses apart, pairs together have no more than the prior of two causes, and most of it.

    Not all pairs are tried, so a share of it is missing.
    """
    post = posterior({}, (), (), True, OPTIONS)
    twice = sum(post.present.values()) - (1.0 - post.none)
    assert 0.6 * TWO_CAUSES < twice / (1.0 - post.none) <= TWO_CAUSES + 1e-9


def test_leak_at_cup_or_check_valve() -> None:
    """The slowing of the evacuation parts a leak at the cup from one behind the check valve; without it they are rivals."""
    leak = {**quiet(), "decay": effect("decay", 3.0)}
    cup = judged({**leak, "balance": effect("balance", 0.7)})
    valve = judged({**leak, "balance": effect("balance", 0.0)})
    assert cup.present["leak_steady"] > 0.7
    assert cup.present["check_valve_leak"] < 0.1
    assert valve.present["check_valve_leak"] > 0.7
    assert valve.present["leak_steady"] < 0.1


def test_blanked_cup_parts_part_from_station() -> None:
    """A station that is tight with its cup on a plate has no check-valve leak; one that leaks there may have."""
    leak = {**quiet(), "decay": effect("decay", 3.0)}
    plate = (Sign(name="tight_on_plate", present=0.98), Sign(name="leaks_on_plate", present=0.02))
    turned = (Sign(name="tight_on_plate", present=0.02), Sign(name="leaks_on_plate", present=0.98))
    tight, leaky = judged(leak, (*calm(), *plate)), judged(leak, (*calm(), *turned))
    assert tight.present["check_valve_leak"] < 0.1
    assert leaky.present["check_valve_leak"] > 2.0 * tight.present["check_valve_leak"]


def test_two_causes_at_once() -> None:
    """Two causes with separate fingerprints are both named."""
    both = {**quiet(), "decay": effect("decay", 4.0), "balance": effect("balance", 0.7)}
    both |= {"response": effect("response", 0.03)}
    post = judged(both, calm(late_response=0.99))
    assert post.present["leak_steady"] > 0.5
    assert post.present["supply_valve_slow"] > 0.5


def of_causes(present: dict[str, float], both: dict[tuple[str, str], float] | None = None) -> Posterior:
    """A posterior in which causes of like prior have these chances, and pairs of them these."""
    chances = {**dict.fromkeys(HYPOTHESES, 0.001), **present}
    pairs = {frozenset(pair): chance for pair, chance in (both or {}).items()}
    return Posterior(
        none=0.0, present=chances, single=chances, both=pairs, usual={**dict.fromkeys(HYPOTHESES, 1.0), **RARER}
    )


RARER = {"check_valve_leak": 0.15, "release_valve_leak": 0.15}


def test_a_large_leak_at_the_release_valve_is_not_ruled_out() -> None:
    """What enters fast hurries the blow-off and stops the rise after a cut, wherever it enters: the idle reading parts."""
    large = {**quiet(), "decay": effect("decay", 80.0), "balance": effect("balance", 0.9), "blow": effect("blow", -0.09)}
    large |= {"overshoot": effect("overshoot", -1.4), "ultimate": effect("ultimate", -4.0)}
    at_rest, over = (judged({**large, "idle": effect("idle", shift)}) for shift in (0.0, -0.25))
    assert "release_valve_leak" in rivals(over, "leak_steady", OPTIONS)
    assert over.present["release_valve_leak"] > 2.0 * at_rest.present["release_valve_leak"]


def test_rivals() -> None:
    """Rivals are within a factor of two and present instead of the cause, not beside it."""
    apart = of_causes({"leak_steady": 0.55, "exhaust_restricted": 0.3, "release_weak": 0.1})
    assert rivals(apart, "leak_steady", OPTIONS) == ("exhaust_restricted",)
    together = of_causes({"leak_steady": 0.9, "release_weak": 0.8}, {("leak_steady", "release_weak"): 0.75})
    assert rivals(together, "leak_steady", OPTIONS) == ()
    assert rivals(together, "release_weak", OPTIONS) == ()


def test_a_rare_cause_that_fits_as_well_is_a_rival() -> None:
    """Nothing measured speaks against it; one that fits worse, or is all but impossible, is none."""
    post = of_causes({"leak_steady": 0.85, "check_valve_leak": 0.06, "exhaust_restricted": 0.06})
    assert rivals(post, "leak_steady", OPTIONS) == ("check_valve_leak",)
    ruled_out = replace(post, present={**post.present, "check_valve_leak": 0.01})
    assert rivals(ruled_out, "leak_steady", OPTIONS) == ()


def test_a_rare_cause_beside_another_is_no_rival_of_it() -> None:
    """It stands beside the first in every hypothesis that holds it: what it may replace is the second alone."""
    pairs = {("sensor_zero_shift", "leak_steady"): 0.9, ("sensor_zero_shift", "check_valve_leak"): 0.08}
    post = of_causes({"sensor_zero_shift": 0.98, "leak_steady": 0.9, "check_valve_leak": 0.08}, pairs)
    assert rivals(post, "sensor_zero_shift", OPTIONS) == ()
    assert rivals(post, "leak_steady", OPTIONS) == ("check_valve_leak",)


def test_fit_of_unchanged() -> None:
    """An unchanged measure fits "same" best; a change of z errors costs z²/2, but never more than the bound."""
    assert log_fit(SAME, effect("decay", 0.0), -18.0) == 0.0
    np.testing.assert_allclose(log_fit(SAME, effect("decay", 0.3), -18.0), -4.5)
    assert log_fit(SAME, effect("decay", 90.0), -18.0) == -18.0
    assert log_fit(up(1.0, 2.0), effect("decay", -90.0), -18.0) == -18.0


def test_fit_of_a_range() -> None:
    """A change inside its range fits better than one outside, on either side of zero."""
    inside, outside = effect("decay", 1.4), effect("decay", -1.4)
    assert log_fit(up(0.5, 4.0), inside, -18.0) > log_fit(up(0.5, 4.0), outside, -18.0) + 10
    assert log_fit(down(0.5, 4.0), outside, -18.0) > log_fit(down(0.5, 4.0), inside, -18.0) + 10
    # what shows only sometimes does not speak against the cause by much when it is absent
    assert log_fit(up(0.5, 4.0, 0.3), effect("decay"), -18.0) > -0.5


def test_two_fingerprints() -> None:
    """Two causes together: either moves a measure; where both do, ranges add; where they differ, anything between."""
    both = combined({"a": up(1, 2), "b": SAME, "c": up(1, 2)}, {"a": up(3, 4), "b": up(1, 2), "c": down(3, 4)})
    assert both == {"a": Change(1, 6), "b": up(1, 2), "c": replace(up(1, 2), against=down(3, 4))}
    assert combined({"a": SAME}, {"b": SAME}) == {}


def test_opposite_changes_show_each_with_its_own_chance() -> None:
    """A rise that one cause brings seldom stays seldom beside a cause that lowers the measure often."""
    seldom_up = replace(up(1.0, 2.0, 0.05), against=down(1.0, 2.0, 0.9))
    often_up = replace(up(1.0, 2.0, 0.9), against=down(1.0, 2.0, 0.05))
    risen, fallen = effect("open", 1.5), effect("open", -1.5)
    assert log_fit(often_up, risen, -18.0) > log_fit(seldom_up, risen, -18.0) + 2.0
    assert log_fit(seldom_up, fallen, -18.0) > log_fit(often_up, fallen, -18.0) + 2.0
    always = replace(up(1.0, 2.0), against=down(1.0, 2.0))
    assert log_fit(always, effect("open"), -18.0) > -4.0


@given(st.floats(0.0, 1.0))
def test_sign_evidence(present: float) -> None:
    """A sign speaks for its cause as it is more present, by the ratio of its chances there and elsewhere."""
    sign = (Sign(name="sudden_losses", present=present),)
    chance, usual = SIGNS["sudden_losses"]["collision_or_peel"], SIGN_BACKGROUND["sudden_losses"]
    gain = sign_evidence(("collision_or_peel",), sign) - sign_evidence(("none",), sign)
    expected = np.log(
        (present * chance + (1 - present) * (1 - chance)) / (present * usual + (1 - present) * (1 - usual))
    )
    np.testing.assert_allclose(gain, expected, atol=1e-9)


def test_compared_medians() -> None:
    """The shift is the difference of the medians; its error shrinks with cycles but never under the usual spread."""
    rng = np.random.default_rng(8)
    few, many = (
        compare_feature("decay", rng.normal(3, 0.3, n), rng.normal(1, 0.3, n), 0.05, False, OPTIONS) for n in (9, 900)
    )
    assert few is not None
    assert many is not None
    assert abs(many.shift - 2.0) < 0.1
    assert few.error > many.error >= OPTIONS.spread_decay
    assert compare_feature("decay", np.ones(3), np.ones(30), 0.05, False, OPTIONS) is None


def test_weather_slows_an_evacuation() -> None:
    """The evacuation from 25 to 60 of 84 kPa gets 2.8 % slower for each kPa that the weather takes off: wider by that."""
    bands = Bands(rise_low=25.0, rise_high=60.0, top_low=65.0, top_high=75.0, fall_high=50.0, fall_low=20.0)
    known = {"rise": effect("rise", 0.03), "ultimate": replace(effect("ultimate", -1.1), reference=84.0)}
    found = allow_for_weather(known, bands, OPTIONS)["rise"]
    per_kpa = np.log(np.log(58.0 / 23.0) / np.log(59.0 / 24.0))  # ultimate 83 against 84 kPa
    np.testing.assert_allclose(found.error, np.hypot(ERRORS["rise"], per_kpa * OPTIONS.spread_ultimate), rtol=0.03)
    assert found.shift == known["rise"].shift
    assert allow_for_weather({"rise": known["rise"]}, bands, OPTIONS) == {"rise": known["rise"]}
    # where the ends themselves cannot be compared, the reference still tells where they lie
    peaks = {"peak": replace(effect("ultimate", 0.0), reference=80.0), "extrapolated": replace(effect("ultimate", 0.0), reference=4.0)}
    assert allow_for_weather({"rise": known["rise"], **peaks}, bands, OPTIONS)["rise"].error == found.error



def test_detectable() -> None:
    """What is detectable is a number where the measure shows, and a reason where it does not or has no reference."""
    found = {d.code: d for d in detectable(quiet(), calm(), (), USUAL, True, OPTIONS)}
    for code in ("release_weak", "supply_valve_slow", "sensor_zero_shift"):
        assert found[code].smallest is not None
        assert found[code].smallest > 0
    # an injected change of that size is listed, half of it is not
    size = found["supply_valve_slow"].smallest
    assert size is not None
    assert judged({**quiet(), "response": effect("response", size)}).present["supply_valve_slow"] > 0.5
    assert judged({**quiet(), "response": effect("response", 0.3 * size)}).present["supply_valve_slow"] < 0.5
    without = detectable({}, calm(), (), USUAL, False, OPTIONS)
    assert {d.smallest for d in without} == {None}
    assert all("baseline" in d.why for d in without)
    missing = {n: e for n, e in quiet().items() if n != "response"}
    hidden = {d.code: d for d in detectable(missing, calm(), (), USUAL, True, OPTIONS)}["supply_valve_slow"]
    assert hidden.smallest is None
    assert hidden.why == "the log does not show this measure"


def test_a_rival_says_that_it_would_show_so_too() -> None:
    """What speaks for the first cause speaks for its rival, and its line says so; without any evidence it does not."""
    leak = {**quiet(), "decay": effect("decay", 2.5)}
    assert reason_for("check_valve_leak", leak, calm(), "baseline", 0.06).startswith(
        "not excluded: it would show so too ("
    )
    assert reason_for("leak_steady", {}, (), "baseline", 0.05) == "not in this log"
