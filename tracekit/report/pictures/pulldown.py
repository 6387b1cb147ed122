"""Pull-down: is suction weak?"""

from dataclasses import replace

import numpy as np

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.model.result import StationResult
from tracekit.report.levels import EVACUATION, sentence, timed
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
    finish,
    line,
    round_up,
    upward,
)  # fmt: skip
from tracekit.report.view import (
    Floats,
    Indices,
    Mask,
    grid_spread,
    in_periods,
    main_finding,
    median,
    runs,
    spaced,
    touched,
)
from tracekit.report.words import Num, Text, count, join, say, share_of

_MOST_CYCLES, _POINTS, _LEAST_SAMPLES, _SOME_MISSED = 80, 48, 6, 0.1
_RISEN, _BEYOND = 0.98, 1.6
_SLOWER, _OPEN_CUP_KPA = 1.1, 3.0
_PLOT_PX, _APART_PX, _BELOW_PX = 182.0, 17.0, 15  # height of the plot, of a label, and of one below its line
_HELD_AGAINST = ("baseline", "earlier cycles")
_LATE = ("supply_valve_slow", "sensor_slow")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rise:
    """Vacuum over time, aligned where each cycle passes half the set point, `half_s` after the command."""

    time_s: Floats
    low: Floats
    mid: Floats
    high: Floats
    cycles: int
    half_s: float = 0.0


def pulldown(result: StationResult, unit: str = "kPa") -> Picture | None:
    """The rise of vacuum, this log over the baseline; None under six samples in the rise or five cycles.

    Where the main finding touches a part of the cycles, those are drawn, against the others if there is no baseline.
    """
    data, part = result.data, touched(result)
    half = _half_set_point(data)
    here = _rise(data, half, part)
    if here is None:
        return None
    base = _rise(result.baseline, half, None) if result.baseline is not None else None
    if base is None and part is not None:
        base = _rise(data, half, ~part)
    here, base = _risen(*_from_command(here, base))
    names = names_of(result, part)
    heading, tells = _heading(result, part, base is not None)
    total = len(data.cycles) if part is None else int(part.sum())
    words = (heading, join([_caption(result, half, (here, base), names, total), *_seen_from_behind(result, part)]))
    columns = (
        Column(name="time", unit="s"),
        Column(name="median", unit="kPa"),
        Column(name=f"{names[1]} median", unit="kPa"),
    )
    rows = _numbers(here, base)
    made = finish("pulldown", words, _plot(here, base, data, names), columns, rows, len(rows), unit)
    return replace(made, tells=tells)


def _from_command(here: _Rise, base: _Rise | None) -> tuple[_Rise, _Rise | None]:
    """Each rise on the median time since its own command, so that both told times are read off the axis."""
    return _since(here), None if base is None else _since(base)


def _since(rise: _Rise) -> _Rise:
    time = rise.time_s + rise.half_s
    kept = time >= 0.0
    return replace(rise, time_s=time[kept], low=rise.low[kept], mid=rise.mid[kept], high=rise.high[kept])


def _risen(here: _Rise, base: _Rise | None) -> tuple[_Rise, _Rise | None]:
    """Both rises cut well after vacuum has risen: a pick that is given up late has a long level end."""
    ends = [_risen_s(r) for r in (here, base) if r is not None]
    return _until(here, max(ends)), None if base is None else _until(base, max(ends))


def _risen_s(rise: _Rise) -> float:
    start, full = float(rise.time_s[0]), float(rise.time_s[int(np.argmax(rise.mid >= _RISEN * np.nanmax(rise.mid)))])
    return start + _BEYOND * (full - start)


def _until(rise: _Rise, end_s: float) -> _Rise:
    kept = rise.time_s <= end_s
    return replace(rise, time_s=rise.time_s[kept], low=rise.low[kept], mid=rise.mid[kept], high=rise.high[kept])


def _seen_from_behind(result: StationResult, part: Mask | None) -> tuple[Text, ...]:
    """Why a blocked line may evacuate faster: said only where it does."""
    main, times = main_finding(result), result.data.cycles.floats("evacuation_time_s")
    if main is None or main.code != "flow_restricted":
        return ()
    other = result.baseline.cycles.floats("evacuation_time_s") if result.baseline is not None else None
    there = other if other is not None else times[~part] if part is not None else times[:0]
    faster = median(times if part is None else times[part]) < 0.95 * median(there)
    return (("Quicker here: from the generator, a blocked line is a smaller volume.",),) if faster else ()


def names_of(result: StationResult, part: Mask | None) -> tuple[str, str]:
    """What the two lines of an overlay are called."""
    own = "this log" if part is None else f"{count(int(part.sum()))} cycles"
    return own, "baseline" if result.baseline is not None or part is None else "others"


def drawn_of(drawn: int, total: int, whole: bool) -> str:
    """As in "all 40 cycles", "80 of 91 cycles", "the 22 cycles with the fault"."""
    if whole:
        return share_of(drawn, total, "cycles")
    some = f"the {count(total)} cycles with the fault"
    return some if drawn == total else f"{count(drawn)} of {some}"


def _half_set_point(data: StationData) -> float:
    setting = data.settings.get("set_point")
    if setting is not None and setting.value_kpa is not None:
        return setting.value_kpa / 2.0
    return median(data.cycles.floats("peak_vacuum_kpa")) / 2.0


def _rise(data: StationData, half: float, part: Mask | None) -> _Rise | None:
    """Median rise with its middle 90 %, of all cycles that pass `half`, or a part of them."""
    if not np.isfinite(half) or half <= 1.0:
        return None
    tried = ~data.cycles.where("outcome", "incomplete")
    if part is not None:
        tried &= part
    wanted = np.zeros(len(data.cycles) + 1, np.bool_)
    wanted[spaced(np.flatnonzero(tried), _MOST_CYCLES)] = True
    kind = data.periods.where("kind", "open") | data.periods.where("kind", "evacuate")
    suction = np.flatnonzero(kind & wanted[data.periods.codes("cycle")])
    found = runs(in_periods(data, suction), data.bins.cycle)
    begun = data.cycles.floats("start_s")
    all_rows = [(k, rows, _aligned(data, rows, half)) for k, rows in found]
    aligned = [(data.bins.time_s[rows[0]] - begun[k], c) for k, rows, c in all_rows if c is not None]
    curves = [c for _, c in aligned]
    if len(curves) < 5:
        return None
    half_s = float(np.median([first - c[0][0] for first, c in aligned]))
    start = float(np.median([t[0] for t, _ in curves]))
    end = float(np.median([t[-1] for t, _ in curves]))
    grid = np.linspace(start, end, _POINTS)
    low, mid, high, present = grid_spread([np.interp(grid, t, v, left=np.nan, right=np.nan) for t, v in curves])
    good = present >= 0.5 * len(curves)
    return _Rise(time_s=grid[good], low=low[good], mid=mid[good], high=high[good], cycles=len(curves), half_s=half_s)


def _aligned(data: StationData, rows: Indices, half: float) -> tuple[Floats, Floats] | None:
    time, vacuum = data.bins.time_s[rows], -data.bins.pressure_kpa[rows]
    over = np.flatnonzero((vacuum[1:] >= half) & (vacuum[:-1] < half))
    if len(rows) < _LEAST_SAMPLES or len(over) == 0:
        return None
    k = int(over[-1])
    share = (half - vacuum[k]) / (vacuum[k + 1] - vacuum[k])
    return time - (time[k] + share * (time[k + 1] - time[k])), vacuum


def _plot(here: _Rise, base: _Rise | None, data: StationData, names: tuple[str, str]) -> Plot:
    all_rises = [here] if base is None else [here, base]
    x = Axis(
        low=0.0, high=max(float(r.time_s[-1]) for r in all_rises),
        unit="s", name="seconds after the vacuum command",
    )  # fmt: skip
    y = Axis(
        low=min(0.0, float(np.nanmin(here.mid))),
        high=round_up(float(np.nanmax(here.high)) * 1.05),
        unit="kPa",
        name="{} of vacuum",
    )
    marks: list[str] = []
    labels: list[Label] = []
    if base is not None:
        marks.append(line(across(x, base.time_s), upward(y, base.mid), "wide9 baseband-line"))
        marks.append(line(across(x, base.time_s), upward(y, base.mid), "thin base dash"))
    marks.append(band(across(x, here.time_s), upward(y, here.low), upward(y, here.high), "f-usual"))
    marks.append(line(across(x, here.time_s), upward(y, here.mid), "line usual"))
    labels += _labels(here, base, x, names)
    labels += _clear(_set_point(data, x, y, marks), labels, y)
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels))


def _labels(here: _Rise, base: _Rise | None, x: Axis, names: tuple[str, str]) -> list[Label]:
    """Names at the ends: both at the right where the lines end together, else the earlier one above its own end."""
    own = Label(x=float(here.time_s[-1]), y=float(here.mid[-1]), lines=(names[0],), style="t-usual", dx=8)
    if base is None:
        return [own]
    other = Label(x=float(base.time_s[-1]), y=float(base.mid[-1]), lines=(names[1],), style="t-base", dx=8)
    gap = (own.x - other.x) / (x.high - x.low)
    if abs(gap) < 0.12:
        return [replace(own, dy=-4), replace(other, y=own.y, x=max(own.x, other.x), dy=14)]
    early, late = (base, own) if gap > 0 else (here, other)
    name, css = (names[1], "end t-base") if gap > 0 else (names[0], "end t-usual")
    return [late, Label(x=float(early.time_s[-1]), y=float(early.mid[-1]), lines=(name,), style=css, dy=-9)]


def _clear(levels: list[Label], names: list[Label], y: Axis) -> list[Label]:
    """Names of levels, below their line where the name of a curve that ends early stands beside it."""
    ends = [name for name in names if name.style.startswith("end ")]
    near = [[abs(one.y - own.y) / (y.high - y.low) * _PLOT_PX < _APART_PX for own in ends] for one in levels]
    return [replace(one, dy=_BELOW_PX) if any(flags) else one for one, flags in zip(levels, near, strict=True)]


def _set_point(data: StationData, x: Axis, y: Axis, marks: list[str]) -> list[Label]:
    setting = data.settings.get("set_point")
    if setting is None or setting.value_kpa is None or setting.value_kpa > y.high:
        return []
    value = setting.value_kpa
    marks.append(across_line(float(upward(y, [value])[0]), "limit"))
    step = max(data.sensor.quantisation_kpa, 0.1)
    words = say("set point {}", Num(value=value, unit="kPa", step=step))
    # on its own line, at the left: there vacuum is still low, and the names of the curves stand at the right
    return [Label(x=x.low, y=value, lines=(words,), style="", dx=6, dy=-5)]


def _heading(result: StationResult, part: Mask | None, compared: bool) -> tuple[Text, bool]:
    """As in "The set point takes 0.162 s, 0.044 s longer than in the baseline.".

    The second is False where it says that nothing differs.
    """
    times = result.data.cycles.floats("evacuation_time_s")
    own = times if part is None else times[part]
    here = median(own)
    step = max(result.data.sensor.sample_interval_s / 5.0, 0.001)
    if not np.isfinite(here):
        return _never(result, part), True
    missed = result.data.cycles.where("outcome", "missed")
    never = int((missed if part is None else missed[part]).sum())
    if never > _SOME_MISSED * len(own):
        given = Num(value=here, unit="s", step=step)
        return say("{} never reach the set point; the others take {}.", _of(never, len(own)), given), True
    if (late := _late_start(result)) is not None:
        return late, True
    if (judged := _judged_by(result)) is not None:
        return judged, True
    now = Num(value=here, unit="s", step=step)
    other = "in the baseline" if result.baseline is not None else "in the other cycles"
    there = float("nan")
    if compared and result.baseline is not None:
        there = median(result.baseline.cycles.floats("evacuation_time_s"))
    elif compared and part is not None:
        there = median(times[~part])
    if not np.isfinite(there):
        return say("The set point is reached in {}.", now), True
    gap = here - there
    if abs(gap) <= max(_shown(result) or 0.0, result.data.sensor.sample_interval_s):
        return say("Suction as {}: {} from the command to the set point.", other, now), False
    word = "longer" if gap > 0 else "less"
    gap_num = Num(value=abs(gap), unit="s", step=step)
    return say("From the command to the set point {}, {} {} than {}.", now, gap_num, word, other), True


def open_cup_tells(result: StationResult) -> bool:
    """True where a blocked line shows as vacuum with the cup still open, beyond that of the baseline or of before."""
    main = main_finding(result)
    facts = main.evidence if main is not None else ()
    shown = (e for e in facts if e.measure == "open_cup_vacuum_kpa" and e.reference_source in _HELD_AGAINST)
    return any(e.reference is not None and e.value - e.reference > _OPEN_CUP_KPA for e in shown)


def _judged_by(result: StationResult) -> Text | None:
    """What the finding rests on, where this picture shows it: the level of the open cup, or the slower evacuation.

    The time to the set point may say the opposite of both: it holds the wait for the part.
    """
    main = main_finding(result)
    facts = main.evidence if main is not None else ()
    known = {e.measure: (e.value, e.reference) for e in facts if e.reference_source in _HELD_AGAINST}
    when = "in the baseline" if result.baseline is not None else "before that"
    if result.baseline is None and main is not None and main.onset_cycle:
        when = f"before cycle {count(main.onset_cycle)}:"
    level, usual = known.get("open_cup_vacuum_kpa", (0.0, None))
    if main is not None and main.code == "flow_restricted" and usual is not None and open_cup_tells(result):
        both = (Num(value=v, unit="kPa", step=1.0) for v in (level, usual))
        return say("Before the part closes the cup the gauge reads {}; {} {}.", next(both), when, next(both))
    took, before = known.get(EVACUATION, (0.0, None))
    if before is None or took < _SLOWER * before:
        return None
    step = max(0.001, float(10.0 ** np.floor(np.log10(before / 10.0))))
    now, then = (Num(value=v, unit="s", step=step) for v in (took, before))
    start = sentence(EVACUATION, result, now)
    return None if start is None else (*start, *say("; {} {}.", when, then))


def _never(result: StationResult, part: Mask | None) -> Text:
    """How far cycles come that all stay below the set point."""
    peaks, setting = result.data.cycles.floats("peak_vacuum_kpa"), result.data.settings.get("set_point")
    top = median(peaks if part is None else peaks[part])
    if not np.isfinite(top) or setting is None or setting.value_kpa is None:
        return ("How vacuum rises with the supply on.",)
    level = Num(value=setting.value_kpa, unit="kPa", step=0.1)
    return say("Vacuum comes to {}; the set point is {}.", Num(value=top, unit="kPa", step=0.1), level)


def _late_start(result: StationResult) -> Text | None:
    """The delay of a late answer, which curves that are aligned do not show; None where the finding is another."""
    main = main_finding(result)
    found = [e for e in main.evidence if e.measure == "response_delay_s"] if main is not None else []
    if main is None or main.code not in _LATE or not found or (reference := found[0].reference) is None:
        return None
    fact = found[0]
    now, before = (Num(value=v, unit="s", step=0.001) for v in (fact.value, reference))
    where = "in the baseline" if fact.reference_source == "baseline" else "before"
    return say("Vacuum starts {} after the command, {} {}; then it rises as drawn.", now, where, before)


def _of(n: int, total: int) -> str:
    return f"{count(n)} of {count(total)} cycles"


def _shown(result: StationResult) -> float | None:
    """The smallest change of the time to the set point that this log would have shown."""
    sizes = [d.smallest for d in result.detectable if d.measure == "evacuation_time_s" and d.smallest is not None]
    return min(sizes) if sizes else None


def _caption(
    result: StationResult, half: float, rises: tuple[_Rise, _Rise | None], names: tuple[str, str], total: int
) -> Text:
    here, base = rises
    which = drawn_of(here.cycles, total, names[0] == "this log")
    aligned = Num(value=half, unit="kPa", step=1.0)
    parts = [say("Line: median of {}, aligned where each passes {}. Band: middle 90 %.", which, aligned)]
    if base is not None:
        parts.append((f"Dashed line: {'the baseline' if names[1] == 'baseline' else 'the other cycles'}.",))
    if base is not None and _judged_by(result) is None:
        parts.append(("Causes are judged by the ", *timed(EVACUATION, result), ", not by the time to the set point."))
    return join(parts)


def _numbers(here: _Rise, base: _Rise | None) -> tuple[tuple[Cell, ...], ...]:
    other = np.full(len(here.time_s), np.nan)
    if base is not None:
        other = np.interp(here.time_s, base.time_s, base.mid, left=np.nan, right=np.nan)
    rows = zip(here.time_s, here.mid, other, strict=True)
    return tuple((float(t), float(m), None if np.isnan(b) else float(b)) for t, m, b in rows)
