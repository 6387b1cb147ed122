"""Digitals far from the time of their pressure are asked about, and moved by what the station file says."""

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.read.dialects import Dialect, make_recording
from tests.read.reading import read, written
from tracekit.errors import LogReadError
from tracekit.model.station import Channel, Station
from tracekit.read.clock import Samples
from tracekit.read.inspection import inspect_log
from tracekit.read.moved import Mover
from tracekit.read.station_file import load_stations

RECORDING = make_recording(cycles=25)
ALIKE = 1 - 9 * 0.03 / 2.7
"""Nine edges in a cycle of 2.7 s, each 0.03 s off: valves of this recording answer at once, those of stations later."""


def moved(late_s: float):
    """The recording with its digitals that late, or early below 0."""
    samples = round(late_s / 0.01)
    place = np.clip(np.arange(len(RECORDING.time_s)) - samples, 0, len(RECORDING.time_s) - 1)
    return replace(RECORDING, digital=RECORDING.digital[place])


def two_files(folder, late_s: float):
    """Pressure in one file, digitals in another whose clock is ahead by so much."""
    rows = zip(RECORDING.time_s, RECORDING.pressure_kpa, RECORDING.digital, strict=True)
    pressure, levels = ["time_s,pressure_kpa"], ["time_s,supply,release,part_present"]
    for time_s, kpa, bits in rows:
        pressure.append(f"{time_s:.3f},{kpa:.2f}")
        levels.append(f"{time_s + late_s:.3f},{bits & 1},{bits >> 1 & 1},{bits >> 2 & 1}")
    for name, lines in (("pressure.csv", pressure), ("levels.csv", levels)):
        (folder / name).write_text("\n".join(lines) + "\n")
    return [folder / "pressure.csv", folder / "levels.csv"]


def offered(error: LogReadError, folder) -> Station:
    """The station file that a question offers, as it stands."""
    lines = str(error).splitlines()
    start = next(k for k, line in enumerate(lines) if line.strip() == "[channels]")
    path = folder / "station.toml"
    path.write_text("\n".join(line.strip() for line in lines[start : start + 2]))
    return load_stations([path])[0]


def same_levels(found) -> float:
    """Share of the rows, but for the first and last seconds, whose levels are those of the recording."""
    inner = (RECORDING.time_s > 6.0) & (RECORDING.time_s < RECORDING.time_s[-1] - 6.0)
    return float((found.digital[inner] == RECORDING.digital[inner]).mean())


@pytest.mark.parametrize("late_s", [-1.7, -0.9, 0.9, 1.7])
def test_clocks_of_two_files_that_differ_are_asked_and_the_line_works(tmp_path, late_s):
    """Digitals of a second file half a cycle away are refused, with the seconds that bring them to their time."""
    files = two_files(tmp_path, late_s)
    with pytest.raises(LogReadError, match="fit its pressure only if") as refused:
        read(files)
    with pytest.raises(LogReadError, match="fit its pressure only if"):
        inspect_log(files)
    seconds = [float(s) for s in re.findall(r"digitals_late_s = (-?[\d.]+)", str(refused.value))]
    assert seconds[0] == pytest.approx(late_s, abs=0.03)
    assert seconds[-1] == 0.0
    found = read(files, offered(refused.value, tmp_path))
    assert same_levels(found) > ALIKE
    assert not any("fit its pressure" in w for w in found.facts.warnings)
    assert any(a.what == "time of the digitals" and a.evidence == "station file" for a in found.layout.assumptions)


@pytest.mark.parametrize("late_s", [-0.9, -0.3, 0.8])
def test_digitals_of_the_same_file_are_asked_and_moved(tmp_path, late_s):
    """Where one file holds both, the same line moves its digitals."""
    path = written(tmp_path, moved(late_s), Dialect())
    with pytest.raises(LogReadError, match="digitals_late_s") as refused:
        read(path)
    found = read(path, offered(refused.value, tmp_path))
    assert same_levels(found) > ALIKE
    assert found.facts.rows_used == len(RECORDING.time_s)


def test_what_is_told_to_be_right_is_read_as_it_stands(tmp_path):
    """With 0 in the station file nothing moves, and the doubt is told."""
    recording = moved(0.9)
    station = Station(channels={"time": Channel(digitals_late_s=0.0)})
    found = read(written(tmp_path, recording, Dialect()), station)
    assert np.array_equal(found.digital, recording.digital)
    assert sum("no cycle of this log can be trusted" in w for w in found.facts.warnings) == 1


def test_what_the_station_file_says_of_time_stays_in_the_line(tmp_path):
    """The offered line holds the column and unit that were given, since it takes their place."""
    path = written(tmp_path, moved(0.9), Dialect(names="canonical"))
    station = Station(channels={"time": Channel(column="time_s [s]", unit="s")})
    with pytest.raises(LogReadError, match=r'time = \{ column = "time_s \[s\]", unit = "s", digitals_late_s = 0\.9'):
        read(path, station)


@pytest.mark.parametrize("share", [0.5, 1.0])
def test_digitals_that_end_before_the_pressure_are_told(tmp_path, share):
    """What follows the last row of a second file is no measurement of the valves."""
    files = two_files(tmp_path, 0.0)
    lines = files[1].read_text().splitlines()
    files[1].write_text("\n".join(lines[: int(share * len(lines))]) + "\n")
    told = [w for w in read(files).facts.warnings if "before the pressure does" in w]
    assert len(told) == (share < 1.0)
    for one in told:
        seconds = float(one.partition(" end ")[2].partition(" s ")[0])
        assert seconds == pytest.approx((1 - share) * RECORDING.time_s[-1], abs=0.2)


@pytest.mark.parametrize("late_s", [0.0, 0.04, -0.04, 0.73, -0.73, 50.0, -50.0])
@pytest.mark.parametrize("rows", [1, 7, 250])
def test_levels_are_moved_alike_in_whatever_pieces(late_s, rows):
    """Every sample comes out once with the level logged so much later; what was not logged is the nearest level."""
    random = np.random.default_rng(4)
    time_s = np.cumsum(random.uniform(0.005, 0.2, 240))
    whole = Samples(
        time_s=time_s, pressure_kpa=-time_s, digital=random.integers(0, 8, 240).astype(np.uint8), lines=np.arange(240)
    )
    mover = Mover(late_s)
    parts = [mover.feed(whole.take(slice(k, k + rows))) for k in range(0, 240, rows)]
    parts.append(mover.feed(whole.take(slice(0, 0)), last=True))
    place = [max(int((time_s <= t + late_s + 5e-6).sum()) - 1, 0) for t in time_s]
    assert np.array_equal(np.concatenate([p.time_s for p in parts]), time_s)
    assert np.array_equal(np.concatenate([p.lines for p in parts]), whole.lines)
    assert np.array_equal(np.concatenate([p.digital for p in parts]), whole.digital[place])
