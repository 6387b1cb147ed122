"""Lines whose values are known by their names alone: in any order, some left out, or as points of a time series."""

import re
from collections import Counter
from collections.abc import Callable, Sequence

from tracekit.frozen import dataclass
from tracekit.options.evidence import EVIDENCE
from tracekit.read.cells import is_reading
from tracekit.read.sniff import split
from tracekit.read.words import hints

_CELL = re.compile(r"""["']?(?P<name>[^\W\d][^=:;,|"'\s]{0,40})["']?\s?(?P<sign>[=:])\s?(?P<value>.*)""")
_NAMES_ONE = re.compile(r"""(?<![^;\t|,"'\s])[^\W\d][^=:;,|"'\s]{0,40}["']?\s?[=:]""")
_ITEM = r'[^\s,="]+=(?:"[^"\n]*"|[^\s,="]+)'
_POINT = re.compile(
    rf"(?P<series>[^\s,=]+)(?P<tags>(?:,{_ITEM})*) (?P<fields>{_ITEM}(?:,{_ITEM})*) (?P<stamp>\d{{9,20}})"
)
_SERIES, _STAMP = "series", "time"
_OUT = ";"


@dataclass(frozen=True, slots=True, kw_only=True)
class Keyed:
    """The names of all values by place, empty where there is none, and what finds the values of a line."""

    names: tuple[str, ...]
    pattern: bytes
    evidence: str


def find_keyed(written: Sequence[str]) -> Keyed | None:
    """How every value of a line is known by its name; None where lines name no values, or all in one order.

    `written` are the lines that hold something, without blanks at their ends.
    """
    body = written[int(len(written) * EVIDENCE.skipped_share) :]
    if len(body) < EVIDENCE.fewest_lines or not any(sign in body[-1] for sign in "=:"):
        return None
    if _mostly(_POINT.fullmatch, body) and (points := _points(body)) is not None:
        return points
    if not _mostly(_NAMES_ONE.search, body):
        return None
    return next((k for d in (";", "\t", "|", ",", " ") if (k := _pairs(body, d)) is not None), None)


def _mostly(test: Callable[[str], re.Match[str] | None], body: Sequence[str]) -> bool:
    """Whether as many lines pass a test as share a form; that ends with the first line that is one too many."""
    left, fewest = len(body), EVIDENCE.alike_lines * len(body)
    for line in body:
        left -= test(line) is None
        if left < fewest:
            return False
    return True


def has_pressure(names: Sequence[str]) -> bool:
    """True where one of several names is that of a pressure, and not the only one that tells something."""
    known = [hints(n) for n in names if n]
    return any(h.weight("pressure") >= EVIDENCE.name_weight or h.pressure_unit is not None for h in known)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """The names that lines hold, those of the usual line first, and those of them that nearly every line holds."""

    names: tuple[str, ...] = ()
    always: frozenset[str] = frozenset()


def in_one_row(orders: Counter[tuple[str, ...]], lines: int) -> Shared:
    """The names that some lines hold, by how often each order of names comes; none where no name is in nearly all."""
    often = Counter(name for order, count in orders.items() for name in dict.fromkeys(order) for _ in range(count))
    usual = orders.most_common(1)[0][0] if orders else ()
    names = [n for n in dict.fromkeys((*usual, *often)) if often[n] >= min(EVIDENCE.fewest_lines, lines)]
    always = frozenset(n for n in names if often[n] >= EVIDENCE.alike_lines * lines)
    known = always and 2 <= len(names) <= EVIDENCE.most_named and has_pressure(names)
    return Shared(names=tuple(names), always=always) if known else Shared()


def _pairs(body: Sequence[str], delimiter: str) -> Keyed | None:
    """Fields "name=value" in several orders, behind as many fields without a name in every line."""
    rows = [[_CELL.fullmatch(c.strip()) for c in split(line, delimiter)] for line in body]
    leads = Counter(next((k for k, m in enumerate(row) if m is not None), len(row)) for row in rows)
    lead = leads.most_common(1)[0][0]
    named = [row[lead:] for row in rows if len(row) > lead and all(m is not None and _sound(m) for m in row[lead:])]
    orders = Counter(tuple(m["name"] for m in row if m is not None) for row in named)
    if len(named) < EVIDENCE.alike_lines * len(body) or any(len(set(o)) < len(o) for o in orders):
        return None
    shared = in_one_row(orders, len(named))
    if len(orders) < 2 or not shared.names:
        return None
    pattern = _pattern(shared, delimiter, lead)
    evidence = f"fields of every line name their value, in {len(orders)} orders: values stand by name"
    return Keyed(names=(*[""] * lead, *shared.names), pattern=pattern, evidence=evidence)


def _pattern(shared: Shared, delimiter: str, lead: int) -> bytes:
    """What finds the values of a line behind so many fields without a name; nothing for those that it lacks."""
    blank = delimiter == " "
    gap, pad = (r"[ \t]", "") if blank else (re.escape(delimiter), "[ ]*+" if delimiter == "\t" else r"[ \t]*+")
    # runs of blanks are taken whole, so that a line costs its length
    value = {" ": r"[^\s]*+", "\t": r"[^\t\n]*?"}.get(delimiter, rf"[^{gap}\s]*+(?:[ \t]++[^{gap}\s]++)*+")
    before = r"([^\s=]+)[ \t]++" if blank else rf"([^=\n{gap}]*){gap}{pad}"
    told = r"[ \t]?[=:][ \t]?"
    end = rf"{pad}(?:{gap}|\r?$)"
    found = [(n, rf"(?=(?:[^\n]*?{gap}{pad})??{_spelled(n)}{told}({value}){end})") for n in shared.names]
    ahead = "".join(pattern if n in shared.always else rf"(?:{pattern}|)" for n, pattern in found)
    next_one = r"[ \t]++" if blank else rf"{gap}{pad}"
    items = rf"(?:(?:{'|'.join(map(_spelled, shared.names))}){told}{value}{pad}(?:{next_one}|(?=\r?$)))+"
    return rf"(?m)^[ \t]*+{before * lead}{ahead}{items}\r?$".encode()


def _sound(cell: re.Match[str]) -> bool:
    return not cell["value"].strip() or is_reading(cell["value"].strip())


def _spelled(name: str) -> str:
    return rf"""["']?{re.escape(name)}["']?"""


def _points(body: Sequence[str]) -> Keyed | None:
    """Points of a time series: "series,tag=value field=value,field=value stamp"."""
    found = [m for m in map(_POINT.fullmatch, body) if m is not None]
    tags = list(dict.fromkeys(n for m in found for n in _named(m["tags"])))
    fields = list(dict.fromkeys(n for m in found for n in _named(m["fields"])))
    series = {m["series"] for m in found}
    if len(tags) + len(fields) > EVIDENCE.most_named or set(tags) & set(fields):
        return None
    value = r'("[^"\n]*"|[^\s,="]+?)'
    several = len(series) > 1
    ahead = [rf"(?:(?=[^\s,]+(?:,[^\s,]+)*?,{re.escape(n)}={value}[, ])|)" for n in tags]
    ahead += [rf"(?:(?=[^\s]+ (?:{_ITEM},)*?{re.escape(n)}={value}(?:(?<=\d)[iu])?[, ])|)" for n in fields]
    start = r"([^\s,=]+)" if several else r"[^\s,=]+"
    pattern = rf"(?m)^(?={start}){''.join(ahead)}[^\s]+ {_ITEM}(?:,{_ITEM})* (\d+)[ \t]*\r?$".encode()
    names = (*[_SERIES] * several, *tags, *fields, _STAMP)
    return Keyed(names=names, pattern=pattern, evidence="points of a time series: values stand by the names of fields")


def _named(items: str) -> list[str]:
    return [m[1] for m in re.finditer(r'(?:^|,)([^\s,="]+)=', items)]


def by_name(text: bytes, keyed: Keyed) -> bytes:
    """Lines of values between semicolons, with nothing where a line lacks one; a line of others stays as it is."""
    return re.sub(keyed.pattern, _OUT.encode().join(b"\\g<%d>" % (k + 1) for k in range(len(keyed.names))), text)
