"""Figures in sentences of the analysis are rounded already: on a page each is given the exact value behind it.

Without that a pressure would be rounded twice in another unit, and one quantity read 2.56 psi here and 2.55 psi there.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace

from tracekit.model.finding import Finding
from tracekit.report.words import Num, html, is_pressure, number

_MARK = re.compile(
    r'<(?P<tag>span|tspan) class="q" data-u="(?P<unit>[^"]+)" data-v="(?P<value>[^"]+)"'
    r'(?P<facts>(?: data-[lhs]="[^"]*")*)(?P<bound> data-b="[^"]*")?(?P<bare> data-n)?(?P<unsaid> data-i)?'
    r"(?P<told> data-t)?>[^<]*</(?P=tag)>"
)
_STEPS_KPA = (0.01, 0.1, 1.0)
_FACT = re.compile(r' data-([lhs])="([^"]*)"')


def settled(page: str, unit: str, known: Iterable[Num] = ()) -> str:
    """The page with every pressure read from a sentence replaced by the exact one that reads the same in kPa.

    Exact ones are those that the page itself marks, the ones with an interval before the others, then `known`. A figure
    that none explains keeps its own digits.
    """
    marks = list(_MARK.finditer(page))
    if not any(m["told"] for m in marks):
        return page
    exact = {**exact_of(known), **exact_of(_num(m) for m in marks if not m["told"])}
    return _MARK.sub(lambda m: _replaced(m, exact, unit) if m["told"] else m[0], page)


def exact_of(known: Iterable[Num]) -> dict[tuple[str, str], Num]:
    """Exact figures by what they read in kPa and their unit; of those that read the same, the one with an interval."""
    found: dict[tuple[str, str], Num] = {}
    nums = list(known)
    for num in (*(n for n in nums if n.lower is not None), *(n for n in nums if n.lower is None)):
        found.setdefault(_reads(num), num)
    return found


def exactly(told: Num, exact: Mapping[tuple[str, str], Num]) -> Num:
    """The figure of a sentence with the exact value behind it; itself where none explains it."""
    found = exact.get(_reads(told))
    if found is None or told.lower is not None:
        return told
    value = -abs(found.value) if told.value < 0.0 else abs(found.value)
    turned = found.value * value < 0.0 and found.lower is not None
    low, high = (found.upper, found.lower) if turned else (found.lower, found.upper)
    if turned and low is not None and high is not None:
        low, high = -low, -high
    ends = replace(found, value=value, lower=low, upper=high)
    return replace(ends, bare=told.bare, bound="", unsaid=low is not None, told=True)


def facts_of(findings: Iterable[Finding]) -> list[Num]:
    """Every pressure that a finding rests on, and its distance from what it is held against."""
    found: list[Num] = []
    for fact in (e for finding in findings for e in finding.evidence if is_pressure(e.unit)):
        apart = fact.value - fact.reference if fact.reference is not None else fact.value
        values = (fact.value, apart, fact.reference or 0.0)
        found += [Num(value=v, unit=fact.unit, step=s) for v in values for s in _STEPS_KPA]
    return found


def _reads(num: Num) -> tuple[str, str]:
    """What a number reads in kPa without sign, bound and interval, and its unit."""
    return number(replace(num, value=abs(num.value), bare=True, bound="", unsaid=True)), num.unit


def _num(mark: re.Match[str]) -> Num:
    facts = {name: float(value) for name, value in _FACT.findall(mark["facts"])}
    return Num(
        value=float(mark["value"]), unit=mark["unit"], lower=facts.get("l"), upper=facts.get("h"), step=facts.get("s"),
        bare=mark["bare"] is not None, unsaid=mark["unsaid"] is not None,
    )  # fmt: skip


def _replaced(mark: re.Match[str], exact: Mapping[tuple[str, str], Num], unit: str) -> str:
    told = _num(mark)
    own = exactly(told, exact)
    return mark[0] if own is told else html((own,), unit, mark["tag"])
