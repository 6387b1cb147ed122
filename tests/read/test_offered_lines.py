"""Lines that are offered read right as they stand."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.errors import StationFileError
from tracekit.model.answers import answers
from tracekit.model.station import Channel
from tracekit.read.deciding import UndecidedLogError
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=8)
LEVELS = {name: RECORDING.digital >> bit & 1 for bit, name in enumerate(("Suction", "Blow-off", "Part present"))}
SECONDS = [f"{t:.3f}" for t in RECORDING.time_s]
KPA = RECORDING.pressure_kpa.round(2)


def written(path, *columns):
    """A log of named columns."""
    names, values = zip(*columns, strict=True)
    path.write_text(
        "\n".join([";".join(names), *(";".join(map(str, row)) for row in zip(*values, strict=True))]) + "\n"
    )
    return path


def first_answers(path):
    """The station of the first line that is offered for each question."""
    with pytest.raises(UndecidedLogError, match="station file") as asked:
        read(path)
    lines = {q.line.partition(" ")[0]: (answers(q) or [("", q.line)])[0][1] for q in asked.value.questions}
    return parse_station("[channels]\n" + "\n".join(lines.values()) + "\n", "station.toml"), lines


def test_a_time_of_a_channel_is_no_pressure(tmp_path):
    """Each channel has a column of times whose name holds that of the channel."""
    pairs = [c for name, level in LEVELS.items() for c in ((f"{name} X", SECONDS), (f"{name} Y", level))]
    path = written(tmp_path / "log.csv", ("Suction pressure [kPa] ValueX", SECONDS), ("ValueY", KPA), *pairs)
    station, lines = first_answers(path)
    assert '"ValueY"' in lines["pressure"]
    assert np.allclose(read(path, station).pressure_kpa, KPA, atol=0.011)


def test_the_pressure_around_the_station_is_not_that_of_the_cup(tmp_path):
    """It hardly moves; one without such a name stands behind one that does."""
    around = np.round(100.4 + 0.02 * np.sin(RECORDING.time_s), 2)
    cup = ("Cup (kPa abs)", (KPA + 100.4).round(2))
    time, levels = ("Time (s)", SECONDS), list(LEVELS.items())
    path = written(tmp_path / "named.csv", time, ("Ambient (kPa abs)", around), cup, *levels)
    assert np.allclose(read(path).pressure_kpa, KPA, atol=0.7)
    path = written(tmp_path / "log.csv", time, ("Hall (kPa abs)", around), cup, *levels)
    station, lines = first_answers(path)
    assert '"Cup (kPa abs)"' in lines["pressure"]
    assert np.allclose(read(path, station).pressure_kpa, KPA, atol=0.7)


@pytest.mark.parametrize(("unit", "size"), [("V", 1.0), ("mV", 1000.0)])
def test_a_sensor_that_rests_at_one_volt_is_one_of_one_to_five(tmp_path, unit, size):
    """Its live zero shows; the sensor of 0 to 10 V rests at nothing."""
    volts = np.round(size * (1 - 4 * np.where(np.abs(KPA) < 1, 0, KPA) / 101.3), 3)
    path = written(tmp_path / "log.csv", ("Time (s)", SECONDS), (f"Sensor ({unit})", volts), *LEVELS.items())
    station, _ = first_answers(path)
    assert np.allclose(read(path, station).pressure_kpa, KPA, atol=1.0)
    path = written(tmp_path / "ten.csv", ("Time (s)", SECONDS), ("Sensor (V)", -KPA / 10.13), *LEVELS.items())
    station, _ = first_answers(path)
    assert np.allclose(read(path, station).pressure_kpa, KPA, atol=0.02)


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ('time = { interval_s = "0.01" }', Channel(interval_s=0.01)),
        ('pressure = { column = "a", scale = [["0", "0.0"], [27648, "-100"]] }',
         Channel(column="a", scale=((0.0, 0.0), (27648.0, -100.0)))),
    ],
)  # fmt: skip
def test_numbers_in_the_quotes_of_an_offered_line_are_taken(line, wanted):
    """Who writes a number between the quotes of "..." means the number."""
    assert parse_station(f"[channels]\n{line}\n", "s.toml").channels[line.partition(" ")[0]] == wanted


@pytest.mark.parametrize(
    ("line", "todo"),
    [
        ('pressure = { column = "a", scale = [[0.0, 0.0], ["...", "..."]] }', 'Put numbers in the place of "..."'),
        ('time = { interval_s = "10 ms" }', "without quotes and without its unit"),
        ('time = { interval_s = "nan" }', "without quotes and without its unit"),
    ],
)
def test_what_is_still_open_in_an_offered_line_is_told(line, todo):
    """A line that was pasted as it stands, or with a unit, says what belongs there."""
    with pytest.raises(StationFileError, match=todo.replace(".", r"\.")):
        parse_station(f"[channels]\n{line}\n", "s.toml")
