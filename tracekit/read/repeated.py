"""Lines of several samples under a header whose names come again for each: a line for every sample."""

import re
from collections.abc import Sequence

from tracekit.options.evidence import EVIDENCE
from tracekit.read.cells import cell_kind
from tracekit.read.mending import Records
from tracekit.read.sniff import split

_DELIMITERS = (";", "\t", "|", ",")
_NUMBER = re.compile(r"[+-]?\d+([.,]\d*)?([eE][+-]?\d+)?")


def find_repeated(filled: Sequence[str]) -> Records | None:
    """How lines, all of which hold something, hold as many samples as names stand above them again; None elsewhere.

    The times of such samples rise from one to the next within a line and from line to line; those of stations side by
    side, whose names come again too, are the same.
    """
    for place, line in enumerate(filled[: EVIDENCE.repeated_header_line]):
        for delimiter in _DELIMITERS:
            size = _period([c.strip().casefold() for c in line.split(delimiter)])
            rows = [split(r, delimiter) for r in filled[place + 1 :][: EVIDENCE.repeated_lines]] if size else []
            if size and _follow(rows, len(line.split(delimiter)), size):
                heads = [h for h in filled[: place + 2] if delimiter in h and _period(h.split(delimiter)) == size]
                shorter = [
                    (h, delimiter.join(h.split(delimiter)[:size])) for h in heads if not _has_number(h, delimiter)
                ]
                count = len(line.split(delimiter)) // size
                return Records(
                    delimiter=delimiter, lead=0, size=size, heads=tuple(shorter),
                    evidence=f"{count} samples of {size} fields each, under names that come again for each",
                )  # fmt: skip
    return None


def _period(names: Sequence[str]) -> int:
    """The number of names after which they come again, 0 where they do not, or hardly are names."""
    for size in range(2, len(names) // 2 + 1):
        if len(names) % size == 0 and all(names[k] == names[k % size] for k in range(size, len(names))):
            return size if len(set(names[:size])) > 1 or not any(names) else 0
    return 0


def _has_number(line: str, delimiter: str) -> bool:
    return any(cell_kind(c.strip()) in ("number", "time") for c in line.split(delimiter) if c.strip())


def _follow(rows: Sequence[Sequence[str]], fields: int, size: int) -> bool:
    """True where some column's values rise from each sample to the next, within lines and from line to line."""
    rows = [r for r in rows if len(r) == fields and _is_data(r)]
    if len(rows) < EVIDENCE.fewest_lines:
        return False
    for column in range(size):
        cells = [c.strip() for row in rows for c in row[column::size]]
        if _rise([float(c.replace(",", ".")) for c in cells]) if all(map(_NUMBER.fullmatch, cells)) else _rise(cells):
            return True
    return False


def _rise(values: Sequence[float] | Sequence[str]) -> bool:
    """True where each is more than the one before; stamps of one form do so as texts."""
    return len(set(values)) == len(values) and list(values) == sorted(values)


def _is_data(row: Sequence[str]) -> bool:
    return any(cell_kind(c.strip()) in ("number", "time") for c in row if c.strip())
