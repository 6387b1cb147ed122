"""A sensor's own fault, cycle by cycle: the reading with nothing on, or how far single readings scatter."""

import numpy as np

from tracekit.model.result import StationResult
from tracekit.options.report import ReportOptions
from tracekit.report.plot import (
    Axis,
    Column,
    Label,
    Picture,
    Plot,
    across,
    across_line,
    band,
    dots,
    finish,
    line,
    upward,
)
from tracekit.report.view import Floats, main_finding, median, middle, spaced
from tracekit.report.words import Num, Text, say

_MEASURES = {"sensor_zero_shift": "idle_vacuum_kpa", "sensor_noisy": "noise_kpa"}
_PLAIN = ReportOptions()
_LEAST, _MOST_DRAWN, _MOST_NUMBERS, _ROOM = 5, 400, 200, 0.25


def usual(code: str) -> tuple[float, float] | None:
    """What a sound sensor shows of the measure that tells this code [kPa]; None for a code that is not the sensor's."""
    if code == "sensor_zero_shift":
        return -_PLAIN.sound_zero_kpa, _PLAIN.sound_zero_kpa
    return (0.0, _PLAIN.sound_noise_kpa) if code == "sensor_noisy" else None


def at_rest(result: StationResult, unit: str = "kPa") -> Picture | None:
    """One mark per cycle with what is usual as a band; None unless the first finding is about the sensor itself."""
    main = main_finding(result)
    measure = _MEASURES.get(main.code) if main is not None else None
    sound = usual(main.code) if main is not None else None
    if measure is None or sound is None or main is None:
        return None
    values = result.data.cycles.floats(measure)
    rows = np.flatnonzero(np.isfinite(values))
    if len(rows) < _LEAST:
        return None
    base = result.baseline.cycles.floats(measure) if result.baseline is not None else np.full(0, np.nan)
    rows = spaced(rows, _MOST_DRAWN)
    words = _heading(measure, values, base, sound), _caption(measure, base)
    plot = _plot(measure, rows, values, base, sound)
    columns = (Column(name="cycle"), Column(name="reading" if measure == "idle_vacuum_kpa" else "scatter", unit="kPa"))
    numbers = tuple((int(r), float(values[r])) for r in spaced(rows, _MOST_NUMBERS))
    return finish("at-rest", words, plot, columns, numbers, len(rows), unit)


def _num(value: float) -> Num:
    return Num(value=value, unit="kPa", step=0.1)


def _heading(measure: str, values: Floats, base: Floats, sound: tuple[float, float]) -> Text:
    now, before = median(values), median(base)
    tail = say("; in the baseline {}.", _num(before)) if np.isfinite(before) else None
    if measure == "idle_vacuum_kpa":
        return (*say("With nothing on the sensor reads {}", _num(now)), *(tail or ("; it should read zero.",)))
    usual_words = say("; a sound sensor at most {}.", _num(sound[1]))
    return (*say("Single readings scatter by {}", _num(now)), *(tail or usual_words))


def _caption(measure: str, base: Floats) -> Text:
    what = "its reading before the pick" if measure == "idle_vacuum_kpa" else "the scatter of its single readings"
    parts = [f"One mark is one cycle: {what}. Band: what a sound sensor shows."]
    if np.isfinite(base).sum() >= _LEAST:
        parts.append(" Dashed line: the baseline.")
    return (*parts,)


def _plot(measure: str, rows: np.ndarray[tuple[int], np.dtype[np.int64]], values: Floats, base: Floats,
          sound: tuple[float, float]) -> Plot:  # fmt: skip
    shown = np.concatenate((values[rows], base[np.isfinite(base)], sound, [0.0]))
    low, high = float(shown.min()), float(shown.max())
    room = _ROOM * max(high - low, 0.1)
    name = "{} of vacuum with nothing on" if measure == "idle_vacuum_kpa" else "scatter, {}"
    floor = 0.0 if measure == "noise_kpa" else low - room
    x = Axis(low=-0.5, high=len(values) - 0.5, name="cycle", whole=True)
    y = Axis(low=floor, high=high + room, unit="kPa", name=name)
    ends, both = np.array([0.0, 1000.0]), np.ones(2)
    marks = [band(ends, upward(y, sound[0] * both), upward(y, sound[1] * both), "f-usual")]
    labels = [Label(x=x.high, y=sum(sound) / 2.0, lines=("sound",), style="", dx=6)]
    if np.isfinite(base).sum() >= _LEAST:
        mid = middle(base)[1]
        marks.append(line(ends, upward(y, mid * both), "line base dash"))
    if y.low < 0.0 < y.high:
        marks.append(across_line(float(upward(y, [0.0])[0]), "axis"))
    small = "" if len(rows) <= _MOST_DRAWN // 2 else " small"
    marks.append(dots(across(x, rows.astype(np.float64)), upward(y, values[rows]), f"squares odd{small}"))
    labels.append(Label(x=x.high, y=median(values[rows[-20:]]), lines=("this log",), style="t-odd", dx=6))
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), facts=(("cycles", f"0 {len(values) - 1}"),))
