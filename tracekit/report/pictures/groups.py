"""Groups: which part type, nest or found group leaks?"""

import numpy as np

from tracekit.model.estimate import Estimate
from tracekit.model.result import LeakGroup, StationResult
from tracekit.report.plot import (
    Axis,
    Cell,
    Column,
    Label,
    Picture,
    Plot,
    across,
    dots,
    finish,
    round_up,
    uprights,
    upward,
)
from tracekit.report.text import clean
from tracekit.report.view import Floats, column_of, median, spaced
from tracekit.report.words import Num, Text, count, of_quantity, say

_MOST_GROUPS, _MOST_DOTS, _MOST_NUMBERS = 6, 120, 200


def groups(result: StationResult, unit: str = "kPa") -> Picture | None:
    """Strips of rates, one per group, the leakiest last; None with fewer than two groups that have rates."""
    found = [g for g in result.leak.groups if len(_rates(result, g))]
    found = sorted(found, key=lambda g: median(_rates(result, g)))[-_MOST_GROUPS:]
    if len(found) < 2:
        return None
    heading, caption = _heading(found, result), _caption(found)
    plot = _plot(found, result)
    columns = (Column(name="group"), Column(name="cycle"), Column(name="rate", unit="kPa/s"))
    rows = _numbers(found, result)
    return finish("groups", (heading, caption), plot, columns, rows, sum(len(_rates(result, g)) for g in found), unit)


def group_name(group: LeakGroup, limit: int = 24) -> str:
    """A group's label as text; the log's own words, cut."""
    return clean(group.label, limit) or "unnamed"


def _rates(result: StationResult, group: LeakGroup) -> Floats:
    rows = np.array([c for c in group.cycles if 0 <= c < len(result.leak.rate)], np.int64)
    rate = result.leak.rate[rows]
    return rate[np.isfinite(rate)]


def _plot(found: list[LeakGroup], result: StationResult) -> Plot:
    x = Axis(low=-0.5, high=len(found) - 0.5, quiet=True)
    tallest = max(float(np.percentile(_rates(result, g), 98)) for g in found)
    y = Axis(low=0.0, high=round_up(1.1 * max(tallest, 0.1)), unit="kPa/s", name="vacuum lost, {}")
    usual = median(_rates(result, found[0]))
    marks: list[str] = []
    labels: list[Label] = []
    for place, group in enumerate(found):
        rate = _rates(result, group)
        shown = rate[spaced(np.arange(len(rate)), _MOST_DOTS)]
        mid = median(rate)
        odd = place > 0 and mid > 1.5 * max(usual, 0.05)
        css = "squares odd" if odd else "dots usual"
        shift = np.asarray((np.arange(len(shown)) * 0.618) % 1.0 - 0.5, np.float64)
        marks += _median_bar(place, mid, group, x, y)
        marks.append(dots(across(x, place + 0.4 * shift), upward(y, np.minimum(shown, y.high)), f"{css} small"))
        labels.append(
            Label(x=place, y=0.0, lines=(group_name(group, 14), f"{count(len(rate))} cycles"), style="mid", dy=17)
        )
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), style="wide")


def _median_bar(place: int, mid: float, group: LeakGroup, x: Axis, y: Axis) -> list[str]:
    from_to = across(x, np.array([place - 0.32, place + 0.32]))
    at = upward(y, np.array([mid]))
    marks = [f'<path class="line ink" d="M{from_to[0]:.1f} {at[0]:.1f}H{from_to[1]:.1f}"/>']
    rate = group.decay_rate_kpa_s
    if isinstance(rate, Estimate):
        low, high = upward(y, np.array([max(rate.lower, 0.0)])), upward(y, np.array([min(rate.upper, y.high)]))
        marks.append(uprights(across(x, np.array([float(place)])), low, high, "line ink"))
    return marks


def _value(group: LeakGroup, result: StationResult) -> Num:
    known = of_quantity(group.decay_rate_kpa_s)
    if known is not None:
        return known
    rate = _rates(result, group)
    return Num(value=median(rate), unit="kPa/s", step=max(0.1, 0.1 * median(rate)))


def _heading(found: list[LeakGroup], result: StationResult) -> Text:
    """As in "With tile 30 vacuum falls 10 kPa/s; with tile 20 0.4 kPa/s."."""
    worst, least = found[-1], found[0]
    rest = group_name(least) if len(found) == 2 else f"{group_name(least)}, the least,"
    return say(
        "With {} vacuum falls {}; with {} {}.", group_name(worst), _value(worst, result), rest, _value(least, result)
    )


def _caption(found: list[LeakGroup]) -> Text:
    column = column_of(found[0])
    source = f"Grouped by {column}." if column else "Groups as found in the rates."
    return (f"One mark is one cycle; bar, median of its group with 95 % interval. {source}",)


def _numbers(found: list[LeakGroup], result: StationResult) -> tuple[tuple[Cell, ...], ...]:
    rows: list[tuple[Cell, ...]] = []
    for group in found:
        own = [c for c in group.cycles if 0 <= c < len(result.leak.rate) and np.isfinite(result.leak.rate[c])]
        rows += [(group_name(group), int(c), float(result.leak.rate[c])) for c in own]
    return tuple(rows[i] for i in spaced(np.arange(len(rows)), _MOST_NUMBERS))
