"""A start above the header dates elapsed times and numbers of samples."""

import datetime as dt

import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.model.station import Station, StationFacts
from tracekit.read.started import find_start

RECORDING = make_recording(cycles=8)
SIX_US = 1_741_672_800_000_000  # 2025-03-11T06:00:00Z
NAMES = "pressure kPa;suction;blow-off;part present"


def written(folder, lines: list[str], name: str, times: list[str]):
    """The recording with free lines above its header."""
    levels = [RECORDING.digital >> bit & 1 for bit in range(3)]
    rows = zip(times, RECORDING.pressure_kpa.round(2), *levels, strict=True)
    path = folder / "log.csv"
    path.write_text("\n".join([*lines, "", f"{name};{NAMES}", *(";".join(map(str, r)) for r in rows)]) + "\n")
    return path


def elapsed(first_s: float = 0.0) -> list[str]:
    """Seconds of the samples."""
    return [f"{first_s + t:.3f}" for t in RECORDING.time_s]


@pytest.mark.parametrize(
    ("lines", "name", "first_s", "start_us"),
    [
        (["Start;2025-03-11T06:00:00Z"], "time s", 0.0, SIX_US),
        (["Start 2025-03-11T06:00:00Z"], "time s", 0.0, SIX_US),
        (["# Started: 2025-03-11 06:00:00 UTC"], "time s", 2.5, SIX_US + 2_500_000),
        (["Start time (UTC): 2025-03-11 06:00"], "time s", 0.0, SIX_US),
        (["Time zone: UTC+01:00", "Started: 2025-03-11 07:00"], "time s", 0.0, SIX_US),
        (["Messbeginn: 11.03.2025 07:00:00", "Zeitzone: Europe/Vienna"], "time s", 0.0, SIX_US),
        (["Start time: 2025-03-11T07:00:00+01:00"], "time s", 0.0, SIX_US),
        (["Started: 2025-03-11 06:00"], "time s", 0.0, None),
        (["Start: 11/03/2025 06:00:00 UTC"], "time s", 0.0, None),
        (["Shift start: 2025-03-11T06:00:00Z"], "time s", 0.0, None),
        (["Start: 2025-03-11T06:00:00Z", "Started: 2025-03-11T06:30:00Z"], "time s", 0.0, None),
        (["Start: 2025-03-11T06:00:00Z"], "time s", 48_000.0, None),
    ],
)
def test_start_above_elapsed_seconds(tmp_path, lines, name, first_s, start_us):
    """A start above the header dates elapsed seconds."""
    found = read(written(tmp_path, lines, name, elapsed(first_s)))
    assert found.facts.start_time_us == start_us
    lacking = any("have no zone" in w for w in found.facts.warnings)
    assert lacking == (lines == ["Started: 2025-03-11 06:00"])


@pytest.mark.parametrize("first", [0, 1, 500])
def test_start_above_numbers_of_samples(tmp_path, first):
    """It dates numbers of samples too."""
    numbers = [str(first + k) for k in range(len(RECORDING.time_s))]
    path = written(tmp_path, ["Started\t2025-03-11 06:00:00 UTC", "Sampling interval: 10 ms"], "No.", numbers)
    assert read(path).facts.start_time_us == SIX_US


def test_zone_of_the_station_file_dates_a_local_start(tmp_path):
    """A start without a zone takes that of the station file."""
    path = written(tmp_path, ["Started: 2025-03-11 07:00"], "time s", elapsed())
    found = read(path, Station(station=StationFacts(timezone="Europe/Berlin")))
    assert found.facts.start_time_us == SIX_US


def test_line_and_date_of_a_start():
    """Which lines tell a start, and which date they give."""
    start = find_start(["recorder 4", "Recording started: 2025-03-11 06:00:00.250 UTC"])
    assert start is not None
    assert start.line == "Recording started: 2025-03-11 06:00:00.250 UTC"
    assert dt.datetime.fromtimestamp(start.unix_s, dt.UTC) == dt.datetime(2025, 3, 11, 6, 0, 0, 250_000, dt.UTC)
