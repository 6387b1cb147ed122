"""Small parts of tuning, each against what its formula gives by hand."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from segment.made_traces import KNOWN, PLAIN, SAVING, data_of

from tracekit.errors import UsageError
from tracekit.options.tune import TuneOptions
from tracekit.tune.asked import parse_settings
from tracekit.tune.chatter import Pulses, _frequency, _pulses
from tracekit.tune.coasts import _turns
from tracekit.tune.display import Display
from tracekit.tune.entry_order import _steps
from tracekit.tune.facts import _beyond
from tracekit.tune.figures import leak_law
from tracekit.tune.known import Known, _ordered, known_settings, speed_kpa_s
from tracekit.tune.predict import MEASURED, _of_edges, _shares, _shift
from tracekit.tune.reasons import cannot
from tracekit.tune.search import _ranges
from tracekit.tune.station_model import _delay_later
from tracekit.tune.trace import model_curve

OPTIONS = TuneOptions()


@pytest.fixture(scope="module")
def saving():
    """A station with air saving whose file names all thresholds."""
    return data_of(SAVING * 8, settings=replace(KNOWN, supply_off_kpa=72.0, supply_on_kpa=64.0), noise=0.03)


@pytest.fixture(scope="module")
def plain():
    """A station without."""
    return data_of(PLAIN * 8, settings=KNOWN, noise=0.03)


def test_the_frequency_of_chatter():
    """Three output-offs 0.1 s apart in each of two holds are 10 Hz, with one count either way."""
    off = np.array([1.0, 1.1, 1.2, 5.0, 5.1, 5.2])
    found = _frequency(Pulses(cycle=np.array([0, 0, 0, 1, 1, 1]), off_s=off, on_s=off + 0.02, vacuum=off), 0.001)
    assert found.value == pytest.approx(10.0)
    share = np.hypot(1 / 4, 0.001 * np.sqrt(2) / 0.4)
    assert (found.lower, found.upper, found.n) == (pytest.approx(10 * (1 - share)), pytest.approx(10 * (1 + share)), 2)
    one = Pulses(cycle=np.array([0]), off_s=off[:1], on_s=off[:1], vacuum=off[:1])
    assert _frequency(one, 0.001) is None


def test_pulses_without_an_averaged_trace(plain):
    """Where no bins are there, vacuum at a pulse is unknown."""
    bins = plain.bins
    none = replace(bins, **{name: getattr(bins, name)[:0] for name in ("cycle", "period", "time_s", "pressure_kpa", "samples")})
    found = _pulses(replace(plain, bins=none))
    assert np.isnan(found.vacuum).all()
    assert len(found.vacuum) == len(found.off_s)


def test_a_setting_is_entered_as_it_is_where_nothing_else_is_said():
    """Without a form of entry the value itself is entered, and no form is told."""
    now, new = {"set_point": 60.0, "reset_point": 55.0}, {"set_point": 58.0, "reset_point": 53.0}
    (step,) = _steps(Display(), now, new, ("set_point",))
    assert step.entry == ""


def test_how_far_vacuum_goes_beyond_a_threshold(saving):
    """Recharges start a little below supply_on; of no hold nothing is known."""
    held = saving.cycles.where("outcome", "held")
    assert 0.0 <= _beyond(saving, held, "recharge", OPTIONS) < 5.0
    assert np.isnan(_beyond(saving, np.zeros_like(held), "recharge", OPTIONS))


def test_groups_without_a_name():
    """A group of cycles that nothing names is called unnamed."""
    group = SimpleNamespace(decay_rate_kpa_s=None, mechanism="orifice", label="", cycles=(1, 2))
    named = SimpleNamespace(decay_rate_kpa_s=None, mechanism="orifice", label="plate", cycles=(3,))
    told = leak_law(SimpleNamespace(groups=(group, named), mechanism="orifice"))
    assert told.startswith("unnamed (2 cycles): ")
    assert "; plate (1 cycles): " in told


def test_a_setting_that_is_none():
    """What is no setting is refused with what was expected."""
    with pytest.raises(UsageError, match="a setting and its value, like set_point=56"):
        parse_settings(["setpoint 56"])
    assert parse_settings(["set_point=56", "reset_point_kpa=-51"]) == {"set_point": 56.0, "reset_point": 51.0}


def test_why_nothing_can_be_given():
    """A setting known exactly enough, at its bound, is no obstacle; a load that nothing tells is."""
    def rules(half_width, needed=None):
        return SimpleNamespace(known={"set_point": SimpleNamespace(half_width=half_width)}, needed=needed, point_most=50.0)

    assert cannot(rules(OPTIONS.exact_kpa), (), OPTIONS).startswith("A setting would have to come down")
    assert cannot(rules(OPTIONS.exact_kpa * 1.01), (), OPTIONS).startswith("The settings in force show only roughly")
    assert cannot(rules(0.0, 60.0), (), OPTIONS).startswith("The load needs 60.0 kPa")
    assert cannot(rules(0.0, 40.0), ("set_point_too_high",), OPTIONS).startswith("The vacuum reached is too weak")
    assert cannot(rules(0.0, 40.0), (), OPTIONS).startswith("No settings keep order")


def test_chatter_that_never_showed():
    """Ten holds without an edge bound the mean by six edges in ten holds: the rule of three, two edges an event."""
    found = _of_edges(np.zeros(10))
    assert (found.value, found.upper) == (0.0, pytest.approx(0.6))
    assert _of_edges(np.zeros(0)).upper == pytest.approx(6.0)


def test_settings_that_stay_are_told_as_measured(plain):
    """What no change touches is the log's own, and says so."""
    found = _shares(SimpleNamespace(data=plain), {}, set())
    assert {e.method for e in found.values()} == {MEASURED}
    assert found["missed_share"].value == 0.0


def test_an_unchanged_set_point_shifts_nothing():
    """Where the set point stays, or there is none, no cycle reaches it later."""
    scene = SimpleNamespace(model=SimpleNamespace(rows=np.arange(3), rise=None), now={"set_point": 56.0})
    assert _shift(scene, {"set_point": 56.0}).tolist() == [0.0, 0.0, 0.0]
    assert _shift(SimpleNamespace(model=scene.model, now={}), {}).tolist() == [0.0, 0.0, 0.0]


def test_the_turn_of_a_period(saving):
    """Every period that has bins has a moment of its highest and of its lowest vacuum."""
    there = np.unique(saving.bins.period[saving.bins.period >= 0])
    for highest in (True, False):
        level, when = _turns(saving, there, highest=highest)
        assert np.isfinite(level).all()
        assert np.isfinite(when).all()
        assert (when > -0.011).all()


def test_overshoot_below_the_threshold_is_no_delay(saving):
    """Turns that stand below supply_off mean no delay of the valve, never a negative one; few turns take the first's."""
    off = saving.settings["supply_off"].value_kpa
    coasts = SimpleNamespace(first=np.zeros(5, bool), turn_kpa=np.full(5, off - 1.0), duration_s=np.full(5, 1.0))
    rise = SimpleNamespace(ultimate=np.full(5, off + 10.0))
    assert _delay_later(saving, coasts, rise, 0.1, 0.05) == 0.0
    coasts.turn_kpa = np.full(5, off + 2.0)
    assert _delay_later(saving, coasts, rise, 0.1, 0.05) == pytest.approx(0.02)
    coasts.first = np.ones(5, bool)
    assert _delay_later(saving, coasts, rise, 0.1, 0.05) == 0.05


@pytest.mark.parametrize("end", [2.5, 0.95])
def test_the_modelled_pick_ends_with_its_suction(end):
    """A curve that is up before the end stays there; one that is not up is cut, and no level is put at its end."""
    rise = SimpleNamespace(ultimate=np.full(3, 80.0), at=lambda level: np.tile(np.linspace(0.0, 1.0, len(level)), (3, 1)))
    curve = model_curve(SimpleNamespace(rate=np.array([1.0, 2.0, 3.0]), end_s=np.full(3, end), rise=rise), {"set_point": 50.0})
    assert (np.diff(curve.time_s) > 0).all()
    assert curve.time_s[-1] <= end
    assert (curve.time_s[-1] == end) == (end > 1.0)
    late = SimpleNamespace(ultimate=rise.ultimate, at=lambda level: np.tile(np.append(np.linspace(0, 1, len(level) - 1), 3.0), (3, 1)))
    curve = model_curve(SimpleNamespace(rate=np.array([1.0, 2.0, 3.0]), end_s=np.full(3, 2.0), rise=late), {"set_point": 50.0})
    assert curve.time_s[-1] == 1.0


def test_how_far_a_setting_may_be_moved():
    """A bound that the rules know holds; where they know none there is none."""
    def ranges(**rules):
        facts = SimpleNamespace(reach_low=80.0)
        known = {"open_level": None, "point_most": None, "off_most": None, "dip_level": None, **rules}
        problem = SimpleNamespace(rules=SimpleNamespace(**known), options=OPTIONS, model=SimpleNamespace(facts=facts))
        return {name: (low, high) for name, low, high in _ranges(problem)}

    assert ranges(off_most=71.0)["supply_off"] == (0.0, 71.0)
    assert ranges()["supply_off"] == (0.0, float("inf"))
    assert ranges(point_most=60.0)["set_point"] == (OPTIONS.set_least_share * 80.0, 60.0)
    assert ranges(open_level=70.0)["set_point"][0] == max(70.0, OPTIONS.set_least_share * 80.0)
    assert ranges(dip_level=50.0)["reset_point"] == (0.0, 50.0)


def test_a_reset_point_above_the_set_point_is_none(saving):
    """No switch resets above its set point: read so, the two are one, as high as the set point may lie."""
    point, reset = Known(name="set_point", value=56.0, low=55.5, high=56.5), Known(name="reset_point", value=57.0, low=56.6, high=57.4)
    point, reset = _ordered(point, reset)
    assert (point.value, reset.value) == (56.5, 56.5)
    assert reset.low == 56.5
    assert reset.high == 56.5
    in_force = {**saving.settings, "supply_off": replace(saving.settings["supply_off"], value_kpa=np.nan)}
    assert "supply_off" not in known_settings(replace(saving, settings=in_force), OPTIONS)


def test_the_speed_near_a_level_where_none_shows(saving):
    """Without levels, or with evacuations too few, a circuit is taken to empty in 0.1 s; else the trace tells."""
    told = speed_kpa_s(saving, 40.0, rising=True)
    assert 0.0 < told < 500.0
    assert speed_kpa_s(replace(saving, levels_kpa=saving.levels_kpa[:2]), 40.0, rising=True) == 500.0
    assert speed_kpa_s(replace(saving, rise_s=saving.rise_s[:2]), 40.0, rising=True) == 500.0
