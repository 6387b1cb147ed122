"""What plants in many countries keep: read like the recording, or asked for in one message."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.plant_logs import PLANT
from tests.read.reading import Read, read
from tracekit.errors import LogReadError
from tracekit.read.inspection import inspect_log
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=8)
N = len(RECORDING.time_s)
COARSE = {"portuguese": 2e-4, "italian": 0.0051, "turkish": 7e-4, "german_month": 0.0051, "tenths": 0.051,
          "sentinels": 0.0051, "per_cent": 6e-4, "loop_with_scale": 4e-4}  # fmt: skip
AMBIENT = ("french", "swedish", "nameless_inputs")
REJECTED = {"footer_table": 4, "newest_first_seconds": 1, "zeros_after_loss": 1, "triggers": 3}
REFUSED = {"volts_without_scale": 'pressure = { column = "Vacuum sensor [V]", scale = [[0.0, 0.0], [10.0, -101.3]]'}
OWN = {"numbered_stations", "station_rows", "pairs_min_max"}


def read_files(folder, name: str, station=None) -> Read:
    """The files of one way of keeping the recording, read without or with a station file."""
    paths = []
    for file, content in PLANT[name](RECORDING).items():
        (folder / file).write_bytes(content)
        paths.append(str(folder / file))
    return read(paths if len(paths) > 1 else paths[0], station)


@pytest.mark.parametrize("name", sorted(set(PLANT) - set(REFUSED) - OWN))
def test_a_log_of_a_plant_is_read_right(tmp_path, name):
    """The log reads like the recording, in time, pressure and levels, and every other row is told."""
    found = read_files(tmp_path, name)
    n = N - (name == "triggers")
    assert np.abs(found.time_s - RECORDING.time_s[:n]).max() < 1e-4
    off = np.abs(found.pressure_kpa - RECORDING.pressure_kpa[:n])
    assert np.isnan(off).sum() == (7 if name == "sentinels" else 0)
    assert np.nanmax(off) < (0.04 if name in AMBIENT else COARSE.get(name, 1e-6))
    assert np.array_equal(found.digital, RECORDING.digital[:n])
    assert found.facts.rows_rejected == REJECTED.get(name, 0)


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_a_log_of_a_plant_is_asked_for(tmp_path, name):
    """What the log does not tell is asked for in one message, with the line that answers it."""
    with pytest.raises(LogReadError, match=r"expected .*\. \S") as caught:
        read_files(tmp_path, name)
    assert REFUSED[name] in str(caught.value)


@pytest.mark.parametrize(("name", "shares"), [("numbered_stations", (1.0, 0.9, 0.8)), ("station_rows", (1.0, 0.9))])
def test_stations_of_one_file(tmp_path, name, shares):
    """Stations in groups of columns, or in turn, each have their own samples."""
    found = read_files(tmp_path, name)
    assert len(found.layout.stations) == len(shares)
    for station, share in enumerate(shares):
        own = found.station == station
        assert np.abs(found.pressure_kpa[own] - share * RECORDING.pressure_kpa).max() < 1e-3
        assert np.array_equal(found.digital[own], RECORDING.digital)


def test_lowest_and_highest(tmp_path):
    """Lowest and highest of two samples make one in the middle."""
    found, n = read_files(tmp_path, "pairs_min_max"), N // 2 * 2
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa[:n].reshape(-1, 2).mean(axis=1)).max() < 1e-6


@pytest.mark.parametrize(
    ("name", "code"), [("polish", "cp1250"), ("chinese_old", "gb18030"), ("japanese", "cp932"), ("portuguese", "cp1252")]
)
def test_older_codes_are_told_by_their_words(tmp_path, name, code):
    """The code of a file without UTF-8 is the one in which its names are words; Western European where none is ahead."""
    (encoding,) = (a for a in read_files(tmp_path, name).layout.assumptions if a.what == "encoding")
    assert encoding.value == code
    assert encoding.confidence < 0.9


@pytest.mark.parametrize("name", ["tenths", "loop_with_scale"])
def test_a_written_scale_reads_the_same(tmp_path, name):
    """A unit with a factor, or a scale above the columns, is written into the station file as points that read alike."""
    found = read_files(tmp_path, name)
    (inspection,) = inspect_log(str(tmp_path / "log.csv"))
    again = read_files(tmp_path, name, parse_station(inspection.station_file, "s.toml"))
    assert "scale = [[" in inspection.station_file
    assert np.abs(again.pressure_kpa - found.pressure_kpa).max() < 1e-9
