"""What is written about cells: quotes about whole lines, apostrophes, brackets; numbers instead of channels' names."""

import re
from collections.abc import Iterable, Sequence

from tracekit.frozen import dataclass
from tracekit.options.writing import WRITING
from tracekit.read.levels import level_of_change
from tracekit.read.sniff import DELIMITERS, split
from tracekit.read.words import hints

_WHOLE_LINE = re.compile(r'"(?:[^"]|"")*"')
_APOSTROPHE = re.compile(r"(?:^|[;,\t|])'[\d+-][^';,\t|]*(?=[;,\t|]|$)")
_BRACKETED = re.compile(r"(?:^|[;,\t|])\s*\(\d[\d.,]*\)\s*(?=[;,\t|]|$)")
_LEGEND = re.compile(
    r"\s*[#;%/*!]+\s*+(?:id|channel|ch|kanal|canal|tag|signal|no\.?|nr\.?)?\s*(?P<id>\d{1,6})\s*[=:]"
    r"\s*+(?P<name>[^;,\t|\"]++)\s*",
    re.IGNORECASE,
)
_NUMBERED = re.compile(
    r"(?:\w+[ _])?(?:id|ids|channel|ch|kanal|canal|tag|signal)(?:[ _]?(?:id|no|nr|number))?", re.IGNORECASE
)
_SUMMED = re.compile(r"\*[0-9A-Fa-f]{2}$")
_NO_SUM = ((rb"(?m)\*[0-9A-Fa-f]{2}(\r?)$", rb"\1"),)
_SINGLE = re.compile(r"'[^']*'(?:[;,\t|]'[^']*')+")
_SELDOM = ("^", "~", "\u00a6", "\u00a7")
"""Delimiters that are seldom met (common practice, no source)."""
_ARROWS = ("->", "=>", "\u2192")
_TIMED = re.compile(r"\d[\d:./TZ+ -]{3,40}[ \t]+(?=[^\W\d_])")
_TIMED_BYTES = rb"(?m)^(\d[\d:./TZ+ -]{3,40})[ \t]+(?=[A-Za-z\x80-\xff])"

_UNQUOTED = ((rb'(?m)^"(.*)"[ \t]*(\r?)$', rb"\1\2"), (rb'""', rb'"'))
_NO_APOSTROPHE = ((rb"(?m)(^|[;,\t|])'(?=[\d+-])", rb"\1"),)
_SIGNED = ((rb"(?m)(^|[;,\t|])[ \t]*\((\d[\d.,]*)\)[ \t]*(?=[;,\t|\r\n]|$)", rb"\1-\2"),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Marked:
    """What to put in the place of what, one after the other, in whole lines."""

    changes: tuple[tuple[bytes, bytes], ...]
    evidence: str


def find_marked(lines: Sequence[str]) -> Marked | None:
    """What stands about the cells of a text and has to go before it is cut; None where nothing does."""
    written = [line.strip() for line in lines if line.strip()]
    body = written[int(len(written) * 0.4) :]
    if len(body) < WRITING.fewest:
        return None
    text = "\n".join(body)  # a mark that no line holds need not be looked for in each
    if (
        '"' in text
        and _share(_WHOLE_LINE.fullmatch(line) is not None and _is_table(line) for line in body) > WRITING.alike
    ):
        return Marked(changes=_UNQUOTED, evidence="every line stands in quotes as a whole")
    if "'" in text and _share(_APOSTROPHE.search(line) is not None for line in body) > WRITING.alike:
        return Marked(changes=_NO_APOSTROPHE, evidence="an apostrophe before cells, which marks texts, is left out")
    if "(" in text and sum(_BRACKETED.search(line) is not None for line in body) >= WRITING.fewest:
        return Marked(changes=_SIGNED, evidence="numbers in round brackets are negative, as in accounts")
    if "*" in text and _share(_SUMMED.search(line) is not None for line in body) > WRITING.alike:
        return Marked(changes=_NO_SUM, evidence="a sum for checking behind every line is left out")
    if "'" in text and _share(_SINGLE.fullmatch(line) is not None for line in body) > WRITING.alike:
        return Marked(changes=((b"'", b'"'),), evidence="every cell stands in single quotes")
    for mark in (seldom for seldom in _SELDOM if seldom in body[0]):
        counts = {line.count(mark) for line in body}
        commas = max(line.count(",") for line in body)  # those of numbers
        if len(counts) == 1 and min(counts) > commas and not any(d in line for line in written for d in DELIMITERS[:3]):
            changes = ((re.escape(mark.encode()), b";"),)
            return Marked(changes=changes, evidence=f'columns are parted by "{mark}"')
    return _find_arrows(body) or _find_legend(written, body[: WRITING.marked_lines])


def _find_arrows(body: Sequence[str]) -> Marked | None:
    """Lines of a time, the name of a signal with blanks in it, an arrow and a level."""
    text = "\n".join(body)
    for arrow in (one for one in _ARROWS if one in text):
        parted = [line.rpartition(arrow) for line in body]
        told = [level_of_change(level.strip()) is not None and _TIMED.match(lead) for lead, _, level in parted]
        if any(mark in line for mark in DELIMITERS[:-1] for line in body) or _share(map(bool, told)) <= WRITING.alike:
            continue
        changes = ((rb"[ \t]{0,9}" + re.escape(arrow.encode()) + rb"[ \t]{0,9}", b";"), (_TIMED_BYTES, rb"\1;"))
        return Marked(changes=changes, evidence=f'every line holds a time, a name and a level behind "{arrow}"')
    return None


def _share(found: Iterable[bool]) -> float:
    """Share of the true ones."""
    answers = list(found)
    return sum(answers) / len(answers)


def _is_table(line: str) -> bool:
    """True for a quoted line with several cells in it."""
    return max(line.count(mark) for mark in DELIMITERS[:-1]) > 1


def _find_legend(written: Sequence[str], body: Sequence[str]) -> Marked | None:
    """Names instead of the numbers of channels, which remarks above the rows tell."""
    found = [m for m in map(_LEGEND.fullmatch, written[: WRITING.marked_lines]) if m is not None]
    names = {m["id"]: m["name"].rstrip() for m in found}
    known = [hints(n) for n in names.values()]
    pressures = [h for h in known if h.weight("pressure") >= 0.9 or h.pressure_unit is not None]
    if not 2 <= len(names) <= WRITING.most_tags or len(names) != len(found) or not 0 < len(pressures) < len(names):
        return None
    for delimiter in DELIMITERS[:-1]:
        rows = [split(line, delimiter) for line in body]
        size = len(rows[0])
        if size < 3 or any(len(r) != size for r in rows):
            continue
        heads = [split(line, delimiter) for line in written[: WRITING.marked_lines] if any(map(str.isalpha, line))]
        titles = next((h for h in reversed(heads) if len(h) == size), [])
        for place, title in enumerate(titles):
            cells = {r[place].strip() for r in rows}
            if _NUMBERED.fullmatch(title.strip(' "')) and len(cells) > 1 and cells <= names.keys():
                return _with_names(names, delimiter, place)
    return None


def _with_names(names: dict[str, str], delimiter: str, place: int) -> Marked:
    mark = re.escape(delimiter)
    before = rf"(?m)^((?:[^{mark}\n]*{mark}){{{place}}}[ \t]*)"
    changes = tuple(
        (rf"{before}{number}(?=[ \t]*[{mark}\r\n])".encode(), rb"\g<1>" + name.replace("\\", "/").encode())
        for number, name in names.items()
    )
    return Marked(changes=changes, evidence=f"{len(names)} remarks above the rows name the channels by their numbers")


def without_marks(text: bytes, marked: Marked) -> bytes:
    """Lines without the marks, one for each as it was."""
    for pattern, instead in marked.changes:
        text = re.sub(pattern, instead, text)
    return text
