"""Dip: when in the hold does vacuum fall for a moment?"""

import numpy as np

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.model.result import StationResult
from tracekit.report.pictures.overlay import curves_of
from tracekit.report.pictures.pulldown import drawn_of
from tracekit.report.plot import (
    Axis,
    Cell,
    Column,
    Label,
    Picture,
    Plot,
    across,
    band,
    dots,
    down_line,
    finish,
    line,
    upward,
)  # fmt: skip
from tracekit.report.view import Floats, Mask, grid_spread, main_finding, spaced, touched
from tracekit.report.words import Num, Text, join, say, share_of

_MOST_CYCLES, _LEAST, _STEP_S, _SETTLED_S = 80, 8, 0.02, 0.06
_ENDED, _MOTION = 0.1, "motion_dips"
"""The share of holds after whose end nothing is drawn; the code of dips that come with motion."""
_AFTER_S, _OVER_S, _LEAST_KPA, _OF_STEEPEST = 0.15, 0.1, 0.5, 0.2
"""The surge of the closing supply is over, a move's dip takes about that long, and is clear; where its fall ends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Hold:
    """Vacuum over time since part present: 5 %, 50 % and 95 % of the cycles at each time."""

    time_s: Floats
    low: Floats
    mid: Floats
    high: Floats
    cycles: int


def dip(result: StationResult, unit: str = "kPa") -> Picture | None:
    """Vacuum of the hold from part present on, with where it dips; None where no dip is common to the holds.

    Where the main finding is about dips of a part of the cycles, those are drawn.
    """
    main = main_finding(result)
    part = touched(result) if main is not None and main.code == _MOTION else None
    here = _hold(result.data, part)
    base = _hold(result.baseline, None) if result.baseline is not None else None
    at = _dip(here, base) if here is not None else None
    if here is None or at is None:
        return None
    when = Num(value=float(here.time_s[at]), unit="s", step=_STEP_S)
    end = " In the baseline it does not." if base is not None else ""
    heading = say(f"Vacuum dips {{}} after part present.{end}", when)
    held = result.data.cycles.where("outcome", "held")
    total = int((held if part is None else held & part).sum())
    columns = (
        Column(name="time after part present", unit="s"), Column(name="median vacuum", unit="kPa"),
        Column(name="5 %", unit="kPa"), Column(name="95 %", unit="kPa"), Column(name="baseline median", unit="kPa"),
    )  # fmt: skip
    rows = _numbers(here, base)
    return finish(
        "dip",
        (heading, _caption(here, base, total, whole=part is None)),
        _plot(here, base, at),
        columns,
        rows,
        len(rows),
        unit,
    )


def _hold(data: StationData, part: Mask | None) -> _Hold | None:
    """The holds laid over one another at part present, as far as nearly all of them last; None under eight.

    Where many have ended the median is that of others, and steps for no other reason.
    """
    starts, ends = data.cycles.floats("hold_start_s"), data.cycles.floats("hold_end_s")
    whole = data.cycles.where("outcome", "held") & np.isfinite(starts) & np.isfinite(ends)
    whole = whole if part is None else whole & part
    since = starts - data.cycles.floats("start_s")
    curves = curves_of(data, spaced(np.flatnonzero(whole), _MOST_CYCLES).tolist())
    if len(curves) < _LEAST:
        return None
    grid = np.arange(_SETTLED_S, float(np.quantile((ends - starts)[whole], _ENDED)), _STEP_S)
    if len(grid) * _STEP_S < 2.0 * _AFTER_S:
        return None
    lasts = ends - starts
    low, mid, high, _ = grid_spread(
        [np.where(grid <= lasts[c], np.interp(grid, t - since[c], v), np.nan) for c, (t, v) in curves.items()]
    )
    return _Hold(time_s=grid, low=low, mid=mid, high=high, cycles=len(curves))


def _dip(here: _Hold, base: _Hold | None) -> int | None:
    """Where on the grid the fall begins that is furthest beyond the baseline's; None where none is clear."""
    over = round(_OVER_S / _STEP_S)
    if len(here.mid) <= 2 * over:
        return None
    fall = here.mid[:-over] - here.mid[over:]
    usual = np.zeros_like(fall)
    if base is not None:
        mid = np.interp(here.time_s, base.time_s, base.mid)
        usual = np.maximum(mid[:-over] - mid[over:], 0.0)  # a refill there makes no fall here
    more = np.where(here.time_s[:-over] >= _AFTER_S, fall - usual, -np.inf)
    at = int(np.nanargmax(more))
    if not more[at] >= _LEAST_KPA:
        return None
    least = _OF_STEEPEST * float(here.mid[at] - here.mid[at + over]) / over
    while at > 0 and here.mid[at - 1] - here.mid[at] > least and here.time_s[at - 1] >= _AFTER_S:
        at -= 1
    while here.mid[at] - here.mid[at + 1] <= least:
        at += 1
    return at


def _plot(here: _Hold, base: _Hold | None, at: int) -> Plot:
    both = [here] if base is None else [here, base]
    x = Axis(low=0.0, high=float(max(h.time_s[-1] for h in both)), unit="s", name="seconds after part present")
    lowest = min(float(np.nanmin(here.low)), *(float(np.nanmin(h.mid)) for h in both))
    highest = max(float(np.nanmax(here.high)), *(float(np.nanmax(h.mid)) for h in both))
    room = 0.06 * (highest - lowest)
    y = Axis(low=lowest - room, high=highest + room, unit="kPa", name="{} of vacuum")
    when, level = float(here.time_s[at]), float(here.mid[at])
    marks = [band(across(x, here.time_s), upward(y, here.low), upward(y, here.high), "f-usual")]
    if base is not None:
        marks.append(line(across(x, base.time_s), upward(y, base.mid), "thin base dash"))
    marks.append(line(across(x, here.time_s), upward(y, here.mid), "line usual"))
    marks += [
        down_line(float(across(x, [when])[0]), "limit"),
        dots(across(x, [when]), upward(y, [level]), "squares odd"),
    ]
    told = Num(value=when, unit="s", step=_STEP_S)
    labels = [
        Label(x=when, y=y.low, lines=((told,),), style="t-odd", dx=6, dy=-8),
        Label(x=x.high, y=float(here.mid[-1]), lines=("this log",), style="t-usual", dx=8, dy=-5 if base else 4),
    ]
    if base is not None:
        labels[1], other = _apart(x.high, here, base, y)
        labels.append(other)
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), style="tall")


def _apart(at_s: float, here: _Hold, base: _Hold, y: Axis) -> tuple[Label, Label]:
    """Both names at the right, at least 17 px apart."""
    gap = float(here.mid[-1] - base.mid[-1]) / (y.high - y.low) * 240.0
    push = int(max(0.0, 18.0 - abs(gap)) / 2.0) + 1
    up, down = (4 - push, 4 + push) if gap >= 0 else (4 + push, 4 - push)
    return (
        Label(x=at_s, y=float(here.mid[-1]), lines=("this log",), style="t-usual", dx=8, dy=up),
        Label(x=at_s, y=float(base.mid[-1]), lines=("baseline",), style="t-base", dx=8, dy=down),
    )


def _caption(here: _Hold, base: _Hold | None, total: int, *, whole: bool) -> Text:
    which = share_of(here.cycles, total, "held cycles") if whole else drawn_of(here.cycles, total, whole=False)
    parts: list[Text] = [(f"Line: median of {which}. Band: middle 90 %.",)]
    if base is not None:
        parts.append(("Dashed line: the baseline.",))
    parts.append(("Square: where the dip begins.",))
    return join(parts)


def _numbers(here: _Hold, base: _Hold | None) -> tuple[tuple[Cell, ...], ...]:
    other = np.full(len(here.time_s), np.nan)
    if base is not None:
        other = np.interp(here.time_s, base.time_s, base.mid, left=np.nan, right=np.nan)
    rows = zip(here.time_s, here.mid, here.low, here.high, other, strict=True)
    return tuple((float(t), *(None if np.isnan(v) else float(v) for v in own)) for t, *own in rows)
