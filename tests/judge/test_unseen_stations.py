"""What must hold on stations of any size: three causes at once, fast falls, dips, early contacts, usual values."""

from collections.abc import Mapping
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from judge.test_evidence import calm, effect, judged, quiet
from segment.made_traces import PLAIN

from tests.judge.test_verdict import case_of
from tracekit.judge.approach import met_early
from tracekit.judge.effects import compare
from tracekit.judge.evidence import Circumstances, Sign, combined
from tracekit.judge.facts import Fact
from tracekit.judge.features import Features, _noise_ln, choose_bands, deepest_dip, make_features
from tracekit.judge.findings import _measures
from tracekit.judge.fingerprints import FINGERPRINTS
from tracekit.judge.given_up import still_rising
from tracekit.judge.leaky import leaky_sign
from tracekit.judge.listing import ranked
from tracekit.judge.practice import physical_effects
from tracekit.judge.rank import posterior
from tracekit.judge.sawtooth import fall_rate_kpa_s, with_fast_falls
from tracekit.judge.sensor_rules import _zero
from tracekit.judge.setting_rules import without_reference
from tracekit.judge.verdict import _least_rate, _less_teeth, _seen, _unread_teeth
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Bound, Withheld
from tracekit.model.finding import CODES, Evidence
from tracekit.options.judge import JudgeOptions

OPTIONS = JudgeOptions()


@pytest.fixture(scope="module")
def plain():
    """Twelve good picks."""
    return case_of(PLAIN * 12)


@pytest.fixture(scope="module")
def features(plain) -> Features:
    return make_features(plain.data, plain.leak, choose_bands((plain.data,)))


def test_three_causes_at_once_are_named() -> None:
    """A worn cup and a throttled blow-off are measured; parts that are torn off stand beside them whatever they move."""
    seen = {"decay": 5.0, "balance": 0.7, "blow": 0.8, "blow_start": 0.04, "residual": 8.0, "over": -3.0}
    effects = {**quiet(), **{name: effect(name, shift) for name, shift in seen.items()}}
    present = judged(effects, calm(sudden_losses=0.998), complaint=True).present
    assert present["leak_steady"] + present["check_valve_leak"] > 0.9
    assert present["release_weak"] > 0.9
    assert present["collision_or_peel"] > 0.7


def test_a_blow_off_that_lost_all_its_over_pressure_is_weak() -> None:
    """From 56 kPa of over-pressure to none: as much as there was, on a station whose blow-off was strong."""
    seen = {
        "blow": 1.9,
        "blow_start": 0.08,
        "residual": 54.0,
        "over": -54.0,
        "rise": 0.5,
        "open": -1.0,
        "ultimate": -3.0,
    }
    post = judged({**quiet(), **{name: effect(name, shift) for name, shift in seen.items()}})
    assert post.present["release_weak"] > 0.8
    assert post.present["exhaust_restricted"] > 0.3  # the over-pressure is not the supply's alone to take


def test_noise_below_a_step_is_no_noise(plain) -> None:
    """A coarse recorder at rest shows no noise or some: neither is less than the error of its step."""
    coarse = replace(plain.data, sensor=replace(plain.data.sensor, quantisation_kpa=0.5))
    low, high = _noise_ln(np.array([0.0, 1.0]), coarse)
    assert low == pytest.approx(np.log(0.5 / np.sqrt(12.0)))
    assert high == 0.0


def test_a_slow_evacuation_leaves_the_gas_less_cold() -> None:
    """The fall just after the cut shrinks with a clogged silencer: that speaks against no silencer."""
    seen = {"rise": 0.3, "ultimate": -4.0, "open": -2.0}
    effects = {**quiet(), **{name: effect(name, shift) for name, shift in seen.items()}}
    less = judged({**effects, "fast_fall": effect("fast_fall", -1.2)})
    assert less.present["exhaust_restricted"] > 0.85


def test_leaks_without_coasts_slow_by_more_than_is_taken_off() -> None:
    """Coasts are gone that there were: how large the leak is, and how much it slows, is unknown."""
    seen = {"rise": 0.5, "ultimate": -4.0}
    effects = {n: effect(n, seen.get(n, 0.0)) for n in quiet() if n not in ("decay", "rise_scatter")}
    known, gone = (
        posterior(effects, calm(), (), True, OPTIONS, Circumstances(rated=rated)).present["leak_steady"]
        for rated in (True, False)
    )
    assert known < 0.1
    assert gone > 0.5


def made_periods(kinds: list[str], cycles: list[int], lengths: list[float], falls: list[float]) -> SimpleNamespace:
    """Stretches of holds, one after another, each from 70 kPa down by its fall."""
    names = ("coast", "recharge")
    end = np.cumsum(lengths)
    columns = {
        "start_s": end - np.array(lengths), "end_s": end, "vacuum_start_kpa": np.full(len(end), 70.0),
        "vacuum_end_kpa": 70.0 - np.array(falls),
    }  # fmt: skip
    codes = {"kind": np.array([names.index(kind) for kind in kinds]), "cycle": np.array(cycles)}
    return SimpleNamespace(codes=codes.__getitem__, floats=columns.__getitem__, categories={"kind": names})


def test_a_saw_tooth_too_fast_to_be_rated_tells_its_rate() -> None:
    """Two coasts of 8 kPa in 40 ms fall by 200 kPa/s; a last coast that no recharge ended and a single one say nothing."""
    kinds = ["coast", "recharge", "coast", "recharge", "coast", "coast", "recharge"]
    periods = made_periods(kinds, [0, 0, 0, 0, 0, 1, 1], [0.04] * 7, [8.0, -8.0, 8.0, -8.0, 4.0, 8.0, -8.0])
    data: StationData = SimpleNamespace(periods=periods, cycles=np.zeros(3), sensor=SimpleNamespace(sample_interval_s=0.0))
    np.testing.assert_allclose(fall_rate_kpa_s(data), [200.0, np.nan, np.nan], rtol=1e-9)
    np.testing.assert_allclose(with_fast_falls(np.array([np.nan, 2.0, np.nan]), data, OPTIONS), [200.0, 2.0, np.nan])
    periods = made_periods(kinds, [0, 0, 0, 0, 0, 1, 1], [1.0] * 7, [8.0] * 7)
    slow: StationData = SimpleNamespace(periods=periods, cycles=np.zeros(3), sensor=SimpleNamespace(sample_interval_s=0.0))
    assert np.isnan(with_fast_falls(np.full(3, np.nan), slow, OPTIONS)).all()


def bins_of(vacuum: np.ndarray) -> StationData:
    """One steady stretch of a hold from its vacuum every 20 ms."""
    n = len(vacuum)
    time = 1.0 + 0.02 * np.arange(n)
    zero = np.zeros(n, np.int64)
    bins = SimpleNamespace(period=zero, time_s=time, pressure_kpa=-vacuum, cycle=zero)
    codes = {"kind": np.zeros(1, np.int64)}
    periods = SimpleNamespace(
        codes=codes.__getitem__, floats={"start_s": np.zeros(1)}.__getitem__, categories={"kind": ("steady", "coast")}
    )
    return SimpleNamespace(bins=bins, periods=periods, cycles=np.zeros(1))


def test_a_step_that_stays_is_no_dip() -> None:
    """Vacuum that comes back dipped, by as much as it came back; a lip that opened for good did not."""
    course = np.arange(100)
    dip = np.where((course > 40) & (course < 50), 70.0, 80.0)
    step = np.where(course > 40, 63.0, 80.0)
    assert deepest_dip(bins_of(dip))[0] == pytest.approx(10.0)
    assert deepest_dip(bins_of(step))[0] == pytest.approx(0.0)


def test_dips_are_measured_in_every_hold() -> None:
    """A usual dip that grew by 2 kPa is motion; one that shrank is nothing."""
    grown = judged({**quiet(), "dip": effect("dip", 2.0)}, calm(deep_dips=0.5))
    assert grown.present["motion_dips"] > 0.5


def test_a_hold_that_dips_less_is_no_news(features) -> None:
    """Only dips that have grown count."""
    still = replace(features, values={**features.values, "dip": np.zeros(12)})
    moved = replace(features, values={**features.values, "dip": np.full(12, 3.0)})
    assert compare(still, moved, OPTIONS).effects["dip"].shift == 0.0
    assert compare(moved, still, OPTIONS).effects["dip"].shift == 3.0


def test_a_blow_off_against_the_supply_says_little(features) -> None:
    """Release commands that now begin 80 ms before the supply goes off slow the blow-off, and no valve is weak."""
    slower = replace(features, values={**features.values, "blow": features.values["blow"] + 0.4})
    against = replace(slower, values={**slower.values, "overlap": features.values["overlap"] + 0.08})
    alone, both = (compare(now, features, OPTIONS).effects["blow"].z for now in (slower, against))
    assert alone > 6.0
    assert both < 1.0


@pytest.mark.parametrize(("overlap_s", "told"), [(0.08, True), (0.28, False)])
def test_over_pressure_against_the_supply_says_nothing(features, overlap_s: float, told: bool) -> None:
    """Of a command of 0.3 s that the supply leaves alone for 0.22 s the end is the blow-off's; else it is of both."""
    command = np.full(12, np.log(0.3))
    usual_values = {**features.values, "command": command, "over": np.full(12, 11.0), "residual": np.full(12, -11.0)}
    before = replace(features, values=usual_values)
    weaker = {"over": np.full(12, 5.5), "residual": np.full(12, -5.5), "overlap": np.full(12, overlap_s)}
    effects = compare(replace(features, values={**usual_values, **weaker}), before, OPTIONS).effects
    assert ({"over", "residual"} <= set(effects)) == told
    assert bool({"over", "residual"} & set(effects)) == told


def approach(contact: np.ndarray, level: np.ndarray, rise: np.ndarray) -> tuple[StationData, Features]:
    """Cycles that met their part after `contact` seconds."""
    cycles = SimpleNamespace(floats={"contact_s": contact}.__getitem__)
    held = np.ones(len(contact), np.bool_)
    values = {"open": level, "rise": np.log(rise)}
    features = Features(values=values, floor={}, held=held, at_least=~held, decay_noise=np.zeros(len(contact)))
    return SimpleNamespace(cycles=cycles, timing={"try_s": np.zeros(len(contact))}), features


def test_parts_met_before_the_generator_has_spun_up() -> None:
    """The earlier the contact, the less the open cup reads, on a healthy station: the earliest are slow for that."""
    contact = 0.05 + 0.006 * np.arange(30.0)
    level = 10.0 * (1.0 - np.exp(-contact / 0.06))
    slow = contact < 0.07
    rise = np.where(slow, 0.055, 0.05)
    assert met_early(*approach(contact, level, rise), slow)
    # a supply that dips weakens the open cup at any time of contact, or slows far more than an early start does
    late = np.arange(30) % 10 == 9
    assert not met_early(*approach(contact, np.where(late, 4.0, level), np.where(late, 0.055, 0.05)), late)
    assert not met_early(*approach(contact, level, np.where(slow, 0.2, 0.05)), slow)
    assert not met_early(*approach(contact, np.full(30, 9.0) + 0.01 * (np.arange(30) % 7), rise), slow)


def usual(features: Features, **values: float) -> Features:
    given = {name: np.full(len(features.held), value) for name, value in values.items()}
    return replace(features, values={**features.values, **given})


def test_a_large_volume_is_no_weak_blow_off(plain, features) -> None:
    """Half a litre evacuates and vents slowly; a blow-off slow beside its own evacuation is throttled."""
    large = physical_effects(plain.data, usual(features, rise=np.log(0.4), blow=np.log(0.15), blow_start=0.17), OPTIONS)
    weak = physical_effects(plain.data, usual(features, rise=np.log(0.05), blow=np.log(0.15), blow_start=0.17), OPTIONS)
    assert large["blow_start"].z < 1.0
    assert large["blow"].z < 1.0
    assert weak["blow_start"].z > 4.0
    assert weak["blow"].z > 3.0


def test_a_shallow_end_speaks_for_a_weak_generator(plain, features) -> None:
    """Sound generators reach 0.7 to 0.9 of ambient: 0.45 of it is weak, 0.9 is no news."""
    ambient = plain.data.ambient_kpa
    shallow = physical_effects(plain.data, usual(features, ultimate_any=0.45 * ambient), OPTIONS)["ultimate"]
    deep = physical_effects(plain.data, usual(features, ultimate_any=0.9 * ambient), OPTIONS)["ultimate"]
    assert shallow.z < -4.0
    assert deep.shift == 0.0
    few = usual(features, ultimate_any=np.nan, blow=np.nan, rise=np.nan, blow_start=np.nan)
    assert not {"ultimate", "blow", "blow_start"} & set(physical_effects(plain.data, few, OPTIONS))


def test_a_station_set_out_for_a_shallow_vacuum_does_not_lack_a_deep_one(plain, features) -> None:
    """A set point of 45 kPa and a cut at 48 leave 0.55 of ambient as it was meant; settings of 60 do not."""
    shallow = usual(features, ultimate_any=0.55 * plain.data.ambient_kpa)

    def short_z(set_point: float) -> float:
        settings = {name: replace(of, value_kpa=set_point) for name, of in plain.data.settings.items()}
        return physical_effects(replace(plain.data, settings=settings), shallow, OPTIONS)["ultimate"].z

    assert short_z(45.0) > -1.0
    assert short_z(60.0) < -2.5


def test_an_end_beyond_any_generator_speaks_for_a_lag(plain, features) -> None:
    """An evacuation that tends to 0.97 of ambient is one seen late."""
    lagging = physical_effects(plain.data, usual(features, ultimate_any=0.97 * plain.data.ambient_kpa), OPTIONS)
    assert lagging["ultimate"].z > 2.0


def test_a_lag_shows_without_reference_in_the_rise_after_the_cut(plain, features) -> None:
    """Vacuum that goes on rising for 80 ms after the supply is cut, with a blow-off late and slow: the reading lags.

    The same blow-off after a cut that stops the rise as valves do is weak in itself.
    """
    late = {"top": 100.0, "response": 0.045, "blow": np.log(0.2), "blow_start": 0.25, "rise": np.log(0.2)}

    def present(run_on_s: float) -> Mapping[str, float]:
        effects = physical_effects(plain.data, usual(features, overshoot=100.0 * run_on_s, **late), OPTIONS)
        return judged(effects, calm()).present

    lagging, weak = present(0.08), present(0.012)
    assert lagging["release_weak"] < 0.1
    assert weak["release_weak"] > 0.5
    assert lagging["sensor_slow"] > 5.0 * weak["sensor_slow"]


def test_a_short_command_in_a_slow_log_leaves_no_vacuum(plain, features) -> None:
    """At 20 Hz the crossing that ends a release lies up to three samples after it."""
    timing = {**plain.data.timing, "release_s": np.zeros(12), "release_end_s": np.full(12, 0.05)}
    cycles = plain.data.cycles
    gone = replace(cycles, data={**cycles.data, "release_time_s": np.full(12, 0.05 + 0.17)})
    left = usual(features, residual=50.0, start=70.0)
    for interval, expected in ((0.05, 0.0), (0.001, 50.0)):
        sensor = replace(plain.data.sensor, sample_interval_s=interval)
        data = replace(plain.data, timing=timing, cycles=gone, sensor=sensor)
        assert physical_effects(data, left, OPTIONS)["residual"].shift == expected


@pytest.mark.parametrize(("left", "gone_s", "weak"), [(28.0, 0.36, True), (28.0, 0.13, False), (6.0, 0.36, False)])
def test_a_part_that_hangs_on_after_every_command(plain, features, left: float, gone_s: float, weak: bool) -> None:
    """28 of 70 kPa left after the command, and still there long after it, name the blow-off without a baseline.

    What is gone at once, or little, is no fault; so much is not left by a supply that still makes usual vacuum.
    """
    timing = {**plain.data.timing, "release_s": np.zeros(12), "release_end_s": np.full(12, 0.09)}
    cycles = plain.data.cycles
    late = replace(cycles, data={**cycles.data, "release_time_s": np.full(12, gone_s)})
    data = replace(plain.data, timing=timing, cycles=late)
    effects = physical_effects(data, usual(features, residual=left, start=70.0, blow=np.nan), OPTIONS)
    assert effects["residual"].shift == (left if weak else 0.0)
    present = judged(effects, calm(), complaint=False).present
    assert (present["release_weak"] > 0.5) == weak
    assert present["supply_pressure_low"] < 0.3


def test_a_steep_rise_is_still_rising() -> None:
    """Given up at 42 kPa while it rises by 300 kPa/s: the peak lies beyond what was reached when the suction ended."""
    time = 0.01 * np.arange(60)
    vacuum = np.where(time < 0.45, 5.8, 5.8 + 300.0 * (time - 0.45))
    columns = {"peak_vacuum_kpa": np.array([vacuum[57] + 3.0]), "outcome": np.array([0])}
    data: StationData = SimpleNamespace(
        cycles=OneMissed(columns), timing={"try_s": np.zeros(1), "quit_s": np.array([0.57])},
        sensor=SimpleNamespace(noise_kpa=0.05), bins=SimpleNamespace(time_s=time, pressure_kpa=-vacuum),
    )  # fmt: skip
    assert still_rising(data).tolist() == [True]


class OneMissed:
    """A table of one missed pick."""

    def __init__(self, columns: dict[str, np.ndarray]) -> None:
        self.floats = columns.__getitem__

    def __len__(self) -> int:
        return 1

    def where(self, name: str, value: str) -> np.ndarray:
        """Whether the pick has an outcome."""
        return np.array([(name, value) == ("outcome", "missed")])


def test_a_zero_over_nothing_may_be_a_valve_that_passes(plain) -> None:
    """Vacuum that a passing supply valve makes reads the same; nothing makes an idle station read below nothing."""

    def found(idle: float) -> Fact | None:
        cycles = plain.data.cycles
        data = {**cycles.data, "idle_vacuum_kpa": np.full(12, idle), "residual_vacuum_kpa": np.full(12, idle)}
        return _zero(replace(plain.data, cycles=replace(cycles, data=data)), OPTIONS)

    above, below = found(4.0), found(-4.0)
    assert above is not None
    assert below is not None
    assert above.alternatives == ("supply_valve_passing",)
    assert above.probability + above.instead == pytest.approx(below.probability)
    assert below.alternatives == ()


def test_a_set_is_listed_by_what_it_sums_to(plain) -> None:
    """A setting at 0.35 whose alternatives hold 0.2 stands above info and names them; a setting at 0.35 alone does not."""
    rare = replace(KNOWN_FACT, probability=0.35)
    shared = replace(rare, instead=0.2, alternatives=("exhaust_restricted", "supply_pressure_low"))
    seen = _seen(plain, OPTIONS)
    post = posterior(seen.effects, seen.signs, (), False, OPTIONS)
    alone, together, both = (
        [f.severity != "info" for f in ranked(plain, seen, post, facts, (), (), dict.fromkeys(CODES, 0.0), OPTIONS)]
        for facts in ((rare,), (shared,), (shared, replace(shared, code="set_point_too_high", probability=0.34)))
    )
    assert alone == [False]
    assert together == [True]
    assert both == [True, False]  # one of them tells of the generator


KNOWN_FACT = Fact(
    code="timeout_too_short", probability=0.8, explained_by=("exhaust_restricted",), reason="given up",
    evidence=(Evidence(measure="peak_vacuum_kpa", value=40.0, unit="kPa", reference=50.0),),
)  # fmt: skip


def test_what_a_setting_loses_to_a_weak_generator_is_the_generators(plain) -> None:
    """A set point within reach of sound generators: what is taken from the setting is said of its alternatives."""
    shared = without_reference(KNOWN_FACT, plain.data)
    assert shared.alternatives == ("exhaust_restricted", "supply_pressure_low")
    assert shared.instead > 0.2
    assert shared.probability + shared.instead == pytest.approx(KNOWN_FACT.probability)


def test_the_lower_ends_of_cycles_tell_a_leak_whose_rate_is_withheld(plain) -> None:
    """Between 39 and 270 kPa/s is too wide for a value and leaves no doubt that the station leaks."""
    wide = replace(plain.leak, decay_rate=Withheld(reason="too wide"))
    assert leaky_sign(wide, 60.0, None, False, OPTIONS, 39.0).present > 0.9
    assert leaky_sign(wide, 60.0, None, False, OPTIONS, None).present < 0.1
    # 60 mL at 5.6 kPa/s let in 0.2 L/min, twice what the leakiest of twenty sound stations does
    assert leaky_sign(wide, 60.0, None, False, OPTIONS, 5.6).present > 0.9
    assert leaky_sign(wide, 60.0, None, False, OPTIONS, 2.8).present < 0.5
    cycles = plain.data.cycles
    rated = {**cycles.data, "decay_rate_lower_kpa_s": np.where(np.arange(12) < 10, 39.0, np.nan)}
    few = {**cycles.data, "decay_rate_lower_kpa_s": np.where(np.arange(12) < 4, 39.0, np.nan)}
    assert _least_rate(replace(plain.data, cycles=replace(cycles, data=rated))) == 39.0
    assert _least_rate(replace(plain.data, cycles=replace(cycles, data=few))) is None


def test_a_baseline_that_leaked_at_most_so_much_gives_the_goal(plain) -> None:
    """An upper bound of the baseline is what a repair must reach; of the log itself it is no rate."""
    bound = replace(plain.leak, decay_rate=Bound(status="upper_bound", limit=0.4, unit="kPa/s", n=12, method="made"))
    case = replace(plain, baseline=plain.data, baseline_leak=bound)
    assert _measures(case, None)["baseline_decay_rate_kpa_s"] == 0.4
    assert "decay_rate_kpa_s" not in _measures(replace(plain, leak=bound), None)


def test_what_a_log_leaked_before_the_fault_gives_the_goal(plain) -> None:
    """Without a baseline the log's own earlier cycles are what a repair must come back to, if there are enough."""
    later = np.arange(len(plain.leak.rate)) >= 8
    case = replace(plain, leak=replace(plain.leak, rate=np.where(later, 13.7, 3.9)))
    assert _measures(case, later)["baseline_decay_rate_kpa_s"] == 3.9
    assert "baseline_decay_rate_kpa_s" not in _measures(case, None)
    assert "baseline_decay_rate_kpa_s" not in _measures(case, np.arange(len(later)) >= 3)


def test_a_late_answer_beside_a_low_supply_is_the_valves() -> None:
    """A weak supply is answered some milliseconds later at most: 85 ms are a valve that sticks beside it."""
    seen = {"rise": 0.7, "open": -4.6, "ultimate": -6.0, "blow": 0.35, "over": -3.2, "response": 0.085}
    effects = {**quiet(), **{name: effect(name, shift) for name, shift in seen.items()}}
    effects = {
        **effects,
        "response": replace(effects["response"], error=0.014),
        "late_alike": effect("late_alike", 0.0),
    }
    present = judged(effects, calm(late_response=0.998), complaint=True).present
    assert present["supply_pressure_low"] > 0.9
    assert present["supply_valve_slow"] > 0.5


def test_a_weak_blow_off_leaves_the_balance_of_a_leak() -> None:
    """An evacuation that begins from vacuum that was left is the same near its top; one through a filter is not."""
    leak = FINGERPRINTS["leak_steady"]
    assert combined(leak, FINGERPRINTS["release_weak"])["balance"] == leak["balance"]
    assert "balance" not in combined(leak, FINGERPRINTS["flow_restricted"])


def test_teeth_behind_a_request_that_were_not_read_tell_no_setting(plain) -> None:
    """The device saves air by itself: where it cuts is unknown, and that nothing is cut is not true."""
    data = replace(plain.data, from_request=False)
    request = Fact(code="supply_is_request", probability=0.95, evidence=(), reason="")
    assert _unread_teeth(data, (request,)) == 0.95
    assert _unread_teeth(data, ()) == 0.0
    assert _unread_teeth(replace(data, from_request=True), (request,)) == 0.0
    missed = data.cycles.with_columns(outcome=np.full(len(data.cycles), data.cycles.categories["outcome"].index("missed")))
    assert _unread_teeth(replace(data, cycles=missed), (request,)) == 0.0
    travel = Sign(name="travel_dips", present=0.99)
    assert _less_teeth(travel, 0.95).present < 0.01  # falls at the same times are its cuts
    assert _less_teeth(travel, 0.0) == travel
