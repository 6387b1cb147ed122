"""A file that holds several tables, each under a header of its own: one after the other into files of their own."""

import itertools
import os
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.options.evidence import EVIDENCE
from tracekit.read.cells import cell_kind
from tracekit.read.rows import Rows
from tracekit.read.sections import begins_table, header_lines, is_own, other_units, units_below
from tracekit.read.sniff import split
from tracekit.read.source import Scratch

_HELD = 1 << 15


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One table of a file, copied into a file of its own as UTF-8.

    line    of its header in the file, from 1
    starts  lines of the copy, from 1, at which stretches begin, and how much later each stands in the file
    """

    path: Path
    line: int
    starts: tuple[tuple[int, int], ...]
    scratch: Scratch

    def placed(self, rows: Rows) -> Rows:
        """Rows of the copy with the numbers of their lines in the file."""
        lines = self._in_file(rows.line_of(np.arange(rows.count)))
        rejected = tuple(
            replace(r, first_lines=tuple(self._in_file(np.array(r.first_lines, np.int64)).tolist()))
            for r in rows.rejected
        )
        return replace(rows, lines=lines, rejected=rejected)

    def _in_file(self, lines: NDArray[np.int64]) -> NDArray[np.int64]:
        first, later = (np.array(v, np.int64) for v in zip(*self.starts, strict=True))
        return lines + later[np.maximum(np.searchsorted(first, lines, side="right") - 1, 0)]


class _Copy:
    """A table while it is written: cells of its header, units below, its line, its file, lines written so far."""

    def __init__(self, cells: Sequence[str], units: Sequence[str], line: int) -> None:
        """Nothing is written yet."""
        self.cells = cells
        self.units = units
        self.line = line
        self.file = _scratch_file()
        self.count = 0
        self.starts: list[tuple[int, int]] = []

    def write(self, text: bytes, line: int) -> None:
        """Add whole lines, the first of which is line `line` of the file."""
        later = line - self.count - 1
        if not self.starts or self.starts[-1][1] != later:
            self.starts.append((self.count + 1, later))
        self.file.write(text)
        self.count += text.count(b"\n")


def parted(pieces: Iterator[bytes], delimiter: str, name: str) -> tuple[Table, ...]:
    """The tables of a text that comes in pieces of whole lines, in the order in which they begin.

    A header that was seen before goes on with its table. Raises LogReadError where there are too many tables.
    """
    copies: list[_Copy] = []
    try:
        for header, text, line in _stretches(pieces, delimiter):
            below = text[text.find(b"\n") + 1 :][:4096] if header else b""
            alike = [c for c in copies if list(c.cells) == header or (header and is_own(header, c.cells))]
            copy = next((c for c in reversed(alike) if not other_units(c.units, below, delimiter)), None)
            if copy is None:
                if len(copies) == EVIDENCE.most_tables:
                    found = f"more than {EVIDENCE.most_tables} tables, each with a header of its own"
                    raise LogReadError(message(name, found, "one table per file", "Export each as a file of its own."))
                copy = _Copy(header, units_below(below, delimiter), line)
                copies.append(copy)
            copy.write(text, line)
    finally:
        for copy in copies:
            copy.file.close()
    return tuple(
        Table(path=Path(c.file.name), line=c.line, starts=tuple(c.starts), scratch=Scratch(Path(c.file.name)))
        for c in copies
    )


def _scratch_file() -> BinaryIO:
    handle, path = tempfile.mkstemp(prefix="tracekit-", suffix=".in")
    os.close(handle)
    return Path(path).open("wb")


def _stretches(pieces: Iterator[bytes], delimiter: str) -> Iterator[tuple[list[str], bytes, int]]:
    """Lines that stand below one header, and above it down from the table before: its cells, the text, its first line.

    Lines without a header above them have no cells.
    """
    cells: list[str] = []
    kept, line, given = b"", 1, False
    for piece in itertools.chain(pieces, [b""]):
        if not kept and not piece:
            return
        text = kept + piece if piece or kept.endswith(b"\n") else kept + b"\n"
        limit = _held_from(text) if piece else len(text)
        place = 0
        for start, header in _headers(text[:limit], text, delimiter):
            cut = _top_of(text, place, start, len(cells), delimiter)
            own = not cells and not given and _rows_in(text[place:start], delimiter) < EVIDENCE.table_rows
            if not own and cut > place:
                yield cells, text[place:cut], line
                line += text.count(b"\n", place, cut)
                place, given = cut, True
            cells = header
        if limit > place:
            yield cells, text[place:limit], line
            line += text.count(b"\n", place, limit)
            given = True
        kept = text[limit:]


def _held_from(text: bytes) -> int:
    """Where the last lines begin, which wait for what follows: a header needs the rows below and the lines above it."""
    start = max(len(text) - _HELD, 0)
    return start and text.find(b"\n", start) + 1


def _headers(text: bytes, whole: bytes, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Positions and cells of the headers of tables in a text, with rows of `whole` below them."""
    for found in header_lines(delimiter).finditer(b"\n" + text):
        cells = [c.strip() for c in split(found[1].decode("utf-8", "replace").rstrip("\r"), delimiter, '"')]
        if begins_table(cells, whole[found.end() - 1 :][:4096], delimiter):
            yield found.start(), cells


def _is_row(line: bytes, fields: int, delimiter: str) -> bool:
    """True for a line with a number or a time in its first cell, and of so many cells where that is known."""
    cells = split(line.decode("utf-8", "replace").rstrip("\r"), delimiter, '"')
    return len(cells) > 1 and fields in (0, len(cells)) and cell_kind(cells[0]) in ("number", "time")


def _rows_in(text: bytes, delimiter: str) -> int:
    return sum(_is_row(line, 0, delimiter) for line in text.split(b"\n"))


def _top_of(text: bytes, begin: int, header: int, fields: int, delimiter: str) -> int:
    """Where the lines begin that stand above a header and are no rows of the table before."""
    place = header
    while place > begin:
        before = text.rfind(b"\n", begin, place - 1) + 1 or begin
        if _is_row(text[before : place - 1], fields, delimiter):
            break
        place = before
    return place
