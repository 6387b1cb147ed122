"""Where a rule begins and ends: limits of the station file, what counts as an empty pick, what a missing channel is called."""

from types import SimpleNamespace

import numpy as np
import pytest
from segment.made_traces import PLAIN, table_of, trace_of

from tracekit.judge.effects import _spread
from tracekit.judge.findings import _limit_severity
from tracekit.judge.leaky import _coast_odds, _flow_odds
from tracekit.judge.priors import TWO_CAUSES, prior
from tracekit.judge.rank import posterior
from tracekit.judge.setting_rules import _set_point_over_cut, weak_suction
from tracekit.judge.signs import loss_signs, plate_signs
from tracekit.judge.symptoms import _never_cuts
from tracekit.model.cycle import SettingInForce
from tracekit.model.estimate import Estimate
from tracekit.options.judge import JudgeOptions
from tracekit.pipeline import diagnose


def leaking(value: float, **limits: tuple[float | None, str]) -> SimpleNamespace:
    """What the severity of a limit is judged from: a leak and the limits of a station file."""
    rate = Estimate(value=value, lower=value, upper=value, unit="kPa/s", n=20, method="given")
    given = {name: SimpleNamespace(max=most, severity=severity) for name, (most, severity) in limits.items()}
    return SimpleNamespace(station=SimpleNamespace(limits=given), leak=SimpleNamespace(decay_rate=rate))


@pytest.mark.parametrize("code", ["leak_steady", "check_valve_leak", "release_valve_leak"])
@pytest.mark.parametrize(("value", "severity"), [(3.9, "minor"), (4.0, "minor"), (4.1, "critical")])
def test_a_limit_makes_every_steady_leak_severe(code, value, severity):
    """Above the limit, not at it, each cause of a steady leak is as severe as the station file says."""
    assert _limit_severity(leaking(value, decay_rate_kpa_s=(4.0, "critical")), code) == severity


def test_limits_of_other_things_do_not_count():
    """A limit of another measure, one without an upper end, and causes that are no steady leak leave the severity minor."""
    assert _limit_severity(leaking(9.0, hold_vacuum_kpa=(4.0, "critical")), "leak_steady") == "minor"
    assert _limit_severity(leaking(9.0, decay_rate_kpa_s=(None, "critical")), "leak_steady") == "minor"
    assert _limit_severity(leaking(9.0, decay_rate_kpa_s=(4.0, "critical")), "filter_clogged") == "minor"


def test_the_worst_of_two_limits_counts():
    """Of two limits that are passed the more severe one is taken; a severity that is not known counts as major."""
    both = leaking(9.0, decay_rate_kpa_s=(4.0, "info"), decay_rate_upper=(5.0, "unheard"))
    assert _limit_severity(both, "leak_steady") == "major"


SLOW_LEAK = SimpleNamespace(values={"decay": np.full(20, 1.0)})


def losses(outcome: list[str], peak: list[float], kind: list[str]) -> SimpleNamespace:
    """Cycles with their outcomes, peaks and kinds of drop."""
    columns = {"outcome": outcome, "drop_kind": kind}
    return SimpleNamespace(
        cycles=SimpleNamespace(where=lambda name, value: np.array([v == value for v in columns[name]]), floats=lambda _: np.array(peak)),
        usual_peak_kpa=70.0,
        settings={"reset_point": SimpleNamespace(value_kpa=50.0)},
    )


@pytest.mark.parametrize(
    ("kinds", "sudden", "gradual"),
    [
        (["sudden"] * 2, 0.998, 0.001),
        (["gradual"] * 2, 0.001, 0.998),
        (["", ""], 0.5, 0.5),
        (["sudden", ""], 0.97, 0.5),
    ],
)
def test_a_loss_between_sudden_and_gradual_may_be_either(kinds: list[str], sudden: float, gradual: float):
    """One whose kind is open speaks neither for a collision nor for a leak, and takes nothing from what others say."""
    found = loss_signs(losses(["dropped"] * 2, [70.0] * 2, kinds), SLOW_LEAK, np.zeros(2, np.bool_))
    named = {sign.name: sign.present for sign, _ in found}
    assert (named["sudden_losses"], named["gradual_losses"]) == (sudden, gradual)


def test_empty_picks_are_counted():
    """The picks that were found empty are the sign; one alone is a little less sure than two."""
    one = np.array([True, False, False])
    signs = loss_signs(losses(["missed", "missed", "held"], [43.0, 44.0, 20.0], ["", "", ""]), SLOW_LEAK, one)
    named = {sign.name: (sign.present, flag.tolist()) for sign, flag in signs}
    assert named["empty_picks"] == (0.93, [True, False, False])
    assert named["sudden_losses"] == (0.001, [False] * 3)


def test_losses_by_their_kind_and_count():
    """One sudden loss is nearly sure, two are surer; a loss that is not sudden is gradual."""
    signs = loss_signs(losses(["dropped"] * 3, [70.0] * 3, ["sudden", "sudden", "gradual"]), SLOW_LEAK, np.zeros(3, bool))
    named = {sign.name: (sign.present, flag.tolist()) for sign, flag in signs}
    assert named["sudden_losses"] == (0.998, [True, True, False])
    assert named["gradual_losses"] == (0.95, [False, False, True])


def test_a_missing_channel_is_told_by_count():
    """A log without a supply column says which channel is missing, and how many."""
    columns = {k: v for k, v in trace_of(PLAIN * 3).items() if k != "supply"}
    found = next(f for f in diagnose(table_of(columns)).stations[0].findings if f.code == "channel_missing")
    assert [(e.measure, e.value) for e in found.evidence] == [("channels", 1.0)]
    assert "supply" in found.evidence[0].text


def station(coasts: list[int], lengths: list[float], outcome: list[str], **settings: tuple[float | None, float]) -> SimpleNamespace:
    """A station with settings in force (value and spread) and cycles with coasts, hold lengths and outcomes."""
    named = {"hold_start_s": np.zeros(len(lengths)), "hold_end_s": np.array(lengths)}
    cycles = SimpleNamespace(codes=lambda _: np.array(coasts), floats=lambda name: named[name], where=lambda _, value: np.array([o == value for o in outcome]))
    force = {n: SettingInForce(value_kpa=v, source="edges", spread_kpa=spread) for n, (v, spread) in settings.items()}
    return SimpleNamespace(cycles=cycles, settings=force, wiring=SimpleNamespace(supply_on_level=1))


@pytest.mark.parametrize(("never", "low", "high"), [(3, 0.2, 0.3), (4, 0.65, 0.75), (10, 0.96, 0.98)])
def test_a_supply_that_is_never_cut_is_told_by_its_share(never, low, high):
    """Of ten long holds without a cut, a third is a doubt, two fifths are likely and all of them are nearly sure."""
    made = station([0] * never + [2] * (10 - never), [1.0] * 10, ["held"] * 10, supply_off=(70.0, 0.1))
    fact = _never_cuts(made, np.ones(10, bool))
    assert fact is not None
    assert low < fact.probability < high
    assert fact.cycles == tuple(range(never))


def test_a_supply_that_is_cut_in_nearly_all_holds_is_no_matter():
    """Two holds without a cut, and short holds, do not count; without a threshold there is nothing to say."""
    held = np.ones(10, bool)
    few = station([0, 0] + [1] * 8, [1.0] * 10, ["held"] * 10, supply_off=(70.0, 0.1))
    short = station([0] * 10, [0.3] * 10, ["held"] * 10, supply_off=(70.0, 0.1))
    unknown = station([0] * 10, [1.0] * 10, ["held"] * 10, supply_off=(None, 0.0))
    assert [_never_cuts(made, held) for made in (few, short, unknown)] == [None] * 3


@pytest.mark.parametrize(("gap", "spread", "found"), [(1.0, 0.5, True), (0.0, 0.5, True), (-0.04, 0.5, True), (-0.06, 0.5, False), (1.0, 1.1, False)])
def test_a_set_point_over_the_cut(gap, spread, found):
    """A set point at or over supply_off is as good as sure and critical, where both are known; below it is none."""
    made = station([1, 1], [1.0] * 2, ["held", "missed"], set_point=(70.0 + gap, spread), supply_off=(70.0, spread))
    fact = _set_point_over_cut(made)
    assert (fact is not None) == found
    if fact is not None:
        assert (fact.code, fact.probability, fact.critical, fact.cycles) == ("set_point_too_high", 0.97, True, (1,))
        assert fact.evidence[0].reference == 70.0
        assert fact.evidence[0].reference_source == "supply_off"


@pytest.mark.parametrize(("complaint", "faulty"), [(False, 0.25), (True, 0.6)])
def test_without_evidence_the_posterior_is_the_prior(complaint, faulty):
    """Nothing measured and nothing seen leave a quarter for a fault, 0.6 after a complaint, shared by the priors."""
    post = posterior({}, (), (), complaint, JudgeOptions())
    assert 1.0 - faulty <= post.none < 1.0 - faulty * (1.0 - TWO_CAUSES)  # only the likelier pairs are formed
    singles = sum(post.single.values())
    assert 1.0 - TWO_CAUSES - 0.02 < singles / (1.0 - post.none) <= 1.0
    ratio = post.single["leak_steady"] / post.single["sensor_noisy"]
    assert ratio == pytest.approx(prior("leak_steady", (), complaint=True) / prior("sensor_noisy", (), complaint=True))


def rates(now: float, plate: float) -> list[SimpleNamespace]:
    """The leak with parts and with the cup on a plate."""
    return [SimpleNamespace(decay_rate=Estimate(value=v, lower=v, upper=v, unit="kPa/s", n=9, method="given")) for v in (now, plate)]


@pytest.mark.parametrize(("plate", "low", "high"), [(4.0, 0.99, 1.0), (2.2, 0.6, 0.7), (2.0, 0.5, 0.5), (0.0, 0.0, 0.01), (-3.0, 0.0, 0.01)])
def test_a_cup_on_a_plate_tells_where_it_leaks(plate, low, high):
    """As much on the plate: the station leaks; half: undecided; nothing, or less than nothing: it is the part."""
    leaks, tight = plate_signs(*rates(4.0, plate))
    assert low <= leaks.present <= high
    assert leaks.present + tight.present == pytest.approx(1.0)
    assert plate_signs(*rates(4.0, 0.0))[0].present == pytest.approx(plate_signs(*rates(4.0, -3.0))[0].present)
    assert plate_signs(*rates(0.49, plate)) == ()


def test_odds_of_a_leak_stay_within_bounds():
    """However large the flow or short the coast, one figure alone moves the odds by no more than e^4.5, nor below e^-3.5."""
    options = JudgeOptions()
    assert _flow_odds(1e9, options.healthy_most_l_min, options) == _coast_odds(1e9, 10.0, options) == 4.5
    assert _coast_odds(1e-9, 10.0, options) == -3.5
    assert -3.5 <= _flow_odds(1e-9, options.healthy_most_l_min, options) < 0.0
    assert _coast_odds(3.0, None, options) is None
    assert _coast_odds(3.0, options.band_kpa - 1e-9, options) is None
    even = options.band_kpa / options.short_coast_s
    assert _coast_odds(even, options.band_kpa, options) == pytest.approx(0.0)
    assert _coast_odds(even * np.e**0.4, options.band_kpa, options) == pytest.approx(1.0)


def test_a_fact_becomes_a_finding_whole():
    """A rule's evidence, cycles, alternatives and chance stand in its finding; nothing is surer than 0.99."""
    log = trace_of(PLAIN * 4)
    record = diagnose(table_of({k: v for k, v in log.items() if k != "supply"})).stations[0]
    for found in record.findings:
        assert found.evidence, found.code
        assert 0.0 <= found.confidence <= 0.99
        assert 0.0 <= found.share <= 1.0
        assert found.next_steps or found.severity == "info", found.code


@pytest.mark.parametrize(("level", "low", "high"), [(50.0, 0.99, 1.0), (90.0, 0.0, 0.1), (float("nan"), 0.5, 0.5)])
def test_a_setting_that_stood_within_reach_points_to_the_generator(level, low, high):
    """At half of ambient a setting was within every sound generator's reach, at nine tenths within none's."""
    fact = SimpleNamespace(code="supply_off_unreachable", evidence=(SimpleNamespace(reference=level),))
    assert low <= weak_suction(fact, SimpleNamespace(ambient_kpa=100.0)) <= high
    assert weak_suction(SimpleNamespace(code="supply_off_unreachable", evidence=()), SimpleNamespace(ambient_kpa=100.0)) == 0.5


def test_how_far_a_healthy_station_differs_grows_with_what_is_measured():
    """Leak and overpressure differ by a fixed part and by a share of themselves, an evacuation's end by a share alone."""
    options = JudgeOptions()
    assert _spread("over", 0.0, options) == options.spread_over
    assert _spread("over", 100.0, options) == pytest.approx(np.hypot(options.spread_over, 3.0))
    assert _spread("decay", 0.0, options) == options.spread_decay
    assert _spread("decay", 10.0, options) == pytest.approx(np.hypot(options.spread_decay, 10.0 * options.spread_decay_share))
    assert _spread("top", -8.0, options) == pytest.approx(8.0 * options.spread_top_share)
    assert _spread("idle", 8.0, options) == options.spread_idle
