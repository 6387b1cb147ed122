"""What `inspect` says."""

import json

import numpy as np
import pytest

from tests.read.dialects import Dialect, make_recording
from tests.read.field_logs import FIELD
from tests.read.plant_more import MORE
from tests.read.reading import read, written
from tracekit.cli import run
from tracekit.model.answers import answers
from tracekit.read.head import Question
from tracekit.read.inspection import inspect_log, inspection_json
from tracekit.read.inspection_text import draw, inspection_text
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=8)
GERMAN = Dialect(names="german", unit="mbar", sense="vacuum", time="iso", delimiter=";", decimal=",")


def test_every_decision_has_evidence_and_confidence(tmp_path):
    """Every decision about a log comes with its evidence and how sure it is."""
    (found,) = inspect_log(written(tmp_path, RECORDING, GERMAN))
    what = [a.what for a in found.assumptions]
    assert {"encoding", "columns", "decimal sign", "time", "supply", "release", "part_present"} <= set(what)
    assert {"unit of Unterdruck [mbar]", "sense of Unterdruck [mbar]"} <= set(what)
    assert all(a.evidence and 0 < a.confidence <= 1 for a in found.assumptions)


def test_the_station_file_reads_the_log_alike(tmp_path):
    """The station file that is written is sound, and the log reads the same with it."""
    path = written(tmp_path, RECORDING, GERMAN)
    (found,) = inspect_log(path)
    station = parse_station(found.station_file, "written.toml")
    assert station.channels["pressure"].sense == "vacuum"
    with_file, without = read(path, station), read(path)
    assert np.array_equal(with_file.pressure_kpa, without.pressure_kpa)
    assert np.array_equal(with_file.digital, without.digital)


def test_open_questions_stand_in_the_station_file(tmp_path):
    """What is open stands in the written station file as a line that only has to be uncommented."""
    path = written(tmp_path, RECORDING, Dialect(header="none"))
    (found,) = inspect_log(path)
    assert found.layout is None
    assert len(found.questions) == 1
    line = f"# {found.questions[0].line}"
    assert line in found.station_file
    station = parse_station(found.station_file.replace(line, line[2:]), "answered.toml")
    assert np.array_equal(read(path, station).pressure_kpa, RECORDING.pressure_kpa)


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("no_unit", 'pressure = { column = "Vacuum", unit = "bar", sense = "gauge" }'),
        ("no_time_unit", 'time = { column = "Count", interval_s = 0.01 }'),
        ("milliamps", 'pressure = { column = "Vacuum sensor [mA]", scale = [[4.0, 0.0], [20.0, -101.3]] }'),
    ],
)
def test_what_was_decided_is_in_force_beside_what_is_open(tmp_path, name, line):
    """The station file of an undecided log holds all that was decided: only the one line is to be written."""
    path = tmp_path / "log.csv"
    path.write_bytes(FIELD[name](RECORDING))
    (found,) = inspect_log(path)
    (question,) = found.questions
    decided = parse_station(found.station_file, "written.toml").channels
    assert set(decided) == {"time", "pressure", "supply", "release", "part_present"} - {line.partition(" ")[0]}
    station = parse_station(found.station_file.replace(f"# {question.line}", line), "answered.toml")
    again = read(path, station)
    assert np.abs(again.pressure_kpa - RECORDING.pressure_kpa).max() < 0.01
    assert np.array_equal(again.digital, RECORDING.digital)


@pytest.mark.parametrize(
    ("content", "shown"),
    [
        (FIELD["no_unit"], ["bar: from \u221271.1 to 2.0", 'column = "Vacuum", unit = "bar"', "atm: from"]),
        (FIELD["no_time_unit"], ["us: a sample every 0.0001 s", 'column = "Count", unit = "us"', "ms: a sample"]),
        (lambda rec: MORE["two_sensors"](rec)["log.csv"],
         ['{ column = "Vacuum generator [kPa]" }', '{ column = "Vacuum cup [kPa]" }']),
    ],
)  # fmt: skip
def test_every_reading_is_shown_with_its_line(tmp_path, content, shown):
    """The terminal shows each reading that is left, what it would mean, and the line that chooses it."""
    (tmp_path / "log.csv").write_bytes(content(RECORDING))
    (found,) = inspect_log(tmp_path / "log.csv")
    text = inspection_text(found)
    assert all(part in text for part in shown)
    assert "1e" not in text.partition("What has to be answered")[2]


def test_senses_are_shown_with_what_each_would_mean():
    """A sense that is left open stands there in each way, with the vacuum that it would mean."""
    found = (
        '"AI1" reads from -1 to 60 kPa; as gauge that is a vacuum of up to 1 kPa, as vacuum 60 kPa, as absolute 102 kPa'
    )
    line = 'pressure = { column = "AI1", unit = "kPa", sense = "gauge" }'
    assert answers(Question(found=found, line=line + "   # or absolute, or vacuum")) == [
        ("gauge: a vacuum of up to 1\u00a0kPa", line),
        ("absolute: a vacuum of up to 102\u00a0kPa", line.replace('"gauge"', '"absolute"')),
        ("vacuum: a vacuum of up to 60\u00a0kPa", line.replace('"gauge"', '"vacuum"')),
    ]


def test_the_picture_shows_the_cycles(tmp_path):
    """The picture has a row per digital that is on where the signal is on, and no line is wider than a terminal."""
    (found,) = inspect_log(written(tmp_path, RECORDING, GERMAN))
    lines = draw(found.pictures[0])
    assert [line.split()[0] for line in lines[-3:]] == ["supply", "release", "present"]
    assert lines[-1].count("_-") >= 5
    assert all(len(line) <= 80 for line in inspection_text(found).splitlines())


def test_the_file_cannot_write_to_the_terminal(tmp_path):
    """Control characters in names of columns are not printed."""
    path = written(tmp_path, RECORDING, Dialect(encoding="utf-8"))
    path.write_bytes(path.read_bytes().replace(b"Suction valve", b"Suction \x1b[31mvalve", 1))
    (found,) = inspect_log(path)
    assert "\x1b" not in inspection_text(found)


def test_json_is_complete(tmp_path):
    """The JSON form holds columns, facts and assumptions, and no NaN."""
    (found,) = inspect_log(written(tmp_path, RECORDING, GERMAN))
    document = json.loads(json.dumps(inspection_json(found), allow_nan=False))
    assert document["rows_read"] == document["rows_used"] == len(RECORDING.time_s)
    assert document["columns"]["pressure"] == "Unterdruck [mbar]"


def test_open_questions_stand_in_the_json_with_their_answers(tmp_path):
    """The JSON form of an undecided log holds each question with every answer that is left."""
    path = tmp_path / "log.csv"
    path.write_bytes(FIELD["no_unit"](RECORDING))
    (found,) = inspect_log(path)
    (question,) = json.loads(json.dumps(inspection_json(found), allow_nan=False))["questions"]
    assert [a["line"].partition('unit = "')[2].partition('"')[0] for a in question["answers"]] == [
        "bar",
        "kgf/cm2",
        "atm",
    ]
    assert all(a["means"] for a in question["answers"])


def test_the_command_asks_and_exits_with_2(tmp_path, capsys):
    """The command prints what is open, writes the station file, and exits with 2."""
    path = written(tmp_path, RECORDING, Dialect(header="none"))
    target = tmp_path / "station.toml"
    assert run(["inspect", str(path), "--write-station", str(target)]) == 2
    assert "does not show" in capsys.readouterr().err
    assert "To be answered" in target.read_text(encoding="utf-8")


def test_the_command_prints_json(tmp_path, capsys):
    """With --json the command prints one JSON object and exits with 0."""
    path = written(tmp_path, RECORDING, GERMAN)
    assert run(["inspect", str(path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["decided"] is True
