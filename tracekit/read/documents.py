"""Documents of JSON: an array of records, over many lines or in one, as a record per line in bounded memory."""

import json
import re
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass

_RECORDS = re.compile(rb"\[\s*\{")
_LIST = re.compile(rb"\[\s*+(?:[-+\d.eE]++\s*+,\s*+){50}")
_BEGINS = re.compile(rb"\s*(?:\[\s*[\[{]|\{\s*\")")


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """Where the records of a document stand: `depth` brackets are open around each of them."""

    depth: int
    evidence: str = "records of JSON one after another: numbers of lines count the records"


class ColumnsDocumentError(LogReadError):
    """A document of JSON that holds channels side by side, or rows without names, not records."""


def find_document(text: bytes, name: str, *, whole: bool) -> Document | None:
    """How the first text of a file holds records of JSON, None where it is no document or has a record per line.

    Raises ColumnsDocumentError where it is a document without records.
    """
    if _BEGINS.match(text) is None or _per_line(text, whole=whole):
        return None
    depth, outside = _depths(text, 0, inside=False)
    starts = [m.start() for m in _RECORDS.finditer(text) if outside[m.start()]]
    if not starts or _hold_channels(text, starts):
        first = np.flatnonzero(outside & (depth == 0) & (np.frombuffer(text, np.uint8) == ord("}")))
        if len(first) and text[int(first[0]) + 1 :].lstrip()[:1] == b"{":
            return Document(depth=0)
        found = "a document of JSON without an array of records"
        todo = 'Export an array of records, such as [{"time_s": 0.01, "pressure_kpa": -57.3}, ...], or CSV.'
        raise ColumnsDocumentError(message(name, found, "a record per sample", todo))
    return Document(depth=int(depth[max(starts, key=lambda s: _extent(depth, s))]))


def _hold_channels(text: bytes, starts: list[int]) -> bool:
    """True where the records of the longest array are channels: few of them, each with a long list of numbers."""
    longest = max(starts, key=lambda start: text.find(b"]}", start) - start)
    first = _LIST.search(text, longest)
    return first is not None and b"}" not in text[longest : first.start()]


def _per_line(text: bytes, *, whole: bool) -> bool:
    """True where the first line is a record, or a row between brackets, and others follow."""
    line, end, rest = text.lstrip().partition(b"\n")
    if not end or (whole and not rest.strip()):
        return False
    try:
        json.loads(line.rstrip(b"\r, "))
    except (ValueError, RecursionError):
        return False
    return True


def _extent(depth: NDArray[np.int64], start: int) -> int:
    """Bytes from an opening bracket to where it is closed."""
    closed = np.flatnonzero(depth[start:] < depth[start])
    return int(closed[0]) if len(closed) else len(depth) - start


def _depths(text: bytes, before: int, *, inside: bool) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Brackets that are open at each byte, that byte counted, and whether it stands outside of strings, shape (n,)."""
    data = np.frombuffer(text.replace(b"\\\\", b"__").replace(b'\\"', b"__"), np.uint8)
    quote = data == ord('"')
    within = (np.cumsum(quote) + inside) % 2 == 1
    outside = ~within & ~quote
    opening = outside & ((data == ord("{")) | (data == ord("[")))
    closing = outside & ((data == ord("}")) | (data == ord("]")))
    return before + np.cumsum(opening.view(np.int8).astype(np.int64) - closing.view(np.int8)), outside


def record_lines(pieces: Iterator[bytes], document: Document) -> Iterator[bytes]:
    """The text with every record in a line of its own; of the same length, in pieces as they come."""
    depth, inside, kept = 0, False, b""
    for piece in pieces:
        text = kept + piece
        held = len(text) - len(text.rstrip(b"\\"))  # what a backslash stands before is not known yet
        text, kept = text[: len(text) - held], text[len(text) - held :]
        if not text:
            continue
        depths, outside = _depths(text, depth, inside=inside)
        data = np.frombuffer(text, np.uint8).copy()
        ends = (data == 10) | (data == 13)
        data[ends & (depths > document.depth)] = ord(" ")
        comma = outside & (data == ord(",")) & (depths <= document.depth)
        opens = outside & (data == ord("[")) & (depths == document.depth)
        closes = outside & ((data == ord("]")) | (data == ord("}"))) & (depths < document.depth)
        blank = outside & ((data == 32) | (data == 9)) & (depths == document.depth) & (document.depth > 0)
        data[comma | opens | closes | blank] = 10
        yield data.tobytes()
        depth = int(depths[-1])
        inside = bool((np.count_nonzero(~outside & (np.frombuffer(_plain(text), np.uint8) == ord('"'))) + inside) % 2)
    if kept:
        yield kept


def _plain(text: bytes) -> bytes:
    return text.replace(b"\\\\", b"__").replace(b'\\"', b"__")
