"""Text from outside, for readers that obey some characters: terminals and spreadsheets."""

import re

_OBEYED = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufeff]"
)  # fmt: skip
FORMULA_MARKS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def visible(text: str) -> str:
    """The text with every character that a terminal obeys, or that turns the writing direction, shown as its number.

    Line feeds and tabs stay. The form is that of JSON: JSON text keeps its meaning.
    """
    return _OBEYED.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def disarmed(text: str) -> str:
    """A text for a cell of a CSV file: an apostrophe stands before what a spreadsheet would take for a formula."""
    return f"'{visible(text)}" if text.startswith(FORMULA_MARKS) else visible(text)
