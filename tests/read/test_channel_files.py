"""One file per channel, each with a time and a value, named as the channel is: one log, or one question."""

import itertools

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.model.station import Channel, Station
from tracekit.read.opening import open_each

RECORDING = make_recording(cycles=8)
LEVELS = [RECORDING.digital >> bit & 1 for bit in range(3)]
SIGNALS = ("supply", "release", "part")


def channel(values, head: str = "time;value", *, changes: bool = False) -> str:
    """One channel's file; with `changes` only rows at which it has another value than before."""
    rows = list(zip(RECORDING.time_s, values, strict=True))
    kept = [rows[0], *(b for a, b in itertools.pairwise(rows) if not changes or a[1] != b[1])]
    return "\n".join([*([head] if head else []), *(f"{t:.4f};{v}" for t, v in kept)]) + "\n"


def written(folder, pressure: str, prefix: str = "", head: str = "time;value", *, changes: bool = False):
    """A folder with a file per channel."""
    folder.mkdir(exist_ok=True)
    (folder / f"{prefix}{pressure}.csv").write_text(channel(RECORDING.pressure_kpa.round(2), head), encoding="utf-8")
    for name, level in zip(SIGNALS, LEVELS, strict=True):
        (folder / f"{prefix}{name}.csv").write_text(channel(level, head, changes=changes), encoding="utf-8")
    return folder


def as_recorded(found) -> bool:
    """Times, pressures and levels are those of the recording."""
    late = np.abs(found.time_s - RECORDING.time_s).max()
    same = np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa.round(2))
    return bool(late < 1e-4 and same and np.array_equal(found.digital, RECORDING.digital))


@pytest.mark.parametrize("changes", [False, True])
@pytest.mark.parametrize("head", ["time;value", "Time [s];Wert", ""])
@pytest.mark.parametrize("prefix", ["", "L2_"])
def test_a_folder_with_a_file_per_channel_is_one_log(tmp_path, prefix, head, changes):
    """The names of the files say what the values are, whether every sample or only changes are written."""
    folder = written(tmp_path / "log", "vacuum_kPa", prefix, head, changes=changes)
    found = read(folder)
    assert as_recorded(found)
    assert found.facts.rows_rejected == 0
    assert as_recorded(read([str(p) for p in sorted(folder.iterdir(), reverse=True)]))


def test_what_is_open_is_asked_once_and_the_answer_holds(tmp_path):
    """Without a unit in the name there is one question, of the pressure; the other files say that they wait for it."""
    folder = written(tmp_path / "log", "vacuum")
    errors = [group.error for group in open_each(folder)]
    asked = [str(e) for e in errors if "station file" in str(e)]
    assert len(asked) == 1
    assert "the unit of" in asked[0]
    assert sum('goes with the pressure in "vacuum.csv"' in str(e) for e in errors) == 3
    answer = Station(channels={"pressure": Channel(column="vacuum", unit="kPa", sense="gauge")})
    assert as_recorded(read(folder, answer))


def test_signals_of_another_station_are_not_taken(tmp_path):
    """A signal whose name bears another number than the pressure's goes with no recording here."""
    folder = written(tmp_path / "log", "vacuum_kPa", "L2_")
    (folder / "L2_release.csv").rename(folder / "L3_release.csv")
    groups = open_each(folder)
    logs = [g.log for g in groups if g.log is not None]
    assert [log.layout.has_release for log in logs] == [False]
    assert [g.names for g in groups if g.error is not None] == [("L3_release.csv",)]


def test_readings_in_a_file_named_like_a_signal_keep_their_column(tmp_path):
    """A name that speaks of suction makes no signal of readings: the question names the column as it stands."""
    path = tmp_path / "suction 2.txt"
    path.write_text(channel(RECORDING.pressure_kpa.round(2), ""), encoding="utf-8")
    with pytest.raises(LogReadError, match='column = "column 2"'):
        read(path)


def test_a_file_whose_columns_name_themselves_keeps_its_names(tmp_path):
    """A named pressure is not renamed by its file."""
    path = tmp_path / "release.csv"
    path.write_text(channel(RECORDING.pressure_kpa.round(2), "time [s];pressure [kPa]"), encoding="utf-8")
    found = read(path)
    assert found.layout.columns["pressure"] == "pressure [kPa]"
    path.write_text(channel(LEVELS[1]), encoding="utf-8")
    with pytest.raises(LogReadError, match="no column is a pressure"):
        read(path)
