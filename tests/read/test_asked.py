"""What a log cannot tell is asked for with the line to add, and that line makes it read right."""

import datetime as dt
import re

import numpy as np
import pytest

from tests.read.dialects import START, Dialect, make_recording
from tests.read.field_logs import FIELD
from tests.read.reading import read, written
from tracekit.errors import LogReadError
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=8)
START_US = round(START.timestamp() * 1e6)


def answered(path, change=lambda line: line):
    """The log read with the lines that its refusal asks for, after some change to them."""
    with pytest.raises(LogReadError, match=r"\[channels\]") as caught:
        read(path)
    lines = [change(line.strip()) for line in str(caught.value).partition("[channels]")[2].splitlines() if line.strip()]
    return read(path, parse_station("[channels]\n" + "\n".join(lines) + "\n", "s.toml"))


def off(found) -> float:
    """Largest difference of pressure to the recording, where times and levels are the same [kPa]."""
    assert np.abs(found.time_s - RECORDING.time_s).max() < 1e-4
    assert np.array_equal(found.digital, RECORDING.digital)
    return float(np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max())


def test_the_interval_of_numbered_samples(tmp_path):
    """Numbers of samples without an interval are refused with a line that gives it."""
    assert off(answered(written(tmp_path, RECORDING, Dialect(time="index")))) < 1e-9


def test_the_interval_of_rows_without_time(tmp_path):
    """A log without any time is refused with a line that gives the interval of its rows."""
    path = tmp_path / "log.csv"
    rows = [line.partition(b",")[2] for line in written(tmp_path, RECORDING, Dialect()).read_bytes().splitlines()]
    path.write_bytes(b"\n".join(rows) + b"\n")
    assert off(answered(path, lambda line: line.replace('"..."', "0.01"))) < 1e-9


@pytest.mark.parametrize(
    ("name", "change", "close"),
    [
        ("tenths", lambda line: re.sub(r"unit = .*", "scale = [[0, 0.0], [-1000, -100.0]] }", line), 0.051),
        ("milliamps", lambda line: line, 0.01),
        ("no_unit", lambda line: line.replace('"kPa"', '"bar"'), 0.002),
        ("ticks_of_ten_ms", lambda line: re.sub(r"unit = .*", "interval_s = 0.01 }", line), 1e-9),
        ("no_time_unit", lambda line: re.sub(r"unit = .*", "interval_s = 0.01 }", line), 1e-9),
    ],
)
def test_the_answer_makes_a_log_of_the_field_readable(tmp_path, name, change, close):
    """The line of the message, with the right values, reads the log right."""
    path = tmp_path / f"{name}.csv"
    path.write_bytes(FIELD[name](RECORDING))
    assert off(answered(path, change)) < close


@pytest.mark.parametrize(("order", "month", "day"), [("day first", 4, 3), ("month first", 3, 4)])
def test_the_order_of_a_date(tmp_path, order, month, day):
    """A date that could be read two ways is not used, the note says what to write, and that decides it."""
    path = tmp_path / "log.csv"
    path.write_bytes(FIELD["date_ambiguous"](RECORDING))
    alone = read(path)
    assert alone.facts.start_time_us is None
    assert any('date_order = "day first"' in w for w in alone.facts.warnings)
    text = f'[station]\ntimezone = "UTC"\n[channels]\ntime = {{ column = "Time", date_order = "{order}" }}\n'
    found = read(path, parse_station(text, "s.toml"))
    assert off(found) < 1e-9
    wanted = START.replace(month=month, day=day)
    assert found.facts.start_time_us == round(wanted.timestamp() * 1e6)
    assert dt.timedelta(microseconds=found.facts.start_time_us - START_US) != dt.timedelta(0)


@pytest.mark.parametrize("level", [0.0, -30.0])
def test_a_pressure_that_never_changes_is_read(tmp_path, level):
    """A stuck sensor is no reason to refuse a log: its reading is taken as it is, for the judgement to name."""
    rows = [
        f"{t:.2f},{level},{d & 1},{d >> 1 & 1},{d >> 2}"
        for t, d in zip(RECORDING.time_s, RECORDING.digital, strict=True)
    ]
    path = tmp_path / "log.csv"
    path.write_text("time_s,pressure_kpa,supply,release,part_present\n" + "\n".join(rows) + "\n")
    found = read(path)
    assert (found.pressure_kpa == level).all()
    assert np.array_equal(found.digital, RECORDING.digital)


def test_a_named_pressure_that_stays_at_zero_is_read(tmp_path):
    """A pressure with its unit that stays at zero is read; its sense makes no difference."""
    rows = [f"{t:.2f},0.0,{d & 1}" for t, d in zip(RECORDING.time_s, RECORDING.digital, strict=True)]
    path = tmp_path / "log.csv"
    path.write_text("Time [s],Vacuum [mbar],Suction\n" + "\n".join(rows) + "\n")
    assert (read(path).pressure_kpa == 0).all()


def test_a_column_of_text_is_no_pressure(tmp_path):
    """A station file that names a column without numbers as the pressure is refused, with the column's name."""
    path = tmp_path / "log.csv"
    path.write_text("Time [s];Vacuum [kPa];Suction\n" + "".join(f"{t:.2f};high-{t:.1f};1\n" for t in RECORDING.time_s))
    given = parse_station(
        '[channels]\npressure = { column = "Vacuum [kPa]", unit = "kPa", sense = "gauge" }\n', "s.toml"
    )
    with pytest.raises(LogReadError, match=r'"Vacuum \[kPa\]" holds no numbers'):
        read(path, given)


def test_ambient_of_an_absolute_pressure_that_never_rests_there(tmp_path):
    """Without a rest at ambient it is asked for; with the sense given alone the standard atmosphere is taken, and told."""
    path = tmp_path / "log.csv"
    path.write_bytes(FIELD["absolute_without_rest"](RECORDING))
    with pytest.raises(LogReadError, match=r"(?s)never rests at ambient.*ambient_kpa = 101\.3"):
        read(path)
    text = '[channels]\npressure = { column = "Pressure abs [kPa]", unit = "kPa", sense = "absolute" }\n'
    wanted = 0.6 * RECORDING.pressure_kpa + 70
    for more, level in (("", 101.325), ("[station]\nambient_kpa = 99.0\n", 99.0)):
        found = read(path, parse_station(text + more, "s.toml"))
        assert np.abs(found.pressure_kpa - (wanted - level)).max() < 1e-3
        (ambient,) = (a for a in found.layout.assumptions if a.what == "ambient")
        assert (ambient.confidence < 0.5) == (not more)
