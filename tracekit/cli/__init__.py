"""The command line: one thin file per command, named like it.

`COMMANDS` is the written list. Only the module of the command that was called is imported, so that
`tracekit --help` starts at once. This module alone turns errors into messages and exit statuses.
"""

import functools
import importlib
import importlib.metadata
import os
import sys
from collections.abc import Callable, Sequence
from contextlib import redirect_stderr, redirect_stdout, suppress
from difflib import get_close_matches
from pathlib import Path
from types import TracebackType
from typing import TextIO, cast

from tracekit.cli.common import dropped, is_screen, silent, survive_narrow_encoding, understood
from tracekit.cli.stream import HarmlessStream
from tracekit.errors import TracekitError, UsageError, message

COMMANDS: tuple[tuple[str, str], ...] = (
    ("inspect", "Say what was understood of a log, and what it can show."),
    ("diagnose", "Say what is wrong, how sure, and what to do first."),
    ("tune", "Suggest settings for switch and air saving, with their effect."),
    ("trend", "Show how each measure changes, and when a limit is reached."),
    ("compare", "Decide whether a change between two recordings is real."),
    ("verify", "Recompute a comparison or a page from its logs."),
    ("plan", "Say how fast to sample and how many cycles to record."),
    ("volume", "Find the volume of a station from two decays and a known orifice."),
    ("simulate", "Make a synthetic log with known truth."),
    ("history", "List, check, compact or forget the logs of a history."),
    ("watch", "Diagnose every log that is put into a folder."),
    ("explain", "Print the handbook entry of a finding."),
    ("schema", "Print the JSON Schema or column table of a file."),
    ("completion", "Print a script that completes commands and options in a shell."),
)

DONE, FOUND, REFUSED, INTERRUPTED = 0, 1, 2, 130
DEBUG = "TRACEKIT_DEBUG"

_USAGE = """\
Usage: tracekit LOG...                 diagnose the logs, open the page
       tracekit COMMAND [ARGS]...      see tracekit COMMAND --help

Reads what a data logger recorded at a vacuum pick-and-place station
and says what is wrong, how sure, what to do first and which settings to enter.

Commands:
{commands}

Options:
  --version  Print the version.
  --help     Print this text.
Every command: --json, --quiet, --no-color (or NO_COLOR), --help. LOG may be -.
"""


class _OneMessage:
    """Turns what escapes from a command into one message and an exit status, never a traceback.

    Raises SystemExit with status 2 or 130; with TRACEKIT_DEBUG set the error itself goes on.
    """

    def __enter__(self) -> None:
        """Nothing to prepare."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Say what happened and leave."""
        if isinstance(error, KeyboardInterrupt):
            print("Interrupted.", file=sys.stderr)
            sys.exit(INTERRUPTED)
        if isinstance(error, BrokenPipeError) and not isinstance(error, TracekitError):
            _close_broken_pipe()
            sys.exit(DONE)
        of_the_parser = type(error).__module__.split(".")[0] in ("typer", "click")
        if not isinstance(error, Exception) or of_the_parser or DEBUG in os.environ:
            return
        if isinstance(error, TracekitError):
            print(f"tracekit: {error}", file=sys.stderr)
        elif isinstance(error, OSError) and error.strerror:
            print(f"tracekit: {_refused_by_the_system(error)}", file=sys.stderr)
        else:
            said = " ".join(f"{type(error).__name__}: {error}".split())
            print(f"tracekit: internal error ({said}). Please report it; {DEBUG}=1 shows more.", file=sys.stderr)
        sys.exit(REFUSED)


def main() -> None:
    """Console entry point."""
    # the parser's own pool keeps what it has freed: 15 MB of a long log
    os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")
    sys.exit(run(sys.argv[1:]))


def run(arguments: Sequence[str]) -> int:
    """Run the command line and give its exit status: 0 done, 1 as asked by --fail-on, 2 refused, 130 interrupted."""
    for stream in (sys.stdout, sys.stderr):
        survive_narrow_encoding(stream)
    out, err = (cast("TextIO", HarmlessStream(stream)) for stream in (sys.stdout, sys.stderr))
    with redirect_stdout(out), redirect_stderr(err):
        return _run(arguments)


def _run(arguments: Sequence[str]) -> int:
    first = arguments[0] if arguments else "--help"
    try:
        with _OneMessage():
            if first in ("--help", "-h", "--version"):
                _say_of_all(first)
                return DONE
            name = _command_name(first)
            rest = arguments[1:] if name == first else dropped(arguments, screen=is_screen())
            command = getattr(importlib.import_module(f"{__name__}.{name}"), name)
            kept, hushed = understood(name, command, rest)
            with silent(hushed):
                _typer_app(name, command)(args=kept, prog_name=f"tracekit {name}")
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else DONE
    return DONE


def _say_of_all(first: str) -> None:
    """Print what is said of all commands: their list, or the version."""
    if first == "--version":
        print(f"tracekit {importlib.metadata.version('tracekit')}", flush=True)
    else:
        print(_USAGE.format(commands="\n".join(f"  {name:<12}{text}" for name, text in COMMANDS)), end="", flush=True)


def _refused_by_the_system(error: OSError) -> str:
    """What the system refused: a name that no file can have, a folder that may not be looked into, no room to print."""
    if error.filename is None:
        return message("output", error.strerror or "", "room for it", "Free some, or send the output elsewhere.")
    name = os.fsdecode(error.filename) if isinstance(error.filename, str | bytes) else str(error.filename)
    return message(name, error.strerror or "", "a file or folder that can be used", "Check its name and its rights.")


def _command_name(first: str) -> str:
    """The command that `first` calls; a log in its place means diagnose.

    Raises UsageError where it is neither.
    """
    names = [name for name, _ in COMMANDS]
    if first in names:
        return first
    looks_like_log = first == "-" or any(mark in first for mark in "./\\*?[") or Path(first).exists()
    if looks_like_log and "diagnose" in names:
        return "diagnose"
    close = get_close_matches(first, names, n=1)
    todo = f'Did you mean "{close[0]}"?' if close else "See tracekit --help."
    raise UsageError(message("command line", f'"{first}" is neither a command nor a file', "one of them", todo))


def _typer_app(name: str, command: Callable[..., None]) -> Callable[..., object]:
    """The command as a typer application of its own, guarded so that errors leave as one message."""
    typer = importlib.import_module("typer")
    app = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    app.command(name)(_guarded(command))
    ready: Callable[..., object] = app
    return ready


def _guarded(command: Callable[..., None]) -> Callable[..., None]:
    """The same command, its output flushed and its errors told inside the reach of `_OneMessage`."""

    @functools.wraps(command)
    def guarded(*positional: object, **named: object) -> None:
        with _OneMessage():
            command(*positional, **named)
            sys.stdout.flush()

    return guarded


def _close_broken_pipe() -> None:
    """Send what is left of the output nowhere, so that the interpreter does not complain at its end."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
