"""Lines that have to be rewritten before they can be cut: several records per line, decimal commas between commas."""

import itertools
import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.options.writing import WRITING
from tracekit.read.between import Between, with_events_beside
from tracekit.read.cells import cell_kind
from tracekit.read.headers import is_ruler
from tracekit.read.inserts import Inserts, without_statements
from tracekit.read.keyed import Keyed, by_name
from tracekit.read.marks import Marked, without_marks
from tracekit.read.naming import Named, without_names
from tracekit.read.nested import Nested, without_nesting
from tracekit.read.sniff import TextForm, split
from tracekit.read.words import hints

_WHOLE = re.compile(r"[+-]?\d*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Records:
    """Lines of several records: `lead` fields that all share, then `size` fields each.

    heads  lines above them in which the same names come again for each record, and what stands for them
    """

    delimiter: str
    lead: int
    size: int
    evidence: str
    heads: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Glued:
    """Lines of `fields` parts between commas, of which those at `places` are fractions of the part before."""

    fields: int
    places: tuple[int, ...]
    evidence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Formulas:
    """Fields written as formulas of a spreadsheet that give a text: ="1.2"."""

    evidence: str


Mend = Records | Glued | Named | Nested | Keyed | Between | Formulas | Marked | Inserts
_FORMULAS = ((re.compile(rb'"=""([^"\n]*)"""'), rb'"\1"'), (re.compile(rb'(?m)(^|[;,\t|])="([^"\n]*)"'), rb'\1"\2"'))


def find_formulas(filled: Sequence[str]) -> Formulas | None:
    """Whether fields are formulas that give a text, in most of the lines, all of which hold something."""
    written = filled[: WRITING.record_lines]
    if len(written) < WRITING.fewest or sum('="' in line for line in written) < WRITING.alike * len(written) - 2:
        return None
    return Formulas(evidence='fields written as ="..." are the texts between the quotes')


def without_formulas(text: bytes) -> bytes:
    """Lines with quoted texts instead of formulas."""
    for pattern, instead in _FORMULAS:
        text = pattern.sub(instead, text)
    return text


def find_records(filled: Sequence[str]) -> Records | None:
    """How lines, all of which hold something, hold several records of tag and value; None where they do not."""
    body = filled[int(len(filled) * 0.4) :][: WRITING.record_lines]
    if len(body) < WRITING.fewest or any('"' in line for line in body):
        return None
    for delimiter in (";", "\t", "|", ","):
        rows = [[c.strip() for c in split(line.rstrip(delimiter + " "), delimiter)] for line in body]
        if max(map(len, rows)) < 4:
            continue
        for lead, size, tag in ((1, 2, 0), (2, 2, 0), (0, 3, 1), (1, 3, 0), (0, 4, 1)):
            if _are_records(rows, lead, size, tag):
                evidence = f"{size} fields each, with the names of channels among them"
                return Records(delimiter=delimiter, lead=lead, size=size, evidence=evidence)
    return None


def _are_records(rows: Sequence[Sequence[str]], lead: int, size: int, tag: int) -> bool:
    """True where lines are made of records, some of several, with a channel's name and a value in each."""
    fitting = [r for r in rows if len(r) >= lead + size and (len(r) - lead) % size == 0]
    several = [r for r in fitting if len(r) >= lead + 2 * size]
    if len(fitting) < WRITING.alike * len(rows) or len(several) < max(0.02 * len(rows), 2):
        return False
    tags = {r[i] for r in fitting for i in range(lead + tag, len(r), size)}
    values = [r[i] for r in fitting for i in range(lead + tag + 1, len(r), size)]
    if not 2 <= len(tags) <= WRITING.most_tags or any(cell_kind(t) != "text" for t in tags):
        return False
    if any(cell_kind(v) == "text" for v in values) or any(r[lead + tag] == r[lead + tag + size] for r in several):
        return False
    timely = [cell_kind(r[0]) for r in fitting]
    known = [hints(t) for t in tags]
    pressures = [h for h in known if h.weight("pressure") >= 0.9 or h.pressure_unit is not None]
    return all(kind in ("number", "time") for kind in timely) and 0 < len(pressures) < len(tags)


def find_glued(lines: Sequence[str], form: TextForm, name: str) -> Glued | None:
    """Where decimal commas stand in a text that is cut at commas, by the number of names; None where none does.

    Raises LogReadError where there are such and the names do not tell which.
    """
    if form.delimiter != "," or form.quote is not None:
        return None
    body = [line for line in lines[form.first_data :] if line.strip()]
    body = body[:: max(len(body) // WRITING.record_lines, 1)]
    if len(body) < WRITING.fewest:
        return None
    rows = [[c.strip() for c in line.split(",")] for line in body]
    counts = [len(r) for r in rows]
    fields = max(set(counts), key=counts.count)
    alike = [r for r in rows if len(r) == fields]
    pointed = {k for r in alike for k, cell in enumerate(r) if "." in cell}
    stamps = all(cell_kind(r[k]) == "time" for r in alike for k in pointed)  # a point in these says nothing of numbers
    if not stamps or not any(c.isdigit() for c in "".join(alike[0])):
        return None
    names = form.header.fields
    if names == 0:
        if _zero_led(alike):
            raise _refused(name)
        return None
    if names >= fields or all(not cell for r in alike for cell in r[names:]):
        return None
    places = tuple(k for k in range(1, fields) if k - 1 not in pointed and _is_fraction(alike, k))
    parted = all(b - a > 1 for a, b in itertools.pairwise(places))
    if len(alike) < WRITING.constant * len(rows) or len(places) != fields - names or not parted:
        raise _refused(name)
    evidence = f"{names} names above {fields} parts, {len(places)} of which are figures of a fixed number"
    return Glued(fields=fields, places=places, evidence=evidence)


def _refused(name: str) -> LogReadError:
    found = "numbers with decimal commas between fields that are parted by commas"
    todo = "Export the log with semicolons or points."
    return LogReadError(message(name, found, "another delimiter, or quotes", todo))


def _is_fraction(rows: Sequence[Sequence[str]], place: int) -> bool:
    """True for figures of a fixed number behind a whole number or a clock, unlike a level."""
    cells = [r[place] for r in rows]
    fixed = len({len(c) for c in cells}) == 1 and all(c.isdigit() for c in cells)
    before = all(_WHOLE.fullmatch(r[place - 1]) or cell_kind(r[place - 1]) == "time" for r in rows)
    return fixed and before and (len(cells[0]) > 1 or len(set(cells)) >= WRITING.variety)


def _zero_led(rows: Sequence[Sequence[str]]) -> bool:
    """True where some part has a fixed number of figures, two or more, with a zero first, behind a whole number."""
    fractions = [k for k in range(1, len(rows[0])) if _is_fraction(rows, k) and _WHOLE.fullmatch(rows[0][k - 1])]
    return any(any(r[k][0] == "0" and len(r[k]) > 1 for r in rows) for k in fractions)


def mended(text: bytes, mend: Mend) -> tuple[bytes, NDArray[np.int64] | None]:
    """Whole lines rewritten, and for each line that comes out the position of the line that it comes from, from 0.

    The positions are None where every line stays one.
    """
    if isinstance(mend, Inserts):
        return without_statements(text, mend)
    if isinstance(mend, Formulas):
        return without_formulas(text), None
    if isinstance(mend, Marked):
        return without_marks(text, mend), None
    if isinstance(mend, Named):
        return without_names(text, mend), None
    if isinstance(mend, Between):
        return with_events_beside(text, mend), None
    if isinstance(mend, Keyed):
        return by_name(text, mend), None
    if isinstance(mend, Nested):
        return without_nesting(text, mend), None
    return (_unglued(text, mend), None) if isinstance(mend, Glued) else _one_per_line(text, mend)


def _unglued(text: bytes, glued: Glued) -> bytes:
    """Points instead of the commas before fractions, in lines of the usual number of parts."""
    data = np.frombuffer(text, np.uint8).copy()
    ends = np.nonzero(data == 10)[0]
    commas = np.nonzero(data == ord(","))[0]
    counts = np.bincount(np.searchsorted(ends, commas), minlength=len(ends) + 1)
    first = (np.cumsum(counts) - counts)[counts == glued.fields - 1]
    for place in glued.places:
        data[commas[first + place - 1]] = ord(".")
    return data.tobytes()


def _one_per_line(text: bytes, form: Records) -> tuple[bytes, NDArray[np.int64]]:
    """A line for each record; lines that are made otherwise stay as they are."""
    for head, shorter in form.heads:
        text = text.replace(head.encode(), shorter.encode())
    data = np.frombuffer(text, np.uint8)
    ends = np.nonzero(data == 10)[0]
    starts = np.concatenate([[0], ends[:-1] + 1])
    stops = ends - (data[np.maximum(ends - 1, 0)] == 13)
    marks = np.nonzero(data == ord(form.delimiter))[0]
    counts = np.bincount(np.searchsorted(ends, marks), minlength=len(ends))
    first = np.cumsum(counts) - counts
    left = counts + 1 - form.lead
    records = np.where((left % form.size == 0) & (left >= form.size), left // form.size, 0)
    records[np.searchsorted(ends, np.nonzero((data == 1) | (data == 2))[0])] = 0
    repeats = np.maximum(records, 1)
    line = np.repeat(np.arange(len(ends)), repeats)
    nth = np.arange(len(line)) - np.repeat(np.cumsum(repeats) - repeats, repeats)
    made = records[line] > 0
    mark = np.append(marks, 0)
    before = np.where(made, first[line] + form.lead - 1 + nth * form.size, -1)
    behind = np.where(made & (nth < records[line] - 1), before + form.size, -1)
    begin = np.where(before >= first[line], mark[before] + 1, starts[line])
    stop = np.where(behind >= 0, mark[behind], stops[line])
    shared = mark[np.where(made & (form.lead > 0), first[line] + form.lead - 1, -1)] + 1 - starts[line]
    shared = np.where(made & (form.lead > 0), shared, 0)
    pieces = np.stack([starts[line], begin], 1).ravel()
    lengths = np.stack([shared, stop - begin + 1], 1).ravel()
    offsets = np.cumsum(lengths) - lengths
    taken = data[np.arange(int(lengths.sum())) + np.repeat(pieces - offsets, lengths)]
    taken[(offsets + lengths - 1)[1::2]] = 10
    return taken.tobytes(), line


def aligned_names(lines: Sequence[str], form: TextForm) -> tuple[str, ...]:
    """Names with blanks in them above columns that are aligned; empty where a word belongs to no single column."""
    place = next((k for k in range(form.first_data - 1, -1, -1) if lines[k].strip() and not is_ruler(lines[k])), None)
    rows = [list(re.finditer(r"\S+", line)) for line in lines[form.first_data :][: WRITING.record_lines]]
    rows = [r for r in rows if len(r) == form.fields]
    if place is None or "\t" in lines[place] or len(rows) < WRITING.fewest:
        return ()
    starts = [{r[k].start() for r in rows} for k in range(form.fields)]
    ends = [{r[k].end() for r in rows} for k in range(form.fields)]
    words = list(re.finditer(r"\S+", lines[place]))
    if all(len(e) == 1 for e in ends):
        limits = [0, *(e.pop() for e in ends)]
    elif all(len(s) == 1 for s in starts):
        limits = [*(s.pop() for s in starts), max(len(lines[place]), *(r[-1].end() for r in rows))]
    else:
        return ()
    homes = [[w for w in words if a <= w.start() and w.end() <= b] for a, b in itertools.pairwise(limits)]
    if sum(map(len, homes)) != len(words) or not all(homes) or not all(any(map(str.isalpha, w[0])) for w in words):
        return ()
    return tuple(" ".join(w[0] for w in home) for home in homes)
