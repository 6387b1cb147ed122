"""What a single cell of a text file may be: number, time, level, missing, word."""

import functools
import re
from typing import Literal

from tracekit.read.levels import level_of_word

_LONGEST = 80
CellKind = Literal["number", "time", "level", "missing", "text"]

MISSING_WORDS = frozenset({
    "", "nan", "-nan", "na", "n/a", "#n/a", "#n/a n/a", "#na", "#nv", "null", "none", "nil", "1.#qnan", "-1.#qnan",
    "1.#ind", "-1.#ind", "1.#inf", "-1.#inf", "#num!", "#value!", "#div/0!", "#ref!", "inf", "-inf", "+inf", "*",
    "**", "***", "****", "*****", "?", "??", "???", "-", "--", "---", "----", "-----", "------", "ovr", "over",
    "under", "ol", "+ol", "-ol", "+over", "-over", "ovf", "ovrflw", "overflow", "underflow", "overrange",
    "underrange", "over range", "under range", "out of range", "bad", "err", "error", "fehler", "erreur", "invalid",
    "ungültig", "burnout", "no data", "nodata", "no value", "missing", "fault", "i/o timeout",
    "timeout", "comm fail", "questionable", "uncertain",
})  # fmt: skip
"""What loggers write where there is no reading, in lower case (common practice, no source)."""

_PLAIN = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+|[dD][+-]\d+)?"
_GROUPED = r"[+-]?\d{1,3}(?:(?P<mark>[.,' \u00a0\u202f\u2019])\d{3})(?:(?P=mark)\d{3})*(?:[.,]\d+)?"
TRAILED = re.compile(r"\d+(?:[.,]\d*)?-")
_LAKHS = r"[+-]?\d{1,2}(?:,\d{2}){1,4},\d{3}(?:\.\d+)?"
NUMBER = re.compile(rf"(?:{_PLAIN}|{_GROUPED}|{_LAKHS})\s?%?|{TRAILED.pattern}")
_UNIT_TAIL = re.compile(r"(?P<number>[+-]?\d+(?:[.,]\d+)?)\s*(?P<unit>[A-Za-zµ°%/²0-9]{1,6})")
_HALF = r"(?:[aApP]\.?\s?[mM]\.?|上午|下午|午前|午後|오전|오후|[πμ]\.?\s?μ\.?|ÖÖ|ÖS|SA|CH)"
_DATE = (
    r"\d{4}\s?年\s?\d{1,2}\s?月\s?\d{1,2}\s?日|\d{4}년\s?\d{1,2}월\s?\d{1,2}일"
    r"|\d{1,2}[A-Za-z]{3}\d{4}"
    r"|\d{1,4}\s?[-./]\s?(?:\d{1,2}|[^\W\d_]{3,9}\.?)\s?[-./]\s?\d{1,4}\.?"
)
_CLOCK = (
    r"\d{1,2}\s?[時时点]\s?\d{1,2}\s?分(?:\s?\d{1,2}(?:[.,]\d{1,9})?\s?秒)?"
    r"|\d{1,2}\s?h\s?\d{1,2}\s?m(?:in)?(?:\s?\d{1,2}(?:[.,]\d{1,9}\s?s?|s\d{1,9}|\s?s)?)?"
    r"|\d{1,3}:\d{2}[.,]\d{1,9}"
    r"|\d{1,4}\.\d{2}:\d{2}:\d{2}(?:[.,]\d{1,9})?"
    r"|\d{1,3}:\d{1,2}:\d{1,2}(?:[.,:]\d{1,9})?"
    rf"|\d{{1,4}}:\d{{2}}(?::\d{{2}}(?:[.,:]\d{{1,9}})?)?(?:\s?{_HALF}(?:\.\d{{1,9}})?)?"
)
_DOTTED = r"\d{1,2}\.\d{2}\.\d{2}(?:[.,]\d{1,9})?(?:\s?[aApP]\.?\s?[mM]\.?)?"
_PLACE = r"[A-Z][A-Za-z_]{2,20}/[A-Za-z_/]{3,30}"
_ZONE = (
    r"\s?(?:\(?(?:UTC|GMT)\s?[+-]\d{1,2}(?::?\d{2})?\)?|Z|UTC|GMT|[A-Z]{3,4}"
    rf"|[+-]\d{{2}}:?\d{{2}}(?:\[{_PLACE}\])?|[+-]\d{{2}}|{_PLACE})"
)
_COMPACT = (
    r"(?:19|20)\d{6}[T _-]?\d{6}(?:[.,]\d{1,9})?|\d\d[01]\d{3}[T _][0-2]\d[0-5]\d[0-5]\d(?:[.,]\d{1,9})?"
)
_DAY = r"[^\W\d_]{2,12}\.?,?\s+"
_WORDED = r"\d{1,2}\.?\s(?:de\s)?[^\W\d_]{3,11}\.?,?\s(?:de\s)?\d{4}(?:\s?г\.?)?|[^\W\d_]{3,9}\.?\s\d{1,2},?\s\d{4}"
_YEAR_LAST = r"[^\W\d_]{3}\s+\d{1,2}\s\d{2}:\d{2}:\d{2}(?:[.,]\d{1,9})?\s\d{4}"
_DASHED = r"(?:19|20)\d{2}(?P<dash>[-_.])\d{2}(?P=dash)\d{2}(?:(?P=dash)\d{2}){3}(?:[-_.]\d{3}|[-_.]\d{6})?"
_CLOCK_FIRST = r"\d{1,2}:\d{2}:\d{2}(?:[.,]\d{1,9})?,?\s+\d{1,4}[-./]\d{1,2}[-./]\d{1,4}"
_SPAN = r"L?T(?:IME)?#(?=\d)(?:\d{1,4}h_?)?(?:\d{1,2}m_?)?(?:\d{1,2}s_?)?(?:\d{1,3}ms)?"
TIME = re.compile(
    rf"(?:[A-Z]{{1,3}}#)?(?:{_DASHED}|{_CLOCK_FIRST}|(?:\d+\s?(?:[dD]|days?)?\s)?(?:{_CLOCK})|(?:{_DAY})?(?:{_DATE}|{_WORDED})(?:(?:T|,?\s+|_|-|(?<=日))(?:klo?\.?\s)?(?:{_HALF}\s?)?(?:{_CLOCK}|{_DOTTED}))?|{_COMPACT}"
    rf"|{_SPAN}|(?:{_DAY})?{_YEAR_LAST}|\d{{4}}-\d{{3}}(?:T|\s+)(?:{_CLOCK}))(?:{_ZONE})?"
)


@functools.lru_cache(maxsize=8192)
def cell_kind(cell: str) -> CellKind:
    """The most special thing a cell may be."""
    text = cell.strip()
    if len(text) > _LONGEST:
        return "text"
    if text.casefold() in MISSING_WORDS:
        return "missing"
    if NUMBER.fullmatch(text):
        return "number"
    if TIME.fullmatch(text[1:-1] if text[:1] + text[-1:] == "[]" else text):
        return "time"
    return "level" if level_of_word(text) is not None else "text"


def is_reading(cell: str) -> bool:
    """True for anything but words: a number with a unit behind it counts too, two numbers do not."""
    found = number_with_unit(cell) if cell_kind(cell) == "text" else None
    return cell_kind(cell) != "text" or (found is not None and not found[1][0].isdigit())


def number_with_unit(cell: str) -> tuple[str, str] | None:
    """Number and unit of a cell such as "-57.3 kPa", None where it is none."""
    found = _UNIT_TAIL.fullmatch(cell.strip())
    return (found["number"], found["unit"]) if found else None
