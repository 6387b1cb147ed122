"""Whole logs: the truth agrees with the columns, and the same scenario gives the same log."""

import csv
import hashlib
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from tracekit.errors import OutputError, UsageError
from tracekit.simulate import Scenario, SimulatedLog, simulate
from tracekit.simulate.calibration import random_calibration
from tracekit.simulate.scenario import Fault, Recorder, Saving, Sensor, Sequencer, StationSpec, Switch, Valves, Volumes
from tracekit.simulate.station_text import station_text
from tracekit.simulate.together import write_together

NAMED_IN_SCORES = {
    "cycle", "start_s", "end_s", "supply_on_s", "true_setpoint_s", "part_present_on_s", "lift_s", "release_on_s", "outcome",
    "sequence_off_s", "supply_toggles", "part_present_edges", "leak", "ultimate_vac_kpa", "sensor_offset_kpa",
    "sensor_noise_kpa", "sensor_stuck", "filter_factor", "contact_s", "drop_s",
}  # fmt: skip
QUIET = Sensor(noise_kpa=0.01, step_kpa=0.0)
BRISK = Sequencer(transport_s=0.6, idle_s=0.3)


def make(station: StationSpec | None = None, *faults: Fault, cycles: int = 6, seed: int = 3) -> SimulatedLog:
    """A short log at 500 Hz of a quiet sensor."""
    spec = station or StationSpec(sequencer=BRISK, sensor=QUIET, recorder=Recorder(rate_hz=500.0))
    return simulate(Scenario(name="test", seed=seed, cycles=cycles, station=spec, faults=faults))


@pytest.fixture(scope="module")
def healthy() -> SimulatedLog:
    """Six healthy picks."""
    return make()


def within(log: SimulatedLog, cycle: dict, start: str, end: str) -> np.ndarray:
    """Samples between two events of a cycle."""
    return (log.time_s > cycle[start]) & (log.time_s < cycle[end])


def test_a_healthy_station_holds_every_part(healthy: SimulatedLog) -> None:
    """All cycles held, each with the keys that a score reads, and in order."""
    cycles = healthy.truth["cycles"]
    assert [c["outcome"] for c in cycles] == ["held"] * 6
    assert set(cycles[0]) >= NAMED_IN_SCORES
    for c in cycles:
        order = [
            c[k] for k in ("start_s", "supply_on_s", "flow_on_s", "contact_s", "true_setpoint_s", "part_present_on_s")
        ]
        order += [c[k] for k in ("lift_s", "sequence_off_s", "release_on_s", "separated_s", "release_off_s", "end_s")]
        assert order == sorted(order)


def test_columns_agree_with_the_truth(healthy: SimulatedLog) -> None:
    """Digital edges lie within a sample of the true ones; set point and idle are where the truth says."""
    rising = healthy.time_s[1:][np.diff(healthy.part_present) == 1]
    for c, edge in zip(healthy.truth["cycles"], rising, strict=True):
        assert 0.0 <= edge - c["part_present_on_s"] <= 0.0021
        vacuum = -np.interp(c["true_setpoint_s"], healthy.time_s, healthy.pressure_kpa)
        assert vacuum == pytest.approx(c["set_point_kpa"], abs=0.6)
        idle = within(healthy, c, "start_s", "supply_on_s")
        assert np.median(healthy.pressure_kpa[idle]) == pytest.approx(c["sensor_offset_kpa"], abs=0.02)


def test_the_coast_falls_at_the_true_rate() -> None:
    """Late in a coast, walls fast, the isothermal slope at 60 kPa is the truth's q60_total/V."""
    space = Volumes(wall_time_s=(0.01, 0.01), residual_leak_kpa_s=3.0, residual_scatter=0.0, residual_leak_b=0.5)
    sequencer = Sequencer(dip_kpa=0.0, transport_s=3.0)
    saving = Saving(supply_off_kpa=66.0, supply_on_kpa=50.0)
    station = StationSpec(
        volumes=space, sequencer=sequencer, saving=saving, sensor=QUIET, recorder=Recorder(rate_hz=500.0),
        switch=Switch(reset_point_kpa=40.0, set_point_kpa=45.0),
    )  # fmt: skip
    log = make(station, cycles=2)
    for c in log.truth["cycles"]:
        late = (log.time_s > c["supply_toggles"][0][0] + 0.8) & (log.time_s < c["sequence_off_s"])
        slope = np.polyfit(log.time_s[late], log.pressure_kpa[late], 1)[0]
        warm = log.truth["station"]["ambient_temperature_k"] / 293.15
        true = c["leak"]["q60_total"] / log.truth["station"]["volume_m3"] * warm / 1000.0
        assert true == pytest.approx(3.0, rel=1e-6)
        assert slope == pytest.approx(true, rel=0.01)


def test_a_leak_is_added_to_the_healthy_one() -> None:
    """A hole of 4 kPa/s on a station that leaks 0.3 makes 4.3, half-way between equal cycles with and without."""
    leak = Fault(label="cup_leak_orifice", onset_cycle=3, size={"rate_kpa_s": 4.0, "scatter": 0.0})
    spec = StationSpec(sequencer=BRISK, volumes=Volumes(residual_scatter=0.0), sensor=QUIET)
    log = make(spec, leak)
    per_volume = log.truth["station"]["ambient_temperature_k"] / 293.15 / log.truth["station"]["volume_m3"] / 1000.0
    rates = [c["leak"]["q60_total"] * per_volume for c in log.truth["cycles"]]
    assert rates == pytest.approx([0.3] * 3 + [4.3] * 3, rel=1e-6)
    assert [c["leak"]["mechanism"] for c in log.truth["cycles"]] == ["none"] * 3 + ["orifice"] * 3
    assert log.truth["faults"][0]["onset_s"] == pytest.approx(log.truth["cycles"][3]["start_s"])


def test_wiring_turns_digitals_only() -> None:
    """A normally open valve and a reversed output are the same log with those two columns inverted."""
    plain = make(StationSpec(sequencer=BRISK, sensor=QUIET), cycles=2)
    turned = make(
        StationSpec(
            sequencer=BRISK, sensor=QUIET, valves=Valves(normally_open=True), switch=Switch(reversed_output=True)
        ),
        cycles=2,
    )
    assert np.array_equal(plain.pressure_kpa, turned.pressure_kpa)
    assert np.array_equal(plain.supply, 1 - turned.supply)
    assert np.array_equal(plain.part_present, 1 - turned.part_present)
    assert np.array_equal(plain.release, turned.release)
    assert turned.truth["station"]["supply_logged_on_level"] == 0


def test_the_same_scenario_gives_the_same_log(healthy: SimulatedLog) -> None:
    """Two runs agree to the last bit; another seed differs."""
    again, other = make(), make(seed=4)
    assert all(np.array_equal(a, b) for a, b in zip(healthy.columns(), again.columns(), strict=True))
    assert healthy.truth == again.truth
    assert not np.array_equal(healthy.pressure_kpa[:100], other.pressure_kpa[:100])


def test_the_recorder_has_its_faults() -> None:
    """Rate, gap, missing samples, range end and quantisation come out as ordered."""
    recorder = Recorder(rate_hz=100.0, missing_share=0.05, gaps=1, gap_s=0.7)
    log = make(
        StationSpec(sequencer=BRISK, sensor=replace(QUIET, step_kpa=0.5, high_kpa=0.0), recorder=recorder), cycles=8
    )
    steps = np.diff(log.time_s)
    assert np.median(steps) == pytest.approx(0.01, abs=1e-6)
    assert steps.max() == pytest.approx(0.7, abs=0.05)
    assert len(log.time_s) / (100.0 * log.truth["duration_s"] - 70.0) == pytest.approx(0.95, abs=0.02)
    assert log.pressure_kpa.max() == 0.0
    assert np.allclose(log.pressure_kpa % 0.5, 0.0)


def test_noise_is_as_ordered() -> None:
    """The idle reading scatters with the standard deviation of the sensor."""
    log = make(
        StationSpec(sequencer=BRISK, sensor=Sensor(noise_kpa=0.3, step_kpa=0.0), recorder=Recorder(rate_hz=500.0)),
        cycles=12,
    )
    idle = np.zeros(len(log.time_s), bool)
    for c in log.truth["cycles"]:
        idle |= within(log, c, "start_s", "supply_on_s")
    assert np.std(log.pressure_kpa[idle]) == pytest.approx(0.3, rel=0.1)


def test_paced_lines_start_on_the_beat() -> None:
    """With a beat of 3.5 s every cycle begins 3.5 s after the one before."""
    log = make(StationSpec(sensor=QUIET, sequencer=Sequencer(paced_s=3.5)), cycles=4)
    assert [c["start_s"] for c in log.truth["cycles"]] == pytest.approx([0.0, 3.5, 7.0, 10.5], abs=1e-6)


def test_retries_are_attempts_of_one_cycle() -> None:
    """A missed pick is tried again without a release between, as often as the programme allows."""
    sequencer = Sequencer(retries=2, timeout_s=0.6)
    log = make(
        StationSpec(sensor=QUIET, sequencer=sequencer), Fault(label="missed_picks", size={"share": 0.5}), cycles=4
    )
    missed = [c for c in log.truth["cycles"] if c["outcome"] == "missed"]
    assert len(missed) == 2
    for c in missed:
        assert c["attempts"] == 3
        assert [level for _, level in c["supply_edges"]] == [1, 0] * 3
        assert c["release_on_s"] > c["supply_edges"][-1][0] - 0.001


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_written_files_hold_the_log(healthy: SimulatedLog, tmp_path: Path, kind: str) -> None:
    """The file has the canonical columns and the truth stands beside it."""
    path = healthy.write(tmp_path / "out", kind)
    if kind == "parquet":
        table = pq.read_table(path)
        assert table.column_names == ["time_s", "pressure_kpa", "supply", "release", "part_present"]
        assert table.column("pressure_kpa").to_pylist() == healthy.pressure_kpa.tolist()
    else:
        read = np.loadtxt(path, delimiter=",", skiprows=1)
        assert np.array_equal(read[:, 1], healthy.pressure_kpa)
        assert np.array_equal(read[:, 4], healthy.part_present)
    assert json.loads((tmp_path / "out" / "truth.json").read_text()) == healthy.truth


def test_a_second_log_of_a_folder_keeps_its_own_truth(healthy: SimulatedLog, tmp_path: Path) -> None:
    """A baseline is written beside the log without touching the log's truth."""
    healthy.write(tmp_path)
    before = hashlib.sha256((tmp_path / "truth.json").read_bytes()).hexdigest()
    healthy.write(tmp_path, stem="baseline")
    assert hashlib.sha256((tmp_path / "truth.json").read_bytes()).hexdigest() == before
    assert (tmp_path / "baseline_truth.json").exists()


def test_what_cannot_be_written_is_said(healthy: SimulatedLog, tmp_path: Path) -> None:
    """An unknown format and a folder that is a file are refused with a reason."""
    with pytest.raises(UsageError, match='kind of log: "xls"; expected csv or parquet'):
        healthy.write(tmp_path, "xls")
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(OutputError, match="expected a folder that can be written"):
        healthy.write(tmp_path / "taken")


def test_no_cycles_are_refused() -> None:
    """A scenario needs a cycle."""
    with pytest.raises(UsageError, match="0 cycles; expected at least 1"):
        simulate(Scenario(name="none", cycles=0))


def test_a_request_is_logged_where_the_device_saves_air() -> None:
    """The supply column is on from the start of suction to its end, whatever the device does between."""
    space = Volumes(residual_leak_kpa_s=8.0)
    station = StationSpec(
        sequencer=BRISK, sensor=QUIET, volumes=space, recorder=Recorder(supply_signal="request", release_logged=False)
    )
    log = make(station, cycles=2)
    assert log.names == ("time_s", "pressure_kpa", "supply", "part_present")
    for c in log.truth["cycles"]:
        assert len(c["supply_toggles"]) >= 1
        asked = within(log, c, "supply_on_s", "sequence_off_s")
        assert log.supply[asked].mean() > 0.99
    assert np.count_nonzero(np.diff(log.supply)) == 4
    assert 'signal = "request"' in station_text(log.truth)
    assert 'release = "none"' in station_text(log.truth)


def test_a_pulse_valve_has_two_coils() -> None:
    """Every edge of the true supply command is a pulse of 50 ms on one of the two columns."""
    log = make(
        StationSpec(sequencer=BRISK, sensor=QUIET, recorder=Recorder(rate_hz=500.0, supply_signal="pulse")), cycles=3
    )
    edges = [edge for c in log.truth["cycles"] for edge in c["supply_edges"]]
    for column, level in ((log.supply, 1), (log.off_coil, 0)):
        times = [t for t, value in edges if value == level]
        rises = log.time_s[1:][np.diff(column) == 1]
        assert rises == pytest.approx(times, abs=0.0021)
        assert column.sum() * 0.002 == pytest.approx(0.05 * len(times), rel=0.05)
    assert 'off_column = "off_coil"' in station_text(log.truth)


def test_an_unknown_signal_is_refused() -> None:
    """Only valve, request and pulse can be logged."""
    with pytest.raises(UsageError, match='supply_signal "coil"; expected valve, request or pulse'):
        make(StationSpec(recorder=Recorder(supply_signal="coil")), cycles=1)


def test_stations_in_one_log(tmp_path: Path) -> None:
    """Rows of two stations stand in order of time, each station's own in its order, and the truth has both."""
    logs = [make(StationSpec(name=name), cycles=1) for name in ("Loader 2", "Packer, 1")]
    path = write_together(logs, tmp_path)
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    times = [float(row["time_s"]) for row in rows]
    assert times == sorted(times)
    for log in logs:
        own = [float(r["pressure_kpa"]) for r in rows if r["station"] == log.truth["station"]["name"]]
        assert own == log.pressure_kpa.tolist()
    truth = json.loads((tmp_path / "truth.json").read_text())
    assert [s["name"] for s in truth["stations"]] == ["Loader 2", "Packer, 1"]
    with pytest.raises(UsageError, match="expected different names"):
        write_together([logs[0], logs[0]], tmp_path)


def test_a_calibration_tells_its_volume() -> None:
    """The orifice's flow over the difference of the slopes, both choked and isothermal, is the volume."""
    reference, orifice = random_calibration(4, cycles=2)
    fast = replace(reference.station, volumes=replace(reference.station.volumes, wall_time_s=(0.005, 0.005)))
    fast = replace(fast, sensor=QUIET)
    slopes = []
    for scenario in (reference, orifice):
        log = simulate(replace(scenario, station=fast))
        start = log.truth["cycles"][0]["supply_toggles"][0][0] + 0.3
        part = (log.time_s > start) & (log.time_s < start + 0.8)
        slopes.append(np.polyfit(log.time_s[part], log.pressure_kpa[part], 1)[0])
    known = reference.marks["pair"]["known_orifice"]
    warm = np.sqrt(log.truth["station"]["ambient_temperature_k"] / 293.15)
    flow_pa_m3_s = 1e5 * known["C_m3_s_pa"] * 1000.0 * log.truth["station"]["ambient_kpa"] * warm
    volume = flow_pa_m3_s / (1000.0 * (slopes[1] - slopes[0]))
    assert volume == pytest.approx(log.truth["station"]["volume_m3"], rel=0.02)
