"""The length of pick cycles as evidence for units and intervals of time."""

from weakref import ref

import numpy as np
from numpy.typing import NDArray

from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column
from tracekit.read.head import Head, cycle_rows
from tracekit.units import TIME_UNITS

_BEYOND = 10.0
"""A written unit is doubted only where cycles are so much longer than expected, or so much shorter at a rate of samples
that no logger of stations has: noise also swings, and fast."""
_FASTEST_S = 1e-4
_PERIOD_S = (0.4, 200.0)
"""Pick cycles shorter or longer than this are not expected (common practice, no source); less than a factor of 1000."""


def cycles_fit(head: Head, interval_s: float) -> bool:
    """False where an interval from row to row would give cycles of a length that no station has."""
    longest_s = _longest(head, interval_s)
    return longest_s is None or _PERIOD_S[0] <= longest_s <= _PERIOD_S[1]


def cycle_s(head: Head, interval_s: float) -> float | None:
    """The length of cycles that an interval from row to row would give, None where nothing cycles [s]."""
    return _longest(head, interval_s)


def unlikely_cycles(head: Head, interval_s: float) -> tuple[bool, float]:
    """An order of intervals: those that give cycles as long as those of stations first, the more usual ones before."""
    longest_s = _longest(head, interval_s)
    if longest_s is None or longest_s <= 0 or not cycles_fit(head, interval_s):
        return not cycles_fit(head, interval_s), 0.0
    return False, abs(float(np.log(longest_s / EVIDENCE.usual_cycle_s)))


def may_be_interval(head: Head, interval_s: float) -> bool:
    """False where an interval from row to row cannot be meant, whatever unit is written beside it."""
    longest_s = _longest(head, interval_s)
    if longest_s is None or longest_s > _PERIOD_S[1] * _BEYOND:
        return longest_s is None
    return longest_s >= _PERIOD_S[0] / _BEYOND or interval_s >= _FASTEST_S


def _longest(head: Head, interval_s: float) -> float | None:
    """The longest cycle of any column [s], None where none cycles."""
    lengths = [_rows_of(c) for c in head.columns if c.kind == "number" and c.levels > 8]
    return max((interval_s * n for n in lengths if n is not None), default=None)


def unit_by_cycles(head: Head, column: Column, step: float) -> tuple[float, str] | None:
    """Size of a count of a column [s] and why, by the length of cycles; None where several units fit, or none.

    step  usual counts from row to row
    """
    lengths = [_rows_of(c) for c in head.columns if c is not column and c.kind == "number" and c.levels > 8]
    periods = [step * n for n in lengths if n is not None]
    fits = [u for u in TIME_UNITS[:4] if periods and _PERIOD_S[0] <= max(periods) * u.seconds <= _PERIOD_S[1]]
    if len(fits) != 1:
        return None
    seconds = max(periods) * fits[0].seconds
    return fits[0].seconds, f"cycles then last {seconds:.2g} s; no other unit gives a length between 0.4 and 200 s"


_MET: dict[int, tuple["ref[NDArray[np.float64]]", float | None]] = {}
"""Rows of a cycle in values met before: every unit that is weighed asks for those of the same columns."""
_MOST_MET = 64


def _rows_of(column: Column) -> float | None:
    """Median rows of a cycle of a column, None where it does not cycle."""
    known = _MET.get(id(column.values))
    if known is not None and known[0]() is column.values:
        return known[1]
    if len(_MET) >= _MOST_MET:
        _MET.clear()
    found = cycle_rows(column.values)
    _MET[id(column.values)] = (ref(column.values), found)
    return found
