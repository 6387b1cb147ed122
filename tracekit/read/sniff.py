"""How a text file is cut: delimiter, preamble, header rows, first row of data."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence

from tracekit.frozen import dataclass
from tracekit.options.evidence import EVIDENCE
from tracekit.read.cells import CellKind, cell_kind, is_reading
from tracekit.read.headers import Header, find_header
from tracekit.read.waiting import first_told, first_waiting

DELIMITERS = ("\t", ";", "|", ",", " ")
"""In order of preference where two fit equally well; " " stands for runs of blanks and tabs."""

_DECLARED = re.compile(r'"?sep=(?P<mark>.)"?', re.IGNORECASE)
_GLUED = re.compile(r"\d[;,|\t ]+[+-]?[\d.]|[;|\t]")
_BODY_LINES, _SCAN_LINES, _MOST_FIELDS, _ALIKE = 120, 3, 1000, 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class TextForm:
    """The cut of a text file. Line positions count from 0.

    fields      columns of a row of data
    first_data  position of the first row of data
    waiting     rows right above it that have words in the place of values
    preamble    lines above header and data that are not blank
    multiline   a quoted field holds line ends
    """

    delimiter: str
    quote: str | None
    multiline: bool
    fields: int
    first_data: int
    header: Header
    preamble: tuple[str, ...]
    evidence: str
    confidence: float
    waiting: int = 0


def split(line: str, delimiter: str, quote: str | None = '"') -> list[str]:
    """Fields of a line. Blanks and tabs in any number are one delimiter where it is " "."""
    if delimiter == " ":
        return line.split()
    if quote is None or quote not in line:
        return line.split(delimiter)
    fields, current, inside = [], [], False
    for part in line.split(delimiter):
        current.append(part)
        inside ^= part.count(quote) % 2 == 1
        if not inside:
            fields.append(delimiter.join(current).strip().strip(quote))
            current = []
    return fields + ([delimiter.join(current)] if current else [])


def sniff(lines: Sequence[str]) -> TextForm | None:
    """The cut of a file by its first lines; None where no delimiter gives rows of equal length with values."""
    declared = _DECLARED.fullmatch(lines[0].strip()) if lines else None
    written = [i for i, line in enumerate(lines) if line.strip()]
    if declared:
        written = written[1:]
    if not written:
        return None
    body = _body([lines[i] for i in written])
    quote = '"' if any('"' in line for line in body) else None
    marks = (declared["mark"],) if declared else DELIMITERS
    scores = {mark: _score(body, mark, quote) for mark in marks}
    delimiter = max(marks, key=lambda mark: (round(scores[mark][0], 2), -marks.index(mark)))
    if delimiter == " ":
        delimiter = next((mark for mark in DELIMITERS[:3] if mark in marks and _throughout(body, mark, scores)), " ")
    score, fields = scores[delimiter]
    if score < 0.3:
        return None
    kinds = _kinds([r for r in (split(x, delimiter, quote) for x in body) if len(r) == fields])
    first = _first_data(lines, written, kinds, delimiter, quote)
    rows = [split(line, delimiter, quote or '"') for line in lines[: first + 1]]
    start = first_waiting(rows, first, kinds)
    told = first_told(rows, start, kinds)
    if told < start and all(len(rows[k]) == fields for k in range(told, first)):
        first = told  # readings of other channels, a row each
    start = told
    header, top = find_header(lines, start, fields, lambda text: split(text, delimiter, '"'))
    below = [lines[i] for i in written if i >= first]
    return TextForm(
        delimiter=delimiter,
        quote='"' if any('"' in line for line in below) else None,
        multiline=_spans_lines(below, fields, delimiter),
        fields=fields,
        first_data=first,
        waiting=first - start,
        header=header,
        preamble=tuple(lines[i] for i in written if i < top),
        evidence="named in the first line" if declared else f"{fields} fields in every row",
        confidence=1.0 if declared else round(min(score, 0.999), 3),
    )


def _spans_lines(lines: list[str], fields: int, delimiter: str) -> bool:
    """True where lines with an open quote, joined with those up to its end, make rows of the usual length."""
    odd = [i for i, line in enumerate(lines) if line.count('"') % 2]
    pairs = list(zip(odd[::2], odd[1::2], strict=False))
    whole = [len(split("\n".join(lines[a : b + 1]), delimiter)) == fields for a, b in pairs]
    return len(whole) > 0 and sum(whole) >= 0.8 * len(whole)


def _body(written: list[str]) -> list[str]:
    """Lines that are most likely rows of data: evenly spread over the last 60 %."""
    tail = written[int(len(written) * 0.4) :]
    step = max(len(tail) // _BODY_LINES, 1)
    return tail[::step][:_BODY_LINES]


def _score(body: list[str], delimiter: str, quote: str | None) -> tuple[float, int]:
    """How well a delimiter cuts the body, 0 to 1, and the number of fields that it gives most often."""
    rows = [split(line, delimiter, quote) for line in body]
    counts = Counter(len(r) for r in rows if 1 < len(r) <= _MOST_FIELDS)
    if not counts:
        return (0.05, 1) if delimiter == "," else (0.0, 1)
    fields, often = max(counts.items(), key=lambda item: (item[1], item[0]))
    cells = [cell for row in rows if len(row) == fields for cell in row]
    clean = sum(_cleanness(cell) for cell in cells) / len(cells)
    return often / len(rows) * clean, fields


def _throughout(body: list[str], mark: str, scores: Mapping[str, tuple[float, int]]) -> bool:
    """True for a sign that parts every line into as many cells of one value: blanks then stand inside of cells."""
    return scores[mark][0] >= EVIDENCE.clean_cells and len({line.count(mark) for line in body}) == 1


def _cleanness(cell: str) -> float:
    if is_reading(cell):
        return 1.0
    return 0.0 if _GLUED.search(cell) else 0.6


def _kinds(rows: list[list[str]]) -> list[CellKind]:
    """The kind of every column, missing cells left aside; text where cells are not alike."""
    kinds: list[CellKind] = []
    for cells in zip(*rows, strict=True):
        found = Counter(kind for kind in map(cell_kind, cells) if kind != "missing")
        if not found:
            kinds.append("missing")
            continue
        kind, often = found.most_common(1)[0]
        kinds.append(kind if often >= _ALIKE * found.total() else "text")
    return kinds


def _first_data(
    lines: Sequence[str], written: list[int], kinds: list[CellKind], delimiter: str, quote: str | None
) -> int:
    """Position of the first line that looks like a row of data and is followed by such lines."""
    rows = [split(lines[i], delimiter, quote or '"') for i in written]
    fits = [_fits(row, kinds) for row in rows]
    for place, position in enumerate(written):
        following = fits[place : place + 1 + _SCAN_LINES]
        if fits[place] and (sum(following) >= min(len(following), 3) or _go_on(rows[place:][: len(following)], kinds)):
            return position
    return next((p for p, fit in zip(written, fits, strict=True) if fit), written[-1])


def _go_on(rows: Sequence[Sequence[str]], kinds: Sequence[CellKind]) -> bool:
    """True for rows of as many cells that begin with a number or a time as all do: readings of several channels."""
    timed = kinds[:1] in (["number"], ["time"])
    return timed and all(len(row) == len(kinds) and cell_kind(row[0]) == kinds[0] for row in rows)


def _fits(cells: list[str], kinds: list[CellKind]) -> bool:
    """True where a row has values in the columns that have values elsewhere."""
    if abs(len(cells) - len(kinds)) > 1:
        return False
    strict = [(cell_kind(c), k) for c, k in zip(cells, kinds, strict=False) if k in ("number", "time")]
    hits = [found == kind or {found, kind} == {"number", "time"} for found, kind in strict]
    empty = [found in ("missing", "level") for found, _ in strict]
    if not strict:
        return any(cell_kind(c) == k == "level" for c, k in zip(cells, kinds, strict=False))
    return any(hits) and all(h or e for h, e in zip(hits, empty, strict=True))
