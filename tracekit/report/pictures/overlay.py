"""Cycles over one another: a usual cycle, the odd ones beside it, and where the settings stand."""

import numpy as np

from tracekit.model.cycle import StationData
from tracekit.model.result import StationResult
from tracekit.report.doubt import others_differ
from tracekit.report.plot import (
    Axis,
    Cell,
    Column,
    Label,
    Picture,
    Plot,
    across,
    across_line,
    band,
    finish,
    line,
    nice_ticks,
    upward,
)
from tracekit.report.view import (
    Floats,
    Mask,
    grid_spread,
    is_list,
    main_finding,
    median,
    odd_cycles,
    spaced,
    unmeasured,
)
from tracekit.report.words import Num, Text, count, join, say

_LOWER_KPA = 0.1  # as fine as the heading tells a peak
_MOST_CYCLES, _MOST_ODD, _POINTS, _NAMED_MOST, _LEAST = 120, 5, 72, 0.7, 3
_APART_PX, _PLOT_PX, _NARROW_PX, _NUMBER_PX = 17.0, 240.0, 200.0, 26.0
_PAPER_PX, _LINE_PX = 116.0, 15.0  # height of the plot on a printed first sheet, of a name
_BESIDE_PX, _LEADER = 10, 25.0  # of names right of the plot, and of leaders to them [thousandths of its width]
_TYPE_PX, _CLEAR_PX = 10.0, 3.0
_ELSEWHERE = (0.06, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9)  # of the width, where a number is tried next
_SHORT = {"supply_off": "off", "supply_on": "on", "set_point": "set", "reset_point": "reset"}
_LONG = (("supply off", "off"), ("supply on", "on"), ("set point", "set"), ("reset point", "reset"))

Curve = tuple[Floats, Floats]


def overlay(result: StationResult, unit: str = "kPa") -> Picture | None:
    """Vacuum from the vacuum command on, median and middle 90 % of the usual cycles; None under three cycles."""
    still = unmeasured(result.data)
    odd = odd_of(result) | still
    usual = curves_of(result.data, spaced(np.flatnonzero(~odd), _MOST_CYCLES).tolist())
    if len(usual) < _LEAST:
        return None
    named = curves_of(result.data, spaced(np.flatnonzero(odd & ~still), _MOST_ODD).tolist())
    grid = np.linspace(0.0, float(np.median([t[-1] for t, _ in usual.values()])), _POINTS)
    spread = grid_spread([np.interp(grid, t, v, right=np.nan) for t, v in usual.values()])[:3]
    heading, top = _heading(result)
    caption = _caption(result, len(usual), int((~odd).sum()), named)
    if top is not None and top - float(np.nanmax(spread[1])) >= _LOWER_KPA:
        caption = join([caption, ("Cycles peak at different times, so the line stays below.",)])
    if still.any():
        caption = join([caption, (f"Not measured, so not drawn: {is_list(np.flatnonzero(still).tolist())}.",)])
    words = (heading, caption)
    columns = (
        Column(name="time", unit="s"), Column(name="median", unit="kPa"), Column(name="5 %", unit="kPa"),
        Column(name="95 %", unit="kPa"),
    )  # fmt: skip
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (float(t), *(None if np.isnan(v) else float(v) for v in (m, a, b)))
        for t, a, m, b in zip(grid, *spread, strict=True)
    )
    return finish("overlay", words, _plot(result.data, grid, spread, named), columns, rows, len(rows), unit)


def odd_of(result: StationResult) -> Mask:
    """Cycles to set apart: the odd ones, or only dropped and missed ones where the finding names most cycles."""
    odd, cycles = odd_cycles(result), result.data.cycles
    lost = cycles.where("outcome", "dropped") | cycles.where("outcome", "missed")
    chosen = odd if len(odd) and odd.mean() < _NAMED_MOST else lost
    return chosen if not len(chosen) or chosen.mean() < _NAMED_MOST else np.zeros(len(chosen), np.bool_)


def curves_of(data: StationData, cycles: list[int]) -> dict[int, Curve]:
    """Time since the vacuum command and vacuum of cycles [s, kPa], from the averaged samples."""
    bins, starts = data.bins, data.cycles.floats("start_s")
    bounds = np.searchsorted(bins.cycle, np.arange(len(starts) + 1))
    spans = [(c, slice(int(bounds[c]), int(bounds[c + 1]))) for c in cycles]
    return {c: (bins.time_s[own] - starts[c], -bins.pressure_kpa[own]) for c, own in spans if own.stop - own.start > 2}


def _plot(data: StationData, grid: Floats, spread: tuple[Floats, Floats, Floats], named: dict[int, Curve]) -> Plot:
    low, mid, high = spread
    levels = _levels(data)
    top = max(float(np.nanmax(high)), *(v for _, v in levels), 1.0)
    foot = _foot(float(np.nanmin(low)), top)
    x = Axis(low=0.0, high=float(grid[-1]), unit="s", name="seconds after the vacuum command")
    y = Axis(low=foot, high=top * 1.04, unit="kPa", name="{} of vacuum")
    xs = across(x, grid)
    marks = [across_line(float(upward(y, [v])[0]), "limit") for _, v in levels]
    marks += [band(xs, upward(y, low), upward(y, high), "f-usual"), line(xs, upward(y, mid), "line usual")]
    labels = _level_labels(levels, x, y)
    marks += _leaders(labels, y)
    for place, (cycle, (time, vacuum)) in enumerate(sorted(named.items(), key=lambda item: float(item[1][0][-1]))):
        inside = time <= x.high
        marks.append(line(across(x, time[inside]), upward(y, vacuum[inside]), "thin odd"))
        others = [curve for own, curve in named.items() if own != cycle]
        for share in ((place + 0.5) / len(named), *_ELSEWHERE):
            label = _number(cycle, (time[inside], vacuum[inside]), x.high * share, y)
            if all(_apart(label, other, x, y) for other in labels) and _uncrossed(label, others, x, y):
                labels.append(label)
                break  # the caption names them all, also those without room
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), style="tall")


def _foot(lowest: float, top: float) -> float:
    """Start of the axis: zero, or where vacuum goes well below it the numbered line beneath."""
    step = float(np.diff(nice_ticks(0.0, top)[:2])[0])
    return float(np.floor(lowest / step) * step) if lowest < -0.5 * step else min(0.0, lowest)


def _number(cycle: int, curve: Curve, at_s: float, y: Axis) -> Label:
    """A cycle's number on its line at a time, or where the line ends before; clear of the ticks beneath."""
    time, vacuum = curve
    at = min(at_s, float(time[-1]))
    level = float(np.interp(at, time, vacuum))
    low = (level - y.low) / (y.high - y.low) * _PLOT_PX < 2.0 * _APART_PX
    return Label(x=at, y=level, lines=(count(cycle),), style="mid t-odd", dy=-6 if low else 15)


def _uncrossed(label: Label, others: list[Curve], x: Axis, y: Axis) -> bool:
    """True where no line of another cycle runs through a number or along the line that it belongs to."""
    half_s = 0.5 * _NUMBER_PX / _NARROW_PX * (x.high - x.low)
    at = label.x + np.linspace(-half_s, half_s, 9)
    per_px = (y.high - y.low) / _PLOT_PX
    foot = label.y - label.dy * per_px
    low, high = min(foot, label.y) - _CLEAR_PX * per_px, max(foot + _TYPE_PX * per_px, label.y) + _CLEAR_PX * per_px
    levels = [np.interp(at, time, vacuum, left=np.nan, right=np.nan) for time, vacuum in others]
    return not any(bool(((v > low) & (v < high)).any()) for v in levels)


def _apart(one: Label, other: Label, x: Axis, y: Axis) -> bool:
    """True where two labels do not print over each other on the narrowest screen."""
    aside = abs(one.x - other.x) / (x.high - x.low) * _NARROW_PX
    below = abs((one.y - other.y) / (y.high - y.low) * _PLOT_PX - one.dy + other.dy)
    return aside >= _NUMBER_PX or below >= _APART_PX


def _levels(data: StationData) -> list[tuple[str, float]]:
    """The settings in force that are known, the highest first."""
    found = [(n, s.value_kpa) for n in _SHORT if (s := data.settings.get(n)) is not None and s.value_kpa is not None]
    return sorted(((n, float(v)) for n, v in found if v is not None), key=lambda pair: -pair[1])


def _level_labels(levels: list[tuple[str, float]], x: Axis, y: Axis) -> list[Label]:
    """Names of the settings in the right margin, each a line below the one above, on paper too, where plots are low."""
    labels: list[Label] = []
    lowest = -np.inf
    for name, value in levels:
        own = float(upward(y, [value])[0]) / 1000.0 * _PAPER_PX
        at = max(own, lowest + _LINE_PX)
        lowest = at
        words = say("{} {}", _SHORT[name], Num(value=value, unit="kPa", step=0.1, bare=True))
        labels.append(Label(x=x.high, y=value, lines=(words,), dx=_BESIDE_PX, dy=4 + round(at - own)))
    return labels


def _leaders(labels: list[Label], y: Axis) -> list[str]:
    """A stroke from the line of a setting to its name, where the name had to move."""
    ends = np.array([1000.0, 1000.0 + _LEADER])
    moved = [(float(upward(y, [item.y])[0]), (item.dy - 4) / _PLOT_PX * 1000.0) for item in labels if item.dy != 4]
    return [line(ends, np.array([own, own + down]), "hair axis") for own, down in moved]


def _heading(result: StationResult) -> tuple[Text, float | None]:
    """As in "Vacuum peaks at 82.7 kPa and never reaches …: the supply stays on.", and that peak [kPa], None without."""
    cycles = result.data.cycles
    held = cycles.where("outcome", "held") | cycles.where("outcome", "dropped")
    peaks = cycles.floats("peak_vacuum_kpa")
    if result.baseline is not None:
        held = held & ~odd_of(result)
    own = peaks[held & np.isfinite(peaks)]
    if not len(own):
        return (f"{count(len(cycles))} cycles over one another.",), None
    peak = Num(value=median(own), unit="kPa", step=0.1)
    cut = dict(_levels(result.data)).get("supply_off")
    if cut is not None and float(own.max()) < cut:
        level = Num(value=cut, unit="kPa", step=0.1)
        return say("Vacuum peaks at {} and never reaches supply off, {}: the supply stays on.", peak, level), peak.value
    against = result.baseline is not None and bool(odd_of(result).any())
    return say("{} at {}.", "The other cycles peak" if against else "A usual cycle peaks", peak), peak.value


def _caption(result: StationResult, drawn: int, usual: int, named: dict[int, Curve]) -> Text:
    few = f"{count(drawn)} of {count(usual)}" if drawn < usual else count(drawn)
    other = "other cycles" if result.baseline is not None else "usual cycles"
    which = other if named else "cycles"
    parts: list[Text] = [(f"Line: median of {few} {which}. Band: middle 90 %.",)]
    if named:
        parts.append((f"Thin lines: cycle{'s' if len(named) > 1 else ''} {is_list(list(named))}.",))
    main = main_finding(result)
    if named and main is not None and others_differ(result, main):
        parts.append(("The other cycles differ from the baseline too.",))
    shown = {_SHORT[name] for name, _ in _levels(result.data)}
    if shown:
        parts.append((f"Dotted: {', '.join(long for long, short in _LONG if short in shown)}.",))
    return join(parts)
