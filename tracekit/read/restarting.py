"""What to ask where no column goes on as time does: a time that starts again is told as such."""

import numpy as np

from tracekit.read.columns import Column
from tracekit.read.head import Head, Question, finite

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
    line = 'time = { interval_s = "..." }   # seconds from row to row; or column = "..." and its unit'
    return Question(found="no column rises like time", line=line)


def _restarts(column: Column) -> tuple[int, float]:
    """How often values fall back to where they began, and the usual step; 0 times where any falls elsewhere."""
    known = finite(column.values)
    steps = np.diff(known)
    usual = float(np.median(steps)) if len(steps) else 0.0
    back = np.flatnonzero(steps < 0)
    if usual <= 0 or not 0 < len(back) <= _MOST_OFTEN * len(steps):
        return 0, 0.0
    return (len(back), usual) if (np.abs(known[back + 1] - known[0]) <= 2 * usual).all() else (0, 0.0)
