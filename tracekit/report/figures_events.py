"""Figures for notebooks of what happens in single cycles: losses, a chattering hold."""

from html import escape
from typing import TYPE_CHECKING, Any

from tracekit.report.plot import Picture
from tracekit.report.words import PAGE_UNITS, is_pressure

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

_USUAL, _ODD = "#4478AE", "#8F2E0C"


def losses_figure(picture: Picture, unit: str) -> "Figure":
    """A line per lost cycle, aligned at its loss."""
    import plotly.graph_objects as go

    made = go.Figure()
    factor = _factor(picture, 2, unit)
    for cycle in dict.fromkeys(row[0] for row in picture.rows):
        own = [row for row in picture.rows if row[0] == cycle]
        made.add_trace(
            _trace([row[1] for row in own], [_scaled(row[2], factor) for row in own], f"cycle {cycle}", _ODD)
        )
    made.update_xaxes(title_text="seconds from the loss")
    made.update_yaxes(title_text=f"vacuum [{unit}]")
    return made


def chatter_figure(picture: Picture, unit: str) -> "Figure":
    """The samples of a chattering hold as steps, with the output beneath on an axis of its own."""
    import plotly.graph_objects as go

    factor = _factor(picture, 1, unit)
    time = [row[0] for row in picture.rows]
    made = go.Figure()
    made.add_trace(_trace(time, [_scaled(row[1], factor) for row in picture.rows], "vacuum", _USUAL, "hv"))
    made.add_trace(_trace(time, [row[2] for row in picture.rows], "output on", _ODD, "hv", yaxis="y2"))
    made.update_layout(yaxis={"domain": [0.25, 1.0]}, yaxis2={"domain": [0.0, 0.18], "tickvals": [0, 1]})
    made.update_xaxes(title_text="seconds after the vacuum command")
    made.update_yaxes(title_text=f"vacuum [{unit}]", selector=0)
    return made


def _trace(x: list[Any], y: list[Any], name: str, colour: str, shape: str = "linear", **more: str) -> Any:
    import plotly.graph_objects as go

    line = {"color": colour, "width": 2.0, "shape": shape}
    return go.Scatter(x=x, y=y, mode="lines", name=escape(name), line=line, **more)


def _factor(picture: Picture, column: int, unit: str) -> float:
    return PAGE_UNITS[unit] if is_pressure(picture.columns[column].unit) else 1.0


def _scaled(value: object, factor: float) -> object:
    return value * factor if isinstance(value, float) else value
