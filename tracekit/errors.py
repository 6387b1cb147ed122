"""The family of tracekit's errors and the one wording they share.

    TracekitError
    ├── LogReadError      a log that cannot be read as a recording of a station
    ├── StationFileError  a station file that cannot be used as it stands
    ├── UsageError        an option or argument that makes no sense
    ├── OutputError       a place that cannot be written
    └── NotEnoughData     a question that this recording cannot answer

A message says where, what was found, what was expected and what to do.
"""

from collections.abc import Iterable
from difflib import get_close_matches


class TracekitError(Exception):
    """Root of everything that tracekit raises on purpose; its text is fit for the terminal."""


class LogReadError(TracekitError, ValueError):
    """A log that cannot be read as a recording of a vacuum station."""


class StationFileError(TracekitError, ValueError):
    """A station file with an unknown key, a wrong type or settings out of order."""


class UsageError(TracekitError, ValueError):
    """A command or an argument that makes no sense as given."""


class OutputError(TracekitError, OSError):
    """A place that cannot be written."""


class NotEnoughData(TracekitError, ValueError):  # noqa: N818 - the name is the sentence that is wanted
    """A question that this recording cannot answer."""


def message(where: str, found: str, expected: str, todo: str) -> str:
    """The one wording of an error: where, what was found, what was expected, what to do."""
    return f"{where}: {found}; expected {expected}. {todo}"


def nearest(name: str, known: Iterable[str]) -> str:
    """A hint naming the closest known word, or the list of them."""
    words = sorted(known)
    close = get_close_matches(name, words, n=1, cutoff=0.6)
    return f'Did you mean "{close[0]}"?' if close else "Known: " + ", ".join(words) + "."
