"""Coast shape: hole or pores?"""

import numpy as np

from tracekit.model.result import CoastShape, StationResult
from tracekit.report.plot import (
    Axis,
    Column,
    Label,
    Picture,
    Plot,
    across,
    dots,
    finish,
    line,
    round_up,
    uprights,
    upward,
)
from tracekit.report.words import Text, chance

_LEAST_KPA, _HIGH_PX, _LINE_PX = 0.01, 180.0, 17.0
_FORMS = {"hole": "a hole", "porous": "pores", "mixture": "holes and pores together"}


def shape(result: StationResult, unit: str = "kPa") -> Picture | None:
    """Pooled fall against the two expected curves; None where the form is undecided or nothing was pooled."""
    leak = result.leak
    found = leak.shape
    if found is None or leak.mechanism not in ("hole", "porous") or len(found.time_s) < 4:
        return None
    sure = leak.form_probability.get(leak.mechanism)
    tail = f", chance {chance(sure)}" if sure is not None else ""
    heading: Text = (f"The fall bends as through {_FORMS[leak.mechanism]}{tail}.",)
    own, other = _named(leak.mechanism)
    caption: Text = (
        f"Dots: fall pooled over all closed stretches, less what {own} would give, with 95 % intervals, gas warming ",
        f"taken out. Level line: {own}; dashed: {other}. All points together decide, no single one.",
    )
    columns = (
        Column(name="time", unit="s"),
        Column(name="lost", unit="kPa", step=0.001),
        Column(name="hole", unit="kPa", step=0.001),
        Column(name="pores", unit="kPa", step=0.001),
        Column(name="95 % interval ±", unit="kPa", step=0.001),
    )
    table = zip(found.time_s, found.lost_kpa, found.hole_kpa, found.porous_kpa, 2.0 * found.lost_u_kpa, strict=True)
    rows = tuple(tuple(float(v) for v in row) for row in table)
    return finish("shape", (heading, caption), _plot(found, leak.mechanism), columns, rows, len(rows), unit)


def _named(mechanism: str) -> tuple[str, str]:
    """The form that was found and the other one, in words."""
    return ("a hole", "pores") if mechanism == "hole" else ("pores", "a hole")


def _plot(found: CoastShape, mechanism: str) -> Plot:
    """The fall less that of the form found: falls of some kPa would hide by how little the two forms differ."""
    own, other = (found.hole_kpa, found.porous_kpa)[:: 1 if mechanism == "hole" else -1]
    names = _named(mechanism)
    x = Axis(low=0.0, high=float(found.time_s[-1]) * 1.02, unit="s", name="seconds of closed supply")
    apart, rest = other - own, found.lost_kpa - own
    low, up = rest - 2.0 * found.lost_u_kpa, rest + 2.0 * found.lost_u_kpa
    seen = np.concatenate((apart, rest, np.clip(low, 3.0 * rest.min(), 0.0), np.clip(up, 0.0, 3.0 * rest.max())))
    reach = round_up(1.1 * max(float(np.nanmax(np.abs(seen))), _LEAST_KPA))
    y = Axis(low=-reach, high=reach, unit="kPa", name=f"{{}} more lost than through {names[0]}")
    xs = across(x, found.time_s)
    marks = (
        line(xs, upward(y, apart), "line base dash"),
        line(across(x, np.array([0.0, x.high])), upward(y, np.zeros(2)), "line usual"),
        uprights(xs, upward(y, np.maximum(low, -reach)), upward(y, np.minimum(up, reach)), "line ink"),
        dots(xs, upward(y, np.clip(rest, -reach, reach)), "dots ink"),
    )
    ends = (0.0, float(apart[-1]))
    gap_px = abs(ends[1]) / (2.0 * reach) * _HIGH_PX
    push = int(max(0.0, _LINE_PX - gap_px) / 2.0) + 1 if gap_px < _LINE_PX else 0
    labels = tuple(
        Label(
            x=float(found.time_s[-1]), y=end, lines=(name,), style=style, dx=8,
            dy=4 + (-push if end == max(ends) else push),
        )
        for name, end, style in zip(names, ends, ("t-usual", "t-base"), strict=True)
    )  # fmt: skip
    return Plot(x=x, y=y, marks=marks, labels=labels, style="signed")
