"""Formulas of the judgement against values worked out by hand, and what its facts say word for word."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from segment.made_traces import KNOWN, PLAIN, data_of

from tests.judge.test_rules import with_columns
from tracekit.judge.course import dip_sign
from tracekit.judge.effects import Comparison, Effect
from tracekit.judge.effects_of import _usual_end_kpa, allow_for_weather
from tracekit.judge.evidence import _same_drive
from tracekit.judge.features import Features, _closed
from tracekit.judge.motion import _note_falls
from tracekit.judge.practice import physical_effects
from tracekit.judge.reach import reach_kpa
from tracekit.judge.sensor_rules import _gaps, with_usual_noise
from tracekit.judge.setting_rules import setting_facts
from tracekit.judge.signs import _more_than, two_groups
from tracekit.judge.symptoms import symptom_facts
from tracekit.model.cycle import StationData
from tracekit.model.station import Settings, Station
from tracekit.options.judge import JudgeOptions
from tracekit.signal.bands import Bands

OPTIONS = JudgeOptions()
HELD, DROPPED, MISSED = 0, 1, 2


def effect(reference: float, error: float = 0.1, shift: float = 0.0) -> Effect:
    return Effect(
        now=reference + shift, reference=reference, shift=shift, error=error, n_now=20, n_reference=20, tail_up=0.0,
        tail_down=0.0, scatter=1.0,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("reference", "error", "limit"), [(1.0, 0.1, 3.0), (1.0, 1.0, 5.0), (10.0, 0.1, 15.0), (None, 0.0, 4.0)]
)
def test_how_deep_a_dip_is_deep(reference: float | None, error: float, limit: float) -> None:
    """2 kPa, four standard errors or half as much again as the reference shows; without one, twice what moves make."""
    effects = {} if reference is None else {"dip": effect(reference, error)}
    none = np.zeros(20, np.bool_)
    for dip, deep in ((limit - 0.1, False), (limit + 0.1, True)):
        features = Features(
            values={"dip": np.full(20, dip)}, floor={}, held=~none, at_least=none, decay_noise=np.zeros(20)
        )
        comparison = Comparison(effects=effects, source="baseline", onset=None, now=~none, reference=none)
        sign, flag = dip_sign(features, comparison, steady=True, options=OPTIONS)
        assert (sign.present > 0.9, flag.all()) == (deep, deep)


def test_where_the_references_evacuations_end() -> None:
    """The ultimate vacuum where it is seen, else the peak and what was still to come; nothing where one is unknown."""
    peak, past = effect(70.0), effect(5.0)
    assert _usual_end_kpa({"ultimate": effect(80.0), "peak": peak, "extrapolated": past}) == 80.0
    assert _usual_end_kpa({"peak": peak, "extrapolated": past}) == 75.0
    assert _usual_end_kpa({"peak": peak}) is None
    assert _usual_end_kpa({"extrapolated": past}) is None


def test_another_days_weather_moves_an_evacuation() -> None:
    """The time from 20 to 60 kPa, ln((U - 20) / (U - 60)) to within a factor, by how it changes with its end U."""
    bands = Bands(rise_low=20.0, rise_high=60.0, top_low=66.0, top_high=70.0, fall_high=50.0, fall_low=10.0)
    effects = {"ultimate": effect(80.0), "rise": effect(-1.0, 0.0), "top": effect(30.0, 0.0)}
    out = allow_for_weather(effects, bands, OPTIONS)
    logs = [np.log(np.log((u - 20.0) / (u - 60.0))) for u in (80.0 - 1e-4, 80.0 + 1e-4)]
    assert out["rise"].error == pytest.approx(abs(logs[1] - logs[0]) / 2e-4 * OPTIONS.spread_ultimate, rel=1e-4)
    assert out["top"].error == pytest.approx(30.0 / 12.0 * OPTIONS.spread_top_kpa)
    near = {**effects, "ultimate": effect(62.0)}
    assert allow_for_weather(near, bands, OPTIONS) == near


def test_closed_cups_count_where_a_log_ends_in_misses(plain: StationData) -> None:
    """Eight held picks and four that were given up with the cup closed: how the log ends is what is compared."""
    outcome = np.array([HELD] * 8 + [MISSED] * 4)
    assert _closed(with_columns(plain, outcome=outcome)).tolist() == [True] * 12
    assert _closed(with_columns(plain, outcome=outcome[::-1])).tolist() == [False] * 4 + [True] * 8
    peak = np.array([75.0] * 8 + [20.0, 75.0, 75.0, 75.0])
    assert _closed(with_columns(plain, outcome=outcome, peak_vacuum_kpa=peak)).sum() == 11


def test_the_deepest_fall_of_a_coast() -> None:
    """A coast from 70 to 60 kPa within 1 s that falls by 4 kPa at once: 4 kPa within 0.2 s, less its mean slope."""
    time = np.concatenate([np.arange(0.0, 1.0, 0.05), 5.0 + np.arange(0.0, 1.0, 0.05), 9.0 + np.arange(0.0, 0.3, 0.05)])
    period, cycle = np.repeat([3, 8, 9], [20, 20, 6]), np.repeat([0, 2, 3], [20, 20, 6])
    within = time - np.array([0.0, 5.0, 9.0])[np.searchsorted([3, 8, 9], period)]
    vacuum = 70.0 - 6.0 * within - np.where((cycle == 2) & (within > 0.5 - 1e-9), 4.0, 0.0)
    bins = SimpleNamespace(period=period, time_s=time, pressure_kpa=-vacuum, cycle=cycle)
    out = np.full(5, np.nan)
    _note_falls(bins, np.arange(len(time)), out)
    slope = (70.0 - (70.0 - 6.0 * 0.95 - 4.0)) / 0.95
    assert out[0] == pytest.approx(0.0, abs=1e-6)
    assert out[2] == pytest.approx(4.0 + 6.0 * 0.2 - slope * 0.2)
    assert np.isnan(out[[1, 3, 4]]).all()  # a coast of 0.3 s is too short


@pytest.mark.parametrize("timed_from", [0.0, 40.0, 44.0])
def test_where_an_exponential_rise_would_rest(timed_from: float) -> None:
    """Speed falls with vacuum in a straight line: 60 kPa from any two stretches, two timed levels being enough."""
    levels, tau_s, set_point = np.arange(2.0, 70.0, 2.0), 0.2, 50.0
    rise = -tau_s * np.log(1.0 - np.minimum(levels, 59.0) / 60.0)
    rise = np.where((levels >= timed_from) & (levels < set_point), rise, np.nan)
    time = -tau_s * np.log(1.0 - set_point / 60.0)
    floats = {"peak_vacuum_kpa": np.array([51.0]), "evacuation_time_s": np.array([time])}
    data = SimpleNamespace(cycles=SimpleNamespace(floats=floats.__getitem__), levels_kpa=levels, rise_s=rise[None, :])
    assert reach_kpa(data, np.array([set_point]))[0] == pytest.approx(60.0, abs=0.3)
    none = SimpleNamespace(cycles=data.cycles, levels_kpa=levels, rise_s=np.where(levels < 4.0, rise, np.nan)[None, :])
    assert np.isnan(reach_kpa(none, np.array([set_point]))[0])


def test_pauses_are_told_with_their_length() -> None:
    """Two pauses of 1.25 and 2 s."""
    fact = _gaps(SimpleNamespace(gaps=((10.0, 1.25), (20.0, 2.0))))
    assert fact.reason == "2 pauses without samples"
    assert fact.evidence[0].text == "2 pauses without samples, 3.2 s in all"
    assert _gaps(SimpleNamespace(gaps=())) is None


def test_two_groups_of_the_least_size() -> None:
    """Four values of ten are a group, and a gap as wide as asked is wide enough."""
    values = np.array([1.0] * 6 + [2.0] * 4)
    upper, gap = two_groups(values, 1.0)
    assert upper.tolist() == [False] * 6 + [True] * 4
    assert gap == pytest.approx(1.0 / 0.1)
    assert two_groups(values, 1.01) == (pytest.approx(np.zeros(10)), 0.0)
    assert two_groups(values[1:], 1.0)[1] == 0.0


def test_what_leaves_the_generator_alone() -> None:
    """A cause that says nothing of the evacuation, or shifts it alike either way, is none of the drive."""
    assert _same_drive({})
    assert not _same_drive({"rise": SimpleNamespace(least=0.1, most=0.5)})
    assert _same_drive({"rise": SimpleNamespace(least=-0.1, most=0.1)})


def spoiled(plain: StationData, saving: StationData) -> list[StationData]:
    """Logs that several rules speak of."""
    return [
        with_columns(saving, supply_switches=10), with_columns(saving, coasts=0, peak_vacuum_kpa=60.0),
        with_columns(plain, chatter_edges=6), with_columns(plain, outcome=np.array([HELD] * 6 + [MISSED] * 6)),
        with_columns(plain, outcome=np.array([HELD] * 6 + [DROPPED] * 6)), plain, saving,
    ]  # fmt: skip


def test_every_fact_has_a_chance_and_a_measure(plain: StationData, saving: StationData) -> None:
    """Probabilities are probabilities; evidence names its measure and has a number, and its cycles are cycles."""
    known = Station(settings=Settings(supply_off_kpa=70.0, supply_on_kpa=63.0))
    seen = set()
    for data in spoiled(plain, saving):
        now = np.ones(len(data.cycles), np.bool_)
        for fact in (*setting_facts(data, known, now, OPTIONS), *symptom_facts(data, OPTIONS)):
            seen.add(fact.code)
            assert 0.0 <= fact.probability <= 1.0, fact
            assert set(fact.cycles) <= set(range(len(data.cycles)))
            for evidence in fact.evidence:
                assert evidence.measure, fact
                assert isinstance(evidence.value, float), fact
                assert evidence.text, fact
    assert {"switch_chatter", "supply_short_cycling", "supply_off_unreachable", "part_missed", "part_dropped"} <= seen


def test_short_cycling_counts_recharges_of_held_picks(plain: StationData, saving: StationData) -> None:
    """Five recharges in every hold: its length over five, of the held ones alone."""
    data = with_columns(saving, supply_switches=10, outcome=np.array([HELD] * 8 + [MISSED] * 4))
    fact = next(f for f in symptom_facts(data, OPTIONS) if f.code == "supply_short_cycling")
    length = (data.cycles.floats("hold_end_s") - data.cycles.floats("hold_start_s"))[:8]
    assert fact.evidence[0].value == pytest.approx(float(np.median(length)) / 5.0)
    assert fact.evidence[0].text.endswith("s in 8 of 8 holds")
    once = with_columns(plain, supply_switches=2)
    assert not [f for f in symptom_facts(once, OPTIONS) if f.code == "supply_short_cycling"]


@pytest.mark.parametrize(("switches", "refills"), [(0, "no refill"), (2, "1 refill"), (6, "3 refills")])
def test_a_band_is_told_with_its_refills(saving: StationData, switches: int, refills: str) -> None:
    """A hold is told with as many refills as it has."""
    data = with_columns(saving, supply_switches=switches)
    facts = setting_facts(data, Station(), np.ones(len(data.cycles), np.bool_), OPTIONS)
    assert next(f for f in facts if f.code == "supply_band_too_narrow").reason.endswith(f"a usual hold has {refills}")


def test_a_cut_off_out_of_reach_is_told_with_its_holds(saving: StationData) -> None:
    """No hold coasts and none reaches the level in force."""
    data = with_columns(saving, coasts=0, peak_vacuum_kpa=60.0)
    facts = setting_facts(data, Station(), np.ones(len(data.cycles), np.bool_), OPTIONS)
    fact = next(f for f in facts if f.code == "supply_off_unreachable")
    assert fact.reason == "vacuum reaches supply_off in 0 of 12 holds"
    assert fact.evidence[0].reference == pytest.approx(data.settings["supply_off"].value_kpa)
    assert fact.evidence[0].value == 60.0


def test_a_reading_that_grew_still_has_the_noise_of_its_baseline() -> None:
    """All peaks one, and a step's own scatter where the baseline's was five times that: its range cuts it off."""
    usual = data_of(PLAIN * 24, noise=0.05, settings=KNOWN)
    still = with_columns(usual, peak_vacuum_kpa=70.0, noise_kpa=0.003)
    still = replace(still, sensor=replace(still.sensor, noise_kpa=0.003))
    assert with_usual_noise(still, usual).sensor.noise_kpa == np.median(usual.cycles.floats("noise_kpa"))
    assert with_usual_noise(still, None) is still
    assert with_usual_noise(usual, usual) is usual  # peaks differ
    as_before = with_columns(usual, peak_vacuum_kpa=70.0)
    assert with_usual_noise(as_before, usual) is as_before


@pytest.mark.parametrize(("given_s", "left_kpa", "weak"), [(0.25, 24.0, True), (0.25, 8.0, False), (0.08, 24.0, False)])
def test_vacuum_left_by_a_long_blow_off(plain: StationData, given_s: float, left_kpa: float, weak: bool) -> None:
    """A third of the vacuum at the end of a command of 0.25 s, gone 30 ms later as the cup is torn off, is not blown off."""
    count = len(plain.cycles)
    start_s = plain.timing["release_s"]
    timing = {**plain.timing, "release_end_s": start_s + given_s}
    data = replace(with_columns(plain, release_time_s=given_s + 0.03), timing=timing)
    nothing = {name: np.full(count, np.nan) for name in ("rise", "top", "early", "open", "response", "blow", "blow_start")}
    levels = {"residual": np.full(count, left_kpa), "start": np.full(count, 65.0), "ultimate_any": np.full(count, 70.0)}
    features = Features(
        values=nothing | levels | {"overshoot": np.full(count, np.nan)}, floor={}, held=np.ones(count, np.bool_),
        at_least=np.zeros(count, np.bool_), decay_noise=np.zeros(count),
    )  # fmt: skip
    assert (physical_effects(data, features, OPTIONS)["residual"].shift > 0.0) == weak


@pytest.mark.parametrize(("slow", "usual", "more"), [(12, 5, False), (5, 5, False), (20, 5, True), (12, 1, True)])
def test_more_slow_evacuations_than_before_by_the_scatter_of_counts(slow: int, usual: int, more: bool) -> None:
    """12 of 48 beside 5 of 48 happen by chance once in sixteen (two binomials), 20 beside 5 hardly ever."""
    chance = _more_than(slow / 48, 48, usual / 48, 48)
    assert (chance > 0.5) == more
    pooled = (slow + usual) / 96
    z = (slow - usual) / 48 / np.sqrt(pooled * (1.0 - pooled) / 24.0)
    assert chance == pytest.approx(1.0 / (1.0 + np.exp(-8.0 * (z - 2.1))))
