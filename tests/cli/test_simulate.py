"""`tracekit simulate` writes a log, its truth and a station file, or says what is wrong."""

import json
import tomllib
from pathlib import Path

import pytest

from tracekit.cli import run


def test_a_story_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A named scenario gives log, truth and station file in the folder asked for."""
    assert run(["simulate", "loader_2_torn_cup", "--out", str(tmp_path), "--kind", "csv", "--cycles", "2"]) == 0
    assert (tmp_path / "log.csv").read_text().startswith("time_s,pressure_kpa,supply,release,part_present\n")
    truth = json.loads((tmp_path / "truth.json").read_text())
    assert truth["summary"]["cycles"] == 2
    station = tomllib.loads((tmp_path / "station.toml").read_text())
    assert station["station"]["name"] == truth["station"]["name"] == "Loader 2"
    assert "2 cycles, seed 4202" in capsys.readouterr().out


def test_a_fault_gives_a_random_station(tmp_path: Path) -> None:
    """A label draws a station by the seed."""
    assert run(["simulate", "porous_part", "--seed", "5", "--cycles", "1", "--out", str(tmp_path)]) == 0
    truth = json.loads((tmp_path / "truth.json").read_text())
    assert (truth["seed"], truth["faults"][0]["label"]) == (5, "porous_part")


def test_without_a_scenario_they_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """Names with what they show, and the faults."""
    assert run(["simulate"]) == 0
    printed = capsys.readouterr().out
    assert "loader_2_torn_cup" in printed
    assert "  porous_part" in printed


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["loader_2_torn"], 'Did you mean "loader_2_torn_cup"?'),
        (["loader_2_healthy", "--kind", "xls"], '--kind: "xls"; expected parquet or csv'),
        (["absent.toml"], "absent.toml: No such file or directory"),
    ],
)
def test_what_is_wrong_is_one_message(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Status 2, one line, nothing written."""
    monkeypatch.chdir(tmp_path)
    assert run(["simulate", *arguments]) == 2
    error = capsys.readouterr().err
    assert said in error
    assert len(error.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []
