"""Losses: knock or leak? Every dropped cycle around its loss."""

import numpy as np

from tracekit.model.result import StationResult
from tracekit.options.segment import SegmentOptions
from tracekit.report.plot import (
    Axis,
    Cell,
    Column,
    Label,
    Picture,
    Plot,
    across,
    across_line,
    down_line,
    finish,
    line,
    round_up,
    upward,
)  # fmt: skip
from tracekit.report.view import Floats, is_list, spaced
from tracekit.report.words import Num, Text, count, join, say

_BEFORE_S, _AFTER_S, _MOST_LINES, _MOST_SAMPLES, _MOST_NUMBERS = 0.5, 0.3, 8, 400, 200
_SUDDEN_S = SegmentOptions().sudden_s

Curve = tuple[int, Floats, Floats]


def losses(result: StationResult, unit: str = "kPa") -> Picture | None:
    """Vacuum around each loss, aligned at the loss; None without a drop."""
    curves = _curves(result)
    if not curves:
        return None
    heading, caption = _heading(result, curves), _caption(result, curves)
    plot = _plot(result, curves)
    rows = _numbers(curves)
    columns = (Column(name="cycle"), Column(name="time from loss", unit="s"), Column(name="vacuum", unit="kPa"))
    return finish("losses", (heading, caption), plot, columns, rows, sum(len(t) for _, t, _ in curves), unit)


def fall_time_s(time: Floats, vacuum: Floats) -> float:
    """Seconds from the last moment above 90 % of the vacuum before the loss to the first below 20 % of it."""
    before = vacuum[(time >= -0.2) & (time <= 0.0)]
    if len(before) == 0:
        return float("nan")
    level = float(before.max())
    low = np.flatnonzero((vacuum < 0.2 * level) & (time > -0.05))
    if len(low) == 0:
        return float("nan")
    high = np.flatnonzero(vacuum[: low[0]] >= 0.9 * level)
    return float(time[low[0]] - time[high[-1]]) if len(high) else float("nan")


def _curves(result: StationResult) -> list[Curve]:
    """Cycle, time from the loss and vacuum of up to eight drops: from their samples, else from the averaged bins."""
    data = result.data
    lost = np.flatnonzero(data.cycles.where("outcome", "dropped") & np.isfinite(data.cycles.floats("drop_s")))
    samples = {e.cycle: (e.time_s, e.pressure_kpa) for e in data.excerpts}
    found: list[Curve] = []
    for cycle in spaced(lost, _MOST_LINES).tolist():
        rows = data.bins.cycle == cycle
        time, pressure = samples.get(cycle, (data.bins.time_s[rows], data.bins.pressure_kpa[rows]))
        since = time - data.cycles.floats("drop_s")[cycle]
        inside = np.flatnonzero((since >= -_BEFORE_S) & (since <= _AFTER_S))
        if len(inside) >= 4:
            kept = spaced(inside, _MOST_SAMPLES)
            found.append((cycle, since[kept], -pressure[kept]))
    return found


def _plot(result: StationResult, curves: list[Curve]) -> Plot:
    x = Axis(low=-_BEFORE_S, high=_AFTER_S, unit="s", name="seconds from the loss")
    highest = max(float(v.max()) for _, _, v in curves)
    lowest = min(0.0, *(float(v.min()) for _, _, v in curves))
    y = Axis(low=lowest, high=round_up(highest * 1.05), unit="kPa", name="{} of vacuum")
    marks = [down_line(float(across(x, [0.0])[0]), "axis")]
    labels: list[Label] = []
    reset = result.data.settings.get("reset_point")
    if reset is not None and reset.value_kpa is not None:
        value = reset.value_kpa
        marks.append(across_line(float(upward(y, [value])[0]), "limit"))
        words = say("reset {}", Num(value=value, unit="kPa", step=1.0, bare=True))
        labels.append(Label(x=x.high, y=value, lines=(words,), style="", dx=6))
    marks += [line(across(x, t), upward(y, v), "thin odd") for _, t, v in curves]
    labels += _numbers_at_start(curves, x)
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels))


def _numbers_at_start(curves: list[Curve], x: Axis) -> list[Label]:
    """Cycle numbers on the lines, spread along them so that none covers another."""
    labels = []
    for place, (cycle, time, vacuum) in enumerate(curves):
        at = x.low + (place + 0.5) / len(curves) * (_BEFORE_S - 0.06)
        level = float(np.interp(at, time, vacuum))
        labels.append(Label(x=at, y=level, lines=(count(cycle),), style="mid t-odd", dy=-6 if place % 2 else 15))
    return labels


def _heading(result: StationResult, curves: list[Curve]) -> Text:
    """As in "5 cycles lost within 0.05 s."."""
    n = int(result.data.cycles.where("outcome", "dropped").sum())
    times = np.array([fall_time_s(t, v) for _, t, v in curves])
    good = times[np.isfinite(times)]
    noun = "cycle" if n == 1 else "cycles"
    if len(good) < len(curves) or not len(good):
        return (f"{count(n)} {noun} lost in the hold.",)
    longest = Num(value=float(good.max()), unit="s", step=0.01)
    if n == len(curves):
        return say("{} {} lost within {}.", n, noun, longest)
    return say("{} {} lost; the {} drawn fell within {}.", n, noun, len(curves), longest)


def _caption(result: StationResult, curves: list[Curve]) -> Text:
    """How soon each drawn line falls from nine tenths to a fifth, as the picture shows it.

    A loss of which the table says no kind, or that it calls gradual though its line falls fast, is neither.
    """
    lost = int(result.data.cycles.where("outcome", "dropped").sum())
    times = {cycle: fall_time_s(time, vacuum) for cycle, time, vacuum in curves}
    kinds = result.data.cycles.texts("drop_kind")
    doubted = {c for c, t in times.items() if kinds[c] is None or (kinds[c] == "gradual" and t <= _SUDDEN_S)}
    unsure = [c for c, t in times.items() if c in doubted and np.isfinite(t)]
    quick = [c for c, t in times.items() if t <= _SUDDEN_S and c not in unsure]
    slow = [c for c, t in times.items() if t > _SUDDEN_S and c not in unsure]
    beyond = [c for c, t in times.items() if np.isnan(t)]
    parts: list[Text] = [("One line is one cycle, named by its number; zero is the loss.",)]
    for words, own in (("Sudden", quick), ("Slow", slow), ("Neither plainly sudden nor slow", unsure)):
        if own:
            longest = Num(value=max(times[c] for c in own), unit="s", step=0.01)
            parts.append(say("{}, down to a fifth within {}: {}.", words, longest, _cycles(own)))
    if beyond:
        parts.append((f"Whole fall not in the picture: {_cycles(beyond)}.",))
    if len(curves) < lost:
        parts.append((f"{count(len(curves))} of {count(lost)} drawn.",))
    return join(parts)


def _cycles(own: list[int]) -> str:
    return f"cycle{'s' if len(own) > 1 else ''} {is_list(own)}"


def _numbers(curves: list[Curve]) -> tuple[tuple[Cell, ...], ...]:
    rows = [(c, float(t), float(v)) for c, time, vac in curves for t, v in zip(time, vac, strict=True)]
    return tuple(rows[i] for i in spaced(np.arange(len(rows)), _MOST_NUMBERS))
