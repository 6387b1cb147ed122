"""Recorded pressure through a software switch."""

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.tune import tuned_stations as stations
from tracekit.pipeline import diagnose
from tracekit.read import open_log
from tracekit.simulate.scenario import Sensor
from tracekit.tune.replay import answer_time_s, answering_switch, changes, compared, replay_bins, replay_blocks, switch

NOISY = replace(Sensor(), coloured_share=1.0, step_kpa=0.0, noise_kpa=0.25)


def slow_switch(time, vacuum, on, off, answer):
    """The switch as its manual says it, one reading after the other."""
    state, since, out = False, None, []
    for t, v in zip(time, vacuum, strict=True):
        wants = v < off if state else v >= on
        since = (t if since is None else since) if wants else None
        if wants and t - since >= answer - 1e-12:
            state, since = not state, None
        out.append(state)
    return np.array(out)


@pytest.mark.parametrize("answer", [0.0, 0.004, 0.02])
def test_vectorised_switch_is_the_plain_one(answer):
    """The vectorised switch does what a switch that goes reading by reading does, with and without answering time."""
    rng = np.random.default_rng(4)
    time = np.arange(5000) * 0.001
    vacuum = 55.0 + 4.0 * np.sin(time * 9.0) + rng.normal(0.0, 0.6, len(time))
    expected = slow_switch(time, vacuum, 56.0, 54.0, answer)
    assert np.array_equal(answering_switch(time, vacuum, (56.0, 54.0), answer, before=False), expected)


def test_missing_readings_change_nothing():
    """A reading that is missing leaves the output as it is."""
    vacuum = np.array([10.0, 60.0, np.nan, np.nan, 40.0, np.nan])
    assert switch(vacuum, 55.0, 50.0).tolist() == [False, True, True, True, False, False]


def consistent(point=84.1, reset=83.9, answer=0.005):
    """A log whose output is what a switch makes of exactly the recorded pressure."""
    log = stations.logged(stations.scenario(stations.spec(saving=None, sensor=NOISY), cycles=10))
    present = slow_switch(log.time_s, -log.pressure_kpa, point, reset, answer)
    columns = {"time_s": log.time_s, "pressure_kpa": log.pressure_kpa, "supply": log.supply, "release": log.release}
    return pd.DataFrame({**columns, "part_present": present.astype(int)})


def test_replay_gives_exactly_the_recorded_edges():
    """With the thresholds in force the replay has every recorded edge of every cycle, and finds the answering time."""
    frame = consistent()
    data = diagnose(frame).stations[0].data
    blocks = tuple(open_log(frame).blocks())
    values = {"set_point": 84.1, "reset_point": 83.9}
    answer = answer_time_s(blocks, 0, data, values)
    found = replay_blocks(blocks, 0, data, values, answer)
    recorded = data.cycles.codes("output_edges")
    assert 0.0 < answer <= 0.005  # within the sample interval before the true one
    assert recorded.sum() > 60
    assert found.edges.tolist() == recorded.tolist()


def test_other_thresholds_give_what_such_a_switch_would_do():
    """Replayed with other thresholds the edges are those of a log that was made with them."""
    data = diagnose(consistent()).stations[0].data
    blocks = tuple(open_log(consistent()).blocks())
    for point, reset in ((80.0, 76.0), (84.3, 83.2)):
        found = replay_blocks(blocks, 0, data, {"set_point": point, "reset_point": reset}, 0.005)
        other = consistent(point, reset)
        up = np.flatnonzero(np.diff(other["part_present"].to_numpy()) > 0) + 1
        assert int((found.edges).sum()) == int(np.abs(np.diff(other["part_present"])).sum())
        first = [float(other["time_s"].iloc[i] - other["time_s"].iloc[0]) for i in up]
        assert all(any(abs(t - v) < 1e-6 for v in first) for t in found.on_s[np.isfinite(found.on_s)])


def test_pieces_of_a_log_replay_like_the_whole():
    """The replay does not depend on how the samples are cut into blocks."""
    frame = consistent()
    data = diagnose(frame).stations[0].data
    blocks = tuple(open_log(frame).blocks())
    pieces = tuple(
        replace(block, time_s=block.time_s[a:b], pressure_kpa=block.pressure_kpa[a:b], digital=block.digital[a:b])
        for block in blocks
        for a, b in itertools.pairwise(np.linspace(0, len(block.time_s), 9).astype(int))
    )
    values = {"set_point": 84.1, "reset_point": 83.9}
    one, many = (replay_blocks(b, 0, data, values, 0.005) for b in (blocks, pieces))
    assert one.edges.tolist() == many.edges.tolist()
    assert np.array_equal(one.on_s, many.on_s, equal_nan=True)


def test_averaged_traces_show_what_is_left():
    """On the averaged traces wide thresholds leave no drop and no edge of a station that loses its output now."""
    result = stations.diagnosed(stations.ORDER)
    now = {"set_point": 68.0, "reset_point": 65.0, "supply_off": 70.0, "supply_on": 63.0}
    wide = {**now, "set_point": 58.0, "reset_point": 52.0}
    old, new = (replay_bins(result.data, v, now, 1.0) for v in (now, wide))
    counts = compared(result.data, old, new)
    assert counts["drops_avoided"] > 10
    assert counts["drops_left"] == counts["edges_left"] == 0


def test_changes_are_edges():
    """Edges are where a state differs from the one before it."""
    up, down = changes(np.array([False, True, True, False, True]))
    assert up.tolist() == [1, 4]
    assert down.tolist() == [3]
