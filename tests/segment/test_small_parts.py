"""Small parts of cutting and measuring, each against what is plain by hand."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from segment import made_traces
from segment.made_traces import KNOWN, PLAIN, SAVING, Piece, blow_off, coast, data_of, evacuate, hold, idle, trace_of

from tracekit import pipeline
from tracekit.measure.evacuation import level_grid
from tracekit.model.station import Settings
from tracekit.model.trace import RELEASE_BIT, SUPPLY_BIT
from tracekit.options.measure import MeasureOptions
from tracekit.options.segment import SegmentOptions
from tracekit.segment.learn import _saves_air
from tracekit.segment.sawtooth import _turn
from tracekit.segment.thresholds import bracket, switch_edges
from tracekit.segment.wiring import _release_level, find_wiring


@pytest.mark.parametrize("level", [np.zeros(50, bool), np.ones(50, bool)])
def test_a_release_that_never_changes(level):
    """A command that is always the same tells nothing of its polarity."""
    assert _release_level(np.linspace(60.0, 0.0, 50), level) == (None, "never changes")


def test_the_bracket_of_a_fast_log():
    """Where samples come faster than a switch answers, a threshold lies at most one step beyond the two samples."""
    samples = SimpleNamespace(interval=1e-4, vacuum=np.array([10.0, 9.0, 5.0, 5.0]))
    down = bracket(samples, np.array([2]), upward=False)
    assert (down.low.tolist(), down.high.tolist()) == ([5.0], [10.0])
    samples.vacuum = samples.vacuum[::-1].copy()
    up = bracket(samples, np.array([3]), upward=True)
    assert (up.low.tolist(), up.high.tolist()) == ([5.0], [10.0])


def test_the_turn_of_a_rise():
    """The last sample at the top before the fall; none in an empty stretch or where nothing falls."""
    values = np.array([0.0, 5.0, 9.0, 9.0, 4.0, 1.0])
    assert _turn(values, np.array([0]), np.array([6]), 2.0, 3.0).tolist() == [3]
    assert _turn(values, np.array([2]), np.array([2]), 2.0, 3.0).tolist() == [-1]
    assert _turn(values, np.array([0]), np.array([3]), 2.0, 3.0).tolist() == [-1]


def saves(level_of_cuts) -> bool:
    """Whether ten holds that are cut once each, at these levels, save air."""
    smooth = np.tile(np.r_[np.zeros(10), np.full(90, 70.0)], 10)
    cuts = np.arange(10) * 100 + 50
    vacuum = smooth.copy()
    vacuum[cuts] = level_of_cuts
    samples = SimpleNamespace(smooth=smooth, vacuum=vacuum, noise=0.05, has_release=True, supply_fall=cuts)
    spans = SimpleNamespace(start=np.arange(10) * 100, end=np.arange(1, 11) * 100)
    edges = SimpleNamespace(supply_on=np.zeros(0, int), supply_off=cuts)
    return _saves_air(samples, spans, edges, 70.0, Settings())


def test_air_is_saved_where_suction_is_cut_at_one_vacuum():
    """Cuts at one level are a threshold; cuts anywhere are the ends of holds."""
    assert saves(np.full(10, 68.0))
    assert not saves(np.linspace(40.0, 70.0, 10))


def test_a_supply_that_pressure_does_not_answer_is_told_by_the_release():
    """Where the head shows no evacuation, the supply is off while the release, whose level is known by then, is on."""
    release = np.arange(400) % 100 >= 90
    supply = (np.arange(400) % 100 >= 20) & (np.arange(400) % 100 < 60)
    pressure = np.zeros(400)
    for inverted in (False, True):
        digital = (SUPPLY_BIT * (supply != inverted) + RELEASE_BIT * release).astype(np.uint8)
        layout = SimpleNamespace(has_supply=True, has_release=True, has_present=False, on_level={"release": 1})
        wiring = find_wiring(pressure, digital, layout)
        assert wiring.supply_on_level == int(not inverted)
        assert "while release is on" in wiring.evidence["supply"]


def test_a_log_without_release_that_ends_in_a_coast():
    """Where the last part is still held when the log ends, its hold lasts to the end; the cycles before are as ever."""
    data = data_of((*SAVING * 4, *SAVING[:3]), drop=["release"])
    assert data.cycles.texts("outcome") == ["held"] * 5
    whole = data_of((*SAVING * 5, idle()), drop=["release"])
    assert whole.cycles.floats("end_s")[:3].tolist() == data.cycles.floats("end_s")[:3].tolist()


def test_supply_that_comes_on_in_little_vacuum_resumes_nothing():
    """A supply-on inside a cycle tells supply_on only at a vacuum that holds a part; a new attempt tells nothing."""
    smooth = np.concatenate([np.linspace(0, 70, 20), np.full(20, 68.0), np.full(20, 70.0), np.full(20, 9.0), np.full(20, 70.0), np.zeros(20)])
    nothing = np.zeros(0, int)
    samples = SimpleNamespace(
        smooth=smooth, vacuum=smooth, time=np.arange(120) * 0.01, interval=0.01, noise=0.05, present_rise=np.array([18]), present_fall=np.array([112]),
        supply_fall=np.array([25, 60]), supply_rise=np.array([2, 40, 79]), has_present=True, has_release=True, width=3,
    )  # fmt: skip
    spans = SimpleNamespace(start=np.array([2]), end=np.array([120]), release=np.array([105]))
    edges = switch_edges(samples, spans, 70.0, replace(SegmentOptions(), release_gap_s=5.0))
    assert (edges.supply_on.tolist(), edges.supply_off.tolist()) == ([40], [25])
    samples.supply_rise, samples.supply_fall = np.array([2]), nothing
    edges = switch_edges(samples, spans, 70.0, replace(SegmentOptions(), release_gap_s=5.0))
    assert (edges.set_point.tolist(), edges.supply_on.tolist(), edges.supply_off.tolist()) == ([18], [], [])


FAILED = (idle(), evacuate(0.3, to=54.0), coast(0.1, 52.0), evacuate(0.3, to=55.0), coast(0.1, 53.0), blow_off())
"""A pick whose set point of 56 kPa is never reached: tried twice, the supply off between for 0.1 s, then given up."""


def test_tries_that_fail_are_no_air_saving():
    """A supply that is cut and comes on again before the output does belongs to tries, not to holds that save air."""
    data = data_of((*(*PLAIN, *PLAIN, *FAILED) * 4, idle()), settings=KNOWN)
    assert data.cycles.texts("outcome") == ["held", "held", "missed"] * 4
    assert not data.air_saving
    assert (data.settings["supply_off"].source, data.settings["supply_on"].source) == ("absent", "absent")


def test_a_try_given_up_as_the_set_point_was_reached_tells_no_supply_on():
    """The supply that comes on again after such a cut is another try, and tells nothing of supply_on."""
    late = (idle(), evacuate(0.3, to=58.0), coast(0.3, 54.0), made_traces.recharge(0.2, 70.0), hold(0.6, to=70.0), blow_off())
    settings = replace(KNOWN, supply_off_kpa=70.0, supply_on_kpa=63.0)
    tried = data_of((*(*SAVING, *SAVING, *late, *late, *late, *late, *late) * 2, idle()), settings=settings)
    assert tried.settings["supply_off"].value_kpa == 70.0
    assert tried.settings["supply_on"].value_kpa == 63.0


def test_an_output_that_comes_as_the_try_is_given_up_is_no_grip():
    """The valve lets in a little more after the command: vacuum passes the set point when the station has given up."""
    given_up = (
        idle(), Piece(seconds=0.3, to=57.0, tau_s=0.1, supply=1, present=0), Piece(seconds=0.03, to=57.5, present=1), blow_off()
    )  # fmt: skip
    data = data_of((*(*PLAIN, *given_up) * 4, idle()), settings=KNOWN)
    assert data.cycles.texts("outcome") == ["held", "missed"] * 4


@pytest.mark.parametrize("settings", [KNOWN, None])
def test_a_try_given_up_near_the_set_point_is_counted(settings):
    """A supply that is cut below the set point before the output came, and comes on again, is another try of the pick."""
    again = (
        idle(), evacuate(0.3, to=50.0), coast(0.3, 45.0), evacuate(0.4, to=75.0), hold(0.6, to=75.0), blow_off()
    )  # fmt: skip
    data = data_of((*(*again, *PLAIN) * 4, idle()), settings=settings)
    assert data.cycles.codes("attempts").tolist() == [2, 1] * 4
    assert data.cycles.floats("evacuation_time_s")[::2] == pytest.approx(np.full(4, 0.1 * np.log(30.0 / 19.0)), abs=0.012)
    below = level_grid(MeasureOptions()) < 44.0
    assert np.isnan(data.rise_s[::2, below]).all()
    assert np.isfinite(data.rise_s[1::2, below]).all()


def test_digitals_that_are_written_less_often_drop_nothing(tmp_path):
    """Commands that reach the log up to 40 ms late have let the part go already when they show: that is no drop."""
    frame = pd.DataFrame(trace_of((*(*PLAIN, idle(0.013)) * 12, idle()), rate_hz=1000))
    frame[["time_s", "pressure_kpa"]].iloc[::5].to_csv(tmp_path / "pressure.csv", index=False)
    frame[["time_s", "supply", "release", "part_present"]].iloc[::40].to_csv(tmp_path / "digitals.csv", index=False)
    measured = pipeline.measure([tmp_path / "pressure.csv", tmp_path / "digitals.csv"])
    assert measured.layout.digital_late_s == pytest.approx(0.04)
    assert measured.stations[0].cycles.texts("outcome") == ["held"] * 12
