"""Stamps with words: halves of the day, months and zones as they are written in many countries."""

import datetime as dt

import numpy as np
import pyarrow as pa
import pytest

from tests.read.dialects import Dialect, make_recording
from tests.read.reading import read, wrong
from tracekit.read.cells import cell_kind
from tracekit.read.stamp_values import stamp_ns
from tracekit.read.stamps import find_form
from tracekit.read.stampwords import zone_of_name
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=8)
NOON = dt.datetime(2025, 3, 18, 11, 59, 50, 5000, dt.UTC)
HALVES = {
    "Chinese": ("{d:%Y}/{d.month}/{d.day} {h} {d:%I:%M:%S}.{ms}", "上午", "下午"),
    "Japanese": ("{d:%Y/%m/%d} {h} {d:%I:%M:%S}.{ms}", "午前", "午後"),
    "Korean": ("{d:%Y}년 {d.month}월 {d.day}일 {h} {d:%I:%M:%S}.{ms}", "오전", "오후"),
    "Greek": ("{d.day}/{d.month}/{d:%Y} {d:%I:%M:%S}.{ms} {h}", "π.μ.", "μ.μ."),
    "Turkish": ("{d:%d.%m.%Y %I:%M:%S}.{ms} {h}", "ÖÖ", "ÖS"),
    "Vietnamese": ("{d:%d/%m/%Y %I:%M:%S}.{ms} {h}", "SA", "CH"),
    "before the hour": ("{d:%d/%m/%Y} {h} {d:%I:%M:%S}.{ms}", "AM", "PM"),
}
WORDED = {
    "Dutch": "{d.day}-mrt-{d:%Y %H:%M:%S}.{ms}",
    "Finnish": "ti {d.day}. maaliskuuta {d:%Y} klo {d.hour}.{d:%M.%S},{ms}",
    "Danish": "{d.day}. marts {d:%Y %H.%M.%S},{ms}",
    "Spanish": "{d.day} de marzo de {d:%Y} {d.hour}:{d:%M:%S},{ms}",
    "Russian": "{d.day} марта {d:%Y} г. {d.hour}:{d:%M:%S},{ms}",
    "Hungarian": "{d:%Y}. márc. {d.day}. {d.hour}:{d:%M:%S}.{ms}",
}
ZONES = {
    "GMT+2": 2.0, "UTC-3": -3.0, "(UTC+05:30)": 5.5, "CET": 1.0, "CEST": 2.0, "Europe/Madrid": 1.0, "America/New_York": -4.0,
    "-04:00[America/New_York]": -4.0,
}  # fmt: skip
"""What stands behind stamps, and hours from UTC on that day in March."""


def stamps(form: str, halves=("", ""), begin: dt.datetime = NOON) -> list[str]:
    """The times of the recording from some moment on."""
    moments = [begin + dt.timedelta(milliseconds=round(float(t) * 1000)) for t in RECORDING.time_s]
    return [form.format(d=d, h=halves[d.hour >= 12], ms=f"{d.microsecond // 1000:03d}") for d in moments]


def log(path, cells, name="Time"):
    """A log of the recording with some stamps."""
    levels = zip(cells, RECORDING.pressure_kpa, RECORDING.digital.astype(int), strict=True)
    rows = [f"{stamp};{p:.3f};{d & 1};{d >> 1 & 1};{d >> 2}" for stamp, p, d in levels]
    path.write_text("\n".join([f"{name};Pressure (kPa);Suction;Blow-off;Part present", *rows]) + "\n", encoding="utf-8")
    return path


def start_us(hours: float = 0.0, begin: dt.datetime = NOON) -> int:
    """Unix time of the first row, whose stamp is so many hours ahead of UTC [µs]."""
    return round((begin - dt.timedelta(hours=hours)).timestamp() * 1e6)


@pytest.mark.parametrize("name", HALVES)
def test_halves_of_the_day_in_many_scripts(tmp_path, name):
    """The recording runs over noon, and its date is read."""
    form, *halves = HALVES[name]
    found = read(log(tmp_path / "log.csv", stamps(form, halves), "Time (UTC)"))
    assert wrong(RECORDING, found, Dialect()) == ""
    assert found.facts.start_time_us == start_us()


@pytest.mark.parametrize("name", WORDED)
def test_months_of_more_languages(tmp_path, name):
    """March by its name, with the small words around it."""
    found = read(log(tmp_path / "log.csv", stamps(WORDED[name]), "Time (UTC+1)"))
    assert wrong(RECORDING, found, Dialect()) == ""
    assert found.facts.start_time_us == start_us(1.0)


def test_dates_and_clocks_of_six_figures(tmp_path):
    """The clock is read; which of the first and last two figures are the year does not show, so it asks for the date."""
    path = log(tmp_path / "log.csv", stamps("{d:%y%m%d %H%M%S}.{ms}"))
    found = read(path)
    assert wrong(RECORDING, found, Dialect()) == ""
    assert found.facts.start_time_us is None
    assert any("date_order" in w for w in found.facts.warnings)
    line = '[station]\ntimezone = "UTC"\n[channels]\ntime = { column = "Time", date_order = "year first" }\n'
    assert read(path, parse_station(line, "s.toml")).facts.start_time_us == start_us()


FINNISH = (
    "tammikuuta", "helmikuuta", "maaliskuuta", "huhtikuuta", "toukokuuta", "kesäkuuta", "heinäkuuta", "elokuuta",
    "syyskuuta", "lokakuuta", "marraskuuta", "joulukuuta",
)  # fmt: skip


def test_every_month_in_finnish():
    """That of November begins like March in other languages, and others hold beginnings of months within."""
    cells = [f"18. {month} 2025 klo 9.14.07,005" for month in FINNISH]
    assert all(cell_kind(cell) == "time" for cell in cells)
    form = find_form(cells)
    assert form is not None
    ns, sound = stamp_ns(pa.array(cells), form)
    wanted = [dt.datetime(2025, k, 18, 9, 14, 7, 5000, dt.UTC).timestamp() for k in range(1, 13)]
    assert sound.all()
    assert np.allclose(ns / 1e9, wanted, atol=1e-3)


@pytest.mark.parametrize("zone", ZONES)
def test_zones_behind_stamps(tmp_path, zone):
    """The first row is dated in UTC, without a zone in the station file."""
    behind = zone if zone.startswith("-") else f" {zone}"
    found = read(log(tmp_path / "log.csv", stamps("{d:%Y-%m-%d %H:%M:%S}.{ms}" + behind)))
    assert wrong(RECORDING, found, Dialect()) == ""
    assert found.facts.start_time_us == start_us(ZONES[zone])


def test_the_end_of_summer_time_by_abbreviations(tmp_path):
    """The clock goes back an hour, and the abbreviation behind it changes: no step, no row lost."""
    begin = dt.datetime(2025, 10, 26, 2, 59, 50, 5000, dt.UTC)
    moments = [begin + dt.timedelta(milliseconds=round(float(t) * 1000)) for t in RECORDING.time_s]
    cells = [
        f"{d - dt.timedelta(hours=int(d.hour > 2)):%d.%m.%Y %H:%M:%S}.{d.microsecond // 1000:03d} "
        + ("CET" if d.hour > 2 else "CEST")
        for d in moments
    ]
    found = read(log(tmp_path / "log.csv", cells))
    assert len({cell.rsplit(" ", 1)[1] for cell in cells}) == 2
    assert wrong(RECORDING, found, Dialect()) == ""
    assert found.facts.start_time_us == start_us(2.0, begin)
    assert found.facts.clock_steps == ()


def test_an_abbreviation_behind_a_clock_alone_moves_nothing(tmp_path):
    """Without a date hours from UTC say nothing."""
    found = read(log(tmp_path / "log.csv", stamps("{d:%H:%M:%S}.{ms} CET")))
    assert wrong(RECORDING, found, Dialect()) == ""
    assert found.facts.start_time_us is None


def test_zones_in_the_names_of_columns():
    """Only what is written as a zone is one."""
    told = [zone_of_name(n) for n in ("Time (UTC+1)", "Zeit [GMT-03:30]", "Time (UTC)", "Time (s)", "utc", "UTC+99")]
    assert told == ["+01:00", "-03:30", "UTC", "", "", ""]
    assert [zone_of_name(n) for n in ("Time", "t+1", "GMT offset 3")] == ["", "", ""]
