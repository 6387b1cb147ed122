"""A unit of time that does not show is offered with the length of the cycles that it gives."""

import re

import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=12)


@pytest.mark.parametrize(("unit", "size_s", "figures"), [("h", 3600.0, 9), ("d", 86400.0, 10)])
def test_days_and_hours_are_told_by_their_cycles(tmp_path, unit, size_s, figures):
    """Where two units give cycles that stations have, the more usual one stands first, and both lengths are told."""
    rows = [
        f"{t / size_s:.{figures}f},{p:.2f},{d & 1},{d >> 1 & 1},{d >> 2 & 1}"
        for t, p, d in zip(RECORDING.time_s, RECORDING.pressure_kpa, RECORDING.digital.tolist(), strict=True)
    ]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["Time,Pressure kPa,supply,release,part present", *rows]) + "\n")
    with pytest.raises(LogReadError, match="the unit of time") as refused:
        read(path)
    line = str(refused.value).splitlines()[-1].strip()
    told = dict(re.findall(r"(\w+): cycles of ([\d.]+) s", line))
    assert set(told) == ({"h", "d"} if unit == "h" else set())
    assert float(told.get(unit, RECORDING.time_s[-1] / 12)) == pytest.approx(RECORDING.time_s[-1] / 12, rel=0.2)
    found = read(path, parse_station(f"[channels]\n{line}\n", "s.toml"))
    assert found.time_s[-1] == pytest.approx(RECORDING.time_s[-1], rel=0.01)
