"""What every command understands, and what a bare file name means: flags, consoles, where results go."""

import codecs
import contextlib
import inspect
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TextIO

from tracekit.report.text import ascii_only

OWN_JSON = ("schema", "watch")
"""Commands whose output is JSON already."""
_FLAGS = {"--no-color": "no_color", "--quiet": "quiet", "--json": "as_json"}
_OUT = "tracekit-out"
_NEAREST = "tracekit-nearest"


def understood(name: str, command: Callable[..., object], rest: Sequence[str]) -> tuple[list[str], bool]:
    """The arguments without the common flags that a command does not know itself, and whether it shall be silent.

    `--no-color` sets NO_COLOR, as https://no-color.org describes it; `--json` is dropped where nothing else is printed.
    """
    stop = rest.index("--") if "--" in rest else len(rest)
    flags, own = set(rest[:stop]), inspect.signature(command).parameters
    if "--no-color" in flags:
        os.environ["NO_COLOR"] = "1"
    known_elsewhere = {flag for flag, parameter in _FLAGS.items() if parameter not in own}
    if name not in OWN_JSON:
        known_elsewhere.discard("--json")
    kept = [part for part in rest[:stop] if part not in known_elsewhere] + list(rest[stop:])
    return kept, "--quiet" in flags & known_elsewhere


@contextlib.contextmanager
def silent(wanted: bool) -> Iterator[None]:
    """Let a command print nothing, where that is wanted; errors still show."""
    if not wanted:
        yield
        return
    with open(os.devnull, "w", encoding="utf-8") as nowhere, contextlib.redirect_stdout(nowhere):
        yield


def dropped(arguments: Sequence[str], *, screen: bool) -> list[str]:
    """Arguments of a bare `tracekit FILE`: on a screen its page is opened, and results go where they can be written.

    A file that is dropped on the program meets a current folder that may belong to the system; then the results go
    beside the file, or into the home folder.
    """
    asked = set(arguments)
    found = list(arguments)
    if screen and not asked & {"--open", "--quiet", "--json", "--help"}:
        found.append("--open")
    first = Path(arguments[0])
    given = any(part == "--out" or part.startswith("--out=") for part in arguments)
    if not given and first.is_file() and not os.access(Path.cwd(), os.W_OK):
        beside = first.resolve().parent
        home = beside if os.access(beside, os.W_OK) else Path.home()
        found += ["--out", str(home / _OUT / (first.name.split(".")[0] or "log"))]
    return found


def survive_narrow_encoding(stream: TextIO) -> None:
    """Print the nearest plain characters for those that a console does not know, instead of failing.

    None of them becomes a double quote, so that printed JSON stays JSON.
    """
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        codecs.register_error(_NEAREST, _nearest)
        reconfigure(errors=_NEAREST)


def _nearest(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return ascii_only(error.object[error.start : error.end]).replace('"', "'"), error.end


def is_screen() -> bool:
    """True where a person looks at the output."""
    return bool(sys.stdout is not None and sys.stdout.isatty())
