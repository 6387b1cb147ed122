"""Dates and times of day written as text: how they are written, and their value, whole columns at once.

A stamp is a row of runs of digits. What each run means (year, month, day, hour, minute, second, fraction, zone) is
decided once from the first cells; then the runs of all cells are taken as numbers.
"""

import itertools
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from tracekit.read.fractions import with_counts
from tracekit.read.stampform import Field, StampForm
from tracekit.read.stampwords import parted_place, spelled_out
from tracekit.read.words import fold

DATE_FIELDS: tuple[Field, ...] = ("year", "month", "day")

MONTHS: tuple[tuple[str, int], ...] = (
    ("marra", 11),
    ("jan ene gen ian янв sty led oca tammi", 1), ("feb fev unor lut sub фев helmi", 2),
    ("mar maa mrt mrz brez мар bre", 3), ("apr avr abr kwi dub nis апр huhti", 4),
    ("may mai maj mei mag май mayis touko", 5), ("jun juin giu cze haz июн cerv kesa", 6),
    ("jul juil lug lip tem июл cervenec heina", 7), ("aug aou ago sie agu srp авг elok", 8),
    ("sep set wrz eyl zar сен syys", 9), ("oct okt out ott paz eki rij окт loka", 10), ("nov lis kas ноя", 11),
    ("dec dez dic des gru ara pros дек joulu", 12),
)  # fmt: skip
"""First letters of the names of the months in common languages, folded; a longer beginning before a shorter one."""


_RUN = re.compile(r"\d+")
_WORD_MONTH = re.compile(r"[^\W\d_]{3,}\.?")
_WEEKDAY = re.compile(r"[^\W\d_]{2,}\.?,?\s+(?=\d|[^\W\d_]{3,9}\.?\s+\d)")
_TEXT_DATE = str.maketrans(dict(zip("年月日년월일時时点分秒", [*"--", " ", *"--", " ", *"::::", ""], strict=True)))
_LETTERED = re.compile(r"(\d)\s?h\s?(\d{1,2})\s?m(?:in)?\s?(\d{1,2})(?:(?:s|(?=[.,]))([.,]?\d+))?\s?s?", re.IGNORECASE)
_DOTTED = re.compile(r"([-./]\d{1,4},?\s|[^\W\d_]\.?\s\d{4},?\s(?:klo?\.?\s)?)(\d{1,2})\.(\d{2})\.(\d{2})")
_CLOCK_FIRST = re.compile(r"\D{0,5}\d{1,2}:\d{2}:")
_OF = re.compile(r"\bde\s")
_PM = re.compile(r"[aApP]\.?\s?[mM]\.?\s*$|[aApP]\.?[mM]\.?(?=\s|$)")


def month_of(word: str) -> int | None:
    """Number of a month by its name in some language, folded, or None."""
    for starts, number in MONTHS:
        if any(word.startswith(start) for start in starts.split()):
            return number
    return None


def find_form(cells: Sequence[str]) -> StampForm | None:
    """The form that most cells share; None where they are no stamps.

    Which of day and month comes first is decided over all cells: by a number above 12, else by the order of days,
    else it stays open (`ambiguous`).
    """
    forms = Counter(form for form in map(_cell_form, cells) if form is not None)
    if not forms:
        return None
    longest = max(forms, key=lambda f: (forms[f] > 0.02 * len(cells), len(f.fields)))
    longest = with_counts(longest, cells)
    if "day" not in longest.fields or longest.worded:
        return longest
    return _order_date(longest, [c for c in cells if _cell_form(c) is not None])


def _cell_form(cell: str) -> StampForm | None:
    text = cell.strip()
    bare, place = parted_place(text)
    told = spelled_out(bare)
    form = _form_of(told)
    if form is not None and told != bare:
        spelled = form.has_date or "zone_h" not in form.fields  # hours from UTC say nothing of a clock without a date
        form = replace(form, spelled=True) if spelled else _form_of(bare)
    return form if form is None or not place or form.zone else replace(form, place=place)


def _form_of(cell: str) -> StampForm | None:
    """The form of one stamp without words but for its month and the name of the day."""
    text = _LETTERED.sub(_with_colons, cell.strip().translate(_TEXT_DATE).strip(": "))
    text = text if _CLOCK_FIRST.match(text) else _DOTTED.sub(r"\1\2:\3:\4", text)
    worded = False
    plain = _OF.sub("", _PM.sub("", text))
    weekday = _has_weekday(plain)
    plain = _WEEKDAY.sub("", plain, count=1) if weekday else plain
    for word in _WORD_MONTH.findall(plain):
        number = month_of(fold(word).rstrip("."))
        if number is not None and not worded and word.casefold() not in ("gmt", "utc"):
            plain, worded = plain.replace(word, f"{number:02d}", 1), True
            month_first = plain.startswith(f"{number:02d}")
    runs = list(_RUN.finditer(plain))
    if not runs:
        return None
    marks = [plain[: runs[0].start()]] + [plain[a.end() : b.start()] for a, b in itertools.pairwise(runs)]
    tail = plain[runs[-1].end() :].strip()
    figures = [r.group() for r in runs]
    if worded and month_first and _year_last(figures, marks):
        clock_parts: tuple[Field, ...] = ("hour", "minute", "second", "fraction")
        fields = ("month", "day", *clock_parts[: len(runs) - 3], "year")
        return StampForm(fields=fields, worded=True, weekday=weekday, evidence="the month is a word")
    late = _clock_first(figures, marks)
    if late is not None:
        return StampForm(fields=late)
    fields, used = _date_fields(figures, marks, month_first=worded and month_first)
    clock = _clock_fields(figures, marks, used)
    if clock is None or not (fields or clock):
        return None
    zone = "offset" if "zone_h" in clock else ("Z" if tail in ("Z", "z", "UTC", "GMT") else "")
    twelve = _PM.search(text) is not None
    return StampForm(fields=(*fields, *clock), twelve=twelve, zone=zone, worded=worded, weekday=weekday)


def _clock_first(runs: list[str], marks: list[str]) -> tuple[Field, ...] | None:
    """Fields of a clock that stands before its date, "13:47:12.005 18.03.2026"; None for other stamps."""
    if len(runs) not in (6, 7) or marks[1:3] != [":", ":"]:
        return None
    if marks[-1] != marks[-2] or marks[-1] not in ("-", ".", "/"):
        return None
    clock: tuple[Field, ...] = ("hour", "minute", "second", *(("fraction",) if len(runs) == 7 else ()))
    if marks[-3].strip(", ") or not marks[-3] or (len(runs) == 7 and marks[3] not in (".", ",")):
        return None
    return (*clock, *(("year", "month", "day") if len(runs[-3]) == 4 else ("day", "month", "year")))


def _with_colons(found: re.Match[str]) -> str:
    """A clock of hours, minutes and seconds with letters behind them, written with colons."""
    fraction = (found[4] or "").lstrip(".,")
    return f"{found[1]}:{found[2]}:{found[3]}" + (f".{fraction}" if fraction else "")


def _has_weekday(text: str) -> bool:
    """True where a word stands first that is no month, or is one beside another: "Tue, 26 Mar", "mar. 26 mars"."""
    match = _WEEKDAY.match(text)
    if match is None:
        return False
    others = _WORD_MONTH.findall(text[match.end() :])
    return month_of(fold(match[0])) is None or any(month_of(fold(w)) is not None for w in others)


def _year_last(runs: list[str], marks: list[str]) -> bool:
    """True for "Mar 26 10:17:14 2024", the month already written as a number."""
    times = 5 <= len(runs) <= 7 and len(runs[-1]) == 4 and not marks[-1].strip()
    return times and marks[1].strip() == "" and marks[2].strip() == "" and marks[3] == ":"


def _date_fields(runs: list[str], marks: list[str], *, month_first: bool) -> tuple[tuple[Field, ...], int]:
    """Fields of the date at the start, and how many runs it takes; the order of day and month is settled later."""
    if len(runs) >= 1 and len(runs[0]) == 17 and runs[0][:2] in ("19", "20"):
        return (("packed_ms",), 1)
    if len(runs) >= 1 and len(runs[0]) in (8, 14) and runs[0][:2] in ("19", "20"):
        return (("packed",), 1)
    if len(runs) < 3:
        return (), 0
    if len(runs[0]) == 4 and len(runs[1]) == 3 and marks[1] == "-" and ":" not in marks[2]:
        return (("year", "day_of_year"), 2)
    first, second = marks[1].strip(), marks[2].strip()
    parted = first[:1] in ("-", ".", "/", "_") and second[:1] in ("-", ".", "/", "_")
    blank = first in ("", ".") and second in ("", ",", ".") and ":" not in marks[1] + marks[2]
    blank = blank and (len(runs[2]) == 4 or (len(runs[0]) == 4 and first == "."))
    if not (parted or (blank and len(runs) >= 3 and ":" not in "".join(marks[:3]))):
        return (), 0
    if len(runs[0]) == 4:
        return (("year", "month", "day"), 3)
    return ((("month", "day", "year") if month_first else ("day", "month", "year")), 3)


def _clock_fields(runs: list[str], marks: list[str], used: int) -> tuple[Field, ...] | None:
    """Fields after the date, None where the runs make no time."""
    left = len(runs) - used
    if left == 0:
        return ()
    dashed = used == 3 and left in (3, 4) and marks[1] in ("-", "_", ".") and len(set(marks[1:6])) == 1
    if dashed and all(len(run) == 2 for run in runs[3:6]) and (left == 3 or len(runs[6]) in (3, 6)):
        return ("hour", "minute", "second", *(("fraction",) if left == 4 else ()))
    fields: list[Field] = []
    place = used
    if used == 1 and left == 1 and len(runs[0]) == 14 and marks[1] in (".", ","):
        return ("fraction",)
    if used and len(runs[place]) == 6 and (left == 1 or ":" not in marks[place + 1]):
        fields, place = ["packed"], place + 1
    else:
        if place + 1 < len(runs) and ":" not in marks[place + 1]:
            if used or place + 2 >= len(runs) or ":" not in marks[place + 2]:
                return None
            fields, place = ["days"], place + 1
        parts = 1
        while place + parts < len(runs) and marks[place + parts].strip() == ":" and parts < 4:
            parts += 1
        if parts == 1:
            return None
        clock: tuple[Field, ...] = ("hour", "minute", "second", "fraction")
        has_fraction = place + parts < len(runs) and marks[place + parts] in (".", ",")
        fields += ["minute", "second"] if parts == 2 and has_fraction else clock[:parts]
        place += parts
    if place < len(runs) and marks[place] in (".", ","):
        fields, place = [*fields, "fraction"], place + 1
    return _zone_fields(runs, marks, place, fields)


def _zone_fields(runs: list[str], marks: list[str], place: int, fields: list[Field]) -> tuple[Field, ...] | None:
    if place == len(runs):
        return tuple(fields)
    if marks[place].strip()[-1:] not in ("+", "-"):
        return None
    rest = len(runs) - place
    short = len(runs[place]) == 1 and re.search("UTC|GMT", marks[place]) is not None
    if rest == 1 and (len(runs[place]) in (2, 4) or short):
        return (*fields, "zone_h")
    return (*fields, "zone_h", "zone_m") if rest == 2 and marks[place + 1] == ":" else None


def _order_date(form: StampForm, cells: Sequence[str]) -> StampForm:
    """Settle which of the first three runs is the day, the month and the year."""
    first = next(k for k, field in enumerate(form.fields) if field in DATE_FIELDS)
    if form.fields[first] == "year":
        return replace(form, evidence="the year comes first")
    place = slice(-3, None) if first else slice(3)  # a clock before it may lack its fraction
    texts = [_RUN.findall(c)[place] for c in cells]
    rows = [tuple(map(int, t)) for t in texts]
    marks = {re.split(r"\d+", c.strip())[-2 if first else 1].strip() for c in cells}
    orders = _possible_orders(rows, year_last=all(len(t[2]) == 4 for t in texts))
    evidence = "the numbers leave no other way"
    if len(orders) > 1 and marks == {"."}:
        orders, evidence = [o for o in orders if o[0] == "day"] or orders, "dates with dots put the day first"
    days = list(dict.fromkeys(rows))
    if len(orders) > 1 and len(days) > 1:
        counting = [o for o in orders if all(_next_day(a, b, o) for a, b in itertools.pairwise(days))]
        orders, evidence = counting or orders, "the dates count day by day"
    ambiguous = len(orders) != 1
    fields = orders[0] if orders else form.fields[first : first + 3]
    return replace(
        form,
        fields=(*form.fields[:first], *fields, *form.fields[first + 3 :]),
        ambiguous=ambiguous,
        evidence="day, month and year could be exchanged" if ambiguous else evidence,
    )


def _possible_orders(rows: Sequence[tuple[int, ...]], *, year_last: bool) -> list[tuple[Field, ...]]:
    """Orders of day, month and year in which all numbers are in range."""
    known: list[tuple[Field, ...]] = [("day", "month", "year"), ("month", "day", "year")]
    if not year_last:
        known.append(("year", "month", "day"))
    limits = {"day": 31, "month": 12, "year": 9999}
    return [o for o in known if all(0 < v <= limits[f] for row in rows for v, f in zip(row, o, strict=True))]


def _next_day(first: tuple[int, ...], second: tuple[int, ...], order: tuple[Field, ...]) -> bool:
    """True where the second date is one day after the first, or the first of the next month."""
    a, b = dict(zip(order, first, strict=True)), dict(zip(order, second, strict=True))
    same_month = a["month"] == b["month"] and a["year"] == b["year"]
    return (same_month and b["day"] == a["day"] + 1) or (b["day"] == 1 and a["day"] >= 28)
