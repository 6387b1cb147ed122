"""Columns, units and stations that a log leaves in doubt are asked about, with a line for each that reads it right."""

import numpy as np
import pytest

from tests.read.reading import read
from tests.read.two_second_cycles import TIME_S, VACUUM_KPA, WITHIN_S
from tracekit.errors import LogReadError
from tracekit.model.answers import answers
from tracekit.read.head import Question
from tracekit.read.inspection import inspect_log
from tracekit.read.otherunit import unit_turn
from tracekit.read.station_file import load_stations

SUPPLY = ((WITHIN_S >= 0.5) & (WITHIN_S < 1.5)).astype(int)


def written(folder, header: str, *columns: np.ndarray):
    """A log of these columns behind the time."""
    rows = [",".join([f"{t:.2f}", *(f"{c:g}" for c in row)]) for t, *row in zip(TIME_S, *columns, strict=True)]
    path = folder / "log.csv"
    path.write_text(header + "\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def with_line(folder, line: str):
    """A station file with one line for a channel."""
    path = folder / "station.toml"
    path.write_text(f"[channels]\n{line}\n", encoding="utf-8")
    return load_stations([str(path)])


def questions(path, folder=None, line: str = ""):
    """What is asked of a log, after a line has been given."""
    return inspect_log(str(path), with_line(folder, line) if line else ())[0].questions


def test_a_second_circuit_in_a_better_known_language_is_asked_about(tmp_path):
    """Both columns hold a vacuum in a written unit: which is the station's no word tells."""
    second = np.round(-0.55 * VACUUM_KPA * 10.0, 1)
    path = written(tmp_path, "Time [s],Xyqua [mbar],Suction valve,Vacuum 2 [mbar]", -10 * VACUUM_KPA, SUPPLY, second)
    (asked,) = questions(path)
    lines = dict(answers(asked))
    assert set(lines) == {"Xyqua [mbar]", "Vacuum 2 [mbar]"}
    for name, depth_kpa in (("Xyqua [mbar]", 70.0), ("Vacuum 2 [mbar]", 38.5)):
        found = read(str(path), station=with_line(tmp_path, lines[name]))
        assert -found.pressure_kpa.min() == pytest.approx(depth_kpa, abs=0.1)


def test_a_voltage_that_moves_is_asked_about_beside_air_that_stands(tmp_path):
    """Compressed air is no vacuum, in whatever sense: the scale of what follows the valve is what is missing."""
    air = 5.4 + 0.02 * np.sin(TIME_S)
    path = written(tmp_path, "Time [s],Xyqua [V],Suction valve,Druckluft [bar]", VACUUM_KPA / 10.0, SUPPLY, air)
    (asked,) = questions(path)
    assert 'the scale of "Xyqua [V]"' in asked.found


def test_a_still_pressure_beside_one_that_moves_is_not_taken(tmp_path):
    """A barometer by any other name moves with no valve."""
    weather = 1013.0 + 0.1 * np.sin(TIME_S)
    path = written(tmp_path, "Time [s],AI4,Suction valve,Room pressure [mbar]", VACUUM_KPA, SUPPLY, weather)
    (asked,) = questions(path)
    assert next(means for means, _ in answers(asked)) == "AI4"


def test_no_absolute_pressure_goes_down_to_nothing(tmp_path):
    """A hold of 785 is ambient in mmHg, but readings that go down to 0.0 are a vacuum that counts up, in mbar."""
    readings = np.minimum(VACUUM_KPA, 69.5) * 785.0 / 69.5
    path = written(tmp_path, "Time [s],Vacuum pressure,Suction valve", np.round(readings, 1) + 0.0, SUPPLY)
    (asked,) = questions(path)
    line = 'pressure = { column = "Vacuum pressure", unit = "mbar", sense = "vacuum" }'
    assert [offered for _, offered in answers(asked)] == [line]


def test_units_of_nearly_the_same_size_are_offered_beside_one_another(tmp_path):
    """No reading tells bar from kgf/cm2 and atm."""
    path = written(tmp_path, "Time [s],Pressure,Suction valve", -np.round(VACUUM_KPA / 98.0665, 4), SUPPLY)
    (asked,) = questions(path)
    assert 'unit = "bar"' in asked.line.partition("#")[0]
    assert 'or unit = "kgf/cm2", sense = "gauge"' in asked.line
    assert [means.partition(":")[0] for means, _ in answers(asked)] == ["bar", "kgf/cm2", "atm"]


def test_another_unit_with_another_sense_keeps_that_sense():
    """The sense of an alternative stands beside its unit, not that of the line."""
    asked = Question(
        found='the unit of "P" does not show (readings from 0.1 to 31.5)',
        line='pressure = { column = "P", unit = "psi", sense = "absolute" }   # or unit = "inHg", sense = "vacuum"',
    )
    lines = [line for _, line in answers(asked)]
    assert 'pressure = { column = "P", unit = "inHg", sense = "vacuum" }' in lines
    assert len(set(lines)) == len(lines)


@pytest.mark.parametrize("name", ["Tekanan", "Trace A"])
def test_two_stations_without_a_unit_are_read_with_one_line(tmp_path, name):
    """S1.x and S2.x with the same tails: one line tells the unit of both, and one the valve of both."""
    header = f"Time [s],S1.{name},S1.Bit K,S2.{name},S2.Bit K"
    other = np.roll(SUPPLY, 70)
    path = written(tmp_path, header, -VACUUM_KPA * 7.5, SUPPLY, -np.roll(VACUUM_KPA, 70) * 7.5, other)
    unit = 'pressure = { unit = "mmHg", sense = "gauge" }'
    assert questions(path)[0].line.startswith("pressure = { unit = ")
    supply = 'supply = { column = "S1.Bit K" }'
    log = inspect_log(str(path), with_line(tmp_path, f"{unit}\n{supply}"))[0]
    assert [name[-1] for name in log.layout.stations] == ["1", "2"]
    assert log.layout.has_supply
    for picture, levels in zip(log.pictures, (SUPPLY, other), strict=True):
        assert ((picture.digital & 1) == levels[: len(picture.digital)]).all()


def test_terminals_are_no_stations(tmp_path):
    """Letters and numbers at the end of names count terminals: which is the pressure is asked."""
    header = "Time [s],Trace A,Trace B,Bit A,Bit B"
    path = written(tmp_path, header, -VACUUM_KPA, -0.5 * VACUUM_KPA, SUPPLY, np.roll(SUPPLY, 100))
    assert questions(path)[0].found.startswith("several columns may be the pressure")


def turned(factor: float, share: float, off: float = 0.0) -> np.ndarray:
    """Readings in mbar, those from a share of the rows on in another unit."""
    raw = np.where(VACUUM_KPA > 0, -10.0 * VACUUM_KPA, 0.0) + off
    raw[int(share * len(raw)) :] *= factor
    return np.round(raw, 1)


@pytest.mark.parametrize("off", [0.0, 1013.0], ids=["gauge", "absolute"])
@pytest.mark.parametrize("factor", [0.1, 10.0, 0.750])
@pytest.mark.parametrize("share", [0.3, 0.6])
def test_another_unit_shows_without_signals(off, factor, share):
    """Everything goes on by the factor of two units and as fast; factors near one are left to the eye."""
    found = unit_turn(turned(factor, share, off))
    if factor == 0.750:
        assert found is None
        return
    assert found is not None
    assert found.factor == pytest.approx(factor, rel=0.01)
    assert abs(found.row - share * len(TIME_S)) < 200


@pytest.mark.parametrize("factor", [0.1, 0.3])
def test_a_cup_that_lost_its_vacuum_is_no_other_unit(factor):
    """A hose off its fitting: a tenth of the vacuum comes in a tenth of the time."""
    raw = turned(1.0, 0.5)
    half = len(raw) // 2
    raw[half:] = np.maximum(raw[half:], -700.0 * factor)
    assert unit_turn(raw) is None


def test_another_unit_is_refused_before_signals_are_asked_about(tmp_path):
    """A tenth of the vacuum from some row on hides what the valves do: the unit is the matter, not they."""
    path = written(tmp_path, "Time [s],Pressure [mbar],CH1,CH2", turned(0.1, 0.6), SUPPLY, np.roll(SUPPLY, 30))
    with pytest.raises(LogReadError, match=r"pressure in another unit \(by 0.1\) from about row 3[56]\d\d"):
        read(str(path))
