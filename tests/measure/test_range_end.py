"""A range that ends above the vacuum of the station: told from coarse steps, and what lies beyond it is withheld."""

from dataclasses import replace

import numpy as np
import pytest
from segment.made_traces import KNOWN, PLAIN, SAVING, measured, trace_of

from tests.judge.test_verdict import case_of
from tracekit.judge.verdict import judge
from tracekit.model.cycle import StationData
from tracekit.model.finding import Finding
from tracekit.options.judge import JudgeOptions
from tracekit.signal.range_end import end_of_range_kpa, range_cuts, unexplained_share

FILED = replace(KNOWN, supply_off_kpa=70.0, supply_on_kpa=63.0)


def recorded(pieces, *, noise: float, step: float, end: float, settings=KNOWN) -> StationData:
    """Twelve picks by a recorder with steps of `step` and a range that ends at `end` kPa of vacuum."""
    columns = trace_of(pieces * 12, noise=noise)
    stepped = np.maximum(np.round(columns["pressure_kpa"] / step) * step, -end)
    return measured({**columns, "pressure_kpa": np.round(stepped, 3)}, settings=settings)


def test_steps_wider_than_the_noise_do_not_hide_a_cut_range():
    """Two thirds of the samples at the deepest of steps of 1.6 σ: by noise alone 8 % of a hold would lie there."""
    plain = recorded(PLAIN, noise=0.03, step=0.05, end=100.0).sensor
    facts = replace(plain, noise_kpa=0.0315, quantisation_kpa=0.05, clipped_low_share=0.66, range_low_kpa=-55.8)
    assert unexplained_share(facts) == pytest.approx(0.66 - 1.5 * 0.0787, abs=0.003)
    assert range_cuts(facts)
    assert not range_cuts(replace(facts, quantisation_kpa=0.109))  # the widest step that noise of σ lets appear
    assert not range_cuts(replace(facts, range_low_kpa=-5.0))
    assert not range_cuts(replace(facts, noise_kpa=0.0))


@pytest.mark.parametrize("step", [0.05, 0.1, 0.2, 0.4, 0.8])
def test_a_steady_hold_in_coarse_steps_is_no_cut_range(step: float):
    """Holds at 75 kPa in steps of up to 27 σ sit at one reading, which is no end of a range."""
    data = recorded(PLAIN, noise=0.03, step=step, end=100.0)
    assert end_of_range_kpa(data.sensor) == np.inf
    assert np.isfinite(data.cycles.floats("ultimate_vacuum_kpa")).sum() >= 10


def test_what_lies_beyond_the_range_is_withheld():
    """Cuts at 70 and recharges at 63 kPa read 60: no ultimate vacuum, and the station file's settings stand."""
    whole = recorded(SAVING, noise=0.03, step=0.05, end=100.0, settings=FILED)
    short = recorded(SAVING, noise=0.03, step=0.05, end=60.0, settings=FILED)
    assert whole.settings["supply_off"].source == "edges"
    assert np.isfinite(whole.timing["tends_to_kpa"]).any()
    assert not whole.notes
    assert not np.isfinite(short.timing["tends_to_kpa"]).any()
    assert not np.isfinite(short.cycles.floats("ultimate_vacuum_kpa")).any()
    for name, value in (("supply_off", 70.0), ("supply_on", 63.0)):
        assert (short.settings[name].source, short.settings[name].value_kpa) == ("station file", value)
        assert set(short.cycle_settings[name][:-1]) <= {value}
    assert short.settings["set_point"].source == "edges"
    assert "60.0 kPa" in short.notes[0]
    assert "supply_off, supply_on" in short.notes[0]
    unnamed = recorded(SAVING, noise=0.03, step=0.05, end=60.0)
    assert unnamed.settings["supply_off"].value_kpa is None


@pytest.mark.parametrize("pieces", [PLAIN, SAVING])
def test_a_cut_range_is_named_alone(pieces):
    """Against a healthy baseline the range is the one thing wrong: no leak, no narrow band, no set point too high."""
    usual = case_of(pieces * 12)
    short = recorded(pieces, noise=0.03, step=0.05, end=58.0)
    against = replace(usual, data=short, baseline=usual.data, baseline_leak=usual.leak)
    listed: list[Finding] = [f for f in judge(against, JudgeOptions()).findings if f.severity != "info"]
    assert [f.code for f in listed] == ["sensor_clipped"]
