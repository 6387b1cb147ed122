"""What each command writes as JSON is what its schema says."""

import json
from pathlib import Path

import jsonschema
import pytest
from made_logs import write_log

from tracekit import cli
from tracekit.report.schemas import schema


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two logs of a station, before and after a leak was mended, and a history of three days."""
    place = tmp_path_factory.mktemp("logs")
    write_log(place / "before.csv", decay_kpa_s=4.0, cycles=30)
    write_log(place / "after.csv", decay_kpa_s=1.0, cycles=30, seed=2)
    for day in range(1, 5):
        log = write_log(place / f"day_{day}.csv", decay_kpa_s=1.0 + 0.3 * day, cycles=12, seed=day)
        started = f"2025-03-0{day}T06:00+00:00"
        arguments = ["--history", str(place / "history"), "--started", started, "--out", str(place / "days" / str(day))]
        assert cli.run(["diagnose", str(log), "--quiet", *arguments]) == 0
    return place


CASES = {
    "diagnosis": ["diagnose", "before.csv", "--quiet"],
    "comparison": ["compare", "before.csv", "after.csv"],
    "plan": ["plan", "--from", "before.csv"],
    "volume": ["volume", "after.csv", "before.csv", "--orifice-mm", "0.1"],
    "trend": ["trend", "history"],
    "tuning": ["tune", "before.csv"],
}


@pytest.mark.parametrize("name", CASES)
def test_written_json_fits_its_schema(name: str, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The JSON file in the output folder is valid, holds no null, and stands beside a page."""
    monkeypatch.chdir(folder)
    assert cli.run([*CASES[name], "--out", str(tmp_path / "out")]) == 0
    text = (tmp_path / "out" / f"{name}.json").read_text(encoding="utf-8")
    jsonschema.validate(json.loads(text), schema(name))
    assert ": null" not in text
    assert "NaN" not in text
    assert list((tmp_path / "out").glob("*.html"))
