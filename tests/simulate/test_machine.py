"""Valves, switch, air saving and cup, step by step."""

import numpy as np
import pytest

from tracekit.simulate.machine import drive_valve, new_switch, new_valve, save_air, watch_pressure
from tracekit.simulate.scenario import Scenario
from tracekit.simulate.schedule import Schedule, healthy_schedule

DT = 0.001


def _schedule(cycles: int = 1) -> Schedule:
    return healthy_schedule(Scenario(name="machine", cycles=cycles), np.random.default_rng(0))


def _opened_at(command: np.ndarray, delays: tuple[float, float]) -> np.ndarray:
    valve, opened = new_valve(1), []
    for k, level in enumerate(command):
        valve = drive_valve(valve, np.array([level]), k * DT, (np.array([delays[0]]), np.array([delays[1]])))
        opened.append(bool(valve.open[0]))
    return np.array(opened)


def test_a_valve_follows_after_its_delays() -> None:
    """Open 14 ms after the command, shut 9 ms after its end."""
    command = np.zeros(200, bool)
    command[50:120] = True
    opened = np.flatnonzero(_opened_at(command, (0.014, 0.009)))
    assert (opened[0], opened[-1] + 1) == (64, 129)


def test_a_pulse_shorter_than_the_delay_moves_nothing() -> None:
    """A command of 5 ms does not open a valve that needs 14 ms."""
    command = np.zeros(100, bool)
    command[50:55] = True
    assert not _opened_at(command, (0.014, 0.009)).any()


def _output(vacuum_kpa: np.ndarray, response_s: tuple[float, float]) -> np.ndarray:
    switch, schedule, levels = new_switch(1), _schedule(), []
    for k, vacuum in enumerate(vacuum_kpa):
        switch = watch_pressure(switch, np.array([vacuum]), schedule, response_s, k * DT)
        levels.append(bool(switch.present[0]))
    return np.array(levels)


def test_the_switch_has_hysteresis() -> None:
    """On at 56 kPa, off below 51 kPa, and in between as it was."""
    ramp = np.concatenate([np.linspace(40.0, 60.0, 201), np.linspace(60.0, 40.0, 201)])
    levels = _output(ramp, (0.0, 0.0))
    assert ramp[np.flatnonzero(levels)[0]] == pytest.approx(56.0, abs=0.11)
    assert ramp[np.flatnonzero(levels)[-1] + 1] == pytest.approx(51.0, abs=0.21)


def test_the_switch_ignores_what_is_shorter_than_its_response() -> None:
    """A peak of 4 ms above the set point does not set an output that needs 5 ms; one of 7 ms does."""
    short, long = np.full(60, 50.0), np.full(60, 50.0)
    short[20:24], long[20:27] = 58.0, 58.0
    assert not _output(short, (0.005, 0.005)).any()
    assert _output(long, (0.005, 0.005)).any()


def test_air_saving_cuts_and_resumes() -> None:
    """The supply is cut at 70 kPa, stays off in the band, resumes at 63 kPa, and is off without a request."""
    schedule, on, off = _schedule(), np.array([True]), np.array([False])
    at = {69.9: on, 70.0: off}
    assert all(save_air(on, on, np.array([v]), schedule) == want for v, want in at.items())
    assert save_air(off, on, np.array([66.0]), schedule) == off
    assert save_air(off, on, np.array([63.0]), schedule) == on
    assert save_air(on, off, np.array([50.0]), schedule) == off
