"""Rows that are readings of several channels, which numbers name: none of them is a pressure by its name."""

from collections.abc import Sequence

import numpy as np

from tracekit.errors import LogReadError, message
from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column
from tracekit.read.head import Head, finite


def check_numbered(head: Head) -> None:
    """Raise LogReadError where numbers in a column part another one into readings and levels of 0 and 1."""
    numbers = [c for c in head.columns if c.kind == "number" and len(c.values) == head.rows]
    values = [c for c in numbers if c.levels > EVIDENCE.signal_levels and not c.hints.weight("time")]
    for column in numbers:
        few = column.profile.whole and EVIDENCE.signal_levels <= column.levels <= EVIDENCE.most_station_numbers
        if not few:
            continue
        for value in values:
            if value is not column and (signals := _signals(column, value)):
                raise _refused(head.name, column, signals)


def _signals(column: Column, value: Column) -> list[str]:
    """The numbers whose readings are levels of 0 and 1 that change, where those of others are more; else empty."""
    known = np.isfinite(column.values) & np.isfinite(value.values)
    every = bool(known.all())
    numbers, readings = (c.values if every else c.values[known] for c in (column, value))
    binary = (readings == 0.0) | (readings == 1.0)
    signals = [n for n in np.unique(numbers[binary]).tolist() if binary[numbers == n].all()]
    signals = [n for n in signals if np.ptp(readings[numbers == n]) == 1.0]
    if not signals:
        return []
    again = np.diff(numbers, prepend=np.nan) == 0
    if any(float(again[numbers == n].mean()) > EVIDENCE.numbered_stays for n in signals):  # a state, which lasts
        return []
    levels = (len(np.unique(readings[numbers == n])) for n in np.unique(numbers).tolist())
    return [f"{n:g}" for n in signals] if any(count > EVIDENCE.most_numbered for count in levels) else []


def _refused(name: str, column: Column, signals: Sequence[str]) -> LogReadError:
    first = np.unique(finite(column.values)).tolist()
    others = [f"{n:g}" for n in first if f"{n:g}" not in signals]
    what = (
        f'rows that are readings of several channels, which the numbers in "{column.name}" name: levels under '
        f"{', '.join(signals)}, readings under {', '.join(others)}"
    )
    todo = (
        "Write a line for each number above the rows, as in the list of channels of the recorder, or the names in its "
        f"place:\n    # {others[0]} = Pressure [kPa]\n    # {signals[0]} = Vacuum valve"
    )
    return LogReadError(message(name, what, "names of channels", todo))
