"""The zone of the stamps as the lines above the header tell it."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import read
from tracekit.model.station import Station, StationFacts

RECORDING = make_recording(cycles=6)
ROWS = [
    f"{START + dt.timedelta(seconds=float(t)):%Y-%m-%d %H:%M:%S.%f},{k}"
    for t, k in zip(RECORDING.time_s, RECORDING.pressure_kpa, strict=True)
]
LOCAL = START.replace(tzinfo=None)


@pytest.mark.parametrize(
    ("line", "zone"),
    [
        ("Time zone: UTC+01:00", dt.timezone(dt.timedelta(hours=1))),
        ("Zeitzone;Europe/Vienna", ZoneInfo("Europe/Vienna")),
        ("# Timezone: America/Lima", ZoneInfo("America/Lima")),
        ("UTC offset: -0330", dt.timezone(-dt.timedelta(hours=3, minutes=30))),
        ("Timezone: UTC", dt.UTC),
    ],
)
def test_the_zone_above_the_header_gives_the_start(line, zone, tmp_path):
    """The stamps are local times of that zone; a station file wins over it."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["Logger 4", line, "", "Time,Pressure kPa", *ROWS]))
    found = read(path)
    assert found.facts.start_time_us == round(LOCAL.replace(tzinfo=zone).timestamp() * 1e6)
    assert not any("zone" in w for w in found.facts.warnings)
    given = read(path, Station(station=StationFacts(timezone="Asia/Tokyo")))
    assert given.facts.start_time_us == round(LOCAL.replace(tzinfo=ZoneInfo("Asia/Tokyo")).timestamp() * 1e6)


@pytest.mark.parametrize("line", ["Zone: 4", "Time zone: Middle/Earth", "Time zone: hall 3"])
def test_what_is_no_zone_gives_no_date(line, tmp_path):
    """A zone of the plant, or one that does not exist, is none."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["Logger 4", line, "", "Time,Pressure kPa", *ROWS]))
    assert read(path).facts.start_time_us is None
