"""`tracekit inspect --out`: a page and a JSON file, also where something is left open."""

import json
from pathlib import Path

import pytest
from made_logs import HEAD, write_log

from tracekit import cli


def test_it_writes_a_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--out writes report.html and inspection.json and names the page; --quiet says nothing."""
    log, out = write_log(tmp_path / "loader.csv"), tmp_path / "out"
    assert cli.run(["inspect", str(log), "--out", str(out)]) == 0
    assert f"Page: {out / 'report.html'}" in capsys.readouterr().out
    assert json.loads((out / "inspection.json").read_text(encoding="utf-8"))["schema"] == "tracekit.inspection/1"
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "Smallest change" in page or "To see more, next time" in page
    assert cli.run(["inspect", str(log), "--out", str(out), "--quiet"]) == 0
    assert capsys.readouterr().out == ""


def test_an_open_question_has_its_page_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A log that leaves something open ends with 2, and its page shows the lines to choose from."""
    log, out = write_log(tmp_path / "loader.csv"), tmp_path / "out"
    text = log.read_text(encoding="utf-8").replace(HEAD, "t;AI1;DI0;DI1;DI2\n").replace(",", ";")
    log.write_text("\n".join(_in_mbar(line) for line in text.splitlines()) + "\n", encoding="utf-8")
    assert cli.run(["inspect", str(log), "--out", str(out)]) == 2
    assert "unit" in capsys.readouterr().err
    assert "must be answered first" in (out / "report.html").read_text(encoding="utf-8")


def test_an_edited_station_file_is_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The station file is told on success; a second run refuses to replace it and leaves it as it is."""
    log, file = write_log(tmp_path / "loader.csv"), tmp_path / "odd.toml"
    assert cli.run(["inspect", str(log), "--write-station", str(file)]) == 0
    assert f"Station file: {file}" in capsys.readouterr().out
    file.write_text("# mine\n", encoding="utf-8")
    assert cli.run(["inspect", str(log), "--write-station", str(file)]) == 2
    assert "there is a file already; expected a new name" in capsys.readouterr().err
    assert file.read_text(encoding="utf-8") == "# mine\n"


def test_what_is_not_shown_is_told_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Causes that a log cannot show for one reason stand in one line; the station file of several logs is that of one."""
    first, second = write_log(tmp_path / "a.csv"), write_log(tmp_path / "b.csv", seed=2)
    assert cli.run(["inspect", str(first)]) == 0
    shown = " ".join(capsys.readouterr().out.partition("can and cannot show:")[2].split())
    reasons = [part.partition(". ")[2] for part in shown.split("Not shown: ")[1:]]
    assert reasons
    assert "_" not in shown
    assert len(set(reasons)) == len(reasons)
    assert cli.run(["inspect", str(first), str(second), "--write-station", str(tmp_path / "s.toml")]) == 0
    assert "s.toml is of a.csv alone" in capsys.readouterr().err


def _in_mbar(line: str) -> str:
    cells = line.split(";")
    if cells[0] != "t":
        cells[1] = f"{10 * float(cells[1]):.1f}"
    return ";".join(cells)
