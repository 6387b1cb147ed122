"""Chatter zoom: why does the output flip?"""

import numpy as np

from tracekit.model.cycle import Excerpt
from tracekit.model.result import StationResult
from tracekit.report.plot import (
    Axis,
    Column,
    Label,
    Picture,
    Plot,
    across,
    across_line,
    band,
    bars,
    finish,
    stairs,
    upward,
)
from tracekit.report.view import Floats, spaced
from tracekit.report.words import Num, Text, count, say

_MOST_SAMPLES, _MOST_NUMBERS, _AROUND_S = 2000, 200, 0.1


def chatter(result: StationResult, unit: str = "kPa") -> Picture | None:
    """The worst chattering hold, every sample; None without chatter or without its samples."""
    excerpt = _worst(result)
    if excerpt is None:
        return None
    time, vacuum, present = _window(result, excerpt)
    if len(time) < 4:
        return None
    heading, caption = _heading(result), _caption(result, excerpt)
    plot = _plot(result, time, vacuum, present)
    columns = (Column(name="time in cycle", unit="s"), Column(name="vacuum", unit="kPa"), Column(name="output on"))
    kept = spaced(np.arange(len(time)), _MOST_NUMBERS)
    rows = tuple((float(time[i]), float(vacuum[i]), int(present[i])) for i in kept)
    return finish("chatter", (heading, caption), plot, columns, rows, len(time), unit)


def _worst(result: StationResult) -> Excerpt | None:
    """The excerpt of the cycle with most needless changes."""
    flips = result.data.cycles.codes("chatter_edges")
    known = [e for e in result.data.excerpts if 0 <= e.cycle < len(flips) and flips[e.cycle] > 0]
    return max(known, key=lambda e: int(flips[e.cycle]), default=None)


def _window(result: StationResult, excerpt: Excerpt) -> tuple[Floats, Floats, Floats]:
    """Samples around the output's changes: time since the cycle's start, vacuum, output."""
    edges = result.data.edges
    own = (
        edges.where("signal", "part_present") & (edges.codes("cycle") == excerpt.cycle) & (edges.codes("chatter") == 1)
    )
    when = edges.floats("time_s")[own]
    start = float(result.data.cycles.floats("start_s")[excerpt.cycle])
    if len(when) == 0:
        return excerpt.time_s[:0], excerpt.time_s[:0], excerpt.time_s[:0]
    inside = (excerpt.time_s >= when.min() - _AROUND_S) & (excerpt.time_s <= when.max() + _AROUND_S)
    rows = spaced(np.flatnonzero(inside), _MOST_SAMPLES)
    return excerpt.time_s[rows] - start, -excerpt.pressure_kpa[rows], excerpt.present[rows].astype(np.float64)


def _plot(result: StationResult, time: Floats, vacuum: Floats, present: Floats) -> Plot:
    set_point, reset_point = _setting(result, "set_point"), _setting(result, "reset_point")
    known = [v for v in (set_point, reset_point) if v is not None]
    low, high = float(min([vacuum.min(), *known])), float(max([vacuum.max(), *known]))
    room = max(high - low, 0.5)
    x = Axis(low=float(time[0]), high=float(time[-1]), unit="s", name="seconds after the vacuum command")
    y = Axis(low=low - 0.30 * room, high=high + 0.05 * room, unit="kPa", name="{} of vacuum")
    marks: list[str] = []
    labels: list[Label] = []
    if set_point is not None and reset_point is not None:
        ends = np.array([0.0, 1000.0])
        top, foot = upward(y, np.full(2, set_point)), upward(y, np.full(2, reset_point))
        marks.append(band(ends, foot, top, "f-base"))
    marks += [across_line(float(upward(y, [value])[0]), "limit") for value in known]
    labels += _margin_labels(set_point, reset_point, x, y)
    marks.append(stairs(across(x, time), upward(y, vacuum), "thin usual"))
    marks += _output_bars(time, present, x)
    labels.append(Label(x=x.high, y=y.low, lines=("output on",), style="t-odd", dx=6, dy=-9))
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), style="tall")


def _margin_labels(set_point: float | None, reset_point: float | None, x: Axis, y: Axis) -> list[Label]:
    """Threshold names in the right margin, 17 px apart in a plot of 240."""
    gap_px = (
        240.0 * (set_point - reset_point) / (y.high - y.low)
        if set_point is not None and reset_point is not None
        else 99.0
    )
    shift = int(max(0.0, (17.0 - abs(gap_px)) / 2.0)) + 1 if abs(gap_px) < 17.0 else 0
    labels = []
    up = -1 if gap_px >= 0.0 else 1
    for name, value, sign in (("set", set_point, up), ("reset", reset_point, -up)):
        if value is not None:
            words = say("{} {}", name, Num(value=value, unit="kPa", step=0.1, bare=True))
            labels.append(Label(x=x.high, y=value, lines=(words,), style="", dx=6, dy=4 + sign * shift))
    return labels


def _output_bars(time: Floats, present: Floats, x: Axis) -> list[str]:
    """Bars beneath while the output is on."""
    step = np.diff(np.concatenate(([0.0], (present > 0).astype(np.float64), [0.0])))
    start, stop = np.flatnonzero(step > 0), np.flatnonzero(step < 0)
    ends = np.append(time, time[-1])
    at = np.full(len(start), 945.0)
    return [bars(across(x, ends[start]), across(x, ends[stop]), at, "r8 odd")]


def _setting(result: StationResult, name: str) -> float | None:
    setting = result.data.settings.get(name)
    return setting.value_kpa if setting is not None else None


def _heading(result: StationResult) -> Text:
    """As in "The reading steps by 0.5 kPa; set and reset point are 0.3 apart, so one step flips the output."."""
    set_point, reset_point = _setting(result, "set_point"), _setting(result, "reset_point")
    if set_point is None or reset_point is None:
        return ("The output flips inside the hold.",)
    if reset_point >= set_point:
        return say(
            "The edges put the reset point at {} and the set point at {}: no gap shows, so the output flips.",
            Num(value=reset_point, unit="kPa", step=0.1), Num(value=set_point, unit="kPa", step=0.1),
        )  # fmt: skip
    gap = Num(value=set_point - reset_point, unit="kPa", step=_two_digits(set_point - reset_point))
    step, noise = result.data.sensor.quantisation_kpa, result.data.sensor.noise_kpa
    if step > 0 and step >= set_point - reset_point:
        return say(
            "The reading steps by {}; set and reset point are {} apart, so one step flips the output.",
            Num(value=step, unit="kPa", step=step / 10.0), gap,
        )  # fmt: skip
    if noise > 0 and set_point - reset_point < 8.0 * noise:
        return say(
            "The reading scatters by {}; set and reset point are only {} apart.",
            Num(value=noise, unit="kPa", step=noise / 10.0),
            gap,
        )
    return say("Vacuum moves across the {} between set and reset point, and the output with it.", gap)


def _two_digits(value: float) -> float:
    """A step that leaves two digits of a gap under 1 kPa, one decimal of others."""
    return 0.01 if 0.0 < value < 1.0 else 0.1


def _caption(result: StationResult, excerpt: Excerpt) -> Text:
    flips = int(result.data.cycles.codes("chatter_edges")[excerpt.cycle])
    text = f"Cycle {count(excerpt.cycle)}, {count(flips)} needless changes. Steps: samples. Bars beneath: output on."
    both = _setting(result, "set_point") is not None and _setting(result, "reset_point") is not None
    return (text + (" Shaded: from reset to set point." if both else ""),)
