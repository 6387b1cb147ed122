"""A unit, sense or scale that a station file gives is held against the readings."""

import re

import numpy as np
import pytest

from tests.read.dialects import AMBIENT_KPA, make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=8)
GAUGE = RECORDING.pressure_kpa
ABSOLUTE = GAUGE + AMBIENT_KPA


def read_as(folder, values, line: str):
    """A log with these readings in a column called AI1, read with a line of a station file."""
    path = folder / "log.csv"
    rows = [
        f"{t:.2f},{v:.6g},{d & 1},{d >> 1 & 1}"
        for t, v, d in zip(RECORDING.time_s, values, RECORDING.digital, strict=True)
    ]
    path.write_text("time_s,AI1,supply,release\n" + "\n".join(rows) + "\n")
    return read(path, parse_station(f'[channels]\npressure = {{ column = "AI1", {line} }}\n', "s.toml"))


def doubts(found) -> list[str]:
    """Warnings about what the station file gives."""
    return [w for w in found.facts.warnings if "of the station file" in w]


@pytest.mark.parametrize(
    ("values", "line", "fits"),
    [
        (ABSOLUTE, 'unit = "kPa", sense = "gauge"', 'unit = "kPa", sense = "absolute"'),
        (ABSOLUTE, 'unit = "kPa", sense = "vacuum"', 'unit = "kPa", sense = "absolute"'),
        (-GAUGE, 'unit = "kPa", sense = "gauge"', 'unit = "kPa", sense = "vacuum"'),
        (GAUGE, 'unit = "kPa", sense = "vacuum"', 'unit = "kPa", sense = "gauge"'),
        (GAUGE, 'unit = "mbar", sense = "gauge"', 'unit = "kPa", sense = "gauge"'),
        (ABSOLUTE * 7.50062, 'unit = "kPa", sense = "gauge"', 'unit = "Torr", sense = "absolute"'),
        (GAUGE / 100, 'unit = "kPa", sense = "gauge"', 'unit = "bar", sense = "gauge"'),
    ],
)
def test_what_shows_no_vacuum_is_doubted(tmp_path, values, line, fits):
    """Readings that under the given unit and sense never rest near ambient, or never suck, are told with what fits."""
    (doubt,) = doubts(read_as(tmp_path, values, line))
    assert f"with {line} of the station file" in doubt
    assert fits in doubt.partition("would fit")[2]


@pytest.mark.parametrize(
    ("values", "line", "fits"),
    [
        (GAUGE * 10, 'unit = "kPa", sense = "gauge"', 'unit = "mbar", sense = "gauge"'),
        (ABSOLUTE * 7.50062, 'unit = "kPa", sense = "vacuum"', 'unit = "Torr", sense = "absolute"'),
        (GAUGE, 'unit = "kPa", sense = "absolute"', 'unit = "kPa", sense = "gauge"'),
        (GAUGE * 10, "scale = [[0.0, 0.0], [1.0, 1.0]]", "Look at unit, sense and scale"),
    ],
)
def test_a_vacuum_deeper_than_ambient_is_refused(tmp_path, values, line, fits):
    """No vacuum is deeper than ambient: what would make it so is refused, with what would fit."""
    with pytest.raises(LogReadError, match=r"expected no vacuum deeper than ambient, [\d.]+ kPa") as caught:
        read_as(tmp_path, values, line)
    assert fits in str(caught.value)


@pytest.mark.parametrize(
    ("values", "line"),
    [
        (GAUGE, 'unit = "kPa", sense = "gauge"'),
        (-GAUGE * 10, 'unit = "mbar", sense = "vacuum"'),
        (ABSOLUTE, 'unit = "kPa", sense = "absolute"'),
        (-GAUGE / 1.006, 'unit = "%"'),
        (GAUGE * 10, "scale = [[0.0, 0.0], [-1000.0, -100.0]]"),
        (np.full(len(GAUGE), -30.0), 'unit = "kPa", sense = "gauge"'),
        (np.random.default_rng(1).normal(0, 0.2, len(GAUGE)), 'unit = "kPa", sense = "gauge"'),
    ],
    ids=["gauge", "vacuum", "absolute", "per cent", "scale", "stuck", "idle"],
)
def test_what_is_right_is_not_doubted(tmp_path, values, line):
    """The right unit and sense, a stuck sensor and a station at rest bring no warning."""
    assert doubts(read_as(tmp_path, values, line)) == []


def test_a_cup_that_is_never_vented_is_told(tmp_path):
    """A declared gauge pressure that never comes near ambient is used as it is, and that is told."""
    found = read_as(tmp_path, 0.5 * GAUGE - 20, 'unit = "kPa", sense = "gauge"')
    assert re.search("only if the cup was never vented", *doubts(found))
    assert np.abs(found.pressure_kpa - (0.5 * GAUGE - 20)).max() < 1e-3
