"""What to ask about time: which column it is, its unit, and where it starts again."""

import numpy as np
from numpy.typing import NDArray

from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column
from tracekit.read.cyclelength import cycle_s, cycles_fit, unlikely_cycles
from tracekit.read.head import Head, Question, finite
from tracekit.read.timemultiples import doubtful_factors
from tracekit.signal.select import median
from tracekit.units import time_unit

_MOST_OFTEN, _SAYS_TIME = 0.05, 0.9


def which_time(head: Head) -> Question:
    """The question for time, with the step from row to row where a column starts again and again."""
    for column in head.columns:
        unit = column.hints.time_unit
        if column.kind == "number" and unit is not None and column.hints.weight("time") >= _SAYS_TIME:
            times, step = _restarts(column)
            if times:
                found = f'"{column.name}" starts again {times} times, and how long it was before each does not show'
                line = f'time = {{ column = "{column.name}", unit = "{unit.symbol}" }}   # each start ends a pause; '
                return Question(
                    found=found, line=f"{line}or interval_s = {step * unit.seconds:.6g} where there are none"
                )
    step_s = next((step for c in head.columns if (step := _interval_of(c)) > 0), 0.0)
    shown = f"{step_s:.6g}" if step_s > 0 else '"..."'
    line = f'time = {{ interval_s = {shown} }}   # seconds from row to row; or column = "..." and its unit'
    return Question(found=f"no column rises like time{_why(head)}", line=line)


def _interval_of(column: Column) -> float:
    """A number with a unit of time that is the same in all rows, perhaps the time from row to row [s]; else 0."""
    same = column.kind == "number" and len(column.values) > 1 and bool((column.values == column.values[0]).all())
    unit = column.hints.time_unit
    step_s = float(column.values[0]) * unit.seconds if same and unit is not None else 0.0
    return step_s if step_s <= EVIDENCE.longest_step_s else 0.0


def _why(head: Head) -> str:
    """Which column looks like time by its name or its stamps, and what is wrong with it; empty where none does."""
    for column in head.columns:
        timely = column.kind in ("stamp", "moment") or column.hints.weight("time") >= _SAYS_TIME
        empty = column.array.null_count / max(len(column.array), 1)
        if timely and column.kind != "empty" and empty > 1 - EVIDENCE.filled_share:
            return f': "{column.name}" is empty in {empty:.0%} of the first rows'
        if timely and column.kind == "number" and len(finite(column.values)) > 1:
            steps = np.diff(finite(column.values))
            if 1 < (few := len(np.unique(column.values))) < EVIDENCE.fewest_stamps:
                return f': "{column.name}" tells {few} different times in {len(column.values)} rows'
            if (steps == 0).all():
                return f': "{column.name}" is {column.values[0]:.10g} in all of the first rows'
            return f': "{column.name}" falls {int((steps < 0).sum())} times in {len(steps)} steps'
        if timely and column.kind == "text" and column.cells:
            return f': "{column.name}" holds "{column.cells[0].strip()}", which is read as no time'
    return ""


def _restarts(column: Column) -> tuple[int, float]:
    """How often values fall back to where they began, and the usual step; 0 times where any falls elsewhere."""
    known = finite(column.values)
    steps = np.diff(known)
    usual = float(np.median(steps)) if len(steps) else 0.0
    back = np.flatnonzero(steps < 0)
    if usual <= 0 or not 0 < len(back) <= _MOST_OFTEN * len(steps):
        return 0, 0.0
    return (len(back), usual) if (np.abs(known[back + 1] - known[0]) <= 2 * usual).all() else (0, 0.0)


def which_unit(name: str, head: Head, *, stamps: bool, whole: bool) -> Question:
    """The question for the unit of a column of time, of `stamps` or else of numbers, `whole` ones or not."""
    column = head.column(name)
    if column is not None and column.hints.sample_number:
        found = f'"{name}" counts samples, and the time between them does not show'
        line = f'time = {{ column = "{name}", interval_s = 0.01 }}   # seconds from row to row'
        return Question(found=found, line=line)
    if stamps:
        found = f'what follows the seconds in "{name}" may be a fraction or a count: ".5" is 500 ms or 5 ms'
        line = f'time = {{ column = "{name}", unit = "ms" }}   # a count; or "s", a fraction'
        return Question(found=found, line=line)
    step = abs(usual_step(np.unique(column.values))) if column is not None else 0.0
    found = f'the unit of time in "{name}" does not show (usually from row to row {step:.6g})'
    told = doubtful_factors(f"{name}; {column.unit}") if column is not None else ()
    if told and step > 0:
        return _by_factor(name, head, step, [step * unit.seconds for unit in told])
    if column is not None and column.hints.weight("time") and (said := column.hints.time_unit) is not None:
        found = (
            f'"{name}" says {said.symbol}, but then cycles would be far longer or shorter than those of any station '
            f"(usually from row to row {step:.6g})"
        )
    size_s = head.preamble.count_s
    if size_s is not None and whole and step > 0 and cycles_fit(head, step * size_s):
        line = f'time = {{ column = "{name}", interval_s = {step * size_s:.6g} }}   # seconds from row to row'
        return Question(found=f"{found}; a line above the header tells {size_s:.6g} s", line=line)
    units = ["ms", "s", "us", "ns", "min"] if whole else ["s", "ms", "us", "ns", "min"]
    units = ["d", "h", "min", "s"] if 0 < step < EVIDENCE.days_below_step else units
    if step > 0:  # those first with which cycles last as long as those of stations
        units = sorted(units, key=lambda symbol: unlikely_cycles(head, step * time_unit(symbol).seconds))
    last_s = [cycle_s(head, step * time_unit(symbol).seconds) for symbol in units]
    fits = [s is not None and cycles_fit(head, step * time_unit(u).seconds) for u, s in zip(units, last_s, strict=True)]
    if sum(fits) > 1:  # what tells them apart is known to whoever saw the station
        offers = [f"{u}: cycles of {s:.2g} s" if fit else u for u, s, fit in zip(units, last_s, fits, strict=True)]
        line = f'time = {{ column = "{name}", unit = "{units[0]}" }}   # {", or ".join(offers)}'
    else:
        line = f'time = {{ column = "{name}", unit = "{units[0]}" }}   # or {", ".join(units[1:])}'
    other = "; or interval_s = 0.01 to give the seconds from row to row" * (step >= EVIDENCE.days_below_step)
    return Question(found=found, line=line + other)


def _by_factor(name: str, head: Head, step: float, intervals_s: list[float]) -> Question:
    """The question what a factor beside the unit means; `intervals_s` are those that it may give, likelier ones first.

    Intervals with which no station would cycle are not offered where others are.
    """
    likely = [s for s in intervals_s if cycles_fit(head, s)] or intervals_s
    found = f'what the factor beside the unit of "{name}" means is not sure (usually from row to row {step:.6g})'
    line = f'time = {{ column = "{name}", interval_s = {likely[0]:.6g} }}'
    others = "".join(f"; or interval_s = {s:.6g}" for s in likely[1:])
    return Question(found=found, line=f"{line}   # seconds from row to row{others}")


def unreadable(head: Head, name: str) -> Question:
    """The question where the station file names a column that holds no times."""
    names = ", ".join(c.name for c in head.columns)
    absent = head.column(name) is None
    found = f'no column "{name}" (there are: {names})' if absent else f'the column "{name}" holds no times'
    return Question(found=found, line='time = "..."')


def usual_step(values: NDArray[np.float64]) -> float:
    """Median step from row to row, 0 for fewer than two rows."""
    with np.errstate(over="ignore"):  # a number beyond measure in one cell
        steps = np.diff(finite(values))
    return median(steps) if len(steps) else 0.0
