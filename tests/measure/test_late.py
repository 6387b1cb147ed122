"""A log whose digitals were written late: what edges would make wrong is withheld, the rest still holds."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tracekit.measure.late import AT_EDGES, FROM_SUPPLY, withhold_late
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Estimate
from tracekit.model.result import DiagnosisRecord
from tracekit.model.trace import DigitalLag
from tracekit.options.measure import MeasureOptions
from tracekit.pipeline import diagnose, measure
from tracekit.read.station_file import load_station
from tracekit.simulate.draw_scenario import random_scenario
from tracekit.simulate.log import simulate
from tracekit.simulate.station_text import station_text
from tracekit.tune.tuning import tune_station


def late(folder: Path, label: str, seed: int, late_s: float) -> tuple[DiagnosisRecord, float]:
    """The diagnosis of a simulated station whose logger wrote the digitals late, and its true leak [kPa/s]."""
    drawn = random_scenario(label, seed, 2)
    recorder = replace(
        drawn.station.recorder, digital_late_s=-late_s, supply_signal="valve", release_logged=True, gaps=0
    )
    log = simulate(replace(drawn, cycles=25, station=replace(drawn.station, recorder=recorder)))
    path, station = log.write(folder), folder / "station.toml"
    station.write_text(station_text(log.truth))
    facts = log.truth["station"]
    scale = facts["ambient_temperature_k"] / 293.15 / facts["volume_m3"] / 1e3
    true = [c["leak"]["q60_total"] * scale for c in log.truth["cycles"] if c["outcome"] == "held"]
    return diagnose(str(path), station=load_station(station)), float(np.median(true))


@pytest.mark.parametrize("late_s", [0.05, 0.1])
def test_a_lag_withholds_what_edges_tell_and_the_leak_has_a_value(tmp_path: Path, late_s: float) -> None:
    """Times at edges have no value, settings are the file's, the leak has a value, and the reader is told why."""
    record, _ = late(tmp_path, "cup_leak_orifice", 63, late_s)
    (result,) = record.stations
    assert record.logs[0].digital_lags
    for name in AT_EDGES:
        assert np.isnan(result.data.cycles.floats(name)).all(), name
    assert np.isnan(result.data.rise_s).all()
    assert np.isnan(result.data.fall_s).all()
    assert result.data.late_s > late_s
    assert {s.source for s in result.data.settings.values()} <= {"station file", "absent"}
    assert result.data.settings["set_point"].value_kpa == result.data.settings["set_point"].station_file_kpa
    decay = result.leak.decay_rate
    assert isinstance(decay, Estimate)
    assert any(
        "response_delay_s" in note and f"{result.data.late_s:.2g} s late" in note for note in result.limits_of_log
    )
    assert not {f.code for f in result.findings} & {"set_point_too_high", "sensor_zero_shift", "supply_valve_slow"}


def test_leaks_of_late_digitals_lie_in_their_intervals(tmp_path: Path) -> None:
    """Of ten stations with digitals 0.1 s late seven have a value; of their intervals of 95 % one may miss."""
    inside = []
    for seed in range(60, 70):
        folder = tmp_path / str(seed)
        folder.mkdir()
        record, true = late(folder, "cup_leak_orifice", seed, 0.1)
        decay = record.stations[0].leak.decay_rate
        if isinstance(decay, Estimate):
            inside.append(decay.lower <= true <= decay.upper)
    assert len(inside) >= 7
    assert sum(inside) >= len(inside) - 1


def test_a_healthy_station_with_late_digitals_has_no_finding_and_can_be_tuned(tmp_path: Path) -> None:
    """A tenth of a second makes neither a zero shift nor a set point out of reach of a healthy station."""
    record, _ = late(tmp_path, "healthy_airsave", 61, 0.1)
    (result,) = record.stations
    assert result.findings == ()
    tuning = tune_station(result, load_station(tmp_path / "station.toml"))
    shown = {} if tuning.fitted is None else tuning.fitted.figures
    assert not any(isinstance(shown.get(n), Estimate) for n in ("response_delay_s", "evacuation_time_s"))


def test_a_lag_that_the_valve_hides_changes_nothing(tmp_path: Path) -> None:
    """Digitals 20 ms late cannot be told from a quick valve, and nothing is withheld on suspicion."""
    record, _ = late(tmp_path, "cup_leak_orifice", 63, 0.02)
    (result,) = record.stations
    assert record.logs[0].digital_lags == ()
    assert result.data.late_s == 0.0
    assert np.isfinite(result.data.cycles.floats("evacuation_time_s")).any()


@pytest.fixture(scope="module")
def in_time(tmp_path_factory: pytest.TempPathFactory) -> StationData:
    """A station whose log is in time."""
    log = simulate(replace(random_scenario("cup_leak_orifice", 63, 2), cycles=8))
    return measure(str(log.write(tmp_path_factory.mktemp("in_time")))).stations[0]


def test_without_a_lag_the_record_is_the_same(in_time: StationData) -> None:
    """Nothing is copied or changed where no lag was found."""
    assert withhold_late(in_time, (), MeasureOptions()) is in_time


@pytest.mark.parametrize("signal", ["supply", "release"])
def test_the_evacuation_is_withheld_where_the_supply_shows_the_lag(in_time: StationData, signal: str) -> None:
    """A late supply loses the beginning of an evacuation; a late release alone leaves its time constant."""
    lag = DigitalLag(station=in_time.station, signal=signal, lag_s=0.1, u_s=0.01, edges=20)
    after = replace(in_time, timing={**in_time.timing, "release_s": in_time.timing["release_s"] + lag.lag_s})
    found = withhold_late(after, (lag,), MeasureOptions())
    assert found.late_s == pytest.approx(0.1 + 0.02 + MeasureOptions().late_hidden_s)
    shown, left = (
        {"tends_to_kpa": d.timing["tends_to_kpa"]} | {n: d.cycles.floats(n) for n in FROM_SUPPLY}
        for d in (in_time, found)
    )
    for name in ("tends_to_kpa", "pump_time_constant_s"):
        assert np.isfinite(shown[name]).any()
    for name in shown:
        assert np.isfinite(left[name]).any() == (np.isfinite(shown[name]).any() and signal == "release")


def test_vacuum_before_the_supply_command_is_no_lag_where_blow_offs_wait(in_time: StationData) -> None:
    """A supply valve that passes makes vacuum before its command; a late log would show blow-offs before theirs too."""
    supply = DigitalLag(station=in_time.station, signal="supply", lag_s=0.1, u_s=0.01, edges=20)
    release = replace(supply, signal="release")
    assert withhold_late(in_time, (supply,), MeasureOptions()) is in_time
    assert withhold_late(in_time, (supply, release), MeasureOptions()).late_s > 0.1
