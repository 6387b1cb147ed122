"""Fall: how fast vacuum is lost with the supply closed."""

from dataclasses import replace

import numpy as np

from tracekit.model.estimate import Estimate
from tracekit.model.result import LeakResult, StationResult
from tracekit.report.coast_dips import dips_between, dips_told
from tracekit.report.falls import Fall, fall_of
from tracekit.report.pictures.pulldown import names_of
from tracekit.report.plot import Axis, Cell, Column, Label, Picture, Plot, across, band, finish, line, round_up, upward
from tracekit.report.some_picks import rates_told, two_rates
from tracekit.report.view import (
    LEAKS,
    Mask,
    main_finding,
    median,
    touched,
)  # fmt: skip
from tracekit.report.words import Num, Text, join, of_quantity, plain, say

_RISING_KPA, _ENDS_BEFORE = 0.05, 0.88


def fall(result: StationResult, unit: str = "kPa") -> Picture | None:
    """Vacuum lost over time, this log against the baseline; None without at least five usable coasts.

    Where the main finding touches a part of the cycles, those are drawn, against the others if there is no baseline.
    """
    named = touched(result)
    fast = two_rates(result) if named is None else None  # of two rates the median is the fall of no cycle
    part = named if fast is None else fast
    here = fall_of(result.data, result.leak, part)
    if here is None:
        return None
    base = None
    if result.baseline is not None and result.baseline_leak is not None:
        base = fall_of(result.baseline, result.baseline_leak, None)
    elif part is not None:
        base = fall_of(result.data, result.leak, ~part)
    names = names_of(result, part)
    rising = float(here.mid[-1]) < -_RISING_KPA
    heading = (None if rising else _rate_heading(result, part, names)) or _heading(here, base, names)
    caption = _caption(
        here, names, result.leak.ref_vacuum_kpa, "that fall faster" if fast is not None else "with the fault"
    )
    dips = dips_between(here, base)
    if dips:
        told = dips_told(dips, result.baseline is not None)
        heading, caption = (told, caption) if main_finding(result) is None else (heading, join([told, caption]))
    plot = _plot(here, base, result, names)
    columns = (
        Column(name="time", unit="s"), Column(name="median lost", unit="kPa"), Column(name="5 % lost", unit="kPa"),
        Column(name="95 % lost", unit="kPa"), Column(name=f"{names[1]} median", unit="kPa"),
    )  # fmt: skip
    rows = _numbers(here, base)
    return finish("fall", (heading, caption), plot, columns, rows, len(rows), unit)


def _plot(here: Fall, base: Fall | None, result: StationResult, names: tuple[str, str]) -> Plot:
    falls = [here] if base is None else [here, base]
    x = Axis(
        low=0.0,
        high=max(float(f.time_s[-1]) for f in falls),
        unit="s",
        name="seconds from where the fall settles",
    )
    deepest = max(float(np.nanmax(f.high)) for f in falls)
    shallow = min(0.0, *(float(np.nanmin(f.low)) for f in falls))
    y = Axis(low=shallow, high=round_up(deepest), unit="kPa", name="{} of vacuum lost", down=True)
    main = main_finding(result)
    style = "odd" if main is not None and main.code in LEAKS else "usual"
    marks: list[str] = []
    labels: list[Label] = []
    for f, css, dash, name in ((base, "base", " dash", names[1]), (here, style, "", names[0])):
        if f is None:
            continue
        xs = across(x, f.time_s)
        marks += [
            band(xs, upward(y, f.low), upward(y, f.high), f"f-{css}"),
            line(xs, upward(y, f.mid), f"line {css}{dash}"),
        ]
        labels.append(_end_label(f, result, name, css, y.high))
    return Plot(x=x, y=y, marks=tuple(marks), labels=_apart(labels, y), style="")


def _end_label(f: Fall, result: StationResult, name: str, css: str, depth: float) -> Label:
    """Name and rate at the end of a line, clear of the axis name above."""
    leak = {"this log": result.leak, "baseline": result.baseline_leak}.get(name)
    lines: list[str | Text] = [name]
    if leak is not None and isinstance(leak.decay_rate, Estimate):
        d = leak.decay_rate
        lines.append((Num(value=d.value, unit=d.unit, lower=d.lower, upper=d.upper, unsaid=True),))
    high = float(f.mid[-1]) < 0.1 * depth
    return Label(
        x=float(f.time_s[-1]), y=float(f.mid[-1]), lines=tuple(lines), style=f"t-{css}", dx=6, dy=16 if high else 4
    )


def _apart(labels: list[Label], y: Axis) -> tuple[Label, ...]:
    """Labels of two lines each kept 34 px apart in a plot of 180 px."""
    if len(labels) < 2 or abs(labels[0].y - labels[1].y) / (y.high - y.low) * 180.0 > 36.0:
        return tuple(labels)
    early, late = sorted(labels, key=lambda item: item.x)
    if early.x < _ENDS_BEFORE * late.x:  # beside its end the other line goes on: the name stands above both
        return (replace(early, dy=-18 - 17 * (len(early.lines) - 1)), replace(late, dy=4))
    lower, upper = sorted(labels, key=lambda item: -item.y)
    down = 34 if upper.y / (y.high - y.low) < 0.2 else 0
    return (replace(lower, dy=20 + down), replace(upper, dy=-18 + down))


def _rate_heading(result: StationResult, part: Mask | None, names: tuple[str, str]) -> Text | None:
    """As in "Vacuum falls 5.4 kPa/s with the supply closed; in the baseline 0.3 kPa/s."; None without a rate."""
    now = of_quantity(result.leak.decay_rate) if part is None else _median_rate(result.leak, part)
    if now is None:
        return None
    who = "" if part is None else f" on {names[0]}"
    fast = two_rates(result) if part is None else None
    text = (
        rates_told(result, fast)[:-1] if fast is not None else say("Vacuum falls {} with the supply closed{}", now, who)
    )
    if result.baseline_leak is not None:
        there, where = of_quantity(result.baseline_leak.decay_rate), "in the baseline"
    else:
        there, where = None if part is None else _median_rate(result.leak, ~part), "on the others"
    return (*text, ".") if there is None else (*text, *say("; {} {}.", where, _without_interval(there, now.step)))


def _without_interval(num: Num, beside: float | None) -> Num:
    """The number alone, with the digits that its interval leaves, or those of the one beside it."""
    if num.lower is None or num.upper is None:
        return num
    return replace(num, lower=None, upper=None, step=beside or (num.upper - num.lower) / 2.0)


def _median_rate(leak: LeakResult, part: Mask) -> Num | None:
    value = median(leak.rate[part])
    half = median((leak.rate_upper - leak.rate_lower)[part]) / 2.0
    return Num(value=value, unit="kPa/s", step=half) if np.isfinite(value) else None


def _heading(here: Fall, base: Fall | None, names: tuple[str, str]) -> Text:
    """As in "With the supply closed, 5.4 kPa are gone in 0.7 s; in the baseline 0.3 kPa."."""
    end = float(here.time_s[-1])
    gone = float(here.mid[-1])
    if gone < -_RISING_KPA:
        return say("With the supply closed, vacuum still rises by {} in {}.", _lost_num(-gone), _time(end))
    who = "" if names[0] == "this log" else f" on {names[0]}"
    text = say("With the supply closed, {} are gone in {}{}", _lost_num(max(gone, 0.0)), _time(end), who)
    if base is None:
        return (*text, ".")
    when = min(end, float(base.time_s[-1]))
    lost = float(np.interp(when, base.time_s, base.mid))
    where = "in the baseline" if names[1] == "baseline" else "on the others"
    tail = say("; {} {}", where, _lost_num(max(0.0, lost)))
    other = plain((_time(when),)) != plain((_time(end),))
    return (*text, *tail, *(say(" in {}.", _time(when)) if other else (".",)))


def _lost_num(value: float) -> Num:
    return Num(value=float(value), unit="kPa", step=0.1 if value < 10.0 else 1.0)


def _time(value: float) -> Num:
    return Num(value=value, unit="s", step=0.1 if value >= 0.3 else 0.01)


def _caption(here: Fall, names: tuple[str, str], ref_kpa: float, whose: str) -> Text:
    which = "" if names[0] == "this log" else f" of the {names[0]} {whose}"
    parts: list[Text] = [
        (f"Line: median fall{which}. Band: middle 90 % of falls. Lines stop where half of the falls have ended.",)
    ]
    if here.bare:
        parts.append(("As recorded: the warming of the gas is still in it.",))
    else:
        parts.append(("The warming of the gas is taken out.",))
    parts.append(say("Rates hold at {} of vacuum.", Num(value=ref_kpa, unit="kPa", step=1.0)))
    return join(parts)


def _numbers(here: Fall, base: Fall | None) -> tuple[tuple[Cell, ...], ...]:
    other = np.full(len(here.time_s), np.nan)
    if base is not None:
        other = np.interp(here.time_s, base.time_s, base.mid, right=np.nan)
    table = zip(here.time_s, here.mid, here.low, here.high, other, strict=True)
    return tuple(tuple(None if np.isnan(v) else float(v) for v in row) for row in table)
