"""The frame of the command line: which command runs, how it ends, what it says when it fails."""

import io
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType

import pytest

from tracekit import cli
from tracekit.errors import LogReadError, OutputError


@pytest.fixture
def command(monkeypatch: pytest.MonkeyPatch):
    """Puts a function in the place of a command's."""

    def put(name: str, function) -> None:
        module = ModuleType(f"tracekit.cli.{name}")
        module.__spec__ = importlib_spec(module.__name__)
        setattr(module, name, function)
        monkeypatch.setitem(sys.modules, module.__name__, module)

    return put


def importlib_spec(name: str):
    from importlib.machinery import ModuleSpec

    return ModuleSpec(name, None)


def test_help_names_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    """The help shows usage and each command that is there, and ends well."""
    for arguments in ([], ["--help"], ["-h"]):
        assert cli.run(arguments) == 0
        shown = capsys.readouterr().out
        assert shown.startswith("Usage: tracekit LOG...")
        for name, text in cli.COMMANDS:
            assert re.search(rf"^  {name} +{re.escape(text)}$", shown, re.MULTILINE)
        assert max(map(len, shown.splitlines())) <= 80


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    """The version is that of the installed package."""
    assert cli.run(["--version"]) == 0
    assert capsys.readouterr().out == "tracekit 0.1.0\n"


def test_each_command_has_a_module_of_its_name() -> None:
    """What is listed and there can be imported and called."""
    for name, _ in cli.COMMANDS:
        module = __import__(f"tracekit.cli.{name}", fromlist=[name])
        assert callable(getattr(module, name))


def test_a_command_gets_its_arguments(command, capsys: pytest.CaptureFixture[str]) -> None:
    """Arguments and options reach the command, and what it prints arrives."""

    def plan(name: str, much: int = 1) -> None:
        print(name * much)

    command("plan", plan)
    assert cli.run(["plan", "ab", "--much", "2"]) == 0
    assert capsys.readouterr().out == "abab\n"


def test_a_path_means_diagnose(command, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A file, a glob, a path and standard input in place of a command are diagnosed."""
    command("diagnose", lambda: None)

    def diagnose(logs: list[str]) -> None:
        print(logs)

    command("diagnose", diagnose)
    for log in (str(tmp_path), "logs/*.csv", "missing.csv", "-"):
        assert cli.run([log, "b.csv"]) == 0
        assert capsys.readouterr().out == f"{[log, 'b.csv']}\n"


def test_a_typing_error_is_told_with_the_nearest_command(capsys: pytest.CaptureFixture[str]) -> None:
    """A word that is neither a command nor a file ends with status 2 and a hint."""
    assert cli.run(["shema", "x"]) == 2
    told = capsys.readouterr()
    assert told.err == (
        'tracekit: command line: "shema" is neither a command nor a file; expected one of them. '
        'Did you mean "schema"?\n'
    )
    assert told.out == ""


@pytest.mark.parametrize(
    ("error", "status", "said"),
    [
        (LogReadError("a.csv: empty"), 2, "tracekit: a.csv: empty\n"),
        (OutputError("out: cannot be written"), 2, "tracekit: out: cannot be written\n"),
        (KeyboardInterrupt(), 130, "Interrupted.\n"),
        (
            ZeroDivisionError("x\ny"), 2,
            "tracekit: internal error (ZeroDivisionError: x y). Please report it; TRACEKIT_DEBUG=1 shows more.\n",
        ),
        (BrokenPipeError(), 0, ""),
        (SystemExit(1), 1, ""),
    ],
)  # fmt: skip
def test_how_a_command_ends(
    command, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, error: BaseException, status: int, said: str
) -> None:
    """Every error leaves as one message and a status, never as a traceback."""
    monkeypatch.delenv("TRACEKIT_DEBUG", raising=False)
    monkeypatch.setattr(cli, "_close_broken_pipe", lambda: None)

    def plan() -> None:
        raise error

    command("plan", plan)
    assert cli.run(["plan"]) == status
    assert capsys.readouterr().err == said


def test_typers_own_endings(command, capsys: pytest.CaptureFixture[str]) -> None:
    """An exit status that a command asks for is given, and bad usage is 2."""
    import typer

    def plan(much: int = 0) -> None:
        raise typer.Exit(much)

    command("plan", plan)
    assert cli.run(["plan", "--much", "1"]) == 1
    assert cli.run(["plan", "--much", "x"]) == 2
    assert cli.run(["plan", "--nonsense"]) == 2
    assert re.search("No such option.*--nonsense", capsys.readouterr().err)


def test_debugging_shows_the_error(command, monkeypatch: pytest.MonkeyPatch) -> None:
    """With TRACEKIT_DEBUG set an error goes on, so that its traceback shows."""
    monkeypatch.setenv("TRACEKIT_DEBUG", "1")

    def plan() -> None:
        raise ZeroDivisionError("shown")

    command("plan", plan)
    with pytest.raises(ZeroDivisionError, match=r"^shown$"):
        cli.run(["plan"])


def test_a_console_that_knows_few_characters(monkeypatch: pytest.MonkeyPatch) -> None:
    """A console of another code page gets the nearest plain characters, not a failure, and JSON stays JSON."""
    console = io.TextIOWrapper(io.BytesIO(), encoding="cp437", errors="strict")
    monkeypatch.setattr(sys, "stdout", console)
    assert cli.run(["schema", "cycles"]) == 0
    console.flush()
    shown = console.buffer.getvalue().decode("cp437")
    assert json.loads(shown)["title"] == "cycles"


def _tracekit(*arguments: str, **more) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "tracekit", *arguments], capture_output=True, text=True, check=False, **more
    )


def test_as_a_module() -> None:
    """`python -m tracekit` is the command."""
    done = _tracekit("schema", "nothing")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith('tracekit: schema: "nothing"; expected')


@pytest.mark.skipif(os.name == "nt", reason="a shell that knows pipes")
def test_a_reader_that_leaves() -> None:
    """A pipe that closes early ends the command quietly."""
    line = f"{sys.executable} -m tracekit schema diagnosis | head -n 1; echo ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == ["{", "0"]
    assert done.stderr == ""


def test_help_loads_next_to_nothing() -> None:
    """`tracekit --help` imports neither NumPy nor typer nor any command."""
    code = "import sys; from tracekit import cli; cli.run(['--help']); print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.splitlines()[-1].split())
    assert not loaded & {"numpy", "pyarrow", "typer", "rich", "tracekit.cli.schema", "tracekit.cli.diagnose"}


def _best_s(arguments: list[str]) -> float:
    times = []
    for _ in range(5):
        start = time.perf_counter()
        subprocess.run([sys.executable, *arguments], capture_output=True, check=True)
        times.append(time.perf_counter() - start)
    return min(times)


def test_help_starts_at_once() -> None:
    """`tracekit --help` takes at most nine times what an empty program takes."""
    assert _best_s(["-m", "tracekit", "--help"]) <= 9 * _best_s(["-c", "pass"])
