"""Leak budget: what makes the interval of the leak wide?"""

import numpy as np

from tracekit.model.result import BudgetLine, StationResult
from tracekit.report.plot import Axis, Column, Label, Picture, Plot, across, bars, finish, round_up, upward
from tracekit.report.text import clean
from tracekit.report.words import Text

_MOST_LINES = 8


def budget(result: StationResult, unit: str = "kPa") -> Picture | None:
    """Bars of what widens the leak's interval, the largest on top; None without a budget."""
    lines = sorted((b for b in result.leak.budget if b.u_kpa_s > 0.0), key=lambda b: -b.u_kpa_s)[:_MOST_LINES]
    if len(lines) < 2:
        return None
    heading: Text = (f"Most of the leak's interval comes from: {clean(lines[0].source, 60)}.",)
    caption: Text = (
        "Bar: standard uncertainty. More cycles shrink only bars with a star; the others are common to all cycles.",
    )
    rows = tuple((clean(b.source, 60), float(b.u_kpa_s), "no" if b.common else "yes") for b in lines)
    columns = (
        Column(name="source"),
        Column(name="standard uncertainty", unit="kPa/s"),
        Column(name="shrinks with more cycles"),
    )
    return finish("budget", (heading, caption), _plot(lines), columns, rows, len(rows), unit)


def _plot(lines: list[BudgetLine]) -> Plot:
    x = Axis(low=0.0, high=round_up(lines[0].u_kpa_s), unit="kPa/s", name="standard uncertainty, {}")
    y = Axis(low=-0.5, high=len(lines) - 0.5, down=True, quiet=True)
    marks: list[str] = []
    labels: list[Label] = []
    for common, css in ((True, "r8 ink"), (False, "r8 usual")):
        own = [k for k, b in enumerate(lines) if b.common is common]
        values = np.array([lines[k].u_kpa_s for k in own])
        at = upward(y, np.array(own, np.float64) + 0.18)
        marks.append(bars(np.zeros(len(own)), across(x, values), at, css))
    for k, b in enumerate(lines):
        words = clean(b.source, 33) + ("" if b.common else " *")
        labels.append(Label(x=0.0, y=k - 0.22, lines=(words,), style="", dx=2, dy=6))
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), style="low wide flush")
