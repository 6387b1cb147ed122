"""Older ways of writing letters, told by the words that come out."""

from collections.abc import Sequence

from tracekit.read.words import hints

_CODES = ("cp1252", "cp1250", "cp1254", "cp1251", "gb18030", "cp932", "cp949")
"""Western, Central European, Turkish, Cyrillic, Chinese, Japanese, Korean (common practice, no source)."""
_MOST_LINES, _SHARE = 80, 1.5


def code_by_words(head: bytes) -> tuple[str, str]:
    """The code in which most names near the top are words that a reader of logs knows, and which those are.

    Western European, without words, where no other code is clearly ahead: the letters change nothing but names.
    """
    top = b"\n".join(head.splitlines()[:_MOST_LINES])
    known = {code: _known(top, code) for code in _CODES}
    best = max(_CODES, key=lambda code: (len(known[code]), -_CODES.index(code)))
    if len(known[best]) < _SHARE * len(known["cp1252"]) or not known[best]:
        return "cp1252", ""
    new = [w for w in known[best] if w not in known["cp1252"]]
    return best, ", ".join(f'"{w}"' for w in new[:3])


def _known(top: bytes, code: str) -> Sequence[str]:
    """Names with letters beyond ASCII that speak for a role, in a text read in some code; none where it cannot be."""
    try:
        text = top.decode(code)
    except UnicodeDecodeError:
        return ()
    for mark in "\t;,|\"'":
        text = text.replace(mark, "\n")
    names = dict.fromkeys(c.strip() for c in text.splitlines())
    return [n for n in names if not n.isascii() and len(n) <= _MOST_LINES and hints(n).roles]
