"""Lines of events between the samples, "09:14:07.155 >>> Suction valve on": a column of their own beside the others."""

import itertools
import re
from collections import Counter
from collections.abc import Sequence

import numpy as np

from tracekit.frozen import dataclass
from tracekit.options.evidence import EVIDENCE
from tracekit.read.cells import cell_kind
from tracekit.read.digitals import ROLES
from tracekit.read.eventcells import parts_of
from tracekit.read.sniff import DELIMITERS, split
from tracekit.read.words import hints

_BEFORE = (
    rb"(?>(?:[^\w\n\x80-\xff]|\xc2[\x80-\xbf]|\xe2[\x80-\xbf]{2}|(?i:event|evt|info|note|msg|log|di|do)\b)*)"
)  # no way back: signs may fill a line
_VALUED = ("number", "time", "missing", "level")
_PLAIN = re.compile(r"[+-]?\d{1,20}(?:\.\d{1,20})?")
_IS_LETTER, _IS_OF_WORD = (
    np.array([re.match(sign, bytes([byte])) is not None for byte in range(256)])
    for sign in (rb"[A-Za-z\xc3-\xff]", rb"[\w\x80-\xff]")
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Between:
    """How lines of events are told from samples of `fields` cells: the first `lead` cells of both are the time.

    event  finds the stamp and the text of a line of events
    mark   parts the cells, and does so in the lines that come out, but for blanks: tabs then
    """

    fields: int
    lead: int
    mark: str
    event: bytes
    evidence: str


def find_between(body: Sequence[str]) -> Between | None:
    """How events stand between samples, None where none do or no signal of a station is among them.

    `body` are the lines that hold something, without blanks at their ends.
    """
    if _lines_of_words(body) < EVIDENCE.fewest_lines:
        return None
    for mark in DELIMITERS[::-1] if "\t" not in body[-1] else DELIMITERS[:1]:
        fields = _fields_of_samples(body, mark)
        if fields:
            return _of_rows(body, fields, mark)
    return None


def _lines_of_words(body: Sequence[str]) -> int:
    """How many lines hold a word behind their beginning: what begins with a time and goes on with words does."""
    data = np.frombuffer(("\n" + "\n".join(body)).encode(), np.uint8)
    begun = _IS_LETTER[data[1:]] & ~_IS_OF_WORD[data[:-1]] & (data[:-1] != 10)
    return int(np.count_nonzero(np.bitwise_or.reduceat(begun, np.flatnonzero(data[:-1] == 10)))) if len(body) else 0


def _fields_of_samples(body: Sequence[str], mark: str) -> int:
    """Cells of the lines that hold nothing but values, where enough lines hold as many; else 0."""
    fewest = EVIDENCE.sample_lines * len(body)
    rows = [split(line, mark) for line in body]
    for size, count in Counter(map(len, rows)).items():
        valued, left = 0, count if size > 1 else 0
        for row in rows if left >= fewest else ():
            if len(row) == size:
                fits = all(_PLAIN.fullmatch(c) or cell_kind(c) in _VALUED for c in row)
                valued, left = valued + fits, left - (not fits)
                if valued >= fewest or left < fewest:
                    break
        if valued >= fewest:
            return size
    return 0


def _of_rows(body: Sequence[str], fields: int, mark: str) -> Between | None:
    """Events between rows of so many cells, behind as many cells of time in each."""
    for lead in range(min(fields - 1, 2), 0, -1):
        pattern = _event_pattern(fields, lead, mark)
        found = list(re.finditer(pattern, "\n".join(body).encode()))
        texts = [m[2].decode("utf-8", "replace") for m in found]
        if not _tell_signal(texts, mark) or (mark != " " and _stand_apart(body, fields, mark, found)):
            continue
        if mark != " " and _stand_together(body, pattern):
            texts = [text for text in texts if mark not in text]
        if len(texts) >= EVIDENCE.fewest_lines and _tell_signal(texts, mark):
            evidence = "lines of events between the samples stand in a column of their own"
            return Between(fields=fields, lead=lead, mark=mark, event=pattern, evidence=evidence)
    return None


def _tell_signal(texts: Sequence[str], mark: str) -> bool:
    """Whether events switch a signal of a station on and off, or all of them switch some signal, whatever its name."""
    parts = {text: parts_of(text.replace(mark, " ")) for text in set(texts)}
    told = {event for events in parts.values() for event in events}
    both = {name for name, level in told if level and (name, 0) in told}
    if any(hints(n).weight(role) >= EVIDENCE.name_weight for n in both for role in ROLES):
        return True
    switching = {t for t, events in parts.items() if events and both.issuperset(name for name, _ in events)}
    return len(both) > 0 and sum(text in switching for text in texts) >= EVIDENCE.alike_lines * len(texts)


def _stand_together(body: Sequence[str], pattern: bytes) -> bool:
    """Whether events follow events, not samples: cells of them then are a table of their own."""
    told = [re.match(pattern, line.encode()) is not None for line in body]
    begun = sum(now and not before for before, now in itertools.pairwise(told))
    return begun < EVIDENCE.events_apart * sum(told)


def _stand_apart(body: Sequence[str], fields: int, mark: str, events: Sequence[re.Match[bytes]]) -> bool:
    """Whether the events stand in a column of their own as it is, one that is empty in the samples."""
    places = Counter(m[0][: m.start(2) - m.start()].count(mark.encode()) for m in events)
    place = places.most_common(1)[0][0] if places else fields
    rows = [split(line, mark) for line in body]
    samples = [row for row in rows if len(row) == fields and cell_kind(row[0]) in _VALUED]
    filled = sum(bool(row[place].strip()) for row in samples) if place < fields else len(samples)
    return filled < EVIDENCE.sample_lines * len(samples)


def _event_pattern(fields: int, lead: int, mark: str) -> bytes:
    """What finds lines that begin with a time and go on with words, not with the cells of a sample."""
    gap = rb"[ \t]" if mark == " " else re.escape(mark).encode()
    cells, blank = fields - lead, mark == " "
    # every run is taken whole, and no two parts of the expression take the same signs: a line costs its length
    number, quote = rb"[+-]?\d[\d.]*+" if mark == "," else rb"[+-]?\d[\d.,]*+", b"" if blank else rb"\"?+"
    no_sample = (
        rb"(?![^\s" + gap.strip(rb"[]") + rb"]++[ \t]*+\r?$)"
        if cells == 1
        else rb"(?!(?:[^\n]*?" + gap + (b"" if blank else rb"[ \t]*+") + rb")??"
        + quote + number + quote + (rb"(?:[ \t]" if blank else rb"[ \t]*+(?:" + gap) + rb"|\r?$))"
    )  # fmt: skip
    one = rb"[+-]?\d[\d.:/TZ+-]*" if mark == "," else rb"[+-]?\d[\d.,:/TZ+-]*"
    zone = rb"(?:[ ](?:[A-Za-z]{1,5}|[+-]\d{2}:?\d{2})(?=\"?+[ \t]*+" + gap + rb"))?"
    one = one if blank else quote + one + rb"(?:[ ]\d[\d.:,]*+)?" + zone + quote
    stamp = one + ((rb"[ \t]++" if blank else rb"[ \t]*+" + gap + rb"[ \t]*+") + one) * (lead - 1)
    behind = rb"[ \t]++" if blank else rb"(?:" + gap + rb"|[ \t])++"
    words = rb"([A-Za-z\x80-\xff][^\n]*?[\w\x80-\xff])"
    tail = rb"[\])}>.!\" \t" + (b"" if blank else re.escape(mark).encode()) + rb"]*+\r?$"
    return rb"(?m)^[ \t]*+(" + stamp + rb")" + behind + no_sample + _BEFORE + words + tail


def with_events_beside(text: bytes, between: Between) -> bytes:
    """Lines of one cell more: a sample has nothing there, an event its text and nothing in the cells of readings."""
    mark = b"\t" if between.mark == " " else between.mark.encode()
    none = mark * (between.fields - between.lead)

    def beside(found: re.Match[bytes]) -> bytes:
        stamp = re.sub(rb"[ \t]+", b"\t", found[1]) if between.mark == " " else found[1]
        return b"\x06" + stamp + none + mark + found[2].replace(mark, b" ")

    text = re.sub(between.event, beside, text)
    if between.mark == " ":
        text = re.sub(rb"(?m)^[ \t]*(?:#[ \t]*)?", b"", text)
        text = re.sub(rb"(?m)^(?!\x06)[^\n]+", lambda m: re.sub(rb"[ \t]+", b"\t", m[0].strip()), text)
    some = re.escape(mark)
    cell = rb"[^\r\n" + some + rb"]*"
    cell = rb"(?:\"[^\"\n]*+\"|[^\r\n" + some + rb"])*+" if b'"' in text else cell  # marks stand inside of quotes too
    wide = rb"(?m)^(?!\x06)(" + cell + rb"(?:" + some + cell + rb"){%d})(?=\r?$)"
    text = re.sub(wide % (between.fields - 1), rb"\1" + mark.replace(b"\\", b"\\\\"), text)
    return text.replace(b"\x06", b"")
