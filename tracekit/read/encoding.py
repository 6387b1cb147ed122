"""Bytes of a text file as UTF-8 with line feeds, damage marked."""

import codecs
import re
from collections.abc import Iterator

import numpy as np

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.read.codepage import code_by_words

DAMAGE = b"\x01"
"""Stands where bytes of value zero were; no field that holds it can be read as a value."""

_MINUS = "\u2212".encode()
_DASH = re.compile(rb"(?<![^\s;,|\"'])\xe2\x80[\x90-\x93](?=[ .,]?\d)")
_SIGN_APART = re.compile(rb"(?m)(^|[;,\t|]) *-(?: |\xc2\xa0)(?=[.,]?\d)")
"""Dashes of typography that begin a number; a minus at the start of a cell with a blank behind it."""
_WIDE_FIGURES = re.compile(rb"(?:\xef\xbc[\x8b-\x8f\x9a])*(?:\xef\xbc[\x90-\x99](?:\xef\xbc[\x8b-\x8f\x9a])*)+")
_NARROW = {bytes((0xEF, 0xBC, 0x60 + c)): bytes((c,)) for c in b"+,-./:0123456789"}
"""Figures as wide as Chinese letters, the signs beside them, and what they stand for: U+FF01 to U+FF5E repeat ASCII."""
_BOMS = (
    (codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF32_LE, "utf-32-le"), (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"),
)  # fmt: skip
"""Longer marks stand before the shorter ones that they begin with."""
_HARMLESS = frozenset(b"\t\n\v\f\r\x1a\x1b\x01")
_LOOKED_AT = 1 << 18
_FEW_ZEROS, _MANY_ZEROS = 0.1, 0.7
_SINGLE = ("cp1252", "cp1250", "cp1254", "cp1251")  # a byte for each letter
_ZEROS = re.compile(rb"\x00+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Encoding:
    """How characters are written. `evidence` says why; `only_cr` where lines end in carriage returns alone."""

    name: str
    bom: int
    evidence: str
    confidence: float
    only_cr: bool = False


def find_encoding(head: bytes, file_name: str) -> Encoding:
    """The encoding of a file by its first bytes: byte-order mark, else UTF-16 by its zeros, UTF-8, older codes.

    Raises LogReadError where the bytes are no text.
    """
    for mark, name in _BOMS:
        if head.startswith(mark):
            return _with_line_ends(head, name, len(mark), "byte-order mark", 1.0)
    wide = _wide(head)
    if wide is not None:
        evidence = "three of four bytes are zero" if wide.startswith("utf-32") else "every second byte is zero"
        return _with_line_ends(head, wide, 0, evidence, 0.98)
    _refuse_binary(head, file_name)
    if head.isascii():
        return _with_line_ends(head, "utf-8", 0, "only plain characters", 1.0)
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        code, words = code_by_words(head)
        how = f"by words such as {words}" if words else "as Western European"
        return _with_line_ends(head, code, 0, f"bytes that are no UTF-8, read {how}", 0.8)
    return _with_line_ends(head, "utf-8", 0, "valid UTF-8", 0.99)


def _with_line_ends(head: bytes, name: str, bom: int, evidence: str, confidence: float) -> Encoding:
    text = codecs.getincrementaldecoder(name)("replace").decode(head[bom:_LOOKED_AT])
    only_cr = "\r" in text[:-1] and "\n" not in text
    return Encoding(name=name, bom=bom, evidence=evidence, confidence=confidence, only_cr=only_cr)


def _wide(head: bytes) -> str | None:
    """UTF-16 or UTF-32 without a mark: text of Western letters and digits has zeros at the same places throughout."""
    sample = np.frombuffer(head[: len(head) // 4 * 4], np.uint8)[:65536]
    if len(sample) < 8:
        return None
    zeros = (sample.reshape(-1, 4) == 0).mean(axis=0)
    for name, at in (("utf-32-le", 0), ("utf-32-be", 3)):
        if zeros[at] < _FEW_ZEROS and np.delete(zeros, at).min() > _MANY_ZEROS:
            return name
    even, odd = zeros[0::2], zeros[1::2]
    if odd.min() > _MANY_ZEROS and even.max() < _FEW_ZEROS:
        return "utf-16-le"
    return "utf-16-be" if even.min() > _MANY_ZEROS and odd.max() < _FEW_ZEROS else None


def _refuse_binary(head: bytes, file_name: str) -> None:
    """Raise LogReadError where many bytes are neither text nor zero."""
    head = head[:_LOOKED_AT]
    counts = np.bincount(np.frombuffer(head, np.uint8), minlength=256)
    control = sum(int(counts[b]) for b in range(1, 32) if b not in _HARMLESS) + int(counts[127])
    written = len(head) - int(counts[0])
    if written == 0 or control > 0.02 * written or counts[0] > 0.9 * len(head):
        expected = "a text file with rows of samples, or Parquet"
        raise LogReadError(message(file_name, "a binary file", expected, "Export the log as text."))


def as_utf8(pieces: Iterator[bytes], encoding: Encoding, delimiter_run: bytes = b"") -> Iterator[bytes]:
    """Pieces of a file as UTF-8 with line feeds.

    A run of zero bytes becomes `delimiter_run` and a mark, so that its line cannot pass for a sound one.
    """
    stateful = encoding.name not in ("utf-8", *_SINGLE)
    decoder = codecs.getincrementaldecoder(encoding.name)("replace") if stateful else None
    skip = encoding.bom
    for piece in pieces:
        text = piece[skip:]
        skip = max(skip - len(piece), 0)
        if decoder is not None:
            text = decoder.decode(text).encode("utf-8", "replace")
        elif encoding.name in _SINGLE and not text.isascii():
            text = text.decode(encoding.name, "replace").encode("utf-8")
        if b"\0" in text:
            text = _ZEROS.sub(DAMAGE + delimiter_run, text)
        if encoding.only_cr:
            text = text.replace(b"\r", b"\n")
        if text:
            yield text


def sound_utf8(text: bytes) -> bytes:
    """Whole lines with every byte that is no UTF-8 replaced, and plain figures and hyphens for those of typography."""
    apart = False
    if not text.isascii():
        text = _typed(text)
        apart = b"-\xc2\xa0" in text
    apart = apart or (b" " in text and b"- " in text)  # one byte is found much sooner than two: most logs hold no blank
    return _SIGN_APART.sub(rb"\1-", text) if apart else text


def _typed(text: bytes) -> bytes:
    text = text.replace(_MINUS, b"-")
    if b"\xe2\x80" in text:
        text = _DASH.sub(b"-", text)
    if b"\xef\xbc" in text:
        text = _WIDE_FIGURES.sub(_narrow, text)
    return text.decode("utf-8", "replace").encode("utf-8")


def _narrow(found: re.Match[bytes]) -> bytes:
    wide = found[0]
    return b"".join(_NARROW[wide[k : k + 3]] for k in range(0, len(wide), 3))
