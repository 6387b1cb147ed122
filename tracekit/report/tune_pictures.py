"""Pictures of the tuning page: settings on one vacuum axis, and the model over recorded cycles."""

import numpy as np

from tracekit.model.tuning import Curve, Fitted, Tuning
from tracekit.report.plot import Axis, Cell, Column, Label, Picture, Plot, across, bars, dots, finish, line, upward
from tracekit.report.words import Num, Text, count, say

_SHORT = {"reset_point": "reset", "set_point": "set", "supply_on": "on", "supply_off": "off"}
_ORDER = ("reset_point", "set_point", "supply_on", "supply_off")
_MOST_NUMBERS = 200
_HIGH, _ROOM = 0.5, 0.15  # settings above this share of the axis are zoomed to, with this share of room beside them
_NEAR = 0.2  # of the axis: names nearer than that would touch on a phone


def settings_axis(tuning: Tuning, unit: str) -> Picture | None:
    """The settings in force and suggested on one axis, among what binds them; None where too little is known."""
    if tuning.fitted is None or not tuning.known:
        return None
    rows = _rows(tuning, tuning.fitted)
    low, high = _span(rows)
    x = Axis(low=low, high=high, unit="kPa", name="{} of vacuum")
    y = Axis(low=-0.5, high=len(rows) - 0.5, quiet=True, down=True)
    marks: list[str] = []
    labels: list[Label] = []
    for place, (name, start, stop, style, values) in enumerate(rows):
        at = upward(y, np.array([float(place)]))
        if values:
            marks.append(dots(across(x, [v for _, v in values]), np.repeat(at, len(values)), style))
            labels += _value_labels(values, place, high - low)
        elif stop > low:
            begin = max(start, low)
            marks.append(bars(across(x, [begin]), across(x, [max(stop, begin + 0.01 * (high - low))]), at, style))
        else:
            told = say("← {}", Num(value=stop, unit="kPa", step=0.1))
            labels.append(Label(x=low, y=float(place), lines=(told,), dx=4, dy=4))
        labels.append(Label(x=low, y=float(place), lines=(name,), style="end", dx=-6, dy=4))
    plot = Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), style="tall names wide")
    columns = (Column(name="what"), Column(name="from", unit="kPa"), Column(name="to", unit="kPa"))
    numbers = tuple((name, float(start), float(stop)) for name, start, stop, _, _ in rows)
    return finish("axis", (_axis_heading(tuning), _AXIS_CAPTION), plot, columns, numbers, len(numbers), unit)


_AXIS_CAPTION: Text = (
    "Bars: what the log shows; an arrow is off the scale. Dots: settings now. Squares: to enter, or asked for.",
)

_Row = tuple[str, float, float, str, list[tuple[str, float]]]


def _span(rows: list[_Row]) -> tuple[float, float]:
    """Both ends of the axis: from nothing, or from just below settings that all lie high, so that they stay apart."""
    high = max(r[2] for r in rows)
    least = min(r[1] for r in rows if r[4])
    if least < _HIGH * high:
        return min(0.0, *(r[1] for r in rows), *(r[2] for r in rows)), 1.04 * high
    room = _ROOM * (high - least)
    return least - room, high + room


def _rows(tuning: Tuning, fitted: Fitted) -> list[_Row]:
    """Name, start, stop, style and setting values of each row of the axis."""
    rows: list[_Row] = []
    names = (
        ("open_cup", "open cup", "r8 base"),
        ("floor", "hold, lowest", "r8 usual"),
        ("reach", "reached", "r8 usual"),
    )
    for key, name, style in names:
        if key in fitted.levels:
            rows.append((name, *fitted.levels[key], style, []))
    if "needed" in fitted.limits:
        rows.insert(len(rows) and 1, ("load needs", 0.0, fitted.limits["needed"], "r8 odd", []))
    now = [(n, tuning.known[n].value) for n in _ORDER if n in tuning.known]
    rows.append(("now", min(v for _, v in now), max(v for _, v in now), "dots usual", now))
    if tuning.suggestion.withheld is None:
        new = [(s.name, s.suggested_kpa) for n in _ORDER for s in tuning.suggestion.settings if s.name == n]
        rows.append(("enter", min(v for _, v in new), max(v for _, v in new), "squares odd", new))
    if tuning.what_if is not None:
        asked = [(n, tuning.what_if.values[n]) for n in _ORDER if n in tuning.what_if.values]
        rows.append(("asked", min(v for _, v in asked), max(v for _, v in asked), "squares ink", asked))
    return rows


def _value_labels(values: list[tuple[str, float]], place: int, span: float) -> list[Label]:
    """Short names by their marks, alternately above and below; near neighbours of a row lean away from each other."""
    ordered = sorted(values, key=lambda pair: pair[1])
    found = []
    for first, dy in ((0, -9), (1, 18)):
        row = ordered[first::2]
        near = len(row) > 1 and row[1][1] - row[0][1] < _NEAR * span
        leans = (("end", 4), ("", -4)) if near else (("mid", 0), ("mid", 0))
        found += [
            Label(x=value, y=float(place), lines=(_SHORT[name],), style=style, dx=dx, dy=dy)
            for (name, value), (style, dx) in zip(row, leans, strict=False)
        ]
    return found


def _axis_heading(tuning: Tuning) -> Text:
    if tuning.what_if is not None:
        bad = len(tuning.what_if.broken) - len(tuning.what_if.unsure)
        return (
            say("What was asked breaks {} rule{}.", bad, "s" if bad > 1 else "")
            if bad
            else ("What was asked, among what binds it.",)
        )
    if tuning.suggestion.withheld is None:
        n = sum(1 for s in tuning.suggestion.settings if s.now_kpa is None or s.suggested_kpa != s.now_kpa)
        return say("{} of {} settings move.", n, len(tuning.suggestion.settings))
    return ("The settings now, among what binds them.",)


def model_over_cycles(tuning: Tuning, unit: str) -> Picture | None:
    """The modelled pick over recorded ones, with the settings in force; None without a model."""
    if tuning.fitted is None or not any(len(c.time_s) for c in tuning.fitted.recorded):
        return None
    curve, recorded = tuning.fitted.curve, tuning.fitted.recorded
    end = max(float(curve.time_s[-1]), *(float(c.time_s[-1]) for c in recorded if len(c.time_s)))
    top = max(float(c.vacuum_kpa.max()) for c in recorded if len(c.vacuum_kpa))
    x = Axis(low=0.0, high=end, unit="s", name="seconds after the vacuum command")
    y = Axis(low=0.0, high=1.08 * max(top, float(curve.vacuum_kpa.max())), unit="kPa", name="{} of vacuum")
    marks = [line(across(x, c.time_s), upward(y, c.vacuum_kpa), "thin usual") for c in recorded]
    marks.append(line(across(x, curve.time_s), upward(y, curve.vacuum_kpa), "line odd dash"))
    for name, known in tuning.known.items():
        at = float(upward(y, [known.value])[0])
        marks.append(f'<path class="limit" d="M0 {at:.1f}H1000"/>')
        marks.append(f'<path class="thin odd" id="line-{name}" data-high="{y.high:.6g}" d="M0 {at:.1f}H1000"/>')
    labels = _threshold_labels(tuning, x, y)
    plot = Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), style="tall")
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (float(t), float(v)) for t, v in zip(curve.time_s.tolist(), curve.vacuum_kpa.tolist(), strict=True)
    )[:_MOST_NUMBERS]
    columns = (Column(name="time", unit="s"), Column(name="modelled vacuum", unit="kPa"))
    words = (_model_heading(tuning.fitted), _model_caption(recorded))
    return finish("model", words, plot, columns, rows, len(curve.time_s), unit)


def _threshold_labels(tuning: Tuning, x: Axis, y: Axis) -> list[Label]:
    """Names of the thresholds in the right margin, at least 17 px apart in a plot of 240."""
    ordered = sorted(((k.value, n) for n, k in tuning.known.items()), reverse=True)
    found: list[Label] = []
    last = -99.0
    for value, name in ordered:
        at = 240.0 * (1.0 - value / y.high)
        shown = max(at, last + 17.0)
        last = shown
        words = say("{} {}", _SHORT[name], Num(value=value, unit="kPa", step=0.1, bare=True))
        found.append(Label(x=x.high, y=value, lines=(words,), dx=6, dy=round(4 + shown - at)))
    return found


def _model_heading(fitted: Fitted) -> Text:
    if np.isfinite(fitted.misfit_kpa):
        misfit = Num(value=fitted.misfit_kpa, unit="kPa", step=max(0.1, 0.1 * fitted.misfit_kpa))
        return say("Half of the recorded readings lie within {} of the model.", misfit)
    return ("The model of this station.",)


def _model_caption(recorded: tuple[Curve, ...]) -> Text:
    text = f"Thin: {count(len(recorded))} recorded picks. Dashed: the model of a usual one."
    return (f"{text} Dotted, with names: settings now. Lines across: those under What if.",)
