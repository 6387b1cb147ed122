"""What follows the seconds without leading zeros: a count where rows go on as such, a fraction where they do, else asked."""

import datetime as dt

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.model.station import Channel, Station

RECORDING = make_recording(cycles=8)
START = dt.datetime(2025, 3, 11, 6, 0, 0)  # noqa: DTZ001 - stamps without a zone are the subject


def log(folder, spell, every: int = 1):
    """The recording with stamps spelled in one way."""
    rows = ["time;pressure [kPa];suction;blow-off;part present"]
    for t, kpa, bits in list(zip(RECORDING.time_s, RECORDING.pressure_kpa, RECORDING.digital, strict=True))[::every]:
        levels = ";".join(str(bits >> k & 1) for k in range(3))
        rows.append(f"{spell(START + dt.timedelta(milliseconds=round(t * 1000)))};{kpa:.2f};{levels}")
    path = folder / "log.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


SPELLED = {
    "count of ms after a point": lambda y: f"{y:%H:%M:%S}.{y.microsecond // 1000}",
    "count of ms after a colon": lambda y: f"{y.hour}:{y.minute}:{y.second}:{y.microsecond // 1000}",
    "count of ms after a comma, with a date": lambda y: f"{y:%Y-%m-%d %H:%M:%S},{y.microsecond // 1000}",
    "count of hundredths": lambda y: f"{y:%H:%M:%S}.{y.microsecond // 10000}",
    "count of us": lambda y: f"{y:%H:%M:%S}.{y.microsecond}",
    "fraction without zeros at its end": lambda y: f"{y:%H:%M:%S}.{y.microsecond // 1000:03d}".rstrip("0").rstrip("."),
    "full fraction": lambda y: f"{y:%H:%M:%S}.{y.microsecond // 1000:03d}",
}


@pytest.mark.parametrize("name", sorted(SPELLED))
def test_times_are_those_of_the_recording(tmp_path, name):
    """A count and a fraction are told apart by how the rows of a second go on."""
    found = read(log(tmp_path, SPELLED[name]))
    assert np.abs(found.time_s - RECORDING.time_s).max() < 1e-4
    assert found.facts.rows_rejected == 0


def rare(y: dt.datetime) -> str:
    """A stamp every 1.5 s or so, none of which tells what stands behind its seconds."""
    return f"{y:%H:%M:%S}.{(5, 25, 125, 75)[y.second % 4]}"


@pytest.mark.parametrize(("unit", "second"), [("ms", 0.025), ("s", 0.25)])
def test_what_stays_open_is_asked_and_the_answer_holds(tmp_path, unit, second):
    """Where no two rows share a second either may be meant: asked, and the station file decides."""
    every = round(1.0 / float(np.median(np.diff(RECORDING.time_s))))
    path = log(tmp_path, rare, every)
    with pytest.raises(LogReadError, match="may be a fraction or a count") as asked:
        read(path)
    assert 'time = { column = "time", unit = "ms" }' in str(asked.value)
    found = read(path, Station(channels={"time": Channel(column="time", unit=unit)}))
    first = 5e-3 if unit == "ms" else 0.5
    assert found.time_s[1] - found.time_s[0] == pytest.approx(1.0 + second - first, abs=1e-6)
