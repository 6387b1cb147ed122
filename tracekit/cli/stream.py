"""What stands between the commands and the terminal: names from files may hold characters that a terminal obeys."""

from typing import Any, TextIO

from tracekit.model.outside import visible

OWN = ("\x1b[1m", "\x1b[7m", "\x1b[0m", "\r\x1b[2K")
"""The marks that tracekit itself writes, to a terminal only: bold, inverse, plain, begin the line anew."""


class HarmlessStream:
    """A text stream that shows control characters and marks of direction as their number instead of sending them.

    Their form is that of JSON, so printed JSON keeps its meaning. `OWN` marks go through to a terminal.
    """

    def __init__(self, stream: TextIO) -> None:
        """Stand before `stream`."""
        self.stream = stream

    def write(self, text: str) -> int:
        """Write a text; gives its length."""
        if not self.stream.isatty():
            self.stream.write(visible(text))
            return len(text)
        self.stream.write("".join(part if part in OWN else visible(part) for part in _parts(text)))
        return len(text)

    def __getattr__(self, name: str) -> Any:
        """Everything else is the stream's own."""
        return getattr(self.stream, name)


def _parts(text: str) -> list[str]:
    """The text cut at `OWN` marks, which are parts of their own."""
    parts = [text]
    for mark in OWN:
        parts = [piece for part in parts for piece in _cut(part, mark)]
    return parts


def _cut(part: str, mark: str) -> list[str]:
    if part in OWN:
        return [part]
    pieces = part.split(mark)
    return [piece for at, words in enumerate(pieces) for piece in ([mark, words] if at else [words])]
