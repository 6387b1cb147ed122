"""Words in stamps: halves of the day in many scripts, abbreviations of zones, names of zones."""

import re

import pyarrow as pa
import pyarrow.compute as pc

_WORDS: tuple[tuple[str, str], ...] = (
    (r"\s?(?:上午|午前|오전|π\.?\s?μ\.?)\s?|\s(?:ÖÖ|SA)$", " AM "),
    (r"\s?(?:下午|午後|오후|μ\.?\s?μ\.?)\s?|\s(?:ÖS|CH)$", " PM "),
    (r"\sWET$", " +0000"), (r"\s(?:CET|MEZ|WEST)$", " +0100"), (r"\s(?:CEST|MESZ|EET)$", " +0200"),
    (r"\sEEST$", " +0300"),
)  # fmt: skip
"""Expressions, alike in both engines, and what stands for them: Chinese, Japanese, Korean, Greek, Turkish
and Vietnamese halves of the day, and abbreviations of zones that mean one offset alone (from memory, not verified)."""
_COMPILED = tuple((re.compile(pattern), sign) for pattern, sign in _WORDS)
_PLACE = re.compile(r"\s?\[?\b([A-Z][A-Za-z_]{2,20}/[A-Za-z_/]{3,30})\]?$")
_OFFSET = re.compile(r"(?:UTC|GMT)\s?(?P<sign>[+-])(?P<hours>\d{1,2})(?::?(?P<minutes>\d{2}))?(?!\d)")
_IN_NAME = re.compile(r"[\[(]\s?(?:UTC|GMT|Z)\s?[\])]")


def spelled_out(text: str) -> str:
    """A stamp with AM, PM or an offset for the word that means it."""
    if text[-1:].isdigit() and text.isascii():
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
