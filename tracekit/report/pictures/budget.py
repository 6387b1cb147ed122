"""Leak budget: what makes the interval of the leak wide?"""

import math
from collections.abc import Sequence

import numpy as np

from tracekit.model.result import BudgetLine, StationResult
from tracekit.report.plot import Axis, Column, Label, Picture, Plot, across, bars, finish, round_up, upward
from tracekit.report.text import clean
from tracekit.report.words import Num, Text, say

_MOST_LINES = 7
_LONGEST_NAME = 28  # with its value and star it fits beside the edges of a screen of 320 px
_PLAIN = {
    "mechanism": "hole or pores",
    "wall exchange": "gas warming at the wall",
    "volume that gives way to vacuum": "cups that shrink with vacuum",
    "gas temperature before the coast": "gas temperature at the start",
    "one gas volume for many": "cups taken as one volume",
    "sensor gain": "gain of the sensor",
    "ambient and zero": "ambient pressure and zero",
    "distance to a straight line": "fall that bends",
    "misfit of the mean coast": "fall unlike the calculated",
    "motion outside the windows": "motion in the hold",
    "cycles without a rate": "cycles without a rate",
    "quantisation": "steps of the reading",
    "noise": "noise of the readings",
    "scatter of the ultimate vacuum": "scatter of ultimate vacuum",
    "ambient pressure, or the weather between the logs": "weather between the logs",
    "supply from day to day": "supply from day to day",
    "bend of the suction curve": "bend of the suction curve",
}


def budget(result: StationResult, unit: str = "kPa") -> Picture | None:
    """Bars of what widens the leak's interval, the largest on top; None without a budget."""
    lines = sorted((b for b in result.leak.budget if b.u_kpa_s > 0.0), key=lambda b: -b.u_kpa_s)
    if len(lines) < 2:
        return None
    drawn = _gathered(lines)
    heading: Text = (f"What widens the leak's interval most: {_name(drawn[0])}.",)
    rows = tuple((clean(_name(b), 60), float(b.u_kpa_s), "no" if b.common else "yes") for b in lines)
    columns = (
        Column(name="source"),
        Column(name="standard uncertainty", unit="kPa/s", step=0.0001),
        Column(name="shrinks with more cycles"),
    )
    return finish("budget", (heading, (_caption(drawn),)), _plot(drawn), columns, rows, len(rows), unit)


def _gathered(lines: list[BudgetLine]) -> list[BudgetLine]:
    """The largest lines, the small common ones put together as a root sum of squares."""
    if len(lines) <= _MOST_LINES:
        return lines
    keep, rest = lines[: _MOST_LINES - 1], lines[_MOST_LINES - 1 :]
    together = math.sqrt(sum(b.u_kpa_s**2 for b in rest))
    common = all(b.common for b in rest)
    return [*keep, BudgetLine(source=f"{len(rest)} smaller ones together", u_kpa_s=together, common=common)]


def _caption(lines: list[BudgetLine]) -> str:
    shrinks = any(not b.common for b in lines)
    tail = " Only a bar with a star shrinks with more cycles." if shrinks else " More cycles shrink none of them."
    return f"Bar: standard uncertainty of the leak from one source.{tail}"


def _name(line: BudgetLine) -> str:
    return _PLAIN.get(line.source, clean(line.source, _LONGEST_NAME))


def _plot(lines: list[BudgetLine]) -> Plot:
    entries = [((_name(b) + ("" if b.common else " *")), float(b.u_kpa_s), not b.common) for b in lines]
    return bar_rows(entries, "kPa/s", "standard uncertainty, {}")


def bar_rows(entries: Sequence[tuple[str, float, bool]], unit: str, name: str) -> Plot:
    """A bar per entry with its name and value above it; the third of an entry sets it apart. Values are positive."""
    x = Axis(low=0.0, high=round_up(max(value for _, value, _ in entries)), unit=unit, name=name)
    y = Axis(low=-0.7, high=len(entries) - 0.5, down=True, quiet=True)
    marks: list[str] = []
    for apart, css in ((False, "r8 ink"), (True, "r8 usual")):
        own = [k for k, entry in enumerate(entries) if entry[2] is apart]
        values = np.array([entries[k][1] for k in own])
        at = upward(y, np.array(own, np.float64) + 0.16)
        marks.append(bars(np.zeros(len(own)), across(x, values), at, css))
    labels = [
        Label(x=0.0, y=k - 0.16, lines=(say(f"{clean(words, 44)}: {{}}", _two_digits(value, unit)),), dx=2, dy=-3)
        for k, (words, value, _) in enumerate(entries)
    ]
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), style="tall wide flush")


def _two_digits(value: float, unit: str) -> Num:
    return Num(value=value, unit=unit, step=10.0 ** (math.floor(math.log10(value)) - 1))
