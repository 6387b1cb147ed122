"""Small parts of the judgement, each against what its formula gives by hand or what its table says."""

import tomllib
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from segment.made_traces import KNOWN, PLAIN, SAVING, evacuate, hold, idle

import tracekit.judge.handbook.load as book
from tests.judge.test_verdict import case_of, saving_with, table
from tracekit.judge.balance import group_balance
from tracekit.judge.detect import _with_change
from tracekit.judge.effects import Effect, _allow_for_start, compare
from tracekit.judge.effects_of import LOGARITHMIC, effects_of
from tracekit.judge.evidence import USUAL, Circumstances, Sign, _measured_at, combined
from tracekit.judge.facts import Fact
from tracekit.judge.features import _floors, _time_at, choose_bands, make_features
from tracekit.judge.findings import _measures, cause_finding
from tracekit.judge.fingerprints import FINGERPRINTS, SAME, SIGNS, Change
from tracekit.judge.late import late_sign, rested_picks
from tracekit.judge.practice import physical_effects
from tracekit.judge.reasons import _change_words, reason_for
from tracekit.judge.sensor_rules import _clipped
from tracekit.judge.setting_rules import _order_broken, _unreachable, weak_suction, without_reference
from tracekit.judge.signs import _groups_without_coasts, loss_signs, scatter_sign
from tracekit.judge.symptoms import _never_cuts, _partly, _release_slow
from tracekit.judge.verdict import _seen, judge
from tracekit.model.cycle import SettingInForce
from tracekit.model.finding import CODES, Evidence
from tracekit.model.station import Station
from tracekit.options.judge import JudgeOptions
from tracekit.pipeline import measure

OPTIONS = JudgeOptions()


def effect(shift: float, error: float = 0.1) -> Effect:
    return Effect(now=shift, reference=0.0, shift=shift, error=error, n_now=20, n_reference=20, tail_up=0.0, tail_down=0.0, scatter=1.0)


@pytest.fixture(scope="module")
def plain():
    """A healthy station without air saving."""
    return case_of(PLAIN * 12)


@pytest.fixture(scope="module")
def saving():
    """A healthy station with air saving."""
    return case_of(SAVING * 12, Station(settings=replace(KNOWN, supply_off_kpa=72.0, supply_on_kpa=64.0)))


def test_two_causes_at_once_speak_of_known_measures():
    """A pair has no measure that neither cause has, and keeps the balance of one beside one that leaves the evacuation alone."""
    for first in FINGERPRINTS.values():
        for second in FINGERPRINTS.values():
            assert set(combined(first, second)) <= set(first) | set(second)
    leak = {"balance": Change(0.3, 1.0, 0.9), "rise": Change(0.1, 0.5, 0.9)}
    assert combined(leak, {"rise": SAME})["balance"] == leak["balance"]
    assert combined({"rise": SAME}, leak)["balance"] == leak["balance"]


def test_unevenness_tells_no_leak_from_no_leak():
    """A cause that says nothing about it is judged as a steady leak is."""
    uneven = {"unevenness": effect(-2.0, 0.3)}
    steady = _measured_at(("leak_steady",), uneven, OPTIONS, USUAL)
    assert _measured_at(("supply_pressure_low",), uneven, OPTIONS, USUAL) == pytest.approx(steady, abs=1e-9)
    assert np.isfinite(steady)


def test_injected_leaks_bring_their_balance():
    """A leak at the cup slows the evacuation by a share of itself, one behind the valve by none; a small one shows neither."""
    quiet = {name: effect(0.0) for name in ("decay", "ultimate", "top")}
    for code, share in (("leak_steady", 0.7), ("check_valve_leak", 0.0)):
        found = _with_change(quiet, code, 12.0, Circumstances())
        assert found["balance"].shift == share
        assert set(found) == {*quiet, "balance"}
        assert "balance" not in _with_change(quiet, code, 2.0, Circumstances())


def test_the_balance_of_two_groups():
    """What the leaking group evacuates slower, over what it leaks more; nothing without a second group or a difference."""
    upper = np.arange(20) % 2 == 1
    features = SimpleNamespace(
        held=np.ones(20, bool), floor={"top": 0.2}, decay_noise=np.full(20, 0.1),
        values={"decay": np.where(upper, 5.0, 1.0), "top": np.where(upper, 98.0, 100.0)},
    )  # fmt: skip
    found = group_balance(features, upper)
    assert found.shift == pytest.approx(0.5)
    assert (found.n_now, found.n_reference) == (10, 10)
    assert found.error == pytest.approx(0.08)
    assert group_balance(features, np.zeros(20, bool)) is None
    comparison = SimpleNamespace(source="earlier cycles", effects={}, now=np.ones(20, bool))
    bands = SimpleNamespace(rise_low=20.0, rise_high=50.0)
    out = effects_of(None, features, comparison, None, upper, True, bands, OPTIONS)
    assert out["balance"].shift == pytest.approx(0.5)


def test_a_baseline_is_another_day_and_earlier_cycles_are_not():
    """The spread between two recordings widens an effect against a baseline in full, against earlier cycles by its share."""
    case = case_of((*saving_with(1.0) * 14, *saving_with(8.0) * 12))
    features = make_features(case.data, case.leak, choose_bands((case.data,)))
    wide, narrow = (replace(OPTIONS, same_log=share) for share in (1.0, 0.0))
    against = [compare(features, features, o).effects["rise"].error for o in (wide, narrow)]
    earlier = [compare(features, None, o).effects["rise"].error for o in (wide, narrow)]
    assert against[0] == against[1]
    assert earlier[0] > earlier[1]
    scatter = compare(features, features, OPTIONS).effects["rise_scatter"]
    assert (scatter.tail_up, scatter.tail_down) == (0.0, 0.0)


def test_crossings_between_levels():
    """A level of the grid takes its own time, one between two a straight line."""
    times = np.array([[0.0, 1.0, 3.0, 7.0]] * 3)
    np.testing.assert_allclose(_time_at(times, np.arange(4.0), np.array([1.0, 2.0, 1.5])), [1.0, 3.0, 2.0])


def test_the_floor_of_the_evacuation_speed(plain):
    """Half a per cent of the median speed, at least 0.2 kPa/s; that of 50 kPa/s where none is known."""
    values = {name: np.linspace(0.1, 0.2, 12) for name in ("rise", "blow")}
    assert _floors(plain.data, {**values, "top": np.full(12, 100.0)})["top"] == pytest.approx(0.5)
    assert _floors(plain.data, {**values, "top": np.full(12, np.nan)})["top"] == pytest.approx(0.25)


def test_measures_for_the_wording(plain):
    """Steps may speak of every measured time and level, of settings in force, and of the guard band."""
    found = _measures(plain, None)
    assert {"release_time_s", "evacuation_time_s", "response_delay_s", "guard_kpa", "set_point_kpa", "peak_vacuum_kpa"} <= set(found)
    assert found["guard_kpa"] == plain.station.settings.guard_kpa
    assert "start_s" not in found


def test_the_handbook_is_its_files():
    """What an entry is checked by after a repair is what its file says, target by target."""
    folder = Path(book.__file__).parent / "texts"
    seen = 0
    for code in CODES:
        path = folder / f"{code}.toml"
        if not path.exists():
            continue
        raw, entry = tomllib.loads(path.read_text(encoding="utf-8"))["verify"], book.entry_of(code).verify
        told = [(t.measure, t.unit, dict(t.low), dict(t.high)) for t in entry.targets]
        assert told == [(t["measure"], t["unit"], t.get("low", {}), t.get("high", {})) for t in raw.get("targets", [])]
        assert (entry.cycles, entry.minutes) == (raw.get("cycles", 200), raw.get("minutes", 30))
        seen += len(told)
    assert seen > 10
    assert {book.entry_of(code).verify.minutes for code in CODES if (folder / f"{code}.toml").exists()} != {30}


@pytest.mark.parametrize("name", LOGARITHMIC)
def test_changes_in_words(name):
    """A logarithm of 1.5 is half more; of less than two errors nothing is said."""
    assert _change_words(name, effect(float(np.log(1.5))), "baseline").endswith("changed by +50 % against the baseline")
    assert _change_words(name, effect(0.05), "baseline").endswith("is unchanged")
    assert _change_words(name, effect(0.15), "baseline").endswith("is not clearly changed")


def test_what_counts_from_nothing_is_told_as_it_is():
    """Without a baseline the vacuum left after a release has not changed from anything: it is so much."""
    assert _change_words("residual", effect(59.0), "none") == "the vacuum left after the release is 59 kPa"
    assert _change_words("residual", effect(59.0), "baseline").endswith("changed by +59 kPa against the baseline")
    assert _change_words("ultimate", effect(-31.0), "none") == "the ultimate vacuum is 31 kPa less than at most stations"
    assert _change_words("ultimate", effect(-0.01), "none") == "the ultimate vacuum is not unusual"
    assert _change_words("blow", effect(float(np.log(3.0))), "none").endswith("is 200 % longer than usual beside the evacuation")


def test_reasons_from_signs():
    """A sign that is there speaks for the cause that has it; one that is as likely there as not speaks neither way."""
    code, name = next((c, n) for n, table_of_sign in SIGNS.items() for c, chance in table_of_sign.items() if chance > 0.5)
    assert reason_for(code, {}, (Sign(name=name, present=0.95),), "baseline", 0.9).endswith(" seen")
    assert reason_for(code, {}, (Sign(name=name, present=0.5),), "baseline", 0.1) == "not excluded, but nothing speaks for it"
    assert reason_for(code, {}, (), "baseline", 0.1) == "not in this log"


def test_clipping_near_ambient_is_a_choice_of_range(plain):
    """Samples at the end of the range count where that end is deep."""
    def clipped(low):
        sensor = replace(plain.data.sensor, clipped_low_share=0.3, range_low_kpa=low, quantisation_kpa=0.0)
        return _clipped(replace(plain.data, sensor=sensor))

    assert clipped(-10.0) is None
    assert clipped(-60.0).probability > 0.9


def test_a_setting_out_of_reach_or_a_weak_generator(plain):
    """At a usual depth the generator is doubted and named beside the setting; at 95 % of ambient the setting alone."""
    def fact(level):
        evidence = Evidence(measure="peak_vacuum_kpa", value=50.0, unit="kPa", reference=level)
        return Fact(code="set_point_too_high", probability=0.9, evidence=(evidence,), explained_by=("exhaust_restricted",))

    usual, deep = (fact(share * plain.data.ambient_kpa) for share in (0.5, 0.95))
    assert weak_suction(usual, plain.data) > 0.9
    assert weak_suction(deep, plain.data) < 0.1
    assert without_reference(deep, plain.data) == deep
    told = without_reference(usual, plain.data)
    assert told.alternatives == ("exhaust_restricted", "supply_pressure_low")
    assert 0.5 < told.probability < 0.6


def with_cycles(data, **columns):
    """The same station with other values in some columns of its cycles."""
    return replace(data, cycles=replace(data.cycles, data={**data.cycles.data, **columns}))


def whole(fact) -> None:
    """A fact says what was seen, in evidence and reason; what it is held against has a source."""
    assert fact.reason
    for evidence in fact.evidence:
        assert evidence.text
        assert isinstance(evidence.reference_source, str)
        assert (evidence.reference is None) == (evidence.reference_source == "")


def test_symptoms_say_what_was_seen(plain, saving):
    """Late releases, a supply that is never cut, a seal lost in part: each with its figure and its words."""
    n = len(plain.data.cycles)
    held = plain.data.cycles.where("outcome", "held")
    late = with_cycles(plain.data, release_time_s=np.where(np.arange(n) % 2, OPTIONS.slow_release_s * 2, 0.01))
    fact = _release_slow(late, held, OPTIONS)
    assert fact.code == "release_slow"
    assert fact.probability > 0.8
    whole(fact)
    held = saving.data.cycles.where("outcome", "held")
    uncut = with_cycles(saving.data, coasts=np.zeros(len(held), saving.data.cycles.data["coasts"].dtype))
    fact = _never_cuts(uncut, held)
    assert fact.reason.startswith("the supply stays on through")
    whole(fact)
    lost = (idle(), evacuate(), hold(0.4), hold(0.05, 48.0), hold(1.2, 48.0))
    data = case_of((*PLAIN * 6, *(*lost, PLAIN[-1]) * 6)).data
    fact = _partly(data, np.ones(len(data.cycles), bool), JudgeOptions())
    assert "holds" in fact.reason
    whole(fact)


def test_an_order_that_is_broken_names_the_reset_point(saving):
    """The evidence holds supply_on against the reset point and says so."""
    settings = dict(saving.data.settings)
    settings["reset_point"] = SettingInForce(value_kpa=66.0, source="station file")
    fact = _order_broken(replace(saving.data, settings=settings, air_saving=True))
    assert fact is not None
    assert fact.evidence[0].reference_source == "reset point"
    whole(fact)


def test_no_finding_is_beyond_doubt():
    """However clear a log is, 0.99 is the most that is said."""
    file = Station(settings=KNOWN)
    case = case_of(saving_with(12.0) * 16, file, saving_with(0.6) * 16)
    found = judge(case, OPTIONS).findings
    assert found
    assert max(f.confidence for f in found) <= 0.99
    assert len(measure(table(PLAIN * 3), file).stations[0].cycles) == 3


def test_a_cause_is_never_certain(plain):
    """A posterior of one is told less what the table may leave out, one of a half as it is."""
    seen = _seen(plain, OPTIONS)

    def told(own):
        return cause_finding(plain, seen, "leak_steady", own, (), (), True, OPTIONS.unmodelled).confidence

    assert told(1.0) == pytest.approx(1.0 - OPTIONS.unmodelled)
    assert told(0.5) == 0.5
    assert 0.9 < told(0.95) < 0.95


def test_groups_of_vacuum_without_coasts():
    """Every other cycle a kPa shallower and slower leaks; where its open cup is weaker too, the supply dips."""
    other = np.arange(24) % 2 == 1
    jitter = np.linspace(-0.02, 0.02, 24)

    def chance(open_kpa):
        values = {
            "ultimate": -80.0 + 6.0 * other + jitter, "top": 100.0 - 9.0 * other + jitter,
            "open": 5.0 - open_kpa * other + jitter, "blow": 0.1 + 0.001 * jitter,
        }  # fmt: skip
        values = {k: -v if k == "ultimate" else v for k, v in values.items()}
        values["peak"] = values["ultimate"]
        features = SimpleNamespace(held=np.ones(24, bool), values=values, floor={"ultimate": 0.05})
        return _groups_without_coasts(features, np.zeros(24, bool))[1]

    assert 0.0 <= chance(2.0) <= chance(0.0) <= 1.0


def test_late_answers_are_later_than_a_log_can_tell_apart():
    """Answers that differ by a sample of a slow log are not late."""
    response = np.where(np.arange(40) % 10 == 0, 0.11, 0.03)
    def present(floor):
        features = SimpleNamespace(held=np.ones(40, bool), values={"response": response}, floor={"response": floor})
        return late_sign(features, None)[0].present

    assert present(0.001) > 0.9
    assert present(0.02) < 0.1


def test_an_onset_that_was_not_found_makes_no_others_late():
    """Half of the answers at 0 s are failures of the fit; the others, a sample of 20 ms apart, are usual ones."""
    response = np.where(np.arange(40) % 2 == 0, 0.0, np.where(np.arange(40) % 4 == 1, 0.018, 0.035))
    features = SimpleNamespace(held=np.ones(40, bool), values={"response": response}, floor={"response": 0.005})
    sign, late = late_sign(features, None)
    assert not late.any()
    assert sign.present < 0.1


@pytest.mark.parametrize(("earliest_s", "any_late"), [(-0.02, False), (0.001, True)])
def test_commands_that_are_polled_make_no_answer_late(earliest_s, any_late):
    """Commands read every 40 ms are written after the pressure has moved, now more and now less: no valve's scatter."""
    response = np.maximum(np.linspace(earliest_s, 0.02, 60), 0.0)
    features = SimpleNamespace(held=np.ones(60, bool), values={"response": response}, floor={"response": 0.001})
    assert late_sign(features, replace(effect(0.0, 0.001), reference=0.002))[1].any() == any_late


@pytest.mark.parametrize(("shift", "more"), [(0, True), (1, False)], ids=["after a rest", "beside it"])
def test_late_answers_after_a_pause_are_no_chance(shift, more):
    """Four late answers in a hundred are few; those of just the four picks after a pause are a valve that sticks."""
    late = np.isin(np.arange(100), (20, 41, 63, 85))
    start = np.cumsum(np.where(np.roll(late, shift), 20.0, 7.0))
    columns = {"start_s": start}
    data = SimpleNamespace(
        cycles=SimpleNamespace(floats=columns.get), timing={"release_end_s": start + 4.0, "quit_s": start + 3.5}
    )
    response = np.where(late, 0.2, 0.03) + 1e-4 * (np.arange(100) % 3)
    features = SimpleNamespace(held=np.ones(100, bool), values={"response": response}, floor={"response": 0.001})
    rested = rested_picks(data)
    assert rested.sum() == 4
    assert (late_sign(features, None, rested)[0].present > 0.99) == more
    assert late_sign(features, None)[0].present < 0.5


def test_late_answers_of_a_cold_start_are_no_valve():
    """The first ten of sixty picks answer late and never again: something warms up; spread over the log it sticks."""
    def present(late):
        response = np.where(late, 0.06, 0.02) + 1e-4 * (np.arange(60) % 3)
        features = SimpleNamespace(held=np.ones(60, bool), values={"response": response}, floor={"response": 0.001})
        return late_sign(features, None)[0].present

    assert present(np.arange(60) < 10) <= 0.5
    assert present(np.arange(60) % 6 == 0) > 0.99


@pytest.mark.parametrize(("picks", "listed"), [(20, True), (90, False)])
def test_a_single_empty_pick_among_very_many_is_told_as_such(picks, listed):
    """One empty pick in twenty is the feed's, one in ninety is an odd pick."""
    none, empty = np.zeros(picks, bool), np.arange(picks) == 3
    data = SimpleNamespace(
        cycles=SimpleNamespace(where=lambda name, value: none), usual_peak_kpa=70.0,
        settings={"reset_point": SimpleNamespace(value_kpa=None)},
    )  # fmt: skip
    features = SimpleNamespace(values={"decay": np.zeros(0)})
    signs = {s.name: s.present for s, _ in loss_signs(data, features, empty, OPTIONS.odd_pick_share)}
    assert (signs["empty_picks"] > 0.9) == listed


def test_scatter_needs_ten_cycles():
    """Ten evacuations are enough to tell scatter, nine are not."""
    def present(n):
        rise = np.where(np.arange(n) % 3 == 0, 0.9, 0.0)
        features = SimpleNamespace(held=np.ones(n, bool), values={"rise": rise, "decay": np.full(n, 1.0)}, floor={"rise": 0.004})
        return scatter_sign(features, np.zeros(n, bool), np.zeros(n, bool))[0].present

    assert present(9) == 0.004
    assert present(10) != 0.004


def test_a_threshold_out_of_reach_is_told_with_its_level(plain):
    """What no hold reaches is held against the level of supply_off, which stands in the evidence."""
    station = Station(settings=replace(KNOWN, supply_off_kpa=90.0, supply_on_kpa=85.0))
    data = case_of(PLAIN * 8, station).data
    fact = _unreachable(data, station, np.ones(8, bool))
    assert fact.evidence[0].reference == 90.0
    assert fact.evidence[0].cycles == 8
    assert fact.probability > 0.9
    whole(fact)


def test_a_blow_off_cut_off_on_its_way_has_no_over_pressure(plain):
    """8 kPa left at the end of the command: what the reading comes to later is not what the air blew against."""
    cycles = plain.data.cycles
    left = cycles.with_columns(residual_vacuum_kpa=np.where(np.arange(len(cycles)) < 6, 8.0, -1.0))
    timing = {**plain.data.timing, "over_kpa": np.full(len(cycles), 3.0)}
    data = replace(plain.data, cycles=left, timing=timing, sensor=replace(plain.data.sensor, range_high_kpa=20.0))
    over = make_features(data, plain.leak, choose_bands((data,))).values["over"]
    assert (over[:6] == 0.0).all()
    assert over[6:] == pytest.approx(3.0, abs=0.3)


def test_peaks_alike_to_the_last_step_tell_a_range_that_ends(plain):
    """The deepest of many readings that scatter by three steps differs from cycle to cycle, unless the range ends."""
    many = np.resize(np.arange(len(plain.data.cycles)), 24)
    sensor = replace(plain.data.sensor, range_low_kpa=-71.3, quantisation_kpa=0.025, noise_kpa=0.075, clipped_low_share=0.01)

    def found(peak, noise_kpa=0.075):
        cycles = SimpleNamespace(floats=lambda name: peak)
        return _clipped(SimpleNamespace(cycles=cycles, sensor=replace(sensor, noise_kpa=noise_kpa)))

    assert found(np.full(24, 71.3)).probability == 0.95
    assert found(np.full(24, 71.3), noise_kpa=0.01) is None
    assert found(71.3 - 0.05 * (many % 2)) is None


@pytest.mark.parametrize(("level", "beyond"), [(32.0, True), (13.0, False), (3.0, False)])
def test_an_open_cup_too_deep_for_any_bore_needs_no_reference(plain, level, beyond):
    """Bores leave 2 to 15 kPa in an open cup; 32 kPa are lost in a filter, whatever the station showed before."""
    cycles = plain.data.cycles.with_columns(open_cup_vacuum_kpa=np.full(len(plain.data.cycles), level))
    data = replace(plain.data, cycles=cycles)
    open_cup = physical_effects(data, make_features(data, plain.leak, choose_bands((data,))), OPTIONS)["open"]
    assert (open_cup.z > 4.0) == beyond
    assert beyond or open_cup.z < 1.3


def test_what_is_left_of_a_blow_off_cut_off_on_its_way_counts_little():
    """2.6 and 1 kPa left: either was cut off; from nothing to 18 kPa is a weak blow-off. Its lower level is not passed."""
    def left(before, after, start=70.0):
        effects = {"start": shifted(start, start), "residual": shifted(before, after), "blow": shifted(-3.0, -3.2, 0.02)}
        _allow_for_start(effects, OPTIONS)
        return effects

    assert abs(left(2.6, 1.0)["residual"].z) < 1.0
    assert left(0.0, 18.0)["residual"].z > 10.0
    assert "blow" in left(2.6, 1.0)
    assert "blow" not in left(23.0, 20.3)


def shifted(before, after, error=0.3):
    return replace(effect(after - before, error), now=after, reference=before)
