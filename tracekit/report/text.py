"""Text that comes from a log is hostile: cut, stripped of control and direction marks, then escaped."""

import unicodedata
from html import escape as _escape

NBSP = "\u00a0"
NARROW = "\u202f"
MINUS = "\u2212"
_ELLIPSIS, _LONGEST = "…", 600
_DROPPED = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


def clean(text: object, limit: int = 80) -> str:
    """Text from outside as one harmless line of at most `limit` characters.

    Control characters, marks that turn the writing direction and invisible format characters are dropped, runs of
    white space become one space, and a text that is too long is cut in its middle.
    """
    raw, most = str(text), 2 * limit + 200
    raw = raw if len(raw) <= 2 * most else raw[:most] + raw[-most:]
    if not (raw.isascii() and raw.isprintable()):
        shown = "".join(" " if c in "\t\n\r" else c for c in raw)
        raw = "".join(c for c in shown if unicodedata.category(c) not in _DROPPED)
    line = " ".join(raw.split())
    if len(line) <= limit:
        return line
    head = (limit - 1) * 2 // 3
    tail = limit - 1 - head
    return line[:head].rstrip() + _ELLIPSIS + line[len(line) - tail :].lstrip()


def whole(text: str) -> str:
    """A text from outside as one sentence with its capital and full stop; a column's own name keeps its letters."""
    line = clean(text, _LONGEST).rstrip(".")
    if "_" in line.partition(" ")[0]:
        return f"{line}."
    return f"{line[:1].upper()}{line[1:]}." if line else ""


def evidence_words(text: str) -> str:
    """Why a file was read as it was, as a sentence; that a name decided is said in words."""
    return "The name of the column says so." if text.strip() == "name" else whole(text)


def escape(text: object) -> str:
    """Text made safe between tags and inside quoted attributes."""
    return _escape(str(text), quote=True)


def outside(text: object, limit: int = 80) -> str:
    """Text from a log as HTML: cleaned, escaped, and isolated so that its direction cannot turn its neighbours."""
    return f"<bdi>{escape(clean(text, limit))}</bdi>"


def ascii_only(text: str) -> str:
    """The nearest plain ASCII text, for consoles and files that know no other."""
    table = {NBSP: " ", NARROW: " ", MINUS: "-", "–": "-", "—": "-", "…": "...", "·": "-", "→": "->", "≥": ">=",
             "≤": "<=", "±": "+/-", "’": "'", "‘": "'", "“": '"', "”": '"', "×": "x", "√": "sqrt ", "σ": "sigma",
             "τ": "tau", "²": "2", "³": "3", "⁻": "-", "°": " deg "}  # fmt: skip
    plain = "".join(table.get(c, c) for c in text)
    split = unicodedata.normalize("NFKD", plain)
    return "".join(c if ord(c) < 128 else "" if unicodedata.combining(c) else "?" for c in split)
