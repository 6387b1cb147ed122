"""What looks like something that it is not: signs of life, factors, orders of columns, several levels in one cell."""

import datetime as dt

import numpy as np
import pytest

from tests.read.reading import read
from tests.read.test_odd_channels import HEAD, KPA, PART, RECORDING, RELEASE, SUPPLY, TIME, as_recorded, log
from tracekit.errors import LogReadError
from tracekit.model.answers import answers
from tracekit.read.digitals import parted, together
from tracekit.read.encoding import sound_utf8
from tracekit.read.head import Question
from tracekit.read.inspection import inspect_log
from tracekit.read.station_file import parse_station
from tracekit.read.timemultiples import doubtful_factors

ROWS = len(TIME) // 2 * 2
PAIRS = 2 * (np.arange(ROWS) // 2)


def answered(path, pick=lambda line: line):
    """The log read with the lines that its refusal asks for, after some change to them."""
    with pytest.raises(LogReadError, match=r"\[channels\]") as caught:
        read(path)
    lines = [pick(x.strip()) for x in str(caught.value).partition("[channels]")[2].splitlines() if x.strip()]
    return read(path, parse_station("[channels]\n" + "\n".join(lines) + "\n", "s.toml"))


def in_pairs(folder, name: str, kpa):
    """Two rows under every stamp, told apart by a column of 0 and 1."""
    half = np.arange(ROWS) % 2
    columns = (TIME[PAIRS].round(4), half, kpa, *(c[:ROWS] for c in (SUPPLY, RELEASE, PART)))
    return log(folder, HEAD.replace("time [s],", f"time [s],{name},"), *columns)


@pytest.mark.parametrize("name", ["Life", "Half"])
def test_a_sign_of_life_is_no_station(tmp_path, name):
    """Rows that lie on the way from one stamp to the next are of one station, whatever alternates beside them."""
    found = read(in_pairs(tmp_path, name, KPA[:ROWS]))
    assert len(found.layout.stations) == 1
    assert np.array_equal(found.pressure_kpa, KPA[:ROWS])
    assert np.abs(found.time_s - TIME[:ROWS]).max() < 6e-3


def test_rows_that_may_be_copies_or_stations_are_asked(tmp_path):
    """Readings that are the same under a stamp do not tell whether the words beside them are stations."""
    path = in_pairs(tmp_path, "Half", KPA[PAIRS])
    with pytest.raises(LogReadError, match="whether these are stations does not show"):
        read(path)
    assert answered(path).layout.stations == ("0", "1")
    assert len(answered(path, lambda line: 'context = ["Half"]').layout.stations) == 1


@pytest.mark.parametrize("first_odd", [1, 900])
def test_statements_in_different_orders_are_refused(tmp_path, first_odd):
    """Values of statements that tell their columns in another order are not read by their place."""
    orders = ("t_s, pressure_kpa, suction, blow_off, part_present", "t_s, part_present, blow_off, suction, pressure_kpa")
    rows = zip(TIME.round(4), KPA, SUPPLY, RELEASE, PART, strict=True)
    told = [(orders[k >= first_odd], (t, *(rest[::-1] if k >= first_odd else rest))) for k, (t, *rest) in enumerate(rows)]
    lines = [f"INSERT INTO trend ({order}) VALUES ({', '.join(map(str, values))});" for order, values in told]
    path = tmp_path / "trend.sql"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(LogReadError, match=f"different orders.*line {first_odd + 1} .*t_s, part_present"):
        read(path)


def test_a_late_statement_in_another_order_is_refused(tmp_path):
    """The order is looked at in every statement, not in the first ones alone."""
    usual = "INSERT INTO trend (t_s, pressure_kpa, suction) VALUES ({}, {}, {});"
    time_s = (0.01 * np.arange(40_000)).round(2)  # longer than what is looked at first
    rows = zip(time_s, np.resize(KPA, len(time_s)), np.resize(SUPPLY, len(time_s)), strict=True)
    lines = [usual.format(*row) for row in rows]
    lines += ["INSERT INTO trend (t_s, suction, pressure_kpa) VALUES (999, 0, -1.5);"] * 9
    path = tmp_path / "trend.sql"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(LogReadError, match=r"different orders.*suction, pressure_kpa\)"):
        read(path)


@pytest.mark.parametrize(
    "name", ["Zeit in 10 ms", "Time x10ms", "Time/10ms", "Zeit (10ms-Schritte)", "Time (ms) /10", "Time [ms*10]"]
)
def test_counts_of_ten_milliseconds(tmp_path, name):
    """A factor beside the unit is read where it is plain, else asked with the interval that it may mean."""
    counts = np.rint(TIME * 100).astype(int)
    path = log(tmp_path, HEAD.replace("time [s]", name), counts, KPA, SUPPLY, RELEASE, PART)
    plain = not any(mark in name for mark in "()[]")
    found = read(path) if plain else answered(path, lambda line: line.replace("0.001", "0.01"))
    assert as_recorded(found)


def test_a_row_of_units_with_a_factor(tmp_path):
    """A row of units that holds the size of a count is none of names."""
    head = "Time,Pressure,suction,blow-off,part present\n10 ms,kPa,,,"
    assert as_recorded(read(log(tmp_path, head, np.rint(TIME * 100).astype(int), KPA, SUPPLY, RELEASE, PART)))


@pytest.mark.parametrize(("name", "unit"), [("Time 1", "(s)"), ("Clock 2 [s]", "")])
def test_a_number_of_a_clock_is_no_factor(tmp_path, name, unit):
    """A number before the brackets of the unit numbers the clock."""
    assert doubtful_factors(f"{name}{unit}") == ()
    assert as_recorded(read(log(tmp_path, HEAD.replace("time [s]", f"{name}{unit}"), TIME, KPA, SUPPLY, RELEASE, PART)))


def test_both_meanings_of_a_factor_are_offered():
    """What stands behind a line as another value or another line is an answer of its own."""
    line = 'time = { column = "t [us*100]", interval_s = 0.01 }   # seconds from row to row; or interval_s = 1e-06'
    question = Question(found="what the factor means is not sure", line=line)
    assert [text for _, text in answers(question)] == [
        'time = { column = "t [us*100]", interval_s = 0.01 }', 'time = { column = "t [us*100]", interval_s = 1e-06 }'
    ]  # fmt: skip
    coil = Question(found="two coils", line='supply = { column = "A" }   # or supply = "B" where that stays on')
    assert answers(coil)[1] == ("where that stays on", 'supply = "B"')


@pytest.mark.parametrize("mark", ["/", "-"])
@pytest.mark.parametrize("name", ["DI", "suction/blow-off/part"])
def test_levels_side_by_side_in_one_cell(tmp_path, mark, name):
    """Levels that stand in one cell are bits: by the names in the header, else by what the pressure does."""
    cells = [mark.join(map(str, row)) for row in zip(SUPPLY, RELEASE, PART, strict=True)]
    found = read(log(tmp_path, f"time [s],pressure [kPa],{name}", TIME, KPA, cells))
    assert np.array_equal(found.digital, RECORDING.digital)


FLAGS = [
    ("".join(x if on else "-" for x, on in zip("SBP", row, strict=True))) for row in zip(SUPPLY, RELEASE, PART, strict=True)
]
SHOWN = ["+".join(n for n, on in zip(("suction", "blow", "part"), row, strict=True) if on) or "none"
         for row in zip(SUPPLY, RELEASE, PART, strict=True)]  # fmt: skip


@pytest.mark.parametrize(("name", "cells"), [("Flags", FLAGS), ("Active", SHOWN)])
def test_all_states_in_which_vacuum_is_made_are_offered(tmp_path, name, cells):
    """The line that is offered names every state in which the pressure falls; a sign "+" may stand in one."""
    found = answered(log(tmp_path, f"time [s],pressure [kPa],{name}", TIME, KPA, cells))
    assert np.array_equal(found.digital & 3, RECORDING.digital & 3)


def test_states_that_hold_the_sign_between_states():
    """A text is parted into states that are known, the longer one first, and put together so that it is parted back."""
    words = ("part", "suction", "suction+part")
    assert parted("suction+suction+part", words) == ("suction", "suction+part")
    assert parted("suction+part", words) == ("suction+part",)
    assert parted("suction+blow", words) == ()
    assert parted(together(["suction", "part"], words), words) == ("part", "suction")


@pytest.mark.parametrize("early_s", [0.0, 5.0])
@pytest.mark.parametrize("zone", ["Z", "+01:00"])
def test_the_time_of_a_trigger_dates_elapsed_zero(tmp_path, early_s, zone):
    """Rows before a trigger have negative times: the date belongs to time 0."""
    head = f"Trigger time: 2025-03-18T09:14:27{zone}\n{HEAD}"
    path = log(tmp_path, head, (TIME - early_s).round(4), KPA, SUPPLY, RELEASE, PART)
    trigger = dt.datetime(2025, 3, 18, 9 if zone == "Z" else 8, 14, 27, tzinfo=dt.UTC).timestamp()
    assert read(path).facts.start_time_us == pytest.approx((trigger - early_s + TIME[0]) * 1e6, abs=1e3)


def test_a_trigger_does_not_date_numbers_of_samples(tmp_path):
    """How many samples stand before a trigger does not show."""
    head = "Trigger time: 2025-03-18T09:14:27Z\nSample interval: 10 ms\n" + HEAD.replace("time [s]", "Sample")
    path = log(tmp_path, head, np.arange(len(TIME)), KPA, SUPPLY, RELEASE, PART)
    assert read(path).facts.start_time_us is None


@pytest.mark.parametrize("line", ["Clock: 10 kHz", "Time base: 100 us"])
def test_a_clock_above_the_header_is_offered(tmp_path, line):
    """What may be the size of a count is offered as the seconds from row to row."""
    counts = np.rint(TIME * 1e4).astype(int)
    path = log(tmp_path, f"{line}\n" + HEAD.replace("time [s]", "Ticks"), counts, KPA, SUPPLY, RELEASE, PART)
    assert as_recorded(answered(path))


def test_days_of_an_unknown_calendar_are_offered(tmp_path):
    """A step far below a microsecond of any unit is one of days."""
    days = [f"{day:.12f}" for day in 739694.25 + TIME / 86400]
    found = answered(log(tmp_path, HEAD.replace("time [s]", "datenum"), days, KPA, SUPPLY, RELEASE, PART))
    assert np.abs(found.time_s - TIME).max() < 1e-4
    question = Question(found='the unit of time in "JD" does not show (from row to row 1.2e-07)',
                        line='time = { column = "JD", unit = "d" }   # or h, min, s')  # fmt: skip
    assert next(line for _, line in answers(question)) == 'time = { column = "JD", unit = "d" }'


@pytest.mark.parametrize("sign", [1, -1])
def test_a_factor_behind_a_unit_of_pressure_is_asked_with_points(tmp_path, sign):
    """Where "mbar x 10" can only be steps of 10 mbar, two points that say so are offered."""
    counts = sign * np.rint(KPA).astype(int)
    found = answered(log(tmp_path, HEAD.replace("[kPa]", "(mbar x 10)"), TIME, counts, SUPPLY, RELEASE, PART))
    assert np.array_equal(found.pressure_kpa, np.rint(KPA))


def test_counts_of_a_converter_are_asked_with_two_points(tmp_path):
    """A column of counts has no unit: the line that is offered takes two points of the sensor."""
    counts = np.rint(410 - KPA / 101.3 * 3276).astype(int)
    path = log(tmp_path, HEAD.replace("pressure [kPa]", "ADC0"), TIME, counts, SUPPLY, RELEASE, PART)
    with pytest.raises(LogReadError, match=r'column = "ADC0", scale = \[\[\d+, 0.0\], .*as \[4095, -101.3\]'):
        read(path)
    line = 'pressure = { column = "ADC0", scale = [[410.0, 0.0], [3686.0, -101.3]] }'
    assert np.abs(answered(path, lambda _: line).pressure_kpa - KPA).max() < 0.02


@pytest.mark.parametrize(
    ("shown", "sense", "offered"),
    [("-5.7 to 71.4", "vacuum", {"kPa", "inH2O"}), ("-71.4 to 5.7", "gauge", {"kPa", "inH2O"})],
)
def test_no_unit_is_offered_that_would_be_beyond_any_vacuum(shown, sense, offered):
    """Vacuum ends at ambient: units in which readings would go deeper are no answers."""
    question = Question(found=f'the unit of "AI1" does not show (readings from {shown})',
                        line=f'pressure = {{ column = "AI1", unit = "kPa", sense = "{sense}" }}')  # fmt: skip
    assert {means.partition(":")[0] for means, _ in answers(question)} == offered


def test_another_key_of_a_channel_stands_for_the_first():
    """A unit that is offered beside a scale takes its place in the line."""
    line = 'pressure = { column = "AI1 (%)", scale = [[0.0, 0.0], [100.0, -100.0]] }   # two points; or unit = "%"'
    question = Question(found='of what "AI1 (%)" is a share does not show', line=line)
    assert answers(question)[1][1] == 'pressure = { column = "AI1 (%)", unit = "%" }'


def decided_again(path):
    """The start of a log as it is read, and as it is read with the station file that an inspection writes for it."""
    (seen,) = inspect_log(path)
    again = read(path, parse_station(seen.station_file, "s.toml"))
    assert np.array_equal(again.time_s, read(path).time_s)
    return read(path).facts.start_time_us, again.facts.start_time_us


@pytest.mark.parametrize(("size", "unit"), [(1.0, "s"), (1e3, "ms"), (1e6, "us"), (1e9, "ns")])
def test_a_count_since_1970_keeps_its_date_with_a_unit(tmp_path, size, unit):
    """The station file of a log with such a count names the unit alone: the date stays."""
    at = [f"{(1742289247 + t) * size:.0f}" if size > 1 else f"{1742289247 + t:.3f}" for t in TIME]
    path = log(tmp_path, HEAD.replace("time [s]", "ts"), at, KPA, SUPPLY, RELEASE, PART)
    first, again = decided_again(path)
    assert f'unit = "{unit}"' in inspect_log(path)[0].station_file
    assert first == again == pytest.approx(1742289247e6 + TIME[0] * 1e6, abs=2e3)


def test_seconds_since_1970_with_parts_beside_them(tmp_path):
    """Seconds and microseconds in two columns are dated, and a station file does not name one of them alone."""
    at = np.rint(TIME * 1e6).astype(int) + 5000
    head = HEAD.replace("time [s]", "Sec,Usec")
    path = log(tmp_path, head, 1742289247 + at // 1_000_000, at % 1_000_000, KPA, SUPPLY, RELEASE, PART)
    first, again = decided_again(path)
    assert first == again == 1742289247 * 1_000_000 + at[0]


def test_a_clock_in_columns_of_its_own_is_read_with_its_station_file(tmp_path):
    """A station file that names hours alone would be refused."""
    at = np.rint(TIME * 1e3).astype(int)
    parts = (np.full(len(at), 9), 14 + at // 60_000, at // 1000 % 60, at % 1000)
    decided_again(log(tmp_path, HEAD.replace("time [s]", "Hour,Min,Sec,ms"), *parts, KPA, SUPPLY, RELEASE, PART))


@pytest.mark.parametrize("minus", ["\u2212", "\u2013", "\u2010", "- ", "\u2212 ", "\u2013 ", "-\u00a0"])
@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_any_minus_before_a_number(tmp_path, minus, mark):
    """A dash of typography that begins a number is a minus, also with a blank behind it."""
    cells = [str(v).replace("-", minus) for v in KPA.tolist()]
    path = log(tmp_path, HEAD, TIME, cells, SUPPLY, RELEASE, PART)
    path.write_text(path.read_text(encoding="utf-8").replace(",", mark), encoding="utf-8")
    assert as_recorded(read(path))


def test_a_dash_between_words_or_numbers_stays():
    """Only what begins a number is taken for a minus."""
    for text in ("10\u20132 kPa;1", "a \u2013 b;1", "2025-03-18 - 09:14:07;1", "-;1"):
        assert sound_utf8(text.encode()) == text.encode()


def test_parts_of_a_second_are_no_stations(tmp_path):
    """Milliseconds beside a clock of seconds stand by turns under every stamp, and are no stations."""
    kpa = np.resize(KPA, 1600)
    clocks = [f"{9 + k // 28800}:{k // 480 % 60:02d}:{k // 8 % 60:02d}" for k in range(len(kpa))]
    found = read(log(tmp_path, "Time,ms,pressure [kPa]", clocks, np.arange(len(kpa)) % 8 * 125, kpa))
    assert len(found.layout.stations) == 1
    assert np.allclose(np.diff(found.time_s), 0.125)
