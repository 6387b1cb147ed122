"""The drawing kit: pictures as plain SVG strings that need neither script nor style attribute.

A plot is a padded box with three layers of the same size: grid and ticks, marks, labels. Marks live in a square of
1000 by 1000 units that is stretched to the box, with lines that keep their width and dots made of round caps, so that
one drawing serves every width and the printer. Labels are placed in per cent and keep the size of their type.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.report.text import escape
from tracekit.report.words import PAGE_UNITS, Text, digits, html, is_pressure

Floats = NDArray[np.float64]

_ROOM, _ROOM_WIDE = 19, 26
"""Characters of tick numbers that fit beneath a plot on a screen of 320 px."""
_EDGE_PX, _EDGE_WIDE_PX = 88, 8
"""Room at the right of a plot that the name of its x axis may use, as page.css pads it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One axis: the values at its start and end, its unit and what it is called.

    `down` turns a y axis so that it grows downwards. `ticks` replaces the found ticks by given values.
    """

    low: float
    high: float
    unit: str = ""
    name: str = ""
    down: bool = False
    whole: bool = False
    quiet: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """Text in a plot at data coordinates, moved by pixels; `style` names its classes."""

    x: float
    y: float
    lines: tuple[str | Text, ...]
    style: str = ""
    dx: int = 0
    dy: int = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """A finished plot: axes, marks (SVG elements), labels, and the classes of its box."""

    x: Axis
    y: Axis
    marks: tuple[str, ...]
    labels: tuple[Label, ...] = ()
    style: str = ""
    facts: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of the numbers beneath a picture; `step` is their last place where the usual one is too coarse."""

    name: str
    unit: str = ""
    step: float | None = None


Cell = float | int | str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture with all its words.

    heading  the finding, a sentence
    caption  how to read it and what holds, every clause tested
    html     the plot or plots
    columns, rows  the marks as numbers, at most 200 rows
    shown    how many rows there would be
    tells    False where it shows that nothing differs: it never leads
    without  what stands in place of the numbers where there are no rows
    """

    id: str
    heading: Text
    caption: Text
    html: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    shown: int
    tells: bool = True
    without: str = "No mark to list."


def finish(
    name: str,
    words: tuple[Text, Text],
    plot: Plot,
    columns: tuple[Column, ...],
    rows: tuple[tuple[Cell, ...], ...],
    shown: int,
    unit: str,
) -> Picture:
    """A picture from its name, heading and caption, plot and numbers."""
    heading, caption = words
    html = draw(plot, unit, described_by=name)
    return Picture(id=name, heading=heading, caption=caption, html=html, columns=columns, rows=rows, shown=shown)


def across(axis: Axis, values: Floats | Sequence[float]) -> Floats:
    """Positions 0 to 1000 along an axis."""
    span = (axis.high - axis.low) or 1.0
    return (np.asarray(values, np.float64) - axis.low) / span * 1000.0


def upward(axis: Axis, values: Floats | Sequence[float]) -> Floats:
    """Positions 0 (top) to 1000 (bottom) on a y axis."""
    along = across(axis, values)
    return along if axis.down else 1000.0 - along


def line(x: Floats, y: Floats, style: str) -> str:
    """A line through points; points that are not finite break it."""
    good = np.isfinite(x) & np.isfinite(y)
    parts: list[str] = []
    pen = "M"
    for xi, yi, ok in zip(_short(x), _short(y), good.tolist(), strict=True):
        if ok:
            parts.append(f"{pen}{xi} {yi}")
        pen = "L" if ok else "M"
    return _path("".join(parts), style)


def dots(x: Floats, y: Floats, style: str) -> str:
    """Marks of next to no length, drawn by the caps of their stroke: round for dots, square for squares.

    Of no length at all, square ones are left out where a browser prints.
    """
    good = np.isfinite(x) & np.isfinite(y)
    return _path("".join(f"M{a} {b}h.1" for a, b in zip(_short(x[good]), _short(y[good]), strict=True)), style)


def uprights(x: Floats, low: Floats, high: Floats, style: str) -> str:
    """Vertical strokes, for intervals."""
    good = np.isfinite(x) & np.isfinite(low) & np.isfinite(high)
    ends = zip(_short(x[good]), _short(low[good]), _short(high[good]), strict=True)
    return _path("".join(f"M{a} {b}V{c}" for a, b, c in ends), style)


def bars(start: Floats, stop: Floats, y: Floats, style: str) -> str:
    """Horizontal strokes, for what lasts a while."""
    good = np.isfinite(start) & np.isfinite(stop) & np.isfinite(y)
    ends = zip(_short(start[good]), _short(stop[good]), _short(y[good]), strict=True)
    return _path("".join(f"M{a} {c}H{b}" for a, b, c in ends), style)


def band(x: Floats, low: Floats, high: Floats, style: str) -> str:
    """A filled band between two lines."""
    good = np.isfinite(x) & np.isfinite(low) & np.isfinite(high)
    if good.sum() < 2:
        return ""
    there = [f"{a} {b}" for a, b in zip(_short(x[good]), _short(low[good]), strict=True)]
    back = [f"{a} {b}" for a, b in zip(_short(x[good][::-1]), _short(high[good][::-1]), strict=True)]
    return _path("M" + "L".join(there + back) + "Z", style)


def stairs(x: Floats, y: Floats, style: str) -> str:
    """A line that keeps each value until the next sample."""
    if len(x) == 0:
        return ""
    xs, ys = _short(x), _short(y)
    return _path(f"M{xs[0]} {ys[0]}" + "".join(f"H{a}V{b}" for a, b in zip(xs[1:], ys[1:], strict=True)), style)


def across_line(y: float, style: str) -> str:
    """A line over the whole width."""
    return _path(f"M0 {y:.1f}H1000", style)


def down_line(x: float, style: str) -> str:
    """A line over the whole height."""
    return _path(f"M{x:.1f} 0V1000", style)


def nice_ticks(low: float, high: float, most: int = 5, whole: bool = False) -> list[float]:
    """Round values between two ends, at most about `most` of them."""
    span = high - low
    if not math.isfinite(span) or span <= 0.0:
        return [low]
    raw = span / most
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * m for m in (1, 2, 5, 10) if power * m >= raw * 0.999)
    if whole:
        step = max(1.0, round(step))
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [k * step for k in range(first, last + 1)]


def round_up(value: float) -> float:
    """A round end for an axis that starts at zero."""
    if not math.isfinite(value) or value <= 0.0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return float(next(power * m for m in (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10) if power * m >= value * 0.9999))


def draw(plot: Plot, unit: str = "kPa", *, described_by: str) -> str:
    """The plot as HTML; its text alternative is heading and caption of the picture of that name."""
    words = f"h-{escape(described_by)} c-{escape(described_by)}"
    facts = "".join(f' data-{key}="{escape(value)}"' for key, value in plot.facts)
    edge = _EDGE_WIDE_PX if "wide" in plot.style else _EDGE_PX
    return (
        f'<div class="plot {plot.style}"{facts}><div class="inner" role="img" aria-labelledby="{words}">'
        f'<svg class="labels" aria-hidden="true">{_ticks(plot.x, "x", unit, edge)}{_ticks(plot.y, "y", unit)}</svg>'
        '<svg class="data" viewBox="0 0 1000 1000" preserveAspectRatio="none" aria-hidden="true">'
        f"{''.join(plot.marks)}</svg>"
        f'<svg class="labels" aria-hidden="true">{"".join(_text(plot, item, unit) for item in plot.labels)}</svg>'
        "</div></div>"
    )  # fmt: skip


def _ticks(axis: Axis, side: str, unit: str, edge: int = 0) -> str:
    """Grid lines, tick numbers and the name of an axis; pressures are marked for the unit switch."""
    if axis.quiet:
        return _axis_name(axis, side, unit, edge)
    swaps = is_pressure(axis.unit)
    factor = PAGE_UNITS[unit] if swaps else 1.0
    room = 99 if side == "y" else _ROOM_WIDE if edge == _EDGE_WIDE_PX else _ROOM
    marks = "".join(_tick(axis, side, value, factor, place) for value, place in tick_values(axis, factor, room))
    group = f' data-lo="{axis.low:.9g}" data-hi="{axis.high:.9g}" data-down="{int(axis.down)}"' if swaps else ""
    return f'<g class="axis-{side}"{group}>{marks}</g>{_axis_name(axis, side, unit, edge)}'


def tick_values(axis: Axis, factor: float, room: int) -> list[tuple[float, int]]:
    """Ticks in the shown unit with their last decimal place, as many as fit into `room` characters."""
    for most in (5, 4, 3, 2):
        ticks = nice_ticks(axis.low * factor, axis.high * factor, most, axis.whole)
        step = ticks[1] - ticks[0] if len(ticks) > 1 else abs(ticks[0]) or 1.0
        place = min(0, math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
        if sum(len(digits(t, place)) + 1 for t in ticks) <= room:
            break
    return [(t, place) for t in ticks]


def _tick(axis: Axis, side: str, value: float, factor: float, place: int) -> str:
    words = digits(value, place)
    if side == "x":
        at = float(across(axis, [value / factor])[0]) / 10.0
        return f'<text class="mid" x="{at:.2f}%" y="100%" dy="16">{words}</text>'
    at = float(upward(axis, [value / factor])[0]) / 10.0
    return (
        f'<line class="grid" x1="0" x2="100%" y1="{at:.2f}%" y2="{at:.2f}%"/>'
        f'<text class="end" x="0" dx="-6" y="{at:.2f}%" dy="4">{words}</text>'
    )


def _axis_name(axis: Axis, side: str, unit: str, edge: int) -> str:
    """The name with its unit, "{}" in the name standing for it; `edge` is the room right of the plot [px]."""
    if not axis.name:
        return ""
    shown = unit + axis.unit[3:] if is_pressure(axis.unit) else axis.unit
    head, _, tail = axis.name.partition("{}")
    mark = (
        f'<tspan data-unit="{escape(axis.unit)}">{escape(shown)}</tspan>' if is_pressure(axis.unit) else escape(shown)
    )
    words = f"{escape(head)}{mark if '{}' in axis.name else ''}{escape(tail)}"
    if side == "x":
        return f'<text class="end name" x="100%" y="100%" dx="{edge}" dy="32">{words}</text>'
    return f'<text x="0" dx="-40" y="0" dy="-10">{words}</text>'


def _text(plot: Plot, item: Label, unit: str) -> str:
    x = float(across(plot.x, [item.x])[0]) / 10.0
    y = float(upward(plot.y, [item.y])[0]) / 10.0
    first, *others = [html((part,) if isinstance(part, str) else part, unit, "tspan") for part in item.lines]
    rest = "".join(f'<tspan x="{x:.2f}%" dx="{item.dx}" dy="15">{text}</tspan>' for text in others)
    return f'<text class="{item.style}" x="{x:.2f}%" y="{y:.2f}%" dx="{item.dx}" dy="{item.dy}">{first}{rest}</text>'


def _short(values: Floats) -> list[str]:
    """Coordinates with one decimal, without needless zeros."""
    clipped = np.clip(np.nan_to_num(values), -2000.0, 3000.0)
    return [f"{v:.1f}".removesuffix(".0") for v in clipped.tolist()]


def _path(d: str, style: str) -> str:
    return f'<path class="{style}" d="{d}"/>' if d else ""
