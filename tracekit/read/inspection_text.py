"""An inspection for the terminal: what was understood, a small picture, what is open."""

import textwrap
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.model.answers import NARROW, answer_lines
from tracekit.model.trace import PRESENT_BIT, RELEASE_BIT, SUPPLY_BIT, LogFacts
from tracekit.read.inspection import Inspection, Picture

WIDTH = 80
_ROWS, _LABEL = 8, 9
_LOOK_SHARE = 0.05
_SIGNALS = (("supply", SUPPLY_BIT), ("release", RELEASE_BIT), ("present", PRESENT_BIT))


def inspection_text(inspection: Inspection, can_show: Sequence[str] = ()) -> str:
    """An inspection as text of 80 columns; `can_show` are lines on what the log can and cannot show."""
    lines = [printable(inspection.source), ""]
    if inspection.facts is not None:
        lines += [*_facts_lines(inspection.facts), ""]
    lines += ["What was understood (how sure, and why):"]
    for a in inspection.assumptions:
        text = f"{a.what}: {a.value} ({a.confidence:.0%}; {a.evidence})"
        lines += textwrap.wrap(printable(text), WIDTH, initial_indent="  ", subsequent_indent="      ")
    if inspection.questions:
        lines += ["", "What has to be answered in the station file, under [channels], with one of the lines:"]
        for found, choices in answer_lines(inspection.questions):
            lines += textwrap.wrap(printable(found), WIDTH, initial_indent="  ", subsequent_indent="    ")
            lines += [part for means, line in choices for part in _choice(means, line)]
    for picture in inspection.pictures[:3]:
        lines += ["", *draw(picture)]
    if can_show:
        lines += ["", "What this log can and cannot show:"]
        for text in can_show:
            lines += textwrap.wrap(printable(text), WIDTH, initial_indent="  ", subsequent_indent="      ")
    return "\n".join(lines) + "\n"


def _choice(means: str, line: str) -> list[str]:
    """What an answer would mean, where that shows, and its line."""
    return [*([f"    {printable(means.replace(NARROW, ' '))}"] if means else []), f"      {printable(line)}"]


def printable(text: str) -> str:
    """Text of a file without anything that a terminal would obey."""
    return "".join(c if c.isprintable() else "?" for c in text)


def _facts_lines(facts: LogFacts) -> list[str]:
    lines = [
        f"{facts.rows_read} rows read, {facts.rows_used} used, {facts.rows_rejected} rejected",
        f"{facts.duration_s:.4g} s long, a sample every {facts.interval_median_s:.4g} s",
        f"95 % of the intervals within {facts.interval_p95_s:.4g} s, the longest {facts.interval_max_s:.4g} s",
        f"smallest step of the pressure {facts.quantisation_kpa:.3g} kPa",
        f"{len(facts.gaps)} gaps, {len(facts.clock_steps)} steps of the clock, {facts.duplicates} duplicates",
    ]
    for r in facts.rejections:
        where = ", ".join(map(str, r.first_lines))
        lines.append(f"  rejected {r.rows}: {r.reason} (first in lines {where})")
    lines += [f"  note: {w}" for w in facts.warnings]
    return [part for line in lines for part in textwrap.wrap(printable(line), WIDTH, subsequent_indent="      ")]


def draw(picture: Picture) -> list[str]:
    """A picture of a station's first seconds in characters: pressure above, digitals below."""
    columns = WIDTH - _LABEL
    known = np.isfinite(picture.pressure_kpa)
    if not known.any():
        return [f"{printable(picture.station)}: no pressure in the first seconds"]
    time_s, kpa, digital = picture.time_s[known], picture.pressure_kpa[known], picture.digital[known]
    length = max(float(time_s[-1] - time_s[0]), 1e-9)
    place = np.minimum(((time_s - time_s[0]) / length * columns).astype(np.int64), columns - 1)
    low, high = float(kpa.min()), float(kpa.max())
    top = _per_column(place, kpa, columns, np.maximum)
    bottom = _per_column(place, kpa, columns, np.minimum)
    lines = [f"{printable(picture.station)}: the first {length:.3g} s as understood, pressure in kPa"]
    step = max(high - low, 1e-9) / _ROWS
    for row in range(_ROWS):
        ceiling = high - row * step
        floor = ceiling - step
        marks = (bottom <= ceiling) & (top >= floor)
        label = f"{ceiling:8.1f}" if row in (0, _ROWS - 1) else " " * 8
        lines.append(f"{label} " + "".join("#" if m else " " for m in marks))
    for name, bit in _SIGNALS:
        level = ((digital & bit) > 0).astype(np.float64)
        if level.any():
            marks = _per_column(place, level, columns, np.maximum) > 0
            lines.append(f"{name:>8} " + "".join("-" if m else "_" for m in marks))
    return lines


def _per_column(
    place: NDArray[np.int64], values: NDArray[np.float64], columns: int, ufunc: np.ufunc
) -> NDArray[np.float64]:
    """Highest or lowest value per column of characters, NaN where a column has none."""
    found = np.full(columns, np.nan)
    starts = np.nonzero(np.diff(place, prepend=-1) != 0)[0]
    found[place[starts]] = ufunc.reduceat(values, starts)
    return found
