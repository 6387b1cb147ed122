"""Pictures for notebooks: the page's own numbers and sentences as figures that can be zoomed, hovered and restyled.

plotly is loaded when a figure is made, never before.
"""

from collections.abc import Callable, Mapping, Sequence
from textwrap import wrap
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from tracekit.errors import UsageError, message, nearest
from tracekit.model.result import StationResult
from tracekit.report.figures_events import chatter_figure, losses_figure
from tracekit.report.phrases import NOTHING, cause_name
from tracekit.report.pictures.blowoff import blowoff
from tracekit.report.pictures.budget import budget
from tracekit.report.pictures.chatter import chatter
from tracekit.report.pictures.fall import fall
from tracekit.report.pictures.groups import groups
from tracekit.report.pictures.hold_rows import hold_rows
from tracekit.report.pictures.losses import losses
from tracekit.report.pictures.overlay import curves_of, odd_of
from tracekit.report.pictures.pulldown import pulldown
from tracekit.report.pictures.rates import rates
from tracekit.report.pictures.shape import shape
from tracekit.report.plot import Picture
from tracekit.report.text import escape
from tracekit.report.verdict import verdict
from tracekit.report.view import grid_spread, middle
from tracekit.report.words import PAGE_UNITS, is_pressure, plain

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

FIGURES: Mapping[str, str] = MappingProxyType({
    "recording": "the whole recording, thinned so that spikes survive, with the outcome of every cycle",
    "cycles": "all cycles over one another from their vacuum command, with median, middle 90 % and the odd ones",
    "rates": "the leak of every cycle with its 95 % interval, and the baseline's",
    "fall": "vacuum lost with the supply closed, median and middle 90 %, against the baseline",
    "shape": "the pooled fall of vacuum against what a hole and what pores would do",
    "groups": "the leak by part type, nest or found group",
    "evacuation": "the rise of vacuum, against the baseline",
    "release": "vacuum from the release command on, against the baseline",
    "holds": "what happens in each hold: refills, or the output going off",
    "chatter": "the worst chattering hold, every sample, and the output",
    "losses": "every lost part around its loss",
    "causes": "the chance of every cause",
    "budget": "what makes the interval of the leak wide",
})  # fmt: skip
"""Names that `figure` takes, and what each shows."""
PICTURE_IDS: Mapping[str, str] = MappingProxyType(
    {"pulldown": "evacuation", "blowoff": "release", "overlay": "cycles", "strip": "recording"}
)
"""What the page calls pictures that have another name here; `figure` takes both."""

_INK, _SOFT, _RULE, _PAPER = "#14212B", "#495863", "#C4CED3", "#F8FAFA"
_USUAL, _USUAL_BAND, _ODD, _BASE = "#4478AE", "rgba(68,120,174,0.25)", "#8F2E0C", "#6A675B"
_SIGNS = {"held": "line-ew", "dropped": "triangle-down", "missed": "circle-open", "incomplete": "line-ne"}
_GRID, _MOST_CURVES = 160, 400


def figure(result: StationResult, name: str, unit: str = "kPa") -> "Figure":
    """One of `FIGURES` as a plotly figure, pressures in `unit`.

    Raises UsageError for a name that is not known, with the nearest known one, and where the log does not show it.
    """
    name = PICTURE_IDS.get(name, name)
    if name not in FIGURES:
        raise UsageError(message("figure", f'"{name}"', "the name of a figure", nearest(name, FIGURES)))
    if name in _OWN:
        return _OWN[name](result, unit)
    make, draw = _OF_PICTURES[name]
    picture = make(result, unit)
    if picture is None:
        raise _not_shown(name)
    made = draw(picture, unit)
    return _titled(made, plain(picture.heading, unit))


def _not_shown(name: str) -> UsageError:
    return UsageError(
        message("figure", f'nothing to draw for "{name}"', "a log that shows it", f"It needs: {FIGURES[name]}.")
    )


def _titled(made: "Figure", title: str) -> "Figure":
    """The common dress: title, fonts, grid, colours of the page."""
    made.update_layout(
        title={"text": "<br>".join(map(escape, wrap(title, 64))), "x": 0.01, "xanchor": "left", "font": {"size": 16}},
        paper_bgcolor=_PAPER,
        plot_bgcolor=_PAPER,
        font={"family": "Segoe UI, system-ui, Noto Sans, Liberation Sans, sans-serif", "color": _INK, "size": 14},
        hovermode="closest",
        margin={"l": 64, "r": 24, "t": 56, "b": 56},
        legend={"orientation": "h", "y": -0.2},
    )
    made.update_xaxes(gridcolor=_RULE, zeroline=False)
    made.update_yaxes(gridcolor=_RULE, zeroline=False)
    return made


def _graph() -> Any:
    import plotly.graph_objects as go

    return go


def _columns(picture: Picture, unit: str) -> list[list[Any]]:
    """The numbers of a picture by column, pressures in `unit`, missing ones as None."""
    factors = [PAGE_UNITS[unit] if is_pressure(c.unit) else 1.0 for c in picture.columns]
    rows = [[v * f if isinstance(v, float) else v for v, f in zip(row, factors, strict=True)] for row in picture.rows]
    return [list(column) for column in zip(*rows, strict=True)] if rows else [[] for _ in factors]


def _named(picture: Picture, unit: str) -> list[str]:
    """The names of the columns with their units."""
    shown = [unit + c.unit[3:] if is_pressure(c.unit) else c.unit for c in picture.columns]
    return [f"{c.name} [{u}]" if u else c.name for c, u in zip(picture.columns, shown, strict=True)]


def _line(x: Sequence[Any], y: Sequence[Any], name: str, colour: str, dash: str = "solid") -> Any:
    return _graph().Scatter(
        x=x, y=y, mode="lines", name=escape(name), line={"color": colour, "width": 2.5, "dash": dash}
    )


def _band(x: Sequence[Any], low: Sequence[Any], high: Sequence[Any], name: str, edge: float = 0.0) -> Any:
    return _graph().Scatter(
        x=[*x, *reversed(x)],
        y=[*low, *reversed(high)],
        fill="toself",
        mode="lines",
        line={"width": edge, "color": _USUAL},
        fillcolor=_USUAL_BAND,
        name=name,
        hoverinfo="skip",
    )


def _lines(picture: Picture, unit: str) -> "Figure":
    """A curve per column over the first; the baseline dashed."""
    x, *others = _columns(picture, unit)
    first, *names = _named(picture, unit)
    made = _graph().Figure()
    colours = iter((_USUAL, _ODD, _INK, _SOFT))
    for values, name in zip(others, names, strict=True):
        if all(v is None for v in values):
            continue
        base = name.startswith(("baseline", "others"))
        made.add_trace(_line(x, values, name, _BASE if base else next(colours), "dash" if base else "solid"))
    made.update_xaxes(title_text=first)
    made.update_yaxes(title_text=f"{'vacuum lost' if picture.id == 'shape' else 'vacuum'} [{unit}]")
    return made


def _fall(picture: Picture, unit: str) -> "Figure":
    time, mid, low, high, base = _columns(picture, unit)
    names = _named(picture, unit)
    made = _graph().Figure()
    made.add_trace(_band(time, low, high, "middle 90 %"))
    made.add_trace(_line(time, mid, "this log", _USUAL))
    if any(v is not None for v in base):
        made.add_trace(_line(time, base, picture.columns[4].name.removesuffix(" median"), _BASE, "dash"))
    made.update_xaxes(title_text=names[0])
    made.update_yaxes(title_text=names[1], autorange="reversed")
    return made


def _holds(picture: Picture, unit: str) -> "Figure":
    cycle, start, stop = _columns(picture, unit)
    width = [b - a for a, b in zip(start, stop, strict=True)]
    made = _graph().Figure(
        _graph().Bar(
            x=width,
            base=start,
            y=cycle,
            orientation="h",
            marker={"color": _ODD, "line": {"width": 0}},
            name=escape(picture.columns[1].name.removesuffix(" from")),
        )
    )
    made.update_xaxes(title_text="seconds after the vacuum command")
    made.update_yaxes(title_text="cycle", autorange="reversed")
    return made


def _groups(picture: Picture, unit: str) -> "Figure":
    group, cycle, rate = _columns(picture, unit)
    made = _graph().Figure(
        _graph().Box(
            x=[escape(g) for g in group],
            y=rate,
            boxpoints="all",
            pointpos=0,
            jitter=0.4,
            line={"color": _INK},
            fillcolor=_USUAL_BAND,
            marker={"color": _USUAL},
            text=[f"cycle {c}" for c in cycle],
            name="leak",
        )
    )
    made.update_yaxes(title_text=_named(picture, unit)[2], rangemode="tozero")
    return made


def _budget(picture: Picture, unit: str) -> "Figure":
    source, size, shrinks = _columns(picture, unit)
    made = _graph().Figure(
        _graph().Bar(
            x=size,
            y=[escape(s) for s in source],
            orientation="h",
            text=["shrinks with more cycles" if s == "yes" else "" for s in shrinks],
            marker={"color": [_USUAL if s == "yes" else _INK for s in shrinks]},
        )
    )
    made.update_xaxes(title_text=_named(picture, unit)[1])
    made.update_yaxes(autorange="reversed")
    return made


def _rates(result: StationResult, unit: str) -> "Figure":
    leak, factor = result.leak, PAGE_UNITS[unit]
    known = np.flatnonzero(np.isfinite(leak.rate))
    picture = rates(result, unit)
    if picture is None:
        raise _not_shown("rates")
    odd = odd_of(result)[known]
    made = _graph().Figure()
    for flag, name, colour, sign in ((~odd, "usual", _USUAL, "circle"), (odd, "named by the finding", _ODD, "square")):
        rows = known[flag]
        if len(rows):
            value, low, high = (v[rows] * factor for v in (leak.rate, leak.rate_lower, leak.rate_upper))
            bars = {"type": "data", "symmetric": False, "array": high - value, "arrayminus": value - low, "width": 0}
            made.add_trace(
                _graph().Scatter(
                    x=rows, y=value, mode="markers", name=name, marker={"color": colour, "symbol": sign}, error_y=bars
                )
            )
    if result.baseline_leak is not None and np.isfinite(result.baseline_leak.rate).sum() >= 5:
        five, mid, ninety_five = (v * factor for v in middle(result.baseline_leak.rate))
        made.add_hrect(y0=five, y1=ninety_five, fillcolor=_BASE, opacity=0.2, line_width=0)
        made.add_hline(y=mid, line={"color": _BASE, "dash": "dash"}, annotation_text="baseline")
    made.update_xaxes(title_text="cycle")
    made.update_yaxes(title_text=f"vacuum lost [{unit}/s]", rangemode="tozero")
    return _titled(made, plain(picture.heading, unit))


def _recording(result: StationResult, unit: str) -> "Figure":
    thin, factor = result.data.strip, PAGE_UNITS[unit]
    if len(thin.time_s) < 2:
        raise _not_shown("recording")
    made = _graph().Figure()
    made.add_trace(
        _band(
            thin.time_s.tolist(),
            (-thin.highest_kpa * factor).tolist(),
            (-thin.lowest_kpa * factor).tolist(),
            "vacuum",
            edge=1.0,
        )
    )
    cycles = result.data.cycles
    middle_s = 0.5 * (cycles.floats("start_s") + cycles.floats("end_s"))
    top = float(np.nanmax(-thin.lowest_kpa)) * factor * 1.06
    for outcome, sign in _SIGNS.items():
        rows = np.flatnonzero(cycles.where("outcome", outcome))
        if len(rows):
            colour = _SOFT if outcome == "held" else _ODD
            made.add_trace(
                _graph().Scatter(
                    x=middle_s[rows],
                    y=np.full(len(rows), top),
                    mode="markers",
                    name=outcome,
                    text=[f"cycle {r}" for r in rows],
                    marker={"symbol": sign, "color": colour, "size": 10, "line": {"color": colour, "width": 2}},
                )
            )
    made.update_xaxes(title_text="seconds since the start of the log")
    made.update_yaxes(title_text=f"vacuum [{unit}]")
    return _titled(made, f"{result.data.station}: {verdict(result).headline}")


def _cycles(result: StationResult, unit: str) -> "Figure":
    curves = curves_of(result.data, list(range(len(result.data.cycles))))
    if not curves:
        raise _not_shown("cycles")
    factor, odd = PAGE_UNITS[unit], odd_of(result)
    usual = [v for c, v in curves.items() if not odd[c]] or list(curves.values())
    end = float(np.median([t[-1] for t, _ in usual]))
    grid = np.linspace(0.0, end, _GRID)
    low, mid, high, _ = grid_spread([np.interp(grid, t, v, right=np.nan) for t, v in usual[:_MOST_CURVES]])
    made = _graph().Figure()
    made.add_trace(_band(grid.tolist(), (low * factor).tolist(), (high * factor).tolist(), "middle 90 %"))
    made.add_trace(_line(grid.tolist(), (mid * factor).tolist(), "median", _USUAL))
    for c in np.flatnonzero(odd)[:12].tolist():
        if c in curves:
            made.add_trace(_line(curves[c][0].tolist(), (curves[c][1] * factor).tolist(), f"cycle {c}", _ODD))
    made.update_xaxes(title_text="seconds after the vacuum command")
    made.update_yaxes(title_text=f"vacuum [{unit}]")
    return _titled(made, f"{result.data.station}: {len(curves)} cycles over one another")


def _causes(result: StationResult, _unit: str) -> "Figure":
    known = sorted(result.causes, key=lambda c: c.chance)
    names = [cause_name(NOTHING[0] if c.code in NOTHING else c.code) for c in known]
    made = _graph().Figure(
        _graph().Bar(
            x=[c.chance for c in known],
            y=names,
            orientation="h",
            text=[escape(c.reason) for c in known],
            textposition="none",
            hovertemplate="%{y}: %{x:.2f}<br>%{text}<extra></extra>",
            marker={"color": _INK},
        )
    )
    made.update_xaxes(title_text="chance that it is the first to repair", range=[0, 1])
    return _titled(made, f"{result.data.station}: {verdict(result).headline}")


_OWN: Mapping[str, Callable[[StationResult, str], "Figure"]] = MappingProxyType(
    {"recording": _recording, "cycles": _cycles, "rates": _rates, "causes": _causes}
)
_Make = Callable[[StationResult, str], Picture | None]
_Draw = Callable[[Picture, str], "Figure"]
_OF_PICTURES: Mapping[str, tuple[_Make, _Draw]] = MappingProxyType(
    {
        "fall": (fall, _fall),
        "shape": (shape, _lines),
        "groups": (groups, _groups),
        "evacuation": (pulldown, _lines),
        "release": (blowoff, _lines),
        "holds": (hold_rows, _holds),
        "chatter": (chatter, chatter_figure),
        "losses": (losses, losses_figure),
        "budget": (budget, _budget),
    }
)
