"""Columns of context: losses that stand with one nest or part type, and how such a column was read."""

import re
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.model.result import StationResult
from tracekit.model.tables import Table
from tracekit.model.trace import Assumption
from tracekit.options.report import ReportOptions
from tracekit.report.some_picks import two_rates
from tracekit.report.text import clean
from tracekit.report.view import Mask, column_of
from tracekit.report.words import count

_OPTIONS = ReportOptions()
_PREFIX, _ASIDE = "context_", "left aside"
_NAME = re.compile(r'"([^"]*)"')
_USED = "Context: the station file names it, so cycles are grouped by it"
_LOST = {"missed": "misses", "dropped": "drops"}


def lost_together(result: StationResult, options: ReportOptions = _OPTIONS) -> tuple[str, ...]:
    """As in "8 of 8 misses at nest N2, none at the others"; one per kind of loss that stands with one value."""
    cycles = result.data.cycles
    asked = [(cycles.where("outcome", kind), words) for kind, words in _LOST.items()]
    fast = two_rates(result)
    if fast is not None and not column_of(
        result.leak.groups[0]
    ):  # where a column parts the groups the leak is told by it
        asked.append((fast, "leaking cycles"))
    return tuple(line for lost, words in asked if (line := _with_one_value(cycles, lost, words, options)))


def _with_one_value(cycles: Table, lost: Mask, words: str, options: ReportOptions) -> str:
    """The value of a context column that has nearly all lost cycles beyond chance [Fisher's exact test]; else empty.

    The p value is multiplied by the values tried, for one of many stands out sooner.
    """
    columns = [c.name for c in cycles.columns if c.name.startswith(_PREFIX) and c.kind == "category"]
    tried = sum(len(cycles.categories[name]) for name in columns)
    best, said = options.group_p, ""
    for name in columns:
        codes, known = cycles.codes(name), cycles.categories[name]
        if int((lost & (codes >= 0)).sum()) < options.group_least:
            continue
        value = int(np.bincount(codes[lost & (codes >= 0)], minlength=len(known)).argmax())
        own = np.asarray(codes == value, np.bool_)
        inside, outside = int((lost & own).sum()), int((lost & ~own).sum())
        p = tried * _chance_of_so_many(inside, int(own.sum()), inside + outside, len(codes))
        if inside >= options.group_share * (inside + outside) and p < best:
            best = p
            column = clean(name.removeprefix(_PREFIX), 20).replace("_", " ")
            where = f"{column} {clean(known[value], 20)}, {'none' if outside == 0 else count(outside)} at the others"
            said = f"{count(inside)} of {count(inside + outside)} {words} at {where}"
    return said


def _chance_of_so_many(inside: int, own: int, lost: int, total: int) -> float:
    """One-sided p value of Fisher's exact test: so many lost cycles or more among `own` of `total` by chance alone."""
    log_factorial = np.concatenate(([0.0], np.cumsum(np.log(np.arange(1, total + 1, dtype=np.float64)))))

    def log_ways(n: int, k: NDArray[np.int64]) -> NDArray[np.float64]:
        return np.asarray(log_factorial[n] - log_factorial[k] - log_factorial[n - k], np.float64)

    more = np.arange(inside, min(own, lost) + 1, dtype=np.int64)
    more = more[lost - more <= total - own]
    log_p = log_ways(own, more) + log_ways(total - own, lost - more) - log_ways(total, np.array([lost]))
    return min(1.0, float(np.exp(log_p).sum()))


def read_as(assumptions: tuple[Assumption, ...], cycles: Table) -> tuple[Assumption, ...]:
    """How a file was read, where a column named as left aside is told as the context that it was used as.

    What is left aside indeed comes with the line that makes it a context.
    """
    used = {c.name.removeprefix(_PREFIX) for c in cycles.columns if c.name.startswith(_PREFIX)}
    told: list[Assumption] = []
    for one in assumptions:
        names = _NAME.findall(one.value) if one.what == _ASIDE else []
        if not names:
            told.append(one)
            continue
        shown, aside = [n for n in names if n in used], [n for n in names if n not in used]
        if shown:
            told.append(replace(one, what="context", value=_listed(shown), evidence=_USED, confidence=1.0))
        if aside:
            line = f"to group cycles by it, write context = [{_listed([*sorted(used), *aside[:1]])}] under [channels]"
            told.append(replace(one, value=_listed(aside), evidence=f"{one.evidence}; {line}"))
    return tuple(told)


def _listed(names: list[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)
