"""Flags that every command understands, narrow consoles, a file dropped on the program, completion scripts."""

import io
import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from made_logs import write_log

from tracekit import cli
from tracekit.cli.common import dropped
from tracekit.cli.completion import SHELLS
from tracekit.cli.opening import show_page
from tracekit.cli.progress import pace


@pytest.mark.parametrize("command", [name for name, _ in cli.COMMANDS if name != "watch"])
def test_every_command_takes_the_common_flags(
    command: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """No command refuses --no-color, --quiet or --json as an unknown option."""
    monkeypatch.setenv("NO_COLOR", "")
    monkeypatch.chdir(tmp_path)
    cli.run([command, "--no-color", "--quiet", "--json", *(["bash"] if command == "completion" else [])])
    assert "No such option" not in capsys.readouterr().err


def test_quiet_hushes_commands_that_only_print(capsys: pytest.CaptureFixture[str]) -> None:
    """--quiet prints nothing; errors still show."""
    assert cli.run(["explain", "leak_steady", "--quiet"]) == 0
    assert capsys.readouterr().out == ""
    assert cli.run(["explain", "leak_stedy", "--quiet"]) == 2
    assert "leak_steady" in capsys.readouterr().err


def test_simulate_prints_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What was made is told as JSON, and so is the list of scenarios."""
    assert cli.run(["simulate", "--json"]) == 0
    assert "loader_2_torn_cup" in json.loads(capsys.readouterr().out)["scenarios"]
    assert cli.run(["simulate", "glaze_line_healthy", "--cycles", "3", "--out", str(tmp_path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["cycles"] == 3


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "cp437", "latin-1"])
def test_screens_survive_narrow_consoles(encoding: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The summary, help, handbook and JSON come out whole on a console that knows few characters."""
    log = write_log(tmp_path / "loader.csv")
    for arguments in (
        ["diagnose", str(log), "--out", str(tmp_path / "out")],
        ["explain", "leak_steady"],
        ["tune", "--help"],
        [],
    ):
        console = io.TextIOWrapper(io.BytesIO(), encoding=encoding, errors="strict")
        monkeypatch.setattr(sys, "stdout", console)
        assert cli.run(arguments) == 0
        console.flush()
        assert len(console.buffer.getvalue().decode(encoding)) > 100
    console = io.TextIOWrapper(io.BytesIO(), encoding=encoding, errors="strict")
    monkeypatch.setattr(sys, "stdout", console)
    assert cli.run(["diagnose", str(log), "--out", str(tmp_path / "out"), "--json"]) == 0
    console.flush()
    assert json.loads(console.buffer.getvalue().decode(encoding))["schema"] == "tracekit.diagnosis/1"


def test_a_dropped_file_is_opened_on_a_screen_only(tmp_path: Path) -> None:
    """A bare file opens its page where a person looks, never in a pipe, and never twice."""
    log = write_log(tmp_path / "loader.csv", cycles=2)
    assert dropped([str(log)], screen=True) == [str(log), "--open"]
    assert dropped([str(log)], screen=False) == [str(log)]
    assert dropped([str(log), "--quiet"], screen=True) == [str(log), "--quiet"]


def test_a_dropped_file_in_a_foreign_folder_writes_beside_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the current folder may not be written, results go beside the file, or into the home folder."""
    log = write_log(tmp_path / "loader.csv", cycles=2)
    forbidden = {str(Path.cwd())}
    monkeypatch.setattr("os.access", lambda path, mode: str(path) not in forbidden)
    assert dropped([str(log)], screen=False)[1:] == ["--out", str(tmp_path / "tracekit-out" / "loader")]
    forbidden.add(str(tmp_path))
    assert dropped([str(log)], screen=False)[1:] == ["--out", str(Path.home() / "tracekit-out" / "loader")]
    assert dropped([str(log), "--out", "x"], screen=False) == [str(log), "--out", "x"]


def _command_lines(folder: Path) -> list[list[str]]:
    """A short call of every command that writes a page, on logs made in a folder."""
    log, other = write_log(folder / "loader.csv"), write_log(folder / "again.csv", seed=2)
    assert cli.run(["diagnose", str(log), "--out", str(folder / "d"), "--history", str(folder / "h"), "--quiet",
                    "--started", "2031-03-02T06:00+00:00"]) == 0  # fmt: skip
    return [
        ["diagnose", str(log)], ["diagnose", str(log), str(other)], ["inspect", str(log)], ["tune", str(log)],
        ["compare", str(log), str(other)], ["plan", "--from", str(log)], ["trend", str(folder / "h")],
    ]  # fmt: skip


def test_every_command_that_writes_a_page_opens_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """--open opens the page that was written, also with --quiet; without --open nothing is opened."""
    opened: list[str] = []
    monkeypatch.setattr("webbrowser.open", lambda address: opened.append(address) or True)
    monkeypatch.chdir(tmp_path)
    for number, line in enumerate(_command_lines(tmp_path)):
        out = tmp_path / f"out{number}"
        assert cli.run([*line, "--out", str(out), "--quiet"]) == 0, line
        assert opened == [], line
        assert cli.run([*line, "--out", str(out), "--quiet", "--open"]) == 0, line
        assert capsys.readouterr().out == "", line
        pages = ("index.html", "report.html") if line.count(str(tmp_path / "again.csv")) and line[0] == "diagnose" else ("report.html",)
        assert opened == [(out / pages[0]).as_uri()], line
        assert "Content-Security-Policy" in (out / pages[0]).read_text(encoding="utf-8")
        opened.clear()


def test_a_page_that_no_browser_opens_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where no browser can be opened, standard error says where the page is."""
    monkeypatch.setattr("webbrowser.open", lambda _address: False)
    page = tmp_path / "report.html"
    page.write_text("x", encoding="utf-8")
    show_page(page, wanted=True)
    assert page.as_uri() in capsys.readouterr().err
    show_page(page, wanted=False)
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("shell", SHELLS)
def test_completion_names_commands_and_options(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each script holds every command and the options of diagnose."""
    assert cli.run(["completion", shell]) == 0
    text = capsys.readouterr().out
    for name, _ in cli.COMMANDS:
        assert name in text
    assert "baseline" in text


def test_completion_works_in_bash(capsys: pytest.CaptureFixture[str]) -> None:
    """Bash completes a command and an option by the script."""
    bash = shutil.which("bash")
    if not bash:
        pytest.skip("no bash on this machine")
    assert cli.run(["completion", "bash"]) == 0
    text = capsys.readouterr().out
    ask = 'COMP_WORDS=(tracekit diagnose --bas); COMP_CWORD=2; _tracekit; echo "${COMPREPLY[@]}"\n'
    ask += 'COMP_WORDS=(tracekit vol); COMP_CWORD=1; _tracekit; echo "${COMPREPLY[@]}"'
    done = subprocess.run([bash, "-c", f"{text}\n{ask}"], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["--baseline", "volume"]
    assert cli.run(["completion", "bsh"]) == 2
    assert 'Did you mean "bash"?' in capsys.readouterr().err


def test_several_logs_leave_an_index(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A run over several logs leaves an index with earlier results and with what failed, and says where it is."""
    logs = [str(write_log(tmp_path / f"loader_{k}.csv", seed=k)) for k in range(3)]
    out = tmp_path / "out"
    assert cli.run(["diagnose", logs[0], "--out", str(out / "earlier"), "--quiet"]) == 0
    assert not (out / "index.html").exists()
    bad = tmp_path / "bad.csv"
    bad.write_text("nothing", encoding="utf-8")
    assert cli.run(["diagnose", *logs[1:], str(bad), "--out", str(out), "--workers", "1"]) == 2
    assert f"Index: {out / 'index.html'}" in capsys.readouterr().out
    text = (out / "index.html").read_text(encoding="utf-8")
    assert text.count('class="go"') == 3
    assert "bad.csv" in text


def test_progress_tells_rate_and_time_left() -> None:
    """The pace so far gives the rate and what is left, in a unit that fits."""
    assert pace(12, 400, 4.0) == "12 of 400 logs, 3.0 a second, 2 min left"
    assert pace(5, 8, 20.0) == "5 of 8 logs, 4.0 s each, 12 s left"
    assert pace(10, 10_010, 30.0) == "10 of 10010 logs, 3.0 s each, 8.3 h left"


def test_progress_shows_on_a_terminal_only(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is going on is told to a person, in one line that is wiped; a pipe gets none of it."""
    logs = [str(write_log(tmp_path / f"loader_{k}.csv", cycles=4, seed=k)) for k in range(2)]
    arguments = ["diagnose", *logs, "--out", str(tmp_path / "out"), "--workers", "1", "--quiet"]
    assert cli.run(arguments) == 0
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    assert cli.run(arguments) == 0
    told = capsys.readouterr().err
    assert "1 of 2 logs, " in told
    assert told.endswith("\r\x1b[2K")


@pytest.mark.parametrize("command", ["tune", "compare"])
def test_standard_input_is_a_log_for_commands_that_read_one(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`-` takes the log from a pipe; pages and files tell it as standard input, in a folder of that name."""
    log = write_log(tmp_path / "loader.csv")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(log.read_bytes())))
    assert cli.run([command, *([str(log)] if command == "compare" else []), "-"]) == 0
    assert capsys.readouterr().err == ""
    pages = list((tmp_path / "tracekit-out").rglob("report.html"))
    assert len(pages) == 1
    assert "standard input" in pages[0].read_text(encoding="utf-8")
    if command == "tune":
        assert pages[0].parent.name == "standard-input"
