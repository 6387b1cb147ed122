"""Logs whose rows are written otherwise from some row on, without a word of it: two exports that were put together."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column
from tracekit.read.head import Head

OTHER_UNIT = "pressures deeper than any, each another one, taken as missing"
"""Reason of readings that are too deep and too many different ones for marks of no reading."""

_FACTORS = tuple(f for n in (60.0, 1e3, 3.6e3, 6e4, 1e6, 1e9) for f in (n, 1.0 / n))
"""Of units of time: minutes, hours, ms, us and ns among each other and to seconds."""
_LEAST_FACTOR = 30.0
_TODO = "Part the file there and read each part by itself, or export it anew."


def turned_at(kpa: NDArray[np.float64]) -> float | None:
    """The share of a log's readings after which vacuum is written as over-pressure; None where it never is.

    kpa  readings of one station in the order of time, shape (n,) [kPa gauge]
    Before there is vacuum, after it there is none, but for much of the time more over-pressure than a blow-off makes.
    """
    over = kpa > EVIDENCE.turned_kpa
    if not over.any():
        return None
    first = int(over.argmax())
    deep = kpa < -EVIDENCE.turned_kpa
    told = deep[:first].mean() > EVIDENCE.turned_vacuum if first else False
    goes_on = over[first:].mean() > EVIDENCE.turned_share and deep[first:].mean() < EVIDENCE.turned_rest
    return first / len(kpa) if told and goes_on else None


def refused_as_turned(source: str, share: float, end_s: float) -> LogReadError:
    """What to tell of such a log."""
    found = (
        f"vacuum that is written as pressure above ambient from about {share * end_s:.1f} s on, "
        "in another sense or unit than before"
    )
    return LogReadError(message(source, found, "one sense and unit throughout", _TODO))


def refused_as_other_unit(source: str, count: int, rows: int, lines: Sequence[int]) -> LogReadError:
    """What to tell of a log in which many readings are deeper than any vacuum."""
    found = (
        f"{count} of {rows} rows with pressures deeper than any, each another one (first in lines "
        f"{', '.join(map(str, lines))}): rows in another unit than the others"
    )
    return LogReadError(message(source, found, "one unit throughout", _TODO))


def refused_as_glued(source: str, found: str) -> LogReadError:
    """What to tell of a log whose signals mean something else from some time on."""
    return LogReadError(message(source, found, "one order of columns, one sense and one unit throughout", _TODO))


def check_exchanged(head: Head) -> None:
    """Raise LogReadError where a column holds levels and another readings up to a row, and the reverse after it."""
    kinds = [c for c in head.columns if c.kind == "number" and len(c.values) == head.rows]
    turns = {c.name: _turn(c) for c in kinds}
    for reading in (c for c in kinds if turns[c.name][1] > 0):
        for signal in (c for c in kinds if turns[c.name][0] > 0):
            if abs(turns[signal.name][0] - turns[reading.name][1]) <= EVIDENCE.fewest_lines:
                row = turns[signal.name][0]
                found = (
                    f'"{signal.name}" and "{reading.name}" exchanged from row {row + 1} on: levels up to there in the '
                    "one and after it in the other"
                )
                raise LogReadError(message(head.name, found, "columns in one order throughout", _TODO))


def check_time_unit(head: Head) -> None:
    """Raise LogReadError where a column goes on in another unit of time from some row on, as in seconds and then ms."""
    for column in (c for c in head.columns if c.kind == "number" and len(c.values) == head.rows):
        row = _other_steps(column.values)
        if row:
            told = f"{column.values[row - 1]:.12g} and then {column.values[row]:.12g}"
            found = f'"{column.name}" goes on in another unit of time from row {row + 1} on: {told}'
            raise LogReadError(message(head.name, found, "one unit of time throughout", _TODO))


@np.errstate(divide="ignore", invalid="ignore", over="ignore")  # any number may stand in a file
def _other_steps(values: NDArray[np.float64]) -> int:
    """The row from which on numbers, and the steps between them, are larger or smaller by a factor of time; else 0."""
    if len(values) < 2 * EVIDENCE.fewest_lines:
        return 0
    ratio = values[1:] / values[:-1]
    far = np.flatnonzero((ratio > _LEAST_FACTOR) | ((ratio > 0.0) & (ratio < 1.0 / _LEAST_FACTOR)))
    for row in (far + 1).tolist() if len(far) <= EVIDENCE.fewest_lines else ():
        before, after = np.diff(values[:row]), np.diff(values[row:])
        if min(len(before), len(after)) < EVIDENCE.fewest_lines or min(before.min(), after.min()) < 0.0:
            continue
        steps = float(np.median(before)), float(np.median(after))
        for factor in _FACTORS:
            goes_on = abs(values[row] - values[row - 1] * factor) < EVIDENCE.gone_on_steps * steps[1]
            if goes_on and steps[0] > 0.0 and abs(steps[1] / (steps[0] * factor) - 1.0) < EVIDENCE.same_steps:
                return int(row)
    return 0


def _turn(column: Column) -> tuple[int, int]:
    """The row from which a column of levels holds readings, and from which one of readings holds levels; else 0."""
    level = (column.values == 0.0) | (column.values == 1.0) | ~np.isfinite(column.values)
    share = float(level.mean()) if len(level) else 0.0
    if not EVIDENCE.near_start < share < 1.0 - EVIDENCE.near_start / 2:
        return 0, 0
    first, last = int(np.argmin(level)), len(level) - int(np.argmin(level[::-1]))
    opens = first > EVIDENCE.near_start * len(level) and _varies(column.values[first:])
    ends = last < len(level) - EVIDENCE.near_start / 2 * len(level) and _varies(column.values[:last])
    return first if opens else 0, last if ends else 0


def _varies(values: NDArray[np.float64]) -> bool:
    """True for readings: most of them are no levels, and they are many different ones."""
    some = values[: EVIDENCE.changed_rows]
    return (
        len(np.unique(some)) > EVIDENCE.most_numbered
        and float(((some != 0.0) & (some != 1.0)).mean()) > EVIDENCE.filled_share
    )
