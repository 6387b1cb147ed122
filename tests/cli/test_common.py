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


@pytest.mark.parametrize("command", [name for name, _ in cli.available() if name != "watch"])
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


@pytest.mark.parametrize("shell", SHELLS)
def test_completion_names_commands_and_options(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each script holds every command and the options of diagnose."""
    assert cli.run(["completion", shell]) == 0
    text = capsys.readouterr().out
    for name, _ in cli.available():
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
