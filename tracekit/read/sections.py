"""Files that hold another table below the samples, under a header of its own."""

import functools
import itertools
import re
from collections.abc import Iterator, Sequence

from tracekit.errors import LogReadError, message
from tracekit.read.cells import cell_kind
from tracekit.read.headers import is_unit
from tracekit.read.sniff import split
from tracekit.read.words import fold, hints

_SAYS_TIME, _FOLLOWING, _OWN = 0.9, 3, 0.5
"""Weight of a name that says time, rows looked at below a header, share of the names that the own one tells again."""
_UNNAMED = re.compile(r"column \d+")
_SHOWN, _ABOVE, _APART = 80, 8, 3
"""Letters of a header that are shown; rows looked at above the samples, and how many other times they tell at least:
tables of channels stand there too."""


@functools.lru_cache(maxsize=16)
def header_lines(delimiter: str) -> re.Pattern[bytes]:
    """Lines of two or more cells that all begin with a letter or a bracket."""
    mark = re.escape(delimiter).encode()
    cell = rb'[ ]*"?[A-Za-z\x80-\xff(\[#][^\n' + mark + rb"]*"
    return re.compile(rb"\n(" + cell + rb"(?:" + mark + cell + rb")+)(?=\r?\n)")


class SecondTableError(LogReadError):
    """A table of other columns among the rows of a file, whose cells a delimiter parts as well."""

    def __init__(self, text: str, delimiter: str) -> None:
        """Keep the delimiter beside the message."""
        super().__init__(text)
        self.delimiter = delimiter


def check_sections(
    text: bytes, names: Sequence[str], units: Sequence[str], delimiter: str, first_line: int, file_name: str
) -> list[tuple[int, int]]:
    """Where the header of the samples is written once more: begin and end of each such line in the text.

    `text` are whole lines below the header, the first of which is line `first_line` of the file, `units` those below
    the names. Raises SecondTableError where a table of other columns, or in other units, begins among them.
    """
    again: list[tuple[int, int]] = []
    found = next(_second_headers(b"\n" + text, names, units, delimiter, again), None)
    if found is not None:
        place, header = found
        raise _refused(first_line + text.count(b"\n", 0, place), "below", header, file_name, delimiter)
    return [(start, stop - 1) for start, stop in again]


def check_above(lines: Sequence[str], names: Sequence[str], delimiter: str, file_name: str) -> None:
    """Raise SecondTableError where the lines above the first row of samples hold a table in time of other columns."""
    text = ("\n".join(["", *lines]) + "\n").encode()
    for place, header in _second_headers(text, names, (), delimiter, []):
        line = text.count(b"\n", 0, place) + 1
        rows = [split(row, delimiter, '"') for row in lines[line:][:_ABOVE]]
        timed = next(k for k, cell in enumerate(split(header, delimiter, '"')) if _says_time(cell))
        times = [row[timed].strip() for row in rows if len(row) > timed]
        if len({t for t in times if cell_kind(t) in ("number", "time")}) >= _APART:
            raise _refused(line, "above", header, file_name, delimiter)


def _refused(line: int, where: str, header: str, file_name: str, delimiter: str) -> SecondTableError:
    shown = header if len(header) <= _SHOWN else header[: _SHOWN - 1] + "…"
    what = f'a second table begins in line {line} {where} the samples, with a header of its own: "{shown}"'
    todo = "Write each table into a file of its own and give the files together; listed events then add their signals."
    return SecondTableError(message(file_name, what, "one table per file", todo), delimiter)


def _says_time(cell: str) -> bool:
    return hints(cell).weight("time") >= _SAYS_TIME


def _second_headers(
    text: bytes, names: Sequence[str], units: Sequence[str], delimiter: str, again: list[tuple[int, int]]
) -> Iterator[tuple[int, str]]:
    """Positions and texts of lines that name other columns than those of the samples, with rows in time below them.

    The own names above other units are such a line too.

    `again` takes the own header where it is written once more, and the units right below it.
    """
    stop_of_own = -2  # the line right below the own header holds its units
    for found in header_lines(delimiter).finditer(text):
        cells = [c.strip() for c in split(found[1].decode("utf-8", "replace").rstrip("\r"), delimiter, '"')]
        below = text[found.end() + 1 :][:4096]
        if found.start() == stop_of_own or (is_own(cells, names) and not other_units(units, below, delimiter)):
            stop_of_own = found.end()
            again.append((found.start(), found.end()))
        elif found.start() - stop_of_own > 1 and begins_table(cells, text[found.end() :][:4096], delimiter):
            yield found.start(), delimiter.join(cells)


def is_own(cells: Sequence[str], names: Sequence[str]) -> bool:
    """True for the header of the samples, written once more: names in their own places."""
    pairs = itertools.zip_longest(map(fold, cells), map(fold, names), fillvalue="")
    known = [(c, k) for c, k in pairs if not (c == "" and (k == "" or _UNNAMED.fullmatch(k)))]
    again = all(c and k and (c.startswith(k) or k.startswith(c)) for c, k in known)
    return again and len(known) > _OWN * len(names)


def units_below(below: bytes, delimiter: str) -> tuple[str, ...]:
    """The units in the first line of a text, one per column; empty where that is no row of units."""
    line = below.partition(b"\n")[0].decode("utf-8", "replace").rstrip("\r")
    cells = [fold(c.strip("[](){}<> ")) for c in split(line, delimiter, '"')]
    filled = [c for c in cells if c]
    return tuple(cells) if filled and all(is_unit(c) and any(map(str.isalpha, c)) for c in filled) else ()


def other_units(units: Sequence[str], below: bytes, delimiter: str) -> bool:
    """True where the first line of a text is a row of units that differ from those of the columns."""
    known = [fold(u.strip("[](){}<> ")) for u in units]
    found = units_below(below, delimiter)
    return any(a != b for a, b in itertools.zip_longest(found, known, fillvalue="")) if found and any(known) else False


def begins_table(cells: Sequence[str], below: bytes, delimiter: str) -> bool:
    """True where a cell says time, and the rows below have as many cells, with a value in that place."""
    timed = [k for k, cell in enumerate(cells) if _says_time(cell)]
    lines = [line for line in below.decode("utf-8", "replace").split("\n")[:-1] if line.strip()]
    rows = [split(line.rstrip("\r"), delimiter, '"') for line in lines[: _FOLLOWING + 1]]
    if len(rows) > 1 and all(cell_kind(cell) == "text" for cell in rows[0] if cell.strip()):
        rows = rows[1:]  # units stand there
    rows = rows[:_FOLLOWING]
    if not timed or not rows or any(len(row) != len(cells) for row in rows):
        return False
    return all(cell_kind(row[timed[0]]) in ("number", "time") for row in rows)
