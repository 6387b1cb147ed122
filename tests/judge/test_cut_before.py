"""A supply that the baseline cut and the log never cuts, without a level in the log or in a station file."""

from dataclasses import replace

import numpy as np
import pytest
from segment.made_traces import KNOWN, PLAIN, SAVING, data_of

from tracekit.judge.cut_before import cut_before_facts
from tracekit.model.cycle import StationData
from tracekit.model.station import Settings

UNKNOWN = replace(KNOWN, supply_off_kpa=None, supply_on_kpa=None)


@pytest.fixture(scope="module")
def uncut() -> StationData:
    """The supply is on through every hold, and nothing says where it would be cut."""
    return data_of(PLAIN * 12, noise=0.03, settings=UNKNOWN)


@pytest.fixture(scope="module")
def before() -> StationData:
    """The same station with air saving, which cuts at some 70 kPa."""
    return data_of(SAVING * 12, noise=0.03, settings=UNKNOWN)


def test_a_supply_that_was_cut_before_is_missed(uncut: StationData, before: StationData) -> None:
    """Both the symptom and the setting name the level of the baseline, and how many holds show it."""
    symptom, setting = cut_before_facts(uncut, before)
    assert symptom is not None
    assert setting is not None
    assert (symptom.code, setting.code) == ("supply_never_cuts", "supply_off_unreachable")
    assert symptom.probability == pytest.approx(0.97, abs=0.01)
    assert setting.probability == pytest.approx(0.87, abs=0.01)
    assert setting.evidence[0].reference == pytest.approx(70.0, abs=0.5)
    assert setting.reason.startswith("the supply stays on through 12 of 12 holds; before, it was cut at 69.8 kPa")
    assert "supply_pressure_low" in setting.explained_by


def test_nothing_is_missed_that_was_not_there(uncut: StationData, before: StationData) -> None:
    """No baseline, one without cuts, a log that cuts, or a level that the other rules judge: no such fact."""
    known = data_of(PLAIN * 12, noise=0.03, settings=Settings(supply_off_kpa=80.0))
    seldom = np.where(np.arange(12) < 6, before.cycles.codes("coasts"), 0)
    rare = replace(before, cycles=before.cycles.with_columns(coasts=seldom))
    for data, baseline in ((uncut, None), (uncut, uncut), (before, before), (known, before), (uncut, rare)):
        assert cut_before_facts(data, baseline) == (None, None)


def test_holds_that_are_cut_make_it_less_sure(uncut: StationData, before: StationData) -> None:
    """Half of the holds with a cut: even odds, as half of them without one."""
    some = replace(uncut, cycles=uncut.cycles.with_columns(coasts=np.where(np.arange(12) < 6, 1, 0)))
    symptom, setting = cut_before_facts(some, before)
    assert symptom is not None
    assert setting is not None
    assert symptom.probability == pytest.approx(0.485)
    assert setting.probability == pytest.approx(0.435)
    assert list(setting.cycles) == [6, 7, 8, 9, 10, 11]
