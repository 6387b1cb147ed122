"""`tracekit verify report.html LOG`: a page against the log it was made from."""

import hashlib
import io
import json
from pathlib import Path

import pytest
from made_logs import write_log

from tracekit import cli
from tracekit.cli import progress


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, Path]:
    """A log, another one, and the page of the first."""
    folder = tmp_path_factory.mktemp("verify")
    log, other = write_log(folder / "loader.csv"), write_log(folder / "other.csv", seed=2)
    assert cli.run(["diagnose", str(log), "--out", str(folder / "out"), "--units", "mbar", "--quiet"]) == 0
    return log, other, folder / "out" / "report.html"


def test_a_page_holds(made: tuple[Path, Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    """The page as written follows from its log, whatever unit it was written in."""
    log, _, page = made
    assert cli.run(["verify", str(page), str(log)]) == 0
    assert capsys.readouterr().out.startswith("report.html holds: every hash, figure, cycle and sentence")
    assert cli.run(["verify", str(page), str(log), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"sheet": "report.html", "holds": True, "faults": []}
    assert cli.run(["verify", str(page), str(log), "--quiet"]) == 0
    assert capsys.readouterr().out == ""


def test_a_person_sees_how_far_it_reads(made: tuple[Path, Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """At a terminal the rows read are shown, and the line is empty again before the answer."""

    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    seen = Terminal()
    monkeypatch.setattr("sys.stderr", seen)
    monkeypatch.setattr(progress, "_PATIENCE_S", 0.0)
    monkeypatch.setattr(progress, "_EVERY_S", 0.0)
    assert cli.run(["verify", str(made[2]), str(made[0])]) == 0
    shown = seen.getvalue().split("\r\x1b[2K")
    assert any(line.startswith("loader.csv: ") and "rows" in line for line in shown)
    assert shown[-1] == ""


def test_a_page_with_a_passed_limit_holds(made: tuple[Path, Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Limits that are passed stand on the page made anew, too."""
    file = tmp_path / "s.toml"
    limit = 'decay_rate_kpa_s = { max = 0.01, severity = "critical" }'
    file.write_text(f'[station]\nname = "Loader 2"\n[limits]\n{limit}\n', encoding="utf-8")
    used = ["--station", str(file)]
    assert cli.run(["diagnose", str(made[0]), *used, "--out", str(tmp_path / "out"), "--quiet"]) == 0
    page = tmp_path / "out" / "report.html"
    assert "Limit passed: " in page.read_text(encoding="utf-8")
    assert cli.run(["verify", str(page), str(made[0]), *used]) == 0, capsys.readouterr().err


def test_a_page_with_a_start_holds(made: tuple[Path, Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A log without dates begins when its page says."""
    log = made[0]
    assert cli.run(["diagnose", str(log), "--started", "2025-03-02T06:00:01.25+00:00", "--out", str(tmp_path), "--quiet"]) == 0
    assert "2025" in (tmp_path / "report.html").read_text(encoding="utf-8")
    assert cli.run(["verify", str(tmp_path / "report.html"), str(log)]) == 0, capsys.readouterr().err


def test_a_page_with_the_last_good_log(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The last good log is taken from the history, or given as a file; without either the page's hash of it is told."""
    for side, name in (("good", "loader_2_healthy"), ("now", "loader_2_torn_cup")):
        assert cli.run(["simulate", name, "--cycles", "30", "--out", str(tmp_path / side)]) == 0
    good, log = tmp_path / "good" / "log.parquet", tmp_path / "now" / "log.parquet"
    add, page = ["--history", str(tmp_path / "h"), "--quiet"], tmp_path / "page" / "report.html"
    early, late = "2025-03-02T06:00+00:00", "2025-03-03T06:00+00:00"
    assert cli.run(["diagnose", str(good), "--started", early, *add, "--out", str(tmp_path / "g")]) == 0
    used = ["--baseline", "last-good", "--started", late, "--out", str(page.parent)]
    assert cli.run(["diagnose", str(log), *used, *add]) == 0
    assert cli.run(["verify", str(page), str(log), "--history", str(tmp_path / "h")]) == 0, capsys.readouterr().err
    assert cli.run(["verify", str(page), str(log), "--baseline", str(good)]) == 0, capsys.readouterr().err
    capsys.readouterr()
    assert cli.run(["verify", str(page), str(log)]) == 2
    asked = capsys.readouterr().err
    assert "cannot be checked yet: it was judged against a baseline" in asked
    assert "does not hold" not in asked
    assert "Add --baseline LOG" in asked
    assert cli.run(["verify", str(page), str(log)]) == 2
    told = capsys.readouterr().err
    assert hashlib.sha256(good.read_bytes()).hexdigest()[:12] in told
    assert "--history DIR" in told


def test_a_page_without_its_station_file(
    made: tuple[Path, Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A page of a named station says that its station file must be given."""
    file = tmp_path / "s.toml"
    file.write_text('[station]\nname = "Loader 2"\n', encoding="utf-8")
    assert cli.run(["diagnose", str(made[0]), "--station", str(file), "--out", str(tmp_path), "--quiet"]) == 0
    assert cli.run(["verify", str(tmp_path / "report.html"), str(made[0])]) == 2
    assert "Give --station FILE that the page was made with." in capsys.readouterr().err


def test_a_page_does_not_hold(
    made: tuple[Path, Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Another log is told by its hash, a sentence written by hand by its words; both end with 2."""
    log, other, page = made
    assert cli.run(["verify", str(page), str(other), "--json"]) == 2
    told = capsys.readouterr()
    assert json.loads(told.out)["holds"] is False
    assert "logs: the page names" in told.err
    changed = tmp_path / "page.html"
    changed.write_text(page.read_text(encoding="utf-8").replace("</h1>", " indeed</h1>", 1), encoding="utf-8")
    assert cli.run(["verify", str(changed), str(log)]) == 2
    assert 'indeed", the logs do not' in capsys.readouterr().err
