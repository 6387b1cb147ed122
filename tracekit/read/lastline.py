"""The last lines of a text: one may be cut, some may be a footer of numbers."""

import itertools
import math
import re
from collections.abc import Iterator

from tracekit.options.evidence import EVIDENCE
from tracekit.read.cells import cell_kind
from tracekit.read.delimited import CUT, FOOT
from tracekit.read.sniff import TextForm, split

_CHECKED_ROWS, _MOST_FOOT = 20, 3
_FOOT = re.compile(rb"\n[ \t\r]*\n(?P<foot>(?:[^\n]*[^\s][^\n]*\n){1,3})\s*\Z")
_BLANK = re.compile(rb"\n[ \t\r]*\n")
_TAIL = 8192


def without_foot(pieces: Iterator[bytes], form: TextForm) -> Iterator[bytes]:
    """The pieces with a footer of the last one marked; see `marked_foot`."""
    before = last = b""
    for piece in pieces:
        if last:
            yield last
        before, last = last[-_TAIL:], piece
    if last:
        yield marked_foot(last, form, before)


def marked_foot(text: bytes, form: TextForm, before: bytes = b"") -> bytes:
    """Whole lines, up to three of which are marked to be rejected: those of a footer of numbers at their end.

    Sums and ranges of the columns stand there, and without words look like a sample. They stand behind a blank line,
    unless blank lines part the rows just above too; or they show by what they hold, see `bare_foot`.

    before  the end of the text before
    """
    ended = text if text.endswith(b"\n") else text + b"\n"
    tail = (before[-_TAIL:] + ended)[-_TAIL:]
    start = -1 if form.multiline else _foot_behind_blank(tail)
    if start < 0 and not form.multiline:
        start = bare_foot(tail, form)
    place = len(ended) - len(tail) + start
    if start < 0 or place < 0:
        return text
    mark = (form.delimiter.encode() + FOOT) * (form.fields + 1)
    foot = b"".join(line.rstrip(b"\r") + mark + b"\n" for line in tail[start:].splitlines() if line.strip())
    return ended[:place] + foot


def _foot_behind_blank(tail: bytes) -> int:
    """Where the lines behind the last blank line begin; -1 where they are no footer."""
    found = _FOOT.search(tail)
    if found is None:
        return -1
    above = tail[: found.start() + 1]
    return -1 if above.count(b"\n") < _CHECKED_ROWS or _BLANK.search(above) else found.start("foot")


def bare_foot(tail: bytes, form: TextForm) -> int:
    """Where the last lines begin whose time leaps and whose cells of signals hold numbers that are no level, else -1.

    At most three such lines are a footer; the rows before show which cells tell the time and which hold signals.
    """
    lines = tail.rstrip(b"\r\n").split(b"\n")[1:]
    rows = [split(line.decode("utf-8", "replace").strip("\r"), form.delimiter, '"') for line in lines]
    body = [row for row in rows[-EVIDENCE.last_lines : -_MOST_FOOT] if len(row) == form.fields]
    if len(body) < _CHECKED_ROWS:
        return -1
    foot = 0
    while foot < _MOST_FOOT and len(rows[-foot - 1]) == form.fields and _no_sample(body, rows[-foot - 1]):
        foot += 1
    return len(tail.rstrip(b"\r\n")) - sum(len(line) + 1 for line in lines[-foot:]) + 1 if foot else -1


def _no_sample(body: list[list[str]], row: list[str]) -> bool:
    """True for a row whose time is far from those of others and which holds numbers where they hold a level."""
    columns = list(zip(*body, strict=True))
    strange = [cell for column, cell in zip(columns, row, strict=True) if _levels(column) and _reading(cell)]
    return bool(strange) and any(_leaps(column, cell) for column, cell in zip(columns, row, strict=True))


def _levels(cells: tuple[str, ...]) -> bool:
    """True where all cells are levels: 0 and 1, or words for them."""
    known = {cell.strip() for cell in cells}
    return known <= {"0", "1"} or all(cell_kind(cell) == "level" for cell in known)


def _reading(cell: str) -> bool:
    """True for a number other than a level."""
    return _number(cell) not in (None, 0.0, 1.0)


def _leaps(cells: tuple[str, ...], cell: str) -> bool:
    """True where numbers rise from row to row, and the next is thousands of their steps from the last."""
    values = [_number(c) for c in cells]
    last = _number(cell)
    known = [v for v in values if v is not None]
    if last is None or len(known) < len(values):
        return False
    steps = [b - a for a, b in itertools.pairwise(known)]
    return min(steps) >= 0 < max(steps) and abs(last - known[-1]) > EVIDENCE.foot_leap * max(steps)


def _number(cell: str) -> float | None:
    try:
        value = float(cell.strip().replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) else None


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
