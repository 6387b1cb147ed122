"""Odd clocks, layouts, containers and words: read like the recording, or asked for in one message."""

import time

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.plant_more import MORE
from tests.read.reading import Read, read
from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions

RECORDING = make_recording(cycles=8)
N = len(RECORDING.time_s)
COARSE = {"twos_complement": 0.051, "polish_words": 0.0051, "parquet_elapsed": 1e-5, "bursts": 1e-6}
AMBIENT = ("epoch_float", "plant_pressures", "nothing_but_numbers")
REJECTED = {"overlapping": 300, "long_preamble": 1}
OWN = {"own_rates", "long_stations", "two_clocks", "counter_restarts", "set_clock", "jitter", "comments", "two_sensors",
       "written_on_change", "states_in_words"}  # fmt: skip
REFUSED = {
    "wrong_time_unit": 'time = { column = "Time [s]", unit = "ms" }',
    "wrong_pressure_unit": 'pressure = { column = "Vacuum [kPa]", unit = "...", sense = "..." }',
}


def read_files(folder, name: str) -> Read:
    """The files of one way of keeping the recording."""
    paths = []
    for file, content in MORE[name](RECORDING).items():
        (folder / file).write_bytes(content)
        paths.append(str(folder / file))
    return read(paths if len(paths) > 1 else paths[0])


@pytest.mark.parametrize("name", sorted(set(MORE) - set(REFUSED) - OWN))
def test_it_is_read_right(tmp_path, name):
    """The log reads like the recording, in time, pressure and levels, and every other row is told."""
    found = read_files(tmp_path, name)
    assert np.abs(found.time_s - RECORDING.time_s).max() < 1e-4
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max() < (
        0.04 if name in AMBIENT else COARSE.get(name, 1e-6)
    )
    assert np.array_equal(found.digital, RECORDING.digital)
    assert found.facts.rows_rejected == REJECTED.get(name, 0)


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_a_unit_that_cannot_be_is_asked_for(tmp_path, name):
    """A written unit that gives impossible cycles or pressures is doubted, in one message with the line that tells it."""
    with pytest.raises(LogReadError, match=r"expected .*\. \S") as caught:
        read_files(tmp_path, name)
    assert REFUSED[name] in str(caught.value)


@pytest.mark.parametrize("options", [ReadOptions(), ReadOptions(block_bytes=3000)], ids=["whole", "pieces"])
def test_readings_written_on_change_hold(tmp_path, options):
    """Between readings that are written on change the last one holds; levels are those of the moment; it is told."""
    (tmp_path / "log.csv").write_bytes(MORE["written_on_change"](RECORDING)["log.csv"])
    found = read(tmp_path / "log.csv", options=options)
    n = len(found.time_s)
    assert n > 0.98 * N
    assert np.abs(found.time_s - RECORDING.time_s[:n]).max() < 1e-6
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa[:n]).max() < 2.0
    assert np.array_equal(found.digital, RECORDING.digital[:n])
    assert found.facts.gaps == ()
    assert found.facts.rows_used == found.facts.rows_read < n
    assert any("writes changes only" in w for w in found.facts.warnings)


def test_words_of_the_log_itself(tmp_path):
    """Two words of which one means a level give both levels; of two unknown words either may be on."""
    found = read_files(tmp_path, "states_in_words")
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert np.array_equal(found.digital & 6, RECORDING.digital & 6)
    assert len(np.unique((found.digital ^ RECORDING.digital) & 1)) == 1


def same_but_time(found: Read) -> np.ndarray:
    """Times of a log whose other values are those of the recording."""
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert np.array_equal(found.digital, RECORDING.digital)
    return found.time_s


def test_levels_at_stamps_of_their_own(tmp_path):
    """Levels of a row per reading hold from their own stamps on; time counts from the first of them."""
    time_s = same_but_time(read_files(tmp_path, "own_rates"))
    assert np.abs(time_s - RECORDING.time_s - 0.004).max() < 1e-6


def test_two_stations_in_rows(tmp_path):
    """Two stations told by their tags each have their own samples."""
    found = read_files(tmp_path, "long_stations")
    for station, share in enumerate((1.0, 0.9)):
        own = found.station == station
        assert np.abs(found.pressure_kpa[own] - share * RECORDING.pressure_kpa).max() < 1e-3
        assert np.array_equal(found.digital[own], RECORDING.digital)


def test_a_second_clock_is_told(tmp_path):
    """Of two clocks the one with its unit is taken, and how far the other runs apart stands in the evidence."""
    found = read_files(tmp_path, "two_clocks")
    assert np.abs(same_but_time(found) - RECORDING.time_s * 1.0003).max() < 1e-4
    (time,) = (a for a in found.layout.assumptions if a.what == "time")
    assert '"Logger time" beside it runs 300 ppm slower' in time.evidence


def test_clocks_that_differ_by_far_are_asked_for(tmp_path):
    """Where two clocks of a log give lengths that differ by more than crystals do, one of them is asked for."""
    path = tmp_path / "log.csv"
    rows = [f"{t:.2f},{round(t * 900)},{k}" for t, k in zip(RECORDING.time_s, RECORDING.pressure_kpa, strict=True)]
    path.write_text("\n".join(["Time [s],Machine time [ms],Vacuum [kPa]", *rows]) + "\n")
    with pytest.raises(LogReadError, match=r"two clocks.*10 % (slower|faster)"):
        read(path)


@pytest.mark.filterwarnings("error")
def test_a_time_beyond_measure_is_no_drift(tmp_path):
    """One damaged time of a second clock says nothing about its rate, and warns nobody."""
    path = tmp_path / "log.csv"
    rows = [f"{t:.2f},{round(t * 1000)},{k}" for t, k in zip(RECORDING.time_s, RECORDING.pressure_kpa, strict=True)]
    rows[40] = rows[40].replace(",400,", ",1e300,")
    path.write_text("\n".join(["Time [s],Machine time [ms],Vacuum [kPa]", *rows]) + "\n")
    assert np.array_equal(read(path).time_s, RECORDING.time_s)


def test_a_time_of_each_cycle_is_no_second_clock(tmp_path):
    """The time that a cycle took, in every row of the cycle, is not compared with the clock."""
    path = tmp_path / "log.csv"
    rows = [
        f"{t:.2f},{i // 300 * 7 + 900},{k}"
        for i, (t, k) in enumerate(zip(RECORDING.time_s, RECORDING.pressure_kpa, strict=True))
    ]
    path.write_text("\n".join(["Time [s],Cycle time [ms],Vacuum [kPa]", *rows]) + "\n")
    assert np.array_equal(read(path).time_s, RECORDING.time_s)


def test_a_counter_that_starts_again(tmp_path):
    """The samples go on, with a gap and a step of the clock that are told."""
    found = read_files(tmp_path, "counter_restarts")
    time_s = same_but_time(found)
    assert np.abs(np.diff(time_s[:1100]) - 0.01).max() < 1e-9
    assert np.abs(np.diff(time_s[1100:]) - 0.01).max() < 1e-9
    assert len(found.facts.gaps) == len(found.facts.clock_steps) == 1


def test_a_clock_that_is_set(tmp_path):
    """Set back the samples go on, set forward there is a gap: both are told."""
    found = read_files(tmp_path, "set_clock")
    time_s = same_but_time(found)
    assert np.abs(time_s[:1500] - RECORDING.time_s[:1500]).max() < 1e-6
    assert [round(step, 3) for _, step in found.facts.clock_steps] == [-0.7]
    assert [round(b - a, 2) for a, b in found.facts.gaps] == [5.01]


def test_stamps_that_shake(tmp_path):
    """Stamps are taken as they are."""
    time_s = same_but_time(read_files(tmp_path, "jitter"))
    assert np.abs(time_s + 0.003 - RECORDING.time_s).max() < 0.007


def test_a_remark_over_two_lines_far_down(tmp_path):
    """Its row is left out with a reason, in two lines, and nothing else is lost."""
    found = read_files(tmp_path, "comments")
    kept = np.arange(N) != 900
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa[kept])
    assert [(r.reason, r.rows, r.first_lines) for r in found.facts.rejections] == [
        ("a quote is not closed", 2, (902, 903))
    ]


def test_two_places_of_one_station_are_asked_for(tmp_path):
    """Two pressures that share all signals may be two places of one station: which is meant is asked for."""
    with pytest.raises(LogReadError, match=r"several columns may be the pressure") as caught:
        read_files(tmp_path, "two_sensors")
    assert 'pressure = { column = "Vacuum generator [kPa]" }' in str(caught.value)


def test_a_record_with_names_in_another_order(tmp_path):
    """A line whose names stand in another order than in all others is left out, not read by place."""
    lines = MORE["named_cells"](RECORDING)["log.csv"].decode().split("\r\n")
    cells = lines[1500].split(",")
    lines[1500] = ",".join([cells[1], cells[0], *cells[2:]])
    (tmp_path / "log.csv").write_text("\n".join(lines))
    found = read(tmp_path / "log.csv")
    assert found.facts.rows_rejected == 1
    assert np.array_equal(found.pressure_kpa, np.delete(RECORDING.pressure_kpa, 1500))


def test_a_line_of_a_thousand_records_is_left_out_soon(tmp_path):
    """Records run together in one line, the last name of each lost, cost no more than their length."""
    lines = MORE["named_cells"](RECORDING)["log.csv"].decode().split("\r\n")
    lines[1500] = ",".join(line.rpartition(",")[0] for line in lines[:1000]) * 3
    (tmp_path / "log.csv").write_text("\n".join([*lines[:1400], "", *lines[1400:]]))
    begun = time.process_time()
    found = read(tmp_path / "log.csv")
    assert time.process_time() - begun < 5.0
    assert found.facts.rows_rejected == 1
    assert found.facts.rejections[0].first_lines == (1502,)
