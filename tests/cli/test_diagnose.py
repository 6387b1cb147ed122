"""`tracekit diagnose`: what it writes, prints and refuses, and how it ends."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from made_logs import HEAD, write_log

from tracekit import cli

NAMES = {"report.html", "diagnosis.json", "cycles.parquet", "periods.parquet", "edges.parquet"}


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return write_log(tmp_path / "loader.csv")


def _names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_the_files_and_the_screen(log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A log gives a page, findings and tables in the folder asked for, and a summary on the screen."""
    assert cli.run(["diagnose", str(log), "--out", str(tmp_path / "out")]) == 0
    told = capsys.readouterr()
    assert _names(tmp_path / "out") == NAMES
    assert told.err == ""
    assert "report.html" in told.out
    assert "\x1b" not in told.out
    document = json.loads((tmp_path / "out" / "diagnosis.json").read_text(encoding="utf-8"))
    assert document["stations"][0]["summary"]["held"] == 20


def test_where_results_go_without_out(log: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Without --out the folder is tracekit-out/ and the log's name; a log alone in place of a command is diagnosed."""
    monkeypatch.chdir(tmp_path)
    assert cli.run([log.name, "--quiet"]) == 0
    assert _names(tmp_path / "tracekit-out" / "loader") == NAMES


def test_quiet_json_csv_and_timing(log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--quiet prints nothing, --json the document, --csv writes tables as text, --timing tells seconds on stderr."""
    out = str(tmp_path / "out")
    assert cli.run(["diagnose", str(log), "--out", out, "--quiet"]) == 0
    assert capsys.readouterr() == ("", "")
    assert cli.run(["diagnose", str(log), "--out", out, "--json", "--csv", "--timing"]) == 0
    told = capsys.readouterr()
    written = json.loads((tmp_path / "out" / "diagnosis.json").read_text(encoding="utf-8"))
    assert json.loads(told.out) | {"created": ""} == written | {"created": ""}
    stages = ["open", "samples", "leak", "judge", "page", "files", "total"]
    assert [word for word in told.err.split() if word in stages] == [*stages, "samples"]
    assert "8000 rows" in told.err
    assert _names(tmp_path / "out") == NAMES | {"cycles.csv", "periods.csv", "edges.csv"}


def test_fail_on(log: Path, tmp_path: Path) -> None:
    """--fail-on ends with 1 when a finding is as severe, else with 0, and refuses a word that is no severity."""
    out = ["--out", str(tmp_path / "out"), "--quiet"]
    assert cli.run(["diagnose", str(log), *out, "--fail-on", "critical"]) == 0
    assert cli.run(["diagnose", str(log), *out, "--fail-on", "minor"]) == 1
    assert cli.run(["diagnose", str(log), *out, "--fail-on", "grave"]) == 2


def test_several_logs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Separate recordings get a folder each; bad ones are listed, the good ones are finished."""
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    first, second = write_log(tmp_path / "a" / "log.csv"), write_log(tmp_path / "b" / "log.csv", seed=2)
    (tmp_path / "bad.csv").write_text("nothing here\n")
    arguments = [str(first), str(tmp_path / "bad.csv"), str(second), "--out", str(tmp_path / "out"), "--workers", "1"]
    assert cli.run(["diagnose", *arguments]) == 2
    told = capsys.readouterr()
    assert _names(tmp_path / "out") == {"index.html", "log", "log-2"}
    assert _names(tmp_path / "out" / "log") == _names(tmp_path / "out" / "log-2") == NAMES
    assert "bad.csv" in told.err
    assert told.err.endswith("tracekit: 1 of 3 logs could not be diagnosed.\n")
    assert told.out.count("report.html") == 2


def test_processes_give_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Logs of a folder worked on in processes of their own give the same results in the same order."""
    (tmp_path / "logs").mkdir()
    for name in "abc":
        write_log(tmp_path / "logs" / f"{name}.csv", seed=ord(name), cycles=6)
    texts = []
    for workers in ("1", "2"):
        assert cli.run(["diagnose", str(tmp_path / "logs"), "--out", str(tmp_path / workers), "--json", "--workers", workers]) == 0
        texts.append([json.loads(line) | {"created": ""} for line in capsys.readouterr().out.splitlines()])
    assert [d["logs"][0]["source"] for d in texts[0]] == ["a.csv", "b.csv", "c.csv"]
    assert texts[0] == texts[1]


def test_station_file_and_units(log: Path, tmp_path: Path) -> None:
    """A station file gives name and volume; --units chooses the unit of the page, the files stay in kPa."""
    station = tmp_path / "s.toml"
    station.write_text('[station]\nname = "Loader 7"\nvolume_ml = 60.0\nambient_kpa = 100.8\n')
    arguments = ["diagnose", str(log), "--out", str(tmp_path / "out"), "--quiet", "--station", str(station)]
    assert cli.run([*arguments, "--units", "inHg"]) == 0
    document = json.loads((tmp_path / "out" / "diagnosis.json").read_text(encoding="utf-8"))
    assert document["stations"][0]["station"] == "Loader 7"
    assert document["stations"][0]["leak"]["leak_rate_pa_m3_s"]["unit"] == "Pa·m³/s"
    assert "inHg" in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")


def test_history_needs_a_date(log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A log without dates goes into a history only with --started, and is refused before any work."""
    arguments = ["diagnose", str(log), "--out", str(tmp_path / "out"), "--history", str(tmp_path / "h")]
    assert cli.run(arguments) == 2
    assert "a log without dates" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
    assert not (tmp_path / "h").exists()
    assert cli.run([*arguments, "--started", "yesterday"]) == 2
    assert "--started" in capsys.readouterr().err
    assert cli.run([*arguments, "--started", "2025-03-02T06:00+00:00"]) == 0
    assert "history: loader.csv: added" in capsys.readouterr().err
    document = json.loads((tmp_path / "out" / "diagnosis.json").read_text(encoding="utf-8"))
    assert document["logs"][0]["start"] == "2025-03-02T06:00:00Z"


def test_open(log: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """--open shows the page in the browser."""
    seen: list[str] = []
    monkeypatch.setattr("webbrowser.open", seen.append)
    assert cli.run(["diagnose", str(log), "--out", str(tmp_path / "out"), "--quiet", "--open"]) == 0
    assert seen == [(tmp_path / "out" / "report.html").resolve().as_uri()]


def test_standard_input(log: Path, tmp_path: Path) -> None:
    """A log may come from standard input."""
    with log.open("rb") as source:
        done = subprocess.run(
            [sys.executable, "-m", "tracekit", "diagnose", "-", "--out", str(tmp_path / "out")],
            stdin=source, capture_output=True, text=True, check=False,
        )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert _names(tmp_path / "out") == NAMES


STATION_OUT_OF_ORDER = "[settings]\nset_point_kpa = 50\nreset_point_kpa = 55\n"


@pytest.mark.parametrize(
    ("name", "content", "arguments", "said"),
    [
        ("missing.csv", None, [], "missing.csv"),
        ("empty.csv", b"", [], "empty.csv"),
        ("head.csv", HEAD.encode(), [], "head.csv"),
        ("binary.csv", bytes(range(256)) * 40, [], "binary.csv"),
        ("picture.png", b"\x89PNG\r\n\x1a\n" + bytes(500), [], "picture.png"),
        ("broken.parquet", b"PAR1" + bytes(100) + b"PAR1", [], "broken.parquet"),
        ("no_pressure.csv", b"time_s,temperature\n0,20\n1,20\n2,20\n", [], "no_pressure.csv"),
        ("no_numbers.csv", b"time_s,pressure_kpa\n" + b"a,b\n" * 50, [], "no_numbers.csv"),
        ("good.csv", "log", ["--station", "none.toml"], "none.toml"),
        ("good.csv", "log", ["--station", "order.toml"], "order.toml, line 3, [settings] reset_point_kpa"),
        ("good.csv", "log", ["--out", "taken"], "taken"),
        ("good.csv", "log", ["--out", "/dev/null/x"], "/dev/null"),
        ("good.csv", "log", ["--units", "furlong"], "pressure unit"),
        ("good.csv", "log", ["--baseline", "nowhere.csv"], "nowhere.csv"),
        ("good.csv", "log", ["--blanked", "nowhere.csv"], "nowhere.csv"),
        ("good.csv", "log", ["--baseline", "last-good"], "--history"),
    ],
)
def test_bad_input(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], name: str, content, arguments: list[str], said: str
) -> None:
    """What cannot be used ends with status 2 and one message that names it; nothing is left behind."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("TRACEKIT_DEBUG", raising=False)
    (tmp_path / "order.toml").write_text(STATION_OUT_OF_ORDER)
    (tmp_path / "taken").write_text("a file")
    if content == "log":
        write_log(tmp_path / name, cycles=3)
    elif content is not None:
        (tmp_path / name).write_bytes(content)
    before = _names(tmp_path)
    assert cli.run(["diagnose", name, *arguments]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert said in told.err
    assert "internal error" not in told.err
    assert "Traceback" not in told.err
    assert told.err.startswith("tracekit: ")
    assert told.err.count("tracekit: ") == 1
    assert _names(tmp_path) == before


def _change(text: str, kind: str) -> str:
    lines = text.splitlines(keepends=True)
    if kind == "no digitals":
        return "".join(",".join(line.split(",")[:2]).rstrip() + "\n" for line in lines)
    if kind == "one cycle":
        return "".join(lines[:401])
    if kind == "no cycle":
        return "".join(lines[:41])
    if kind == "text among numbers":
        return "".join([*lines[:500], "600,oops,0,0,0\n", "Alarm 7 raised\n", *lines[500:]])
    if kind == "time going backwards":
        return "".join([*lines[:3000], *lines[2000:]])
    return "".join([*lines[:4000], lines[4000][:7]])


@pytest.mark.parametrize(
    "kind", ["no digitals", "one cycle", "no cycle", "text among numbers", "time going backwards", "cut in a line"]
)
def test_poor_logs_are_read_in_part(log: Path, tmp_path: Path, kind: str) -> None:
    """A log that says little is read as far as it goes: status 0, and what cannot be known is withheld."""
    poor = tmp_path / "poor.csv"
    poor.write_text(_change(log.read_text(encoding="utf-8"), kind))
    assert cli.run(["diagnose", str(poor), "--out", str(tmp_path / "out"), "--quiet"]) == 0
    document = json.loads((tmp_path / "out" / "diagnosis.json").read_text(encoding="utf-8"))
    facts, station = document["logs"][0], document["stations"][0]
    if kind in ("no digitals", "no cycle"):
        assert station["leak"]["decay_rate_kpa_s"]["status"] == "withheld"
    if kind == "no digitals":
        assert "channel_missing" in [f["code"] for f in station["findings"]]
    if kind in ("text among numbers", "cut in a line"):
        assert facts["rows_rejected"] >= 1
        assert facts["rejections"][0]["reason"]
    if kind == "time going backwards":
        assert station["summary"]["cycles"] >= 15


@pytest.mark.skipif(os.name == "nt", reason="a POSIX signal")
def test_interrupted(tmp_path: Path) -> None:
    """A user who stops the work gets status 130, no traceback and nothing half-written."""
    code = (
        "import os, signal, sys; from tracekit import cli; from tracekit.fleet import batch;"
        "batch.diagnose = lambda *a, **k: os.kill(os.getpid(), signal.SIGINT);"
        "sys.exit(cli.run(sys.argv[1:]))"
    )
    log = write_log(tmp_path / "loader.csv", cycles=3)
    done = subprocess.run(
        [sys.executable, "-c", code, "diagnose", str(log), "--out", str(tmp_path / "out")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (130, "Interrupted.\n")
    assert _names(tmp_path) == {"loader.csv"}


def test_a_plain_diagnose_loads_no_heavy_library(log: Path, tmp_path: Path) -> None:
    """Neither pandas nor SciPy nor plotly is imported by a whole diagnose with its page."""
    code = (
        "import sys; from tracekit import cli; status = cli.run(sys.argv[1:]);"
        "print(status, *sorted({'pandas', 'scipy', 'plotly', 'dask', 'rich'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "diagnose", str(log), "--out", str(tmp_path / "out"), "--quiet", "--csv"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout == "0\n"


def test_the_log_is_not_changed(log: Path, tmp_path: Path) -> None:
    """The log is as it was, and an earlier result of the same name is replaced whole."""
    before = log.read_bytes()
    for _ in range(2):
        assert cli.run(["diagnose", str(log), "--out", str(tmp_path / "out"), "--quiet"]) == 0
    assert log.read_bytes() == before
    assert _names(tmp_path / "out") == NAMES
    shutil.rmtree(tmp_path / "out")
