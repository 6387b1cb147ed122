"""The last lines of a text: one may be cut, some may be a footer of numbers."""

import re
from collections.abc import Iterator

from tracekit.read.delimited import CUT, FOOT
from tracekit.read.sniff import TextForm, split

_CHECKED_ROWS = 20
_FOOT = re.compile(rb"\n[ \t\r]*\n(?P<foot>(?:[^\n]*[^\s][^\n]*\n){1,3})\s*\Z")
_BLANK = re.compile(rb"\n[ \t\r]*\n")
_TAIL = 8192


def without_foot(pieces: Iterator[bytes], form: TextForm) -> Iterator[bytes]:
    """The pieces with a footer of the last one marked; see `marked_foot`."""
    last = b""
    for piece in pieces:
        if last:
            yield last
        last = piece
    if last:
        yield marked_foot(last, form)


def marked_foot(text: bytes, form: TextForm) -> bytes:
    """Whole lines, up to three of which are marked to be rejected: they end the text behind a blank line.

    Sums and ranges of the columns stand there, and without words look like a sample. Where blank lines part the rows
    just above too, they part stretches of samples, and nothing is marked.
    """
    ended = text if text.endswith(b"\n") else text + b"\n"
    tail = ended[-_TAIL:]
    found = _FOOT.search(tail)
    if found is None or form.multiline:
        return text
    above = tail[: found.start() + 1]
    if above.count(b"\n") < _CHECKED_ROWS or _BLANK.search(above):
        return text
    mark = (form.delimiter.encode() + FOOT) * (form.fields + 1)
    foot = b"".join(line.rstrip(b"\r") + mark + b"\n" for line in found["foot"].splitlines())
    return ended[: len(ended) - len(tail) + found.start("foot")] + foot


def guard_end(pieces: Iterator[bytes], form: TextForm, *, whole: bool) -> Iterator[bytes]:
    """Mark a last line that has no end and may be cut in its last field, so that it is rejected; `whole` empties it."""
    before = b""
    for piece in pieces:
        if not piece.endswith(b"\n") and _may_be_cut(before[-4096:] + piece, form):
            head, end, last = piece.rpartition(b"\n")
            last = b"" if whole else last
            piece = head + end + last + (CUT if whole else form.delimiter.encode() + CUT) * (form.fields + 1)
        yield piece
        before = piece


def _may_be_cut(text: bytes, form: TextForm) -> bool:
    """True unless the last line's last field has as many decimals as all before it, or the most of them."""
    lines = [line for line in text.decode("utf-8", "replace").split("\n") if line.strip()]
    fields = [split(line, form.delimiter, '"')[-1].strip() for line in lines[-_CHECKED_ROWS - 1 :]]
    decimals = [max(len(f) - 1 - max(f.rfind("."), f.rfind(",")), 0) if set(f) & {".", ","} else 0 for f in fields]
    if len(decimals) < 2:
        return True
    known = set(decimals[:-1])
    if known == {0}:
        return not all(len(f) == len(fields[-1]) for f in fields[:-1]) and fields[-1] not in fields[:-1]
    return decimals[-1] != max(known)
