"""Rows above the first whole one in which a channel only says a word: "0.005;INIT;?;?" while a recorder wakes up."""

from collections.abc import Sequence

from tracekit.read.cells import CellKind, cell_kind

_FEWEST = 2


def first_waiting(rows: Sequence[Sequence[str]], first: int, kinds: Sequence[CellKind]) -> int:
    """Position of the first of the rows right above row `first` that wait for values, `first` where none does.

    They have values in some of the columns that do below and the same words in all others. A single one counts only
    where its values are stamps or have decimals, since rows of names may hold whole numbers.
    """
    valued = [k for k, kind in enumerate(kinds) if kind in ("number", "time")]
    start, words, before = first, None, rows[first] if first < len(rows) else ()
    for place in range(first - 1, -1, -1):
        cells = [c.strip() for c in rows[place]]
        hits = [k for k in valued if len(cells) == len(kinds) and cell_kind(cells[k]) == kinds[k]]
        said = tuple("" if k in hits else c for k, c in enumerate(cells))
        if not hits or not any(map(str.isalpha, "".join(said))) or said != (words or said):
            break
        if all(cells[k] == before[k].strip() for k in hits):
            break
        start, words, before = place, said, rows[place]
    if first - start >= _FEWEST or (start < first and any(_running(c) for c in before)):
        return start
    return first


def first_told(rows: Sequence[Sequence[str]], first: int, kinds: Sequence[CellKind]) -> int:
    """Position of the first of the rows right above row `first` that begin with a time and go on with words.

    They tell events, "0.000;Suction valve: 1", and no name of a column is a time. A whole number counts as one where
    it is that of the first sample.
    """
    start = first
    while start > 0 and first < len(rows):
        cells = rows[start - 1]
        timed = len(cells) > 1 and cell_kind(cells[0]) == kinds[0] and kinds[0] in ("number", "time")
        if not timed or not (_running(cells[0]) or cells[0].strip() == rows[first][0].strip()):
            break
        if not any(map(str.isalpha, "".join(cells[1:]))):
            break
        start -= 1
    return start


def _running(cell: str) -> bool:
    return cell_kind(cell) == "time" or (cell_kind(cell) == "number" and any(mark in cell for mark in ".,"))
