"""Blow-off: does the part come off in time?"""

from dataclasses import replace

import numpy as np

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.model.result import StationResult
from tracekit.report.blow_figures import given_s, time_of
from tracekit.report.pictures.pulldown import drawn_of, names_of
from tracekit.report.plot import (
    Axis,
    Cell,
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
    round_up,
    upward,
)  # fmt: skip
from tracekit.report.view import Floats, Mask, grid_spread, in_periods, main_finding, median, runs, spaced, touched
from tracekit.report.words import Num, Text, join, say, share_of

_MOST_CYCLES, _POINTS, _LEAST_SAMPLES, _LONGEST_S, _PEAK_KPA = 80, 48, 5, 1.0, 0.4
_ENDS_BEFORE = 0.88  # of the other line
_LEFT = 0.1  # of the vacuum, when the release time ends


@dataclass(frozen=True, slots=True, kw_only=True)
class _Release:
    """Vacuum over time since the release command; over-pressure is negative."""

    time_s: Floats
    low: Floats
    mid: Floats
    high: Floats
    cycles: int


def blowoff(result: StationResult, unit: str = "kPa") -> Picture | None:
    """Vacuum from the release command on, this log over the baseline; None without five logged releases.

    Where the main finding touches a part of the cycles, those are drawn, against the others if there is no baseline.
    """
    part = touched(result)
    here = _release(result.data, part)
    if here is None:
        return None
    base = _release(result.baseline, None) if result.baseline is not None else None
    if base is None and part is not None:
        base = _release(result.data, ~part)
    names = names_of(result, part)
    heading, tells = _heading(result, part, base is not None)
    total = int((result.data.cycles.where("outcome", "held") if part is None else part).sum())
    times = _medians(result, "release_time_s", part)
    drawn = ((here, times[0]), (base, times[1]))
    late = tuple(time_of(result, t) for r, t in drawn if r is not None and t > float(r.time_s[-1]))
    given = given_s(result.data)
    ends = time_of(result, given) if late and np.isfinite(given) else None
    words = (heading, join([_caption(base, names, (here.cycles, total)), *_beyond(ends, late)]))
    columns = (
        Column(name="time", unit="s"),
        Column(name="median vacuum", unit="kPa"),
        Column(name=f"{names[1]} median", unit="kPa"),
    )
    rows = _numbers(here, base)
    made = finish("blowoff", words, _plot(here, base, names, late), columns, rows, len(rows), unit)
    return replace(made, tells=tells)


def _release(data: StationData, part: Mask | None) -> _Release | None:
    held = data.cycles.where("outcome", "held")
    chosen = np.zeros(len(held) + 1, np.bool_)
    chosen[spaced(np.flatnonzero(held if part is None else held & part), _MOST_CYCLES)] = True
    owner = data.periods.codes("cycle")
    periods = np.flatnonzero(data.periods.where("kind", "release") & chosen[owner])
    starts = np.full(len(held) + 1, np.inf)  # a release in parts, as beside a supply that is on, begins with the first
    np.minimum.at(starts, owner[periods], data.periods.floats("start_s")[periods])
    found = runs(in_periods(data, periods), data.bins.cycle)
    curves = [
        (data.bins.time_s[rows] - starts[c], -data.bins.pressure_kpa[rows])
        for c, rows in found
        if len(rows) >= _LEAST_SAMPLES
    ]
    if len(curves) < 5:
        return None
    grid = np.linspace(0.0, min(_LONGEST_S, float(np.median([t[-1] for t, _ in curves]))), _POINTS)
    low, mid, high, present = grid_spread([np.interp(grid, t, v, left=np.nan, right=np.nan) for t, v in curves])
    good = present >= 0.5 * len(curves)
    if good.sum() < 2:
        return None
    return _Release(time_s=grid[good], low=low[good], mid=mid[good], high=high[good], cycles=len(curves))


def _plot(here: _Release, base: _Release | None, names: tuple[str, str], late: tuple[Num, ...] = ()) -> Plot:
    """`late` are release times that come after a line has ended with its command."""
    both = [here] if base is None else [here, base]
    last = max(*(float(r.time_s[-1]) for r in both), *(1.04 * t.value for t in late), 0.0)
    x = Axis(low=0.0, high=last, unit="s", name="seconds after the release command")
    # the band is drawn of this log alone; it may lie far from both lines where a fault grows
    lowest = min(0.0, float(np.nanmin(here.low)), *(float(np.nanmin(r.mid)) for r in both)) - 1.0
    highest = max(float(np.nanmax(here.high)), *(float(np.nanmax(r.mid)) for r in both))
    y = Axis(low=lowest, high=round_up(highest), unit="kPa", name="{} of vacuum")
    marks = [across_line(float(upward(y, [0.0])[0]), "axis")]
    labels = [_label(here, names[0], "t-usual")]
    if base is not None:
        marks.append(line(across(x, base.time_s), upward(y, base.mid), "wide9 baseband-line"))
        marks.append(line(across(x, base.time_s), upward(y, base.mid), "thin base dash"))
        labels = _named(here, base, y, names)
    marks.append(band(across(x, here.time_s), upward(y, here.low), upward(y, here.high), "f-usual"))
    marks.append(line(across(x, here.time_s), upward(y, here.mid), "line usual"))
    left_kpa = _LEFT * float(here.mid[0])
    marks += [dots(across(x, [t.value]), upward(y, [left_kpa]), "squares odd") for t in late]
    labels += [Label(x=t.value, y=left_kpa, lines=((t,),), style="end", dx=-10) for t in late]
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels))


def _label(release: _Release, name: str, css: str, dy: int = 4) -> Label:
    return Label(x=float(release.time_s[-1]), y=float(release.mid[-1]), lines=(name,), style=css, dx=8, dy=dy)


def _named(here: _Release, base: _Release, y: Axis, names: tuple[str, str]) -> list[Label]:
    """Both names at the right, at least 17 px apart."""
    gap = (float(here.mid[-1]) - float(base.mid[-1])) / (y.high - y.low) * 180.0
    push = int(max(0.0, 18.0 - abs(gap)) / 2.0) + 1 if abs(gap) < 18.0 else 0
    up, down = (4 - push, 4 + push)
    if here.time_s[-1] < _ENDS_BEFORE * base.time_s[-1]:  # beside its end the other line goes on
        return [_label(here, names[0], "t-usual", -18), _label(base, names[1], "t-base")]
    return [
        _label(here, names[0], "t-usual", up if gap >= 0 else down),
        _label(base, names[1], "t-base", down if gap >= 0 else up),
    ]


def _heading(result: StationResult, part: Mask | None, compared: bool) -> tuple[Text, bool]:
    """As in "Release takes 0.17 s; in the baseline 0.07 s.", of over-pressure where that is what changed.

    The second is False where it says that nothing differs.
    """
    now, there = _medians(result, "release_time_s", part)
    high, usual = _medians(result, "release_peak_kpa", part)
    where = "in the baseline" if result.baseline is not None else "in the other cycles"
    idle = _told_by(result, "idle_vacuum_kpa")
    if idle is not None:
        return say("The release is shifted: with nothing on the reading is {}; in the baseline {}.", *idle), True
    told = _told_by(result, "release_peak_kpa")
    if told is not None:
        return say("Blow-off reaches {} of over-pressure; in the baseline {}.", *told), True
    same = compared and abs(now - there) <= max(result.data.sensor.sample_interval_s, 0.1 * there)
    if (same or not np.isfinite(now)) and compared and abs(high - usual) > max(_PEAK_KPA, 0.15 * abs(usual)):
        peaks = (Num(value=high, unit="kPa", step=0.1), Num(value=usual, unit="kPa", step=0.1))
        return say("Blow-off reaches {} of over-pressure; {} {}.", peaks[0], where, peaks[1]), True
    if not np.isfinite(now):
        return ("How vacuum goes after the release command.",), True
    took = time_of(result, now)
    if not compared or not np.isfinite(there):
        return say("Release takes {}.", took), True
    if same:
        return say("Release takes {}, as {}.", took, where), False
    return say("Release takes {}; {} {}.", took, where, time_of(result, there)), True


def _told_by(result: StationResult, measure: str) -> tuple[Num, Num] | None:
    """A measure now and in the baseline where the first finding speaks of it, in its own figures.

    The idle reading is the end of every release: it is told where the zero itself is the finding.
    """
    main = main_finding(result)
    if measure == "idle_vacuum_kpa" and (main is None or main.code != "sensor_zero_shift"):
        return None
    facts = main.evidence if main is not None else ()
    fact = next((e for e in facts if e.measure == measure and e.reference_source == "baseline"), None)
    if fact is None or fact.reference is None:
        return None
    return Num(value=fact.value, unit="kPa", step=0.1), Num(value=fact.reference, unit="kPa", step=0.1)


def _medians(result: StationResult, name: str, part: Mask | None) -> tuple[float, float]:
    """Median of a column here and in what it is compared with; NaN where there is none."""
    own = result.data.cycles.floats(name)
    if result.baseline is not None:
        return median(own if part is None else own[part]), median(result.baseline.cycles.floats(name))
    return (median(own), float("nan")) if part is None else (median(own[part]), median(own[~part]))


def _beyond(ends: Num | None, late: tuple[Num, ...]) -> list[Text]:
    """What a line that ends before its release time means, and when the command ends."""
    if not late:
        return []
    end = say("with the release command, after {};", ends) if ends is not None else ("with the release command;",)
    return [("The line ends ", *end, " the square is the release time.")]


def _caption(base: _Release | None, names: tuple[str, str], share: tuple[int, int]) -> Text:
    drawn, total = share
    own = names[0] == "this log"
    which = share_of(drawn, total, "held cycles") if own else drawn_of(drawn, total, whole=False)
    parts: list[Text] = [(f"Line: median of {which}. Band: middle 90 %. Below zero: over-pressure.",)]
    parts.append(("Release time: until a tenth of the vacuum is left.",))
    if base is not None:
        parts.append((f"Dashed line: {'the baseline' if names[1] == 'baseline' else 'the other cycles'}.",))
    return join(parts)


def _numbers(here: _Release, base: _Release | None) -> tuple[tuple[Cell, ...], ...]:
    other = np.full(len(here.time_s), np.nan)
    if base is not None:
        other = np.interp(here.time_s, base.time_s, base.mid, left=np.nan, right=np.nan)
    rows = zip(here.time_s, here.mid, other, strict=True)
    return tuple((float(t), float(m), None if np.isnan(b) else float(b)) for t, m, b in rows)
