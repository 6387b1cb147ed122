"""What loggers, controllers and oscilloscopes really write: read right, or refused in one message that helps."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.field_logs import FIELD
from tests.read.reading import read
from tracekit.errors import LogReadError

RECORDING = make_recording(cycles=8)
COARSE = {"data_logger": 0.0051, "tenths": 0.051, "wrapping_counter": 0.051, "units_in_cells": 0.0051, "scope": 0.0051,
          "tenths_in_the_unit": 0.051, "tenths_by_factor": 0.051, "signed_twos_complement": 0.0051}  # fmt: skip
MISSING = {"data_logger": 5, "long_epoch_quality": 5, "wide_quality": 5, "codes_of_quality": 5}
REJECTED = {"stop_trigger": 1, "hash_header": 2, "row_twice": len(RECORDING.time_s)}
REFUSED = {
    "tenths": 'pressure = { column = "ANALOG_1"',
    "milliamps": 'pressure = { column = "Vacuum sensor [mA]", scale = ',
    "no_unit": 'pressure = { column = "Vacuum", unit = "bar", sense = "gauge" }',
    "no_time_unit": 'time = { column = "Count", unit = ',
    "transposed": "channels stand in lines",
    "glued_trimmed": "decimal commas",
    "glued_nameless": "decimal commas",
    "ticks_of_ten_ms": 'time = { column = "Ticks"',
}
REFUSED |= {
    "absolute_without_rest": "ambient_kpa = 101.3",
    "period_that_is_none": 'time = { column = "Nr", interval_s = ',
    "named_cells": "pressure = { column = ",
    "counts_of_a_converter": 'pressure = { column = "Pressure"',
    "volts_of_a_sensor": 'pressure = { column = "Vacuum_V", scale = ',
}
HALVED = ("min_max_rows", "min_max_columns")


def put(folder, name: str):
    """A log of the field in a file."""
    path = folder / f"{name}.csv"
    path.write_bytes(FIELD[name](RECORDING))
    return path


@pytest.mark.parametrize("name", sorted(set(FIELD) - set(REFUSED) - {*HALVED, "two_senders_in_turn"}))
def test_a_log_of_the_field_is_read_right(tmp_path, name):
    """The log reads like the recording, in time, pressure and levels, and every other row is told."""
    found = read(put(tmp_path, name))
    assert np.abs(found.time_s - RECORDING.time_s).max() < 1e-4
    off = np.abs(found.pressure_kpa - RECORDING.pressure_kpa)
    assert np.isnan(off).sum() == MISSING.get(name, 0)
    assert np.nanmax(off) < (0.62 if found.layout.absolute else COARSE.get(name, 1e-3))
    levels = RECORDING.digital ^ 7 if name in ("inverted_outputs", "minus_one_for_true") else RECORDING.digital
    assert np.array_equal(found.digital, levels)
    assert found.facts.rows_rejected == REJECTED.get(name, 0)


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_a_log_of_the_field_is_refused(tmp_path, name):
    """What the log does not tell is asked for, or what to export otherwise is said, in one message."""
    with pytest.raises(LogReadError, match=r"expected .*\. \S") as caught:
        read(put(tmp_path, name))
    assert str(caught.value).startswith(f"{name}.csv: ")
    assert REFUSED[name] in str(caught.value)


@pytest.mark.parametrize("name", HALVED)
def test_lowest_and_highest_make_one_sample(tmp_path, name):
    """Lowest and highest reading of two samples give one sample in the middle, with the levels of the second."""
    found = read(put(tmp_path, name))
    n = len(RECORDING.time_s) // 2 * 2
    assert np.array_equal(found.time_s, RECORDING.time_s[:n:2])
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa[:n].reshape(-1, 2).mean(axis=1)).max() < 1e-9
    assert np.array_equal(found.digital, RECORDING.digital[1:n:2])
    assert found.facts.rows_used == found.facts.rows_read


def test_two_senders_by_turns(tmp_path):
    """Rows of two loaders by turns give two stations, each with its own samples."""
    found = read(put(tmp_path, "two_senders_in_turn"))
    assert found.layout.stations == ("left", "right")
    for station, share in ((0, 1.0), (1, 0.5)):
        own = found.station == station
        assert np.abs(found.pressure_kpa[own] - share * RECORDING.pressure_kpa).max() < 1e-4
        assert np.array_equal(found.digital[own], RECORDING.digital)


@pytest.mark.parametrize(
    ("name", "words"), [("Quality", ("NOK", "OK")), ("Status", ("FALSE", "TRUE")), ("State", ("0", "1"))]
)
def test_a_state_that_is_no_quality_costs_no_reading(tmp_path, name, words):
    """A column of states of the part or the machine leaves every reading as it is."""
    lines = FIELD["wide_quality"](RECORDING).decode().splitlines()
    rows = [line.split(";") for line in lines[1:]]
    text = [lines[0].replace("Quality", name)]
    for n, (row, k) in enumerate(zip(rows, RECORDING.pressure_kpa, strict=True)):
        text.append(";".join([row[0], str(k), words[n % 300 > 20], *row[3:]]))
    path = tmp_path / "log.csv"
    path.write_text("\n".join(text) + "\n")
    found = read(path)
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert np.array_equal(found.digital, RECORDING.digital)
