"""Rows that look like others of their second, or that lie behind midnight, are kept."""

import datetime as dt

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read

RECORDING = make_recording(cycles=8)
COUNT = len(RECORDING.time_s)
START = dt.datetime(2025, 8, 15, 19, 54, 20, tzinfo=dt.UTC)
HEADER = "Time;Pressure (kPa);Suction;Blow-off;Part present"


def _rows(stamps, rows=slice(None), kpa=1.0):
    digital = RECORDING.digital.astype(int)
    cells = list(zip(stamps, RECORDING.pressure_kpa / kpa, digital, strict=True))[rows]
    return [f"{t};{p:.2f};{d & 1};{d >> 1 & 1};{d >> 2}" for t, p, d in cells]


def _clock(start, form):
    times = [start + dt.timedelta(milliseconds=10 * k) for k in range(COUNT)]
    return [t.strftime(form) if form.endswith("%S") else t.strftime(form)[:-3] for t in times]


def _written(folder, *tables):
    path = folder / "log.csv"
    path.write_text("\n".join(line for table in tables for line in table) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("lost", [slice(1010, 1400), slice(250, 330)])
def test_rows_of_full_seconds_are_kept_where_others_lack_some(tmp_path, lost):
    """Stamps of whole seconds over 100 Hz, with a hole: no row of a full second falls on another."""
    rows = _rows(_clock(START, "%Y-%m-%d %H:%M:%S"))
    del rows[lost]
    found = read(_written(tmp_path, [HEADER, *rows]))
    assert len(found.time_s) == len(rows)
    assert not found.facts.rejections
    steps = np.diff(found.time_s)
    assert steps.min() > 0.004
    assert np.median(steps) == pytest.approx(0.01)


@pytest.mark.parametrize(
    ("start", "cut"),
    [
        pytest.param("23:59:55", 900, id="the first table passes midnight"),
        pytest.param("23:59:50", 1000, id="midnight lies between the tables"),
        pytest.param("23:59:42", 900, id="the second table passes midnight"),
    ],
)
def test_a_second_header_behind_midnight_loses_no_row(tmp_path, start, cut):
    """Times of day without a date go straight on below a header that says another unit."""
    stamps = _clock(dt.datetime.fromisoformat(f"2025-08-15 {start}"), "%H:%M:%S.%f")
    again = HEADER.replace("kPa", "mbar")
    path = _written(
        tmp_path, [HEADER, *_rows(stamps, slice(cut))], [again, *_rows(stamps, slice(cut, None), kpa=0.1)]
    )
    found = read(path)
    assert len(found.time_s) == COUNT
    assert found.time_s == pytest.approx(RECORDING.time_s, abs=1e-6)
    assert found.pressure_kpa == pytest.approx(RECORDING.pressure_kpa, abs=0.006)
