"""How the result of a plan will be read: the interval that is to be expected, and what each place of it would mean."""

from statistics import NormalDist

import numpy as np

from tracekit.model.comparison import Plan
from tracekit.report.plot import (
    Axis,
    Column,
    Label,
    Picture,
    Plot,
    across,
    band,
    bars,
    dots,
    down_line,
    finish,
    upward,
)
from tracekit.report.words import Num, Text, say

_ROOM, _HALF_WAY = 1.35, 0.5
_MARGIN = (0.02, 0.36)  # where the margin of a row lies, in rows from its middle

_CAPTION: Text = (
    "Bars: 95 % intervals as wide as this plan makes them. Grey: the margin of no change. Right: the verdict.",
)

Row = tuple[float, float, float, str]


def plan_reading(plan: Plan, unit: str = "kPa") -> Picture | None:
    """Three intervals as wide as the plan makes them, with their verdicts; None without a change to be shown."""
    if not plan.change > 0.0 or not plan.looks:
        return None
    rows = readings(plan)
    columns = (
        Column(name="change", unit=plan.unit), Column(name="from", unit=plan.unit), Column(name="to", unit=plan.unit),
        Column(name="outcome"),
    )  # fmt: skip
    words = (_heading(plan, rows), _CAPTION)
    return finish("reading", words, _plot(plan, rows), columns, tuple(rows), len(rows), unit)


def half_width(plan: Plan) -> float:
    """Half of the 95 % interval that shows the planned change with the planned chance, in the plan's unit."""
    bound, reach = plan.looks[-1].bound, NormalDist().inv_cdf(plan.power)
    return plan.change * bound / (bound + reach)


def readings(plan: Plan) -> list[Row]:
    """Change, ends of its interval and outcome where the change is as planned, half of it, and none."""
    sign = -1.0 if plan.better == "lower" else 1.0
    half = half_width(plan)
    centres = [sign * plan.change, sign * plan.change * _HALF_WAY, 0.0]
    return [(c, c - half, c + half, _outcome(plan, c - half, c + half)) for c in centres]


def _outcome(plan: Plan, low: float, high: float) -> str:
    """The verdict of the plan's rule for an interval of the primary measure alone."""
    if high < 0.0 or low > 0.0:
        return "better" if (high < 0.0) == (plan.better == "lower") else "worse"
    return "no change" if -plan.margin < low and high < plan.margin else "not shown"


def _plot(plan: Plan, rows: list[Row]) -> Plot:
    reach = _ROOM * max(plan.margin, *(abs(v) for row in rows for v in row[1:3]))
    name = "change after − before, {}" if plan.unit else "change after − before"
    x = Axis(low=-reach, high=reach, unit=plan.unit, name=name)
    y = Axis(low=-0.5, high=len(rows) - 0.5, down=True, quiet=True)
    marks = [down_line(float(across(x, [0.0])[0]), "axis")]
    labels: list[Label] = []
    for at, (centre, low, high, outcome) in enumerate(rows):
        level = upward(y, np.array([at + 0.18]))
        low_end, high_end = (upward(y, np.full(2, at + end)) for end in _MARGIN)
        marks.insert(0, band(across(x, [-plan.margin, plan.margin]), low_end, high_end, "f-base"))
        css = "usual" if outcome == "better" else "ink"
        marks.append(bars(across(x, np.array([low])), across(x, np.array([high])), level, f"line {css}"))
        marks.append(dots(across(x, np.array([centre])), level, f"dots {css}"))
        name = ("as planned", "half of it", "no change at all")[at]
        labels.append(Label(x=x.low, y=at - 0.2, lines=(name,), style="", dx=2))
        labels.append(Label(x=x.high, y=at + 0.18, lines=(outcome,), style="strong", dx=6))
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels))


def _heading(plan: Plan, rows: list[Row]) -> Text:
    """As in "The planned change of 0.61 kPa/s shows; half of it may not; no change reads as such."."""
    size = Num(value=plan.change, unit=plan.unit, step=plan.change / 50.0)
    half, none = rows[1][3], rows[2][3]
    middle = "half of it does too" if half == "better" else "half of it may not"
    last = "no change reads as such" if none == "no change" else "that nothing changed cannot be shown"
    return say("The planned change of {} shows; {}; {}.", size, middle, last)
