"""The last line of a text, which may be cut."""

from collections.abc import Iterator

from tracekit.read.delimited import CUT
from tracekit.read.sniff import TextForm, split

_CHECKED_ROWS = 20


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
