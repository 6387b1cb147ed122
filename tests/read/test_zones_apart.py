"""Samples by a local clock and digitals in UTC beside them."""

import datetime as dt

import numpy as np
import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=8)
LEVELS = [RECORDING.digital >> bit & 1 for bit in range(3)]
NAMES = ("supply valve", "release valve", "part present")


def write(tmp_path, preamble: list[str], hours: float) -> list:
    """Samples without a zone, so many hours ahead of a list of changes that has one."""
    samples, events = tmp_path / "samples.csv", tmp_path / "events.csv"
    at = [START + dt.timedelta(seconds=float(t)) for t in RECORDING.time_s]
    local = [(a + dt.timedelta(hours=hours)).strftime("%Y-%m-%d %H:%M:%S.%f")[:-3] for a in at]
    body = [f"{a},{k}" for a, k in zip(local, RECORDING.pressure_kpa, strict=True)]
    samples.write_text("\n".join([*preamble, "time,pressure [kPa]", *body]) + "\n")
    changes = [
        f"{a:%Y-%m-%dT%H:%M:%S}.{a.microsecond // 1000:03d}Z,{name},{'ON' if column[i] else 'OFF'}"
        for i, a in enumerate(at)
        for name, column in zip(NAMES, LEVELS, strict=True)
        if i == 0 or column[i] != column[i - 1]
    ]
    events.write_text("\n".join(["time,event,state", *changes]) + "\n")
    return [samples, events]


@pytest.mark.parametrize(
    ("preamble", "given", "hours"),
    [
        (["Time zone: UTC+01:00", ""], "", 1),
        ([], '[station]\ntimezone = "Asia/Tokyo"\n', 9),
    ],
)
def test_a_known_zone_brings_them_together(preamble, given, hours, tmp_path):
    """By the lines above the samples, or by the station file."""
    found = read(write(tmp_path, preamble, hours), parse_station(given, "s.toml"))
    assert np.array_equal(found.digital, RECORDING.digital)


@pytest.mark.parametrize("hours", [0, 1])
def test_an_unknown_zone_is_asked(hours, tmp_path):
    """Also where the stamps happen to meet: they could be an hour or more apart."""
    with pytest.raises(LogReadError, match=r"only those of one file have a zone.*timezone"):
        read(write(tmp_path, [], hours))
