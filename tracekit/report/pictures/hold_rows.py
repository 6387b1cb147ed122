"""Hold rows: what happens in each hold, one row a cycle."""

from collections import Counter
from dataclasses import replace

import numpy as np

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.model.result import StationResult
from tracekit.report.pictures.groups import group_name
from tracekit.report.plot import Axis, Cell, Column, Label, Picture, Plot, across, bars, dots, finish, upward
from tracekit.report.text import clean
from tracekit.report.view import (
    LEAKS,
    Floats,
    Indices,
    codes_present,
    early_ends,
    is_list,
    number_word,
    odd_cycles,
    spaced,
)
from tracekit.report.words import Text, count, join, say, share_of

_MOST_ROWS, _MOST_ODD, _BASE_ROWS, _GAP_ROWS, _MOST_NUMBERS = 100, 60, 15, 2, 200
_REFILL_CODES = {*LEAKS, "supply_short_cycling", "supply_band_too_narrow", "supply_on_below_reset"}
_OUTPUT_CODES = {"switch_chatter", "hysteresis_too_small"}
_BY_RATE = {
    "smaller leak": "small leak", "larger leak": "large leak", "smallest leak": "least leak",
    "largest leak": "most leak",
}  # fmt: skip
"""Groups that the rates alone part, in ten characters beside their rows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """What is drawn: a row per cycle, its first bar, its end of hold, and marks inside the hold.

    Times are seconds since each cycle's vacuum command; `owner` gives the row of each mark.
    """

    cycle: Indices
    first: Floats
    end: Floats
    owner: Indices
    start: Floats
    stop: Floats


def hold_rows(result: StationResult, unit: str = "kPa") -> Picture | None:
    """Rows of all holds with their refills, or with the output's gaps where it chatters; None without either."""
    data = result.data
    output = shows_output(result)
    held = _holds(data)
    if len(held) < 2 or not (output or data.air_saving):
        return None
    chosen, names = _grouped(_choose(held, result), result)
    rows = _rows_of(data, chosen, output)
    base = _baseline_rows(result) if not output else None
    heading = _output_heading(data, held) if output else _refill_heading(result)
    red = output or bool(codes_present(result) & _REFILL_CODES)
    caption = _caption(len(held), len(chosen), base, output, red)
    lost = [] if output else _lost_with_bars(data, rows)
    if lost:
        which = f"cycle{'s' if len(lost) > 1 else ''} {is_list(lost)}"
        caption = join([caption, (f"Bars of {which}, where the part was dropped, count as no refills.",)])
    early = early_ends(data)
    if len(early):
        caption = join([caption, (f"Ended early: cycle{'s' if len(early) > 1 else ''} {is_list(early.tolist())}.",)])
    plot = _plot(rows, base, red, names)
    made = finish("holds", (heading, caption), plot, _columns(output), _numbers(rows), len(rows.start), unit)
    return replace(made, without="No gap of the output in any hold." if output else "No refill in any hold.")


def shows_output(result: StationResult) -> bool:
    """True where the output's gaps tell more than the refills."""
    flips = result.data.cycles.codes("chatter_edges") > 0
    return bool(codes_present(result) & _OUTPUT_CODES) and bool(flips.any())


def refill_counts(data: StationData) -> Indices:
    """Refills per held cycle, in the order of the table."""
    cycles = data.periods.codes("cycle")[data.periods.where("kind", "recharge")]
    return np.bincount(cycles[cycles >= 0], minlength=len(data.cycles))[data.cycles.where("outcome", "held")]


def _holds(data: StationData) -> Indices:
    return np.flatnonzero(data.cycles.where("outcome", "held") | data.cycles.where("outcome", "dropped"))


def refills_tell(result: StationResult) -> bool:
    """True where refills stand in at least half of the holds: only then their rows show a leak at a glance."""
    refills = refill_counts(result.data)
    return len(refills) > 0 and float((refills > 0).mean()) >= 0.5


def _choose(held: Indices, result: StationResult) -> Indices:
    """Rows to draw: all of up to 100, else up to 60 odd ones and usual ones in even spacing."""
    if len(held) <= _MOST_ROWS:
        return held
    odd = odd_cycles(result)[held]
    most_odd = _MOST_ODD if (~odd).any() else _MOST_ROWS
    first = spaced(held[odd], most_odd)
    return np.sort(np.concatenate((first, spaced(held[~odd], _MOST_ROWS - len(first)))))


def _grouped(chosen: Indices, result: StationResult) -> tuple[Indices, tuple[str, ...]]:
    """Rows put together by the leak's groups, with each row's group; as they are where there are none."""
    if len(result.leak.groups) < 2:
        return chosen, ()
    owner = {c: k for k, g in enumerate(result.leak.groups) for c in g.cycles}
    rank = np.array([owner.get(c, len(result.leak.groups)) for c in chosen.tolist()])
    order = np.argsort(rank, kind="stable")
    names = [*(clean(_BY_RATE.get(g.label, group_name(g)), 10) for g in result.leak.groups), "no group"]
    return chosen[order], tuple(names[k] for k in rank[order].tolist())


def _lost_with_bars(data: StationData, rows: _Rows) -> list[int]:
    """Drawn cycles that lost their part and show a supply that came on again."""
    lost = data.cycles.where("outcome", "dropped")[rows.cycle[rows.owner]]
    return sorted({int(c) for c in rows.cycle[rows.owner][lost].tolist()})


def _rows_of(data: StationData, chosen: Indices, output: bool) -> _Rows:
    starts = data.cycles.floats("start_s")
    suction = _end_of_suction(data)
    row_of = np.full(len(data.cycles), -1, np.int64)
    row_of[chosen] = np.arange(len(chosen))
    owner, start, stop = _output_gaps(data) if output else _refills(data)
    kept = row_of[owner] >= 0
    owner, start, stop = owner[kept], start[kept], stop[kept]
    return _Rows(
        cycle=chosen,
        first=suction[chosen] - starts[chosen],
        end=data.cycles.floats("hold_end_s")[chosen] - starts[chosen],
        owner=row_of[owner],
        start=start - starts[owner],
        stop=stop - starts[owner],
    )


def _end_of_suction(data: StationData) -> Floats:
    """When the first suction of each cycle ends: its last evacuation, else the set point, shape (n_cycles,)."""
    ends = np.full(len(data.cycles), -np.inf)
    known = data.periods.where("kind", "evacuate") & (data.periods.codes("cycle") >= 0)
    np.maximum.at(ends, data.periods.codes("cycle")[known], data.periods.floats("end_s")[known])
    return np.where(np.isfinite(ends), ends, data.cycles.floats("hold_start_s"))


def _refills(data: StationData) -> tuple[Indices, Floats, Floats]:
    known = data.periods.where("kind", "recharge") & (data.periods.codes("cycle") >= 0)
    return (
        data.periods.codes("cycle")[known],
        data.periods.floats("start_s")[known],
        data.periods.floats("end_s")[known],
    )


def _output_gaps(data: StationData) -> tuple[Indices, Floats, Floats]:
    """Stretches inside a cycle in which the output is off after it was on: off edge to the next on edge."""
    present = data.edges.where("signal", "part_present")
    cycle, time = data.edges.codes("cycle")[present], data.edges.floats("time_s")[present]
    on = data.edges.codes("value")[present] == 1
    if len(cycle) < 2:
        return cycle[:0], time[:0], time[:0]
    gap = ~on[:-1] & on[1:] & (cycle[:-1] == cycle[1:]) & (cycle[:-1] >= 0)
    return cycle[:-1][gap], time[:-1][gap], time[1:][gap]


def _baseline_rows(result: StationResult) -> _Rows | None:
    base = result.baseline
    if base is None or not base.air_saving or len(_holds(base)) < 2:
        return None
    return _rows_of(base, spaced(_holds(base), _BASE_ROWS), False)


def _plot(rows: _Rows, base: _Rows | None, odd: bool, names: tuple[str, ...]) -> Plot:
    top = len(base.cycle) + _GAP_ROWS if base is not None else 0
    total = top + len(rows.cycle)
    ends = np.concatenate((rows.end, base.end if base is not None else rows.end[:0]))
    x = Axis(low=0.0, high=float(np.nanpercentile(ends, 98)) * 1.06, unit="s", name="seconds after the vacuum command")
    y = Axis(low=-0.5, high=total - 0.5, down=True, quiet=True)
    thick = next(name for limit, name in ((24, "r8"), (40, "r5"), (64, "r3"), (10**9, "r2")) if total <= limit)
    marks = [*_marks(rows, x, y, top, thick, ("usual", "odd" if odd else "ink"))]
    labels = _group_labels(names, x, top) if names else _labels(rows, x, top)
    if base is not None:
        marks += _marks(base, x, y, 0, thick, ("base", "base"))
        labels.append(Label(x=x.low, y=len(base.cycle) / 2.0 - 0.5, lines=("baseline",), style="end t-base", dx=-6))
    facts = (("rows", " ".join(map(str, rows.cycle.tolist()))), ("top", str(top)), ("total", str(total)))
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), style="tall wide names", facts=facts)


def _marks(rows: _Rows, x: Axis, y: Axis, top: int, thick: str, styles: tuple[str, str]) -> list[str]:
    at = upward(y, np.arange(len(rows.cycle), dtype=np.float64) + top)
    zero = across(x, np.zeros(len(rows.cycle)))
    stop = np.minimum(rows.stop, x.high)
    narrow = np.maximum(stop, rows.start + 0.006 * x.high)
    inside = rows.start < x.high
    return [
        bars(zero, across(x, np.minimum(rows.first, x.high)), at, f"{styles[0]} {thick}"),
        bars(across(x, rows.start[inside]), across(x, narrow[inside]), at[rows.owner[inside]], f"{styles[1]} {thick}"),
        dots(across(x, np.where(rows.end <= x.high, rows.end, np.nan)), at, f"end-tick {thick}"),
    ]


def _labels(rows: _Rows, x: Axis, top: int) -> list[Label]:
    """The first, the last and round cycle numbers beside their rows, at least 17 px apart in 240."""
    apart = 17.0 * (top + len(rows.cycle)) / 240.0
    chosen = _round_rows(rows.cycle, apart)
    words = [(k, f"cycle {count(int(rows.cycle[k]))}" if k == 0 else count(int(rows.cycle[k]))) for k in chosen]
    return [Label(x=x.low, y=float(k + top), lines=(text,), style="end", dx=-6) for k, text in words]


def _round_rows(cycles: Indices, apart: float) -> list[int]:
    """Rows to name: the ends, and between them cycle numbers that are multiples of a round step."""
    last = len(cycles) - 1
    step = next(s for p in range(9) for s in (10**p, 2 * 10**p, 5 * 10**p) if s * 5 >= int(cycles[-1] - cycles[0]))
    chosen = [0]
    for row in np.flatnonzero(cycles % step == 0).tolist():
        if row - chosen[-1] >= apart and last - row >= apart:
            chosen.append(row)
    return [*chosen, last] if last - chosen[-1] >= apart else chosen


def _group_labels(names: tuple[str, ...], x: Axis, top: int) -> list[Label]:
    """Each group's name in the middle of its rows."""
    middles = {name: float(np.mean([k for k, n in enumerate(names) if n == name])) for name in dict.fromkeys(names)}
    return [Label(x=x.low, y=at + top, lines=(name,), style="end", dx=-6) for name, at in middles.items()]


def _refill_heading(result: StationResult) -> Text:
    """As in "90 of 95 holds need three refills; baseline: none on 36 of 60, one on 24."."""
    here = refill_counts(result.data)
    if len(here) == 0:
        return ("No hold ran to its end.",)
    text = _usual_count(here)
    if result.baseline is not None and result.baseline.air_saving:
        there = refill_counts(result.baseline)
        if len(there):
            return say("{}; baseline: {}.", text, _tally(there))
    return (f"{text}.",)


def _usual_count(refills: Indices) -> str:
    """What the holds need: the usual count with that of the others, or how many need refills at all."""
    (usual, times), *_ = Counter(refills.tolist()).most_common(1)
    n, with_any, most = len(refills), int((refills > 0).sum()), int(refills.max())
    if with_any == 0:
        return f"None of {count(n)} holds needs a refill"
    if usual > 0 and times >= 0.6 * n:
        holds = share_of(times, n, "holds")
        what = f"{number_word(usual)} refill{'s' if usual > 1 else ''}"
        return f"{holds[:1].upper()}{holds[1:]} need {what}{_of_others(refills[refills != usual])}"
    low, high = int(np.percentile(refills, 5)), int(np.percentile(refills, 95))
    if low == 0 or usual == 0:
        what = "a refill" if most == 1 else f"refills, up to {number_word(most)}"
        return f"{count(with_any)} of {count(n)} holds need{'s' if with_any == 1 else ''} {what}"
    inside = low <= refills.min() and most <= high
    return f"{'All' if inside else 'Most of'} {count(n)} holds need {number_word(low)} to {number_word(high)} refills"


def _of_others(refills: Indices) -> str:
    """As in ", the others none to two"; nothing where there are no others."""
    if len(refills) == 0:
        return ""
    low, high = ("none" if k == 0 else number_word(k) for k in (int(refills.min()), int(refills.max())))
    others = "the others" if len(refills) > 1 else "the other"
    return f", {others} {low}" if low == high else f", {others} {low} to {high}"


def _tally(refills: Indices) -> str:
    """As in "none on 36 of 60, one on 24": the two commonest counts, or the range."""
    common = sorted(Counter(refills.tolist()).most_common(2))
    if sum(times for _, times in common) < 0.9 * len(refills):
        return f"{number_word(int(refills.min()))} to {number_word(int(refills.max()))}"
    words = ["none" if k == 0 else number_word(k) for k, _ in common]
    parts = [f"{w} on {count(times)}" for w, (_, times) in zip(words, common, strict=True)]
    parts[0] += f" of {count(len(refills))}" if common[0][1] < len(refills) else ""
    return (
        ", ".join(parts)
        if len(parts) > 1 or common[0][1] < len(refills)
        else f"{words[0]} on all {count(len(refills))}"
    )


def _output_heading(data: StationData, held: Indices) -> Text:
    flips = data.cycles.codes("chatter_edges")[held]
    n = int((flips > 0).sum())
    return (
        f"The output flips in {share_of(n, len(held), 'holds')}, up to {count(int(flips.max()))} needless changes.",
    )


def _caption(holds: int, drawn: int, base: _Rows | None, output: bool, red: bool) -> Text:
    marks = "short bars, output off while the part is held" if output else "short bars, refills"
    marks += " (red: the finding is about them)" if red else ""
    parts = [f"One row is one cycle: long bar, making vacuum; {marks}; grey tick, end of hold."]
    if drawn < holds:
        parts.append(f"{count(drawn)} of {count(holds)} holds drawn.")
    if base is not None:
        parts.append(f"Top rows: {count(len(base.cycle))} holds of the baseline.")
    return (" ".join(parts),)


def _columns(output: bool) -> tuple[Column, ...]:
    what = "output off" if output else "refill"
    return (Column(name="cycle"), Column(name=f"{what} from", unit="s"), Column(name=f"{what} to", unit="s"))


def _numbers(rows: _Rows) -> tuple[tuple[Cell, ...], ...]:
    own = rows.cycle[rows.owner].tolist()
    values = zip(own, rows.start.round(3).tolist(), rows.stop.round(3).tolist(), strict=True)
    return tuple(sorted(values))[:_MOST_NUMBERS]
