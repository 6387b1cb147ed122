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
    caption: Text = (
        "Dots: fall pooled over all closed stretches, with 95 % intervals, gas warming taken out. ",
        "Lines: what a hole and pores would do. All points together decide, no single one.",
    )
    columns = (
        Column(name="time", unit="s"),
        Column(name="lost", unit="kPa"),
        Column(name="hole", unit="kPa"),
        Column(name="pores", unit="kPa"),
    )
    table = zip(found.time_s, found.lost_kpa, found.hole_kpa, found.porous_kpa, strict=True)
    rows = tuple(tuple(float(v) for v in row) for row in table)
    return finish("shape", (heading, caption), _plot(found, leak.mechanism), columns, rows, len(rows), unit)


def _plot(found: CoastShape, mechanism: str) -> Plot:
    x = Axis(low=0.0, high=float(found.time_s[-1]) * 1.02, unit="s", name="seconds of closed supply")
    high = float(np.nanmax(np.concatenate((found.lost_kpa + 2.0 * found.lost_u_kpa, found.hole_kpa, found.porous_kpa))))
    y = Axis(low=0.0, high=round_up(high), unit="kPa", name="{} of vacuum lost", down=True)
    xs = across(x, found.time_s)
    low, up = found.lost_kpa - 2.0 * found.lost_u_kpa, found.lost_kpa + 2.0 * found.lost_u_kpa
    winner, other = ("hole", "pores") if mechanism == "hole" else ("pores", "hole")
    curves = {"hole": found.hole_kpa, "pores": found.porous_kpa}
    marks = (
        line(xs, upward(y, curves[other]), "line base dash"),
        line(xs, upward(y, curves[winner]), "line usual"),
        uprights(xs, upward(y, np.maximum(low, 0.0)), upward(y, up), "line ink"),
        dots(xs, upward(y, found.lost_kpa), "dots ink"),
    )
    ends = {name: float(curve[-1]) for name, curve in curves.items()}
    gap_px = abs(ends["hole"] - ends["pores"]) / y.high * 180.0
    push = int(max(0.0, 17.0 - gap_px) / 2.0) + 1 if gap_px < 17.0 else 0
    labels = tuple(
        Label(
            x=float(found.time_s[-1]), y=ends[name], lines=(name,), style="t-usual" if name == winner else "t-base",
            dx=8, dy=4 + (push if ends[name] == max(ends.values()) else -push),
        )
        for name in (winner, other)
    )  # fmt: skip
    return Plot(x=x, y=y, marks=marks, labels=labels)
