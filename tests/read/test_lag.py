"""Digitals that the logger wrote late are found and told, and never moved."""

import json
from dataclasses import replace

import numpy as np
import pytest

from tests.read.dialects import Dialect, make_recording
from tests.read.reading import read, written
from tracekit.model.trace import RELEASE_BIT, SUPPLY_BIT, Block
from tracekit.read import lag
from tracekit.read.inspection import inspect_log, inspection_json
from tracekit.read.inspection_text import inspection_text

RECORDING = make_recording(cycles=25)


def late(samples: int, invert: bool = False):
    """The recording with its digitals some samples late."""
    digital = np.roll(RECORDING.digital, samples)
    digital[:samples] = RECORDING.digital[0]
    return replace(RECORDING, digital=digital ^ 7 if invert else digital)


def twenty_picks(vacuum: np.ndarray, supply: np.ndarray, release: np.ndarray, *, seed: int):
    """A recording of one pick at 100 Hz, twenty times, with noise."""
    commands = SUPPLY_BIT * supply + RELEASE_BIT * release
    noise = np.random.default_rng(seed).normal(0.0, 0.05, 20 * len(vacuum))
    return replace(
        RECORDING, time_s=np.arange(20 * len(vacuum)) / 100, pressure_kpa=-np.tile(vacuum, 20) + noise,
        digital=np.tile(commands, 20).astype(RECORDING.digital.dtype),
    )  # fmt: skip


@pytest.mark.parametrize("samples", [5, 12, 30])
@pytest.mark.parametrize("invert", [False, True])
def test_late_digitals_are_told_and_not_moved(tmp_path, samples, invert):
    """Both commands show their lag within a sample and a half, and the levels stay as they were written."""
    recording = late(samples, invert)
    found = read(written(tmp_path, recording, Dialect()))
    assert np.array_equal(found.digital, recording.digital)
    lags = {one.signal: one for one in found.facts.digital_lags}
    assert set(lags) == {"supply", "release"}
    for one in lags.values():
        assert one.lag_s == pytest.approx(samples * 0.01, abs=0.016)
        assert one.edges >= 10
    assert sum("was written late" in w for w in found.facts.warnings) == 2
    told = {s: next(w for w in found.facts.warnings if w.startswith(f"{s} of log was written late")) for s in lags}
    assert {"response_delay_s", "evacuation_time_s"} <= set(told["supply"].replace(",", "").split())
    assert "release_time_s" in told["release"]


@pytest.mark.parametrize("samples", [0, 1])
def test_digitals_in_time_show_no_lag(tmp_path, samples):
    """Digitals that are in time, or late by one sample, which a logger's scan explains, are not reported."""
    found = read(written(tmp_path, late(samples), Dialect()))
    assert found.facts.digital_lags == ()


@pytest.mark.parametrize("late_s", [0.0, 0.2])
def test_the_longer_lag_holds_for_both(tmp_path, late_s):
    """An open cup hides the lag of the supply: what the release shows holds for it too, and is said so."""
    t = np.arange(0, 300) / 100
    vacuum = np.where((t >= 0.42) & (t < 0.55), 6.0, 0.0)
    vacuum = np.where(t >= 0.55, 6.0 + 64.0 * (1 - np.exp(-(t - 0.55).clip(0) / 0.08)), vacuum)
    vacuum = np.where(t >= 2.42, 70.0 * np.exp(-(t - 2.42).clip(0) / 0.02), vacuum)
    shifted = t - late_s
    recording = twenty_picks(vacuum, (shifted >= 0.4) & (shifted < 2.4), (shifted >= 2.4) & (shifted < 2.6), seed=5)
    found = read(written(tmp_path, recording, Dialect()))
    lags = {one.signal: one for one in found.facts.digital_lags}
    assert set(lags) == ({"supply", "release"} if late_s else set())
    for one in lags.values():
        assert one.lag_s == pytest.approx(late_s - 0.02, abs=0.02)
    told = [w for w in found.facts.warnings if w.startswith("supply of log was written late")]
    assert ["as its release shows" in w for w in told] == [True] * len(lags and [1])


def test_a_slow_valve_is_no_lag(tmp_path):
    """A pressure that answers late says nothing against the digitals."""
    slow = replace(RECORDING, pressure_kpa=np.roll(RECORDING.pressure_kpa, 15))
    assert read(written(tmp_path, slow, Dialect())).facts.digital_lags == ()


def test_a_log_without_commands(tmp_path):
    """A log without digitals, or without any change of its pressure, has no lag and no warning of one."""
    flat = replace(RECORDING, pressure_kpa=np.zeros(len(RECORDING.time_s)))
    found = read(written(tmp_path, flat, Dialect(names="canonical")))
    assert found.facts.digital_lags == ()


@pytest.mark.parametrize("rows", [700, 1500, 100_000])
def test_the_first_samples_tell_the_lag_in_whatever_blocks(monkeypatch, rows):
    """So many samples are looked at, to the row, and what comes later changes nothing."""
    monkeypatch.setattr(lag, "ANSWERS", replace(lag.ANSWERS, lag_samples=4000))
    recording = late(12)
    blocks = [
        Block(station=0, time_s=t, pressure_kpa=p, digital=d, context={})
        for t, p, d in zip(
            *(
                np.split(a, range(rows, len(a), rows))
                for a in (recording.time_s, recording.pressure_kpa, recording.digital)
            ),
            strict=True,
        )
    ]
    watch = lag.LagWatch("log", 1)
    for block in blocks:
        watch.feed(block)
    first = Block(
        station=0, time_s=recording.time_s[:4000], pressure_kpa=recording.pressure_kpa[:4000],
        digital=recording.digital[:4000], context={},
    )  # fmt: skip
    assert len(recording.time_s) > 6000
    assert watch.found().lags == lag.find_lags("log", [first])
    assert [one.signal for one in watch.found().lags] == ["supply", "release"]
    assert watch.found().lags != lag.find_lags("log", blocks)


def test_inspection_tells_the_lag(tmp_path):
    """The text and the JSON of an inspection name the signal and its lag."""
    (found,) = inspect_log(written(tmp_path, late(12), Dialect()))
    assert "supply of log was written late" in " ".join(inspection_text(found).split())
    lags = json.loads(json.dumps(inspection_json(found)))["digital_lags"]
    assert [one["signal"] for one in lags] == ["supply", "release"]


@pytest.mark.parametrize(("late_s", "told"), [(0.0, False), (0.45, True)])
def test_an_open_cup_and_an_over_pressure_are_no_answer(tmp_path, late_s, told):
    """A plateau of the open cup before the rise, and the end of a blow-off, do not pass for early answers."""
    t = np.arange(0, 300) / 100
    vacuum = np.where((t >= 0.53) & (t < 0.85), 10.0, 0.0)
    vacuum = np.where((t >= 0.85) & (t < 2.2), 10 + 60 * (1 - np.exp(-(t - 0.85).clip(0) / 0.1)), vacuum)
    vacuum = np.where((t >= 2.2) & (t < 2.5), -9 + 79 * np.exp(-(t - 2.2).clip(0) / 0.02), vacuum)
    signals = [(t >= 0.5 + late_s) & (t < 2.18 + late_s), (t >= 2.18 + late_s) & (t < 2.48 + late_s), vacuum > 50]
    digital = sum(s.astype(np.uint8) << k for k, s in enumerate(signals)).astype(np.uint8)
    noise = np.random.default_rng(1).normal(0, 0.1, 30 * len(t))
    recording = replace(
        RECORDING,
        time_s=np.round(np.arange(30 * len(t)) / 100, 6),
        pressure_kpa=np.round(noise - np.tile(vacuum, 30), 2),
        digital=np.tile(digital, 30),
    )
    lags = read(written(tmp_path, recording, Dialect())).facts.digital_lags
    assert [lag.signal for lag in lags] == (["supply", "release"] if told else [])


def test_suction_soon_after_a_strong_blow_off_is_in_time(tmp_path):
    """Suction 0.4 s after a blow-off with more than half as much over-pressure as vacuum: its end is no early answer."""
    t = np.arange(0, 300) / 100
    vacuum = np.where(t >= 0.43, 70.0 * (1 - np.exp(-(t - 0.43).clip(0) / 0.1)), 0.0)
    vacuum = np.where(t >= 2.6, -40.0, vacuum)
    commands = SUPPLY_BIT * ((t >= 0.4) & (t < 2.55)) + RELEASE_BIT * (t >= 2.55)
    noise = np.random.default_rng(7).normal(0.0, 0.05, 20 * len(t))
    recording = replace(
        RECORDING, time_s=np.arange(20 * len(t)) / 100, pressure_kpa=-np.tile(vacuum, 20) + noise,
        digital=np.tile(commands, 20).astype(RECORDING.digital.dtype),
    )  # fmt: skip
    assert read(written(tmp_path, recording, Dialect())).facts.digital_lags == ()


@pytest.mark.parametrize(("late_s", "told"), [(0.0, False), (0.1, True)])
def test_a_part_met_late_and_a_supply_cut_soon_are_in_time(tmp_path, late_s, told):
    """An open cup answers suction at once, the part is met 0.5 s later, and 0.12 s after that the supply is cut.

    The cut lies nearer to the rise than the command does: it is no late command, unless all edges are late.
    """
    t = np.arange(0, 300) / 100
    vacuum = np.where(t >= 0.42, 8.0, 0.0)
    vacuum = np.where(t >= 0.9, 8.0 + 62.0 * (1 - np.exp(-(t - 0.9).clip(0) / 0.03)), vacuum)
    vacuum = np.where(t >= 2.42, 70.0 * np.exp(-(t - 2.42).clip(0) / 0.02), vacuum)
    shifted = t - late_s
    on = (shifted >= 0.4) & (shifted < 1.02)
    recording = twenty_picks(vacuum, on, (shifted >= 2.4) & (shifted < 2.6), seed=3)
    assert bool(read(written(tmp_path, recording, Dialect())).facts.digital_lags) == told


@pytest.mark.parametrize(("late_s", "told"), [(0.0, False), (0.1, True)])
def test_vacuum_that_rises_again_at_once_is_in_time(tmp_path, late_s, told):
    """No open cup answers, the part is met late and the supply cut soon after; in the hold it comes back on as it should.

    The fall of the hold becomes a rise at that edge, unless all edges are late.
    """
    t = np.arange(0, 300) / 100
    vacuum = np.interp(t, [0.0, 0.9, 0.95, 1.02, 1.52, 1.6, 2.42, 2.46, 3.0], [0, 0, 50, 70, 64, 70, 60, 0, 0])
    shifted = t - late_s
    on = ((shifted >= 0.4) & (shifted < 1.02)) | ((shifted >= 1.52) & (shifted < 1.6))
    recording = twenty_picks(vacuum, on, (shifted >= 2.4) & (shifted < 2.6), seed=4)
    assert bool(read(written(tmp_path, recording, Dialect())).facts.digital_lags) == told


def early(found) -> list[str]:
    """What is told of digitals that look early."""
    return [w for w in found.facts.warnings if "early or more" in w]


@pytest.mark.parametrize("samples", [4, 10, 16])
@pytest.mark.parametrize("invert", [False, True])
def test_early_digitals_are_told_by_the_switch(tmp_path, samples, invert):
    """A switch that comes on below where it goes off shows stamps that are early, by no more than they are."""
    digital = np.concatenate([RECORDING.digital[samples:], np.full(samples, RECORDING.digital[-1])])
    moved = replace(RECORDING, digital=(digital ^ 7 if invert else digital).astype(np.uint8))
    found = read(written(tmp_path, moved, Dialect()))
    assert found.facts.digital_lags == ()
    (told,) = early(found)
    assert 0.0 < float(told.partition(" look ")[2].partition(" s ")[0]) <= samples * 0.01 + 0.011


@pytest.mark.parametrize("samples", [0, 1, 12])
def test_digitals_in_time_or_late_are_not_called_early(tmp_path, samples):
    """In time, or late: the switch comes on above where it goes off."""
    assert early(read(written(tmp_path, late(samples), Dialect()))) == []


def test_a_part_sensor_that_is_no_switch_is_not_called_early(tmp_path):
    """A light barrier sees the part before there is vacuum, but the pressure answers the valves at once."""
    bits = RECORDING.digital & 3
    barrier = np.roll(RECORDING.digital & 4, -40)
    assert early(read(written(tmp_path, replace(RECORDING, digital=bits | barrier), Dialect()))) == []


def test_a_slow_valve_is_not_called_early(tmp_path):
    """A pressure that answers late moves the switch with it."""
    slow = np.roll(RECORDING.pressure_kpa, 15)
    moved = replace(RECORDING, pressure_kpa=slow, digital=RECORDING.digital & 3 | np.roll(RECORDING.digital & 4, 15))
    assert early(read(written(tmp_path, moved, Dialect()))) == []


def test_a_supply_that_looks_late_alone_is_no_lag(tmp_path):
    """One logger writes both commands: where blow-off is answered in time, a late supply is no lag of the digitals."""
    moved = RECORDING.digital & 6 | np.roll(RECORDING.digital & 1, 12)
    assert read(written(tmp_path, replace(RECORDING, digital=moved), Dialect())).facts.digital_lags == ()
    assert len(read(written(tmp_path, late(12), Dialect())).facts.digital_lags) == 2
