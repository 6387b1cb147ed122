"""Changes: every measure's change in margins, with its interval and verdict."""

import math
from collections.abc import Sequence

import numpy as np

from tracekit.model.comparison import Comparison, MeasureResult, RateResult
from tracekit.model.estimate import Bound, Estimate
from tracekit.report.comparison_words import in_per_cent, measure_name, verdict_word
from tracekit.report.plot import (
    Axis,
    Cell,
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
from tracekit.report.words import Text, digits

Result = MeasureResult | RateResult

_REACH = 4.0
_MARGIN = (0.04, 0.42)  # where the margin of a row lies, in rows from its middle
_ROW_ROOM = 0.75


def changes(comparison: Comparison, most: int = 7, unit: str = "kPa") -> Picture | None:
    """One row per measure, the primary first; None where nothing has a margin."""
    found = [(name, r, span) for name, r in ordered(comparison) if (span := in_margins(r)) is not None]
    if not found:
        return None
    drawn, every = found[:most], ordered(comparison)
    plot = _plot(drawn, comparison.primary)
    columns = (Column(name="measure"), Column(name="change over margin"), Column(name="lower"), Column(name="upper"),
               Column(name="verdict"))  # fmt: skip
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (measure_name(name), *(None if not math.isfinite(v) else round(v, 3) for v in span), r.verdict)
        for name, r, span in found
    )
    return finish("changes", (_heading(every), _caption(len(drawn), len(every))), plot, columns, rows, len(rows), unit)


def ordered(comparison: Comparison) -> list[tuple[str, Result]]:
    """Measures and rates, these in per cent: the primary, what is worse, what is better, other measures and rates."""
    rates = [(name, in_per_cent(rate)) for name, rate in comparison.rates.items()]
    figures: list[tuple[str, Result]] = [*comparison.measures.items(), *rates]
    rank = {"worse": 1, "better": 2}
    rest = {n: 3 if n in comparison.measures else 4 for n, _ in figures}
    return sorted(figures, key=lambda f: 0 if f[0] == comparison.primary else rank.get(f[1].verdict, rest[f[0]]))


def in_margins(result: Result) -> tuple[float, float, float] | None:
    """Change, lower and upper end over the margin, positive for the worse; None where the change is withheld."""
    change, margin = result.difference, result.margin
    if not margin:
        return None
    sign = -1.0 if isinstance(result, MeasureResult) and result.better == "higher" else 1.0
    if isinstance(change, Estimate):
        ends = sorted((sign * change.lower / margin, sign * change.upper / margin))
        return sign * change.value / margin, ends[0], ends[1]
    if isinstance(change, Bound):
        end = sign * change.limit / margin
        rising = (change.status == "lower_bound") == (sign > 0.0)
        return end, *((end, math.inf) if rising else (-math.inf, end))
    return None


def _plot(drawn: Sequence[tuple[str, Result, tuple[float, float, float]]], primary: str) -> Plot:
    x = Axis(low=-_REACH, high=_REACH, name="change over margin, worse to the right")
    y = Axis(low=-0.5, high=len(drawn) - 0.5, down=True, quiet=True)
    marks = [down_line(float(across(x, [0.0])[0]), "axis")]
    labels: list[Label] = []
    for row, (name, result, span) in enumerate(drawn):
        odd = result.verdict == "worse"
        value, low, high = np.clip(span, -_REACH, _REACH)
        at = upward(y, np.array([row + 0.22]))
        # beside its bar alone: across the whole picture it would lie under the names
        low_end, high_end = (upward(y, np.full(2, row + end)) for end in _MARGIN)
        marks.insert(0, band(across(x, [-1.0, 1.0]), low_end, high_end, "f-base"))
        ends = across(x, np.array([low])), across(x, np.array([high]))
        marks.append(bars(*ends, at, "line odd" if odd else "line usual"))
        if abs(span[0]) <= _REACH:
            marks.append(dots(across(x, np.array([value])), at, "squares odd" if odd else "dots usual"))
        else:
            labels.append(_beyond(row, span[0], x, "t-odd" if odd else "t-usual"))
        labels += _labels(row, name, result, (span[0], x), bold=name == primary)
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), style="tall flush")


def _beyond(row: int, value: float, x: Axis, css: str) -> Label:
    """An arrow at the end of the scale, where a mark would read as a value."""
    right = value > 0.0
    return Label(
        x=x.high if right else x.low,
        y=row + 0.22,
        lines=("→" if right else "←",),
        style=f"{'end ' if right else ''}{css}",
    )


def _labels(row: int, name: str, result: Result, place: tuple[float, Axis], *, bold: bool) -> list[Label]:
    """The measure's name over its bar; at the right its verdict, with the change where it is off the scale."""
    value, x = place
    odd = "t-odd" if result.verdict == "worse" else ""
    beyond = f" ({digits(value, 0)})" if abs(value) > _REACH else ""
    return [
        Label(x=x.low, y=row - 0.2, lines=(measure_name(name),), style="strong" if bold else ""),
        Label(x=x.high, y=row + 0.22, lines=(f"{verdict_word(result.verdict)}{beyond}",), dx=6, style=odd),
    ]


def _heading(found: Sequence[tuple[str, Result]]) -> Text:
    """As in "Of 12 measures: 1 better, none worse, 9 equivalent, 2 undecided."."""
    words = ("better", "worse", "equivalent", "undecided")
    said = [f"{sum(r.verdict == word for _, r in found) or 'none'} {word}" for word in words]
    return (f"Of {len(found)} measures: {', '.join(said)}.",)


def _caption(drawn: int, total: int) -> Text:
    more = "" if drawn == total else f" {drawn} of {total} are drawn; the annex has all."
    return (f"Dot and 95 % interval of each change; grey, the margin.{more}",)
