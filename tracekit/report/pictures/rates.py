"""Rate by cycle: is the leak steady, does it step, does it come in groups?"""

import math

import numpy as np

from tracekit.model.estimate import Withheld
from tracekit.model.result import LeakResult, StationResult
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
    down_line,
    finish,
    line,
    round_up,
    uprights,
    upward,
)  # fmt: skip
from tracekit.report.some_picks import two_rates
from tracekit.report.view import LEAKS, Floats, Indices, Mask, main_finding, median, middle, odd_cycles, spaced
from tracekit.report.words import Num, Text, count, join, of_quantity, say, share_of

_LEAST, _MOST_DRAWN, _MOST_NUMBERS, _MOST_NAMED = 5, 1500, 200, 6
_GROWTH_LEAST, _TREND_Z = 24, 2.5
_HIGH = 0.7  # of the axis: marks above it reach the top line


def rates(result: StationResult, unit: str = "kPa") -> Picture | None:
    """Leak rate of every cycle with its interval; None under five rates, and where the log's rate is withheld."""
    leak = result.leak
    known = np.flatnonzero(np.isfinite(leak.rate))
    if len(known) < _LEAST or isinstance(leak.decay_rate, Withheld):
        return None
    odd = _odd(result, known)
    drawn = _drawn(known, odd)
    heading = _heading(leak.rate[known], leak, known, odd[known], result.baseline_leak)
    caption = _caption(result, known, len(drawn))
    plot = _plot(result, drawn, odd)
    columns = (Column(name="cycle"), Column(name="rate", unit="kPa/s"), Column(name="from", unit="kPa/s"),
               Column(name="to", unit="kPa/s"))  # fmt: skip
    rows = _numbers(leak, spaced(drawn, _MOST_NUMBERS))
    return finish("rates", (heading, caption), plot, columns, rows, len(drawn), unit)


def alike(rate: Floats, half: Floats) -> bool:
    """True where all rates lie within three robust deviations, or three half-widths, of their median."""
    mid = median(rate)
    scatter = max(1.4826 * median(np.abs(rate - mid)), median(half), 1e-9)
    return bool((np.abs(rate - mid) <= 4.0 * scatter).all()) and scatter <= 0.3 * abs(mid) + 0.3


def trend_z(values: Floats) -> float:
    """How many deviations the rank correlation with order lies from none (Spearman, normal approximation)."""
    n = len(values)
    if n < 8 or np.ptp(values) == 0.0:
        return 0.0
    ranks = np.argsort(np.argsort(values, kind="stable"), kind="stable").astype(np.float64)
    order = np.arange(n, dtype=np.float64)
    return float(np.corrcoef(ranks, order)[0, 1] * math.sqrt(n - 1.0))


def _odd(result: StationResult, known: Indices) -> Mask:
    """Cycles drawn as squares: those a finding names where they are not nearly all, those of the faster of two rates,
    else outliers.
    """
    main = main_finding(result)
    odd = odd_cycles(result)
    rate = result.leak.rate
    some = main is not None and main.code in LEAKS and 0 < odd[known].sum() <= 0.7 * len(known)
    if some and _apart(rate[odd], rate[~odd]):
        return odd
    fast = two_rates(result)
    if fast is not None:
        return fast
    mid = median(rate)
    scatter = max(1.4826 * median(np.abs(rate - mid)), median((result.leak.rate_upper - result.leak.rate_lower) / 2.0))
    return np.asarray(np.nan_to_num(np.abs(rate - mid)) > 6.0 * scatter, np.bool_)


def _apart(one: Floats, other: Floats) -> bool:
    """True where the medians of two groups of rates lie further apart than the tighter of them scatters."""
    ends = median(one), median(other)
    scatter = [1.4826 * median(np.abs(rate - mid)) for rate, mid in zip((one, other), ends, strict=True)]
    return not abs(ends[0] - ends[1]) <= float(np.nanmin(scatter))


def _drawn(known: Indices, odd: Mask) -> Indices:
    if len(known) <= _MOST_DRAWN:
        return known
    first = spaced(known[odd[known]], _MOST_DRAWN // 2)
    return np.sort(np.concatenate((first, spaced(known[~odd[known]], _MOST_DRAWN - len(first)))))


def _plot(result: StationResult, drawn: Indices, odd: Mask) -> Plot:
    leak, n = result.leak, len(result.data.cycles)
    base = result.baseline_leak
    x = Axis(low=-0.5, high=n - 0.5, name="cycle", whole=True)
    y = Axis(low=0.0, high=_top(leak.rate[drawn], leak.rate_upper[drawn], base), unit="kPa/s", name="vacuum lost, {}")
    marks: list[str] = []
    labels: list[Label] = []
    beside_base = base is not None and np.isfinite(base.rate).sum() >= _LEAST
    if base is not None and beside_base:
        low, mid, high = middle(base.rate)
        ends, both = np.array([0.0, 1000.0]), np.ones(2)
        marks += [
            band(ends, upward(y, low * both), upward(y, high * both), "f-base"),
            line(ends, upward(y, mid * both), "line base dash"),
        ]
        labels.append(Label(x=x.high, y=mid, lines=("baseline",), style="t-base", dx=6))
    marks += _points(leak, drawn, odd, x, y)
    marks += _missing(result, x)
    labels += _named(leak, drawn[odd[drawn]], y)
    labels += _onset(result, x, y, marks)
    if beside_base:
        marks.append(across_line(float(upward(y, [_log_level(leak, y)])[0]), "thin usual"))
        labels.append(_log_label(leak, x, y, labels))
    return Plot(x=x, y=y, marks=tuple(marks), labels=tuple(labels), facts=(("cycles", f"0 {n - 1}"),))


def _top(rate: Floats, upper: Floats, base: LeakResult | None) -> float:
    """End of the axis: above nearly all intervals, at most 1.6 times the highest usual rate."""
    high = min(float(np.nanpercentile(upper, 99)), 1.6 * float(np.nanpercentile(rate, 98)))
    if base is not None and np.isfinite(base.rate).any():
        high = max(high, 1.2 * middle(base.rate)[2])
    return round_up(max(high, 0.1))


def _points(leak: LeakResult, drawn: Indices, odd: Mask, x: Axis, y: Axis) -> list[str]:
    marks = []
    for rows, css, shape in ((drawn[~odd[drawn]], "usual", "dots"), (drawn[odd[drawn]], "odd", "squares")):
        xs = across(x, rows.astype(np.float64))
        inside = leak.rate[rows] <= y.high
        low, high = np.maximum(leak.rate_lower[rows], 0.0), np.minimum(leak.rate_upper[rows], y.high)
        marks += [
            uprights(xs[inside], upward(y, low)[inside], upward(y, high)[inside], f"ci {css}"),
            dots(
                xs[inside], upward(y, leak.rate[rows])[inside], f"{shape} {css}{'' if len(drawn) <= 300 else ' small'}"
            ),
        ]
    return marks


def _missing(result: StationResult, x: Axis) -> list[str]:
    """Cycles without a rate, ticked on the line of zero."""
    without = np.flatnonzero(~np.isfinite(result.leak.rate)).astype(np.float64)
    if len(without) == 0:
        return []
    return [uprights(across(x, without), np.full(len(without), 1000.0), np.full(len(without), 970.0), "tick"),
            across_line(1000.0, "axis")]  # fmt: skip


def _named(leak: LeakResult, rows: Indices, y: Axis) -> list[Label]:
    """Numbers of a few odd cycles, and arrows with values for those off the scale."""
    labels = []
    off = rows[leak.rate[rows] > y.high]
    for row in off[:_MOST_NAMED].tolist():
        value = Num(value=float(leak.rate[row]), unit="kPa/s", step=1.0, bare=True)
        labels.append(Label(x=row, y=y.high, lines=(say("↑ {}", value),), style="mid t-odd", dy=12))
    if len(rows) <= _MOST_NAMED:
        labels += [
            Label(x=row, y=float(leak.rate[row]), lines=(count(row),), style="mid t-odd", dy=-9)
            for row in rows[leak.rate[rows] <= y.high].tolist()
        ]
    return labels


def _onset(result: StationResult, x: Axis, y: Axis, marks: list[str]) -> list[Label]:
    """A rule where the main finding begins, if the rates step there too."""
    main = main_finding(result)
    rate, at = result.leak.rate, (main.onset_cycle or 0) if main is not None else 0
    if not at or not _apart(rate[:at], rate[at:]):
        return []
    marks.append(down_line(float(across(x, [at - 0.5])[0]), "limit"))
    name, after = f"from cycle {count(at)}", median(rate[at:])
    if after > _HIGH * y.high:  # at the top the name would lie on the marks
        return [Label(x=at, y=0.5 * after, lines=(name,), style="strong", dx=4, dy=4)]
    return [Label(x=at, y=y.high, lines=(name,), style="strong", dx=4, dy=12)]


def _log_level(leak: LeakResult, y: Axis) -> float:
    return min(median(leak.rate), y.high)


def _log_label(leak: LeakResult, x: Axis, y: Axis, others: list[Label]) -> Label:
    mid = _log_level(leak, y)
    near = any(abs(item.y - mid) / y.high * 180.0 < 17.0 and item.x == x.high for item in others)
    lifted = -14 if near and all(item.y <= mid for item in others if item.x == x.high) else 20 if near else 4
    return Label(x=x.high, y=mid, lines=("this log",), style="strong", dx=6, dy=lifted)


def _heading(rate: Floats, leak: LeakResult, known: Indices, odd: Mask, base: LeakResult | None) -> Text:
    half = (leak.rate_upper[known] - leak.rate_lower[known]) / 2.0
    if _grows(rate):
        tenth = max(_LEAST, len(rate) // 10)
        first, last = (_num(median(rate[rows]), median(half[rows])) for rows in (slice(tenth), slice(-tenth, None)))
        return say("The leak grows from {} in the first {} cycles to {} in the last.", first, tenth, last)
    if 0 < odd.sum() <= 0.7 * len(rate) and median(rate[odd]) > 1.5 * max(median(rate[~odd]), 0.05):
        return say(
            "{} cycles lose {}, the others {}.", f"{count(int(odd.sum()))} of {count(len(rate))}",
            _num(median(rate[odd]), median(half[odd])), _num(median(rate[~odd]), median(half[~odd])),
        )  # fmt: skip
    z = trend_z(rate)
    same = alike(rate, half) and abs(z) < _TREND_Z
    low, _, high = (float(rate.min()), 0.0, float(rate.max())) if same else middle(rate)
    step = max(median(half), 1e-3)
    span = say("{} to {}", Num(value=low, unit="kPa/s", step=step, bare=True), _num(high, step))
    move = "; no trend." if abs(z) < _TREND_Z else "; rising." if z > 0 else "; falling."
    usual = _clearly_other(rate, base)
    if usual is not None:
        who = f"All {count(len(rate))} cycles lose " if same else f"Most of {count(len(rate))} cycles lose "
        trend = "" if abs(z) < _TREND_Z else move.rstrip(".")
        return (who, *span, trend, *say("; in the baseline {}.", _num(usual, step)))
    start = f"No cycle stands out: all {count(len(rate))} lose " if same else f"Most of {count(len(rate))} cycles lose "
    return (start, *span, move)


def _clearly_other(rate: Floats, base: LeakResult | None) -> float | None:
    """The baseline's median rate where nearly all rates lie on one side of it; None where they do not."""
    if base is None or int(np.isfinite(base.rate).sum()) < _LEAST:
        return None
    low, _, high = middle(rate)
    usual_low, usual, usual_high = middle(base.rate)
    return usual if low > usual_high or high < usual_low else None


def _grows(rate: Floats) -> bool:
    """True for a leak that rises through the whole log: beyond doubt in each half, and at least to its double."""
    if len(rate) < _GROWTH_LEAST:
        return False
    tenth, mid = max(_LEAST, len(rate) // 10), len(rate) // 2
    doubled = median(rate[-tenth:]) > 2.0 * max(median(rate[:tenth]), 0.05)
    return doubled and min(trend_z(rate[:mid]), trend_z(rate[mid:])) > _TREND_Z


def _num(value: float, half: float) -> Num:
    return Num(value=value, unit="kPa/s", step=max(half, 1e-3))


def _caption(result: StationResult, known: Indices, drawn: int) -> Text:
    parts: list[Text] = [("One mark is one cycle with its 95 % interval.",)]
    if drawn < len(known):
        parts.append((f"{count(drawn)} of {count(len(known))} cycles drawn.",))
    base = result.baseline_leak
    if base is not None and (n := int(np.isfinite(base.rate).sum())) >= _LEAST:
        parts.append((f"Thin line: median of this log. Band: middle 90 % of {count(n)} baseline cycles.",))
    without = len(result.leak.rate) - len(known)
    if without:
        parts.append((f"No rate for {share_of(without, len(result.leak.rate), 'cycles')}: ticks at the bottom.",))
    whole = of_quantity(result.leak.decay_rate)
    if whole is not None and whole.bound == "less than":
        parts.append(say("All may share an error: with it the leak is {}.", whole))
    return join(parts)


def _numbers(leak: LeakResult, rows: Indices) -> tuple[tuple[Cell, ...], ...]:
    return tuple((int(r), float(leak.rate[r]), float(leak.rate_lower[r]), float(leak.rate_upper[r])) for r in rows)
