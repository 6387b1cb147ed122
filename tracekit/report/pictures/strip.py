"""Recording strip: when did it happen? Outcome of every cycle over the trace of the whole recording."""

import numpy as np

from tracekit.model.result import StationResult
from tracekit.model.trace import LogFacts
from tracekit.report.plot import Axis, Cell, Column, Label, Picture, Plot, across, band, bars, finish, upward
from tracekit.report.view import counts, is_list, spaced, unmeasured
from tracekit.report.words import Num, Text, count, join, say

_LONG = 2.0  # usual cycles
_MOST_NUMBERS, _MOST_SYMBOLS, _LANE, _MOST_GAPS, _MOST_LISTED = 200, 120, 60.0, 4, 12
_SYMBOLS = {"dropped": "▼", "missed": "○", "incomplete": "╱"}
_UNMEASURED = "×"


def strip(result: StationResult, logs: tuple[LogFacts, ...], unit: str = "kPa") -> Picture | None:
    """The whole recording with every cycle's outcome; None without a single reading of the pressure."""
    data = result.data
    if len(data.strip.time_s) < 2 or not np.isfinite(data.strip.highest_kpa).any():
        return None
    heading, caption = _heading(result), _caption(result, logs)
    plot = _plot(result, logs)
    columns = (Column(name="cycle"), Column(name="start", unit="s"), Column(name="outcome"))
    names, starts = data.cycles.texts("outcome"), data.cycles.floats("start_s")
    kept = spaced(np.arange(len(names)), _MOST_NUMBERS).tolist()
    rows: tuple[tuple[Cell, ...], ...] = tuple((i, float(starts[i]), names[i] or "") for i in kept)
    return finish("strip", (heading, caption), plot, columns, rows, len(names), unit)


def _plot(result: StationResult, logs: tuple[LogFacts, ...]) -> Plot:
    data = result.data
    thin = data.strip
    x = Axis(
        low=float(thin.time_s[0]), high=float(thin.time_s[-1]), unit="s", name="seconds since the start of the log"
    )
    low, high = -thin.highest_kpa, -thin.lowest_kpa
    top, foot = float(np.nanmax(high)), float(np.nanmin(low))
    room = max(top - foot, 1.0)
    y = Axis(low=foot - 0.03 * room, high=top + 0.16 * room, unit="kPa", name="{} of vacuum")
    marks = [
        band(
            across(x, thin.time_s),
            upward(y, low),
            upward(y, np.maximum(high, low + 0.004 * room)),
            "solid-usual usual hair",
        )
    ]
    still = unmeasured(data)
    held = np.flatnonzero(data.cycles.where("outcome", "held") & ~still)
    start, end = data.cycles.floats("start_s"), data.cycles.floats("end_s")
    lasting = end[held] - start[held]
    if len(lasting):  # the last cycle's end is that of the log
        lasting = np.minimum(lasting, _LONG * np.median(lasting))
    ends = start[held] + 0.8 * lasting
    marks.append(bars(across(x, start[held]), across(x, ends), np.full(len(held), _LANE), "r5 tick"))
    labels = _symbols(result, y)
    gaps = [g for log in logs for g in log.gaps if x.low <= g[0] <= x.high][:_MOST_GAPS]
    for left, _ in gaps:
        labels.append(Label(x=left, y=y.low, lines=("gap",), style="strong", dy=-4))
    facts = (("strip", "1"), ("lo", f"{x.low:.6g}"), ("hi", f"{x.high:.6g}"))
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), style="low wide", facts=facts)


def _symbols(result: StationResult, y: Axis) -> list[Label]:
    """A wedge, a ring or a stroke above every cycle that was not held, a cross where nothing could be measured."""
    start, end = result.data.cycles.floats("start_s"), result.data.cycles.floats("end_s")
    at = y.high - _LANE / 1000.0 * (y.high - y.low)
    labels = []
    still = unmeasured(result.data)
    flags = {symbol: result.data.cycles.where("outcome", outcome) & ~still for outcome, symbol in _SYMBOLS.items()}
    for symbol, flag in (*flags.items(), (_UNMEASURED, still)):
        rows = spaced(np.flatnonzero(flag), _MOST_SYMBOLS)
        css = "mid" if symbol == _SYMBOLS["incomplete"] else "mid t-odd"
        labels += [
            Label(x=float(start[r] + end[r]) / 2.0, y=at, lines=(symbol,), style=css, dy=5) for r in rows.tolist()
        ]
    return labels


def _heading(result: StationResult) -> Text:
    """As in "The whole recording: 62 cycles, 56 held, 5 dropped, 1 missed."."""
    n = counts(result.data)
    if n["cycles"] == 0:
        return ("The whole recording: no cycle found.",)
    parts = [f"{count(n[k])} {k}" for k in ("held", "dropped", "missed", "incomplete") if n[k] or k == "held"]
    noun = "cycle" if n["cycles"] == 1 else "cycles"
    return (f"The whole recording: {count(n['cycles'])} {noun}, {', '.join(parts)}.",)


def _caption(result: StationResult, logs: tuple[LogFacts, ...]) -> Text:
    cycles = result.data.cycles
    parts: list[Text] = []
    signs = [("held", "bar"), *_SYMBOLS.items()]
    still = unmeasured(result.data)
    known = [(k, s) for k, s in signs if (cycles.where("outcome", k) & ~still).any()]
    shown = [f"{'grey bar' if s == 'bar' else s} {k}" for k, s in known]
    shown += [f"{_UNMEASURED} not measured"] if still.any() else []
    if shown:
        parts.append((f"Above the trace, one mark per cycle: {', '.join(shown)}.",))
    for outcome, word in (("dropped", "Dropped"), ("missed", "Missed")):
        rows = np.flatnonzero(cycles.where("outcome", outcome)).tolist()
        if rows:
            parts.append((f"{word}: {is_list(rows, _MOST_LISTED)}.",))
    if still.any():
        where = is_list(np.flatnonzero(still).tolist(), _MOST_LISTED)
        parts.append((f"Not measured, since the reading stands still: {where}.",))
    gaps = [stop - start for log in logs for start, stop in log.gaps]
    if gaps:
        longest = Num(value=float(max(gaps)), unit="s", step=0.1)
        parts.append(
            say("{} in the samples, the longest {}.", f"{count(len(gaps))} gap{'s' if len(gaps) > 1 else ''}", longest)
        )
    elif len(cycles):
        parts.append(("No gap in the samples.",))
    if len(cycles) > 1:
        usual = float(np.median(np.diff(cycles.floats("start_s"))))
        idle = float(result.data.strip.time_s[-1]) - float(cycles.floats("start_s")[-1]) - usual
        if idle > _LONG * usual:
            parts.append(say("The log runs on for {} after the last cycle.", Num(value=idle, unit="s", step=1.0)))
    return join(parts) if parts else ("The trace alone; no cycle was found in it.",)
