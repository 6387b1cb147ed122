"""Words in stamps: halves of the day in many scripts, abbreviations of zones, names of zones."""

import re

import pyarrow as pa
import pyarrow.compute as pc

_SPAN = r"^L?T(?:IME)?#(?:(\d{1,4})h_?)?(?:(\d{1,2})m_?)?(?:(\d{1,2})s_?)?"
_FIGURES = ((r"(\d)", "00"), (r"(\d\d)", "0"), (r"(\d{3})", ""))
"""A time that has passed as controllers write it, T#1m2s5ms, and its milliseconds by their figures."""
_WORDS: tuple[tuple[str, str], ...] = (
    (r"\s?(?:上午|午前|오전|π\.?\s?μ\.?)\s?|\s(?:ÖÖ|SA)$", " AM "),
    (r"\s?(?:下午|午後|오후|μ\.?\s?μ\.?)\s?|\s(?:ÖS|CH)$", " PM "),
    (r"\sWET$", " +0000"), (r"\s(?:CET|MEZ|WEST)$", " +0100"), (r"\s(?:CEST|MESZ|EET)$", " +0200"),
    (r"\sEEST$", " +0300"),
    (r"(\d)\s?г\.?,?\s", r"\1 "), (r"^(\d\d)(\d\d)(\d\d)[ T_](\d\d)(\d\d)(\d\d)", r"\1-\2-\3 \4:\5:\6"),
    (r"\s?([APap][Mm])\.(\d{1,9})$", r".\2 \1"), (r"^(\d{1,2})([A-Za-z]{3})(\d{4})", r"\1 \2 \3"),
    *((rf"{_SPAN}{figures}ms$", rf"0\1:0\2:0\3.{zeros}\4") for figures, zeros in _FIGURES),
    (rf"{_SPAN}$", r"0\1:0\2:0\3.000"),
)  # fmt: skip
"""Expressions, alike in both engines, and what stands for them: Chinese, Japanese, Korean, Greek, Turkish
and Vietnamese halves of the day, abbreviations of zones that mean one offset alone (from memory, not verified), a
fraction behind AM or PM, the Russian word for a year, dates and clocks of six figures each, a month between figures,
and times that have passed."""
_AMONG_FIGURES = re.compile(r"[APap][Mm]\.\d|^\d{1,2}[A-Za-z]{3}\d{4}|^\d{6}[ T_]\d{6}")
_COMPILED = tuple((re.compile(pattern), sign) for pattern, sign in _WORDS)
_PLACE = re.compile(r"\s?\[?\b([A-Z][A-Za-z_]{2,20}/[A-Za-z_/]{3,30})\]?$")
_OFFSET = re.compile(r"(?:UTC|GMT)\s?(?P<sign>[+-])(?P<hours>\d{1,2})(?::?(?P<minutes>\d{2}))?(?!\d)")
_IN_NAME = re.compile(r"[\[(]\s?(?:UTC|GMT|Z)\s?[\])]")


def spelled_out(text: str) -> str:
    """A stamp with AM, PM or an offset for the word that means it."""
    if text[-1:].isdigit() and text.isascii() and _AMONG_FIGURES.search(text) is None:
        return text
    for pattern, sign in _COMPILED:
        text = pattern.sub(sign, text)
    return text.strip()


def all_spelled_out(array: pa.Array) -> pa.Array:
    """The same for a column of stamps."""
    texts = pc.utf8_trim_whitespace(array.cast(pa.binary()).cast(pa.string(), safe=False))
    for pattern, sign in _WORDS:
        texts = pc.replace_substring_regex(texts, pattern, sign)
    return texts


def parted_place(text: str) -> tuple[str, str]:
    """A stamp without the name of a zone behind it, and that name, empty where there is none."""
    found = _PLACE.search(text)
    return (text, "") if found is None else (text[: found.start()], found[1])


def zone_of_name(name: str) -> str:
    """The zone that the name of a column of times tells, "+01:00" or "UTC"; empty where it tells none."""
    found = _OFFSET.search(name)
    if found is not None and int(found["hours"]) <= 14:
        return f"{found['sign']}{int(found['hours']):02d}:{found['minutes'] or '00'}"
    return "UTC" if _IN_NAME.search(name) else ""
