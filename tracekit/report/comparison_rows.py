"""Holds before and after, one row each: what the change looks like at a glance."""

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.model.comparison import Comparison, HoldRows, Recordings
from tracekit.report.plot import Axis, Cell, Column, Label, Picture, Plot, across, bars, dots, finish, upward
from tracekit.report.words import Text, count

_ROWS, _GAP, _MOST_NUMBERS = 12, 1, 200


def before_after_rows(comparison: Comparison, unit: str = "kPa") -> Picture | None:
    """Rows of some holds of both sides, those before on top; None where a side has none, or none needs a refill."""
    sides = [_of_side(side) for side in (comparison.before, comparison.after)]
    if any(not side for side in sides) or not any(h.refills.any() for side in sides for h in side):
        return None
    plot = _plot([_thinned(side) for side in sides])
    columns = (Column(name="side"), Column(name="cycle"), Column(name="refill from", unit="s"),
               Column(name="refill to", unit="s"))  # fmt: skip
    rows = [row for word, side in zip(("before", "after"), sides, strict=True) for row in _numbers(word, side)]
    words = _heading([np.concatenate([h.refills for h in side]) for side in sides]), _caption(sides)
    return finish("rows", words, plot, columns, tuple(rows[:_MOST_NUMBERS]), len(rows), unit)


def _of_side(side: Recordings) -> list[HoldRows]:
    return [r.holds for r in side if r.holds is not None]


def _thinned(side: Sequence[HoldRows]) -> list[tuple[float, float, NDArray[np.float64], NDArray[np.float64]]]:
    """First suction, end of hold, starts and stops of refills of at most `_ROWS` holds in even spacing [s]."""
    every = [
        (float(h.first[k]), float(h.end[k]), h.start[h.row == k], h.stop[h.row == k])
        for h in side
        for k in range(len(h.cycle))
    ]
    if len(every) <= _ROWS:
        return every
    return [every[k] for k in np.linspace(0, len(every) - 1, _ROWS).round().astype(np.int64).tolist()]


def _plot(
    sides: Sequence[Sequence[tuple[float, float, NDArray[np.float64], NDArray[np.float64]]]],
) -> Plot:
    rows = [row for side in sides for row in side]
    place = np.concatenate([np.arange(len(sides[0])), len(sides[0]) + _GAP + np.arange(len(sides[1]))]) + 0.0
    ends = np.array([row[1] for row in rows])
    long = float(np.nanpercentile(ends, 98)) * 1.06 if np.isfinite(ends).any() else 1.0
    x = Axis(low=0.0, high=long, unit="s", name="seconds after the vacuum command")
    y = Axis(low=-0.5, high=float(place[-1]) + 0.5, down=True, quiet=True)
    at = upward(y, place)
    owner = np.concatenate([np.full(len(row[2]), k) for k, row in enumerate(rows)]).astype(np.int64)
    start, stop = (np.concatenate([row[i] for row in rows]) for i in (2, 3))
    inside = start < long
    wide = np.maximum(np.minimum(stop, long), start + 0.008 * long)
    first = np.minimum(np.array([row[0] for row in rows]), long)
    marks = (
        bars(across(x, np.zeros(len(rows))), across(x, first), at, "usual r3"),
        bars(across(x, start[inside]), across(x, wide[inside]), at[owner[inside]], "odd r3"),
        dots(across(x, np.where(ends <= long, ends, np.nan)), at, "end-tick r3"),
    )
    labels = tuple(
        Label(x=x.low, y=float(np.mean(part)), lines=(word,), style="end strong", dx=-6)
        for word, part in (("before", place[: len(sides[0])]), ("after", place[len(sides[0]) :]))
    )
    return Plot(x=x, y=y, marks=marks, labels=labels, style="low wide names")


def _heading(refills: Sequence[NDArray[np.int64]]) -> Text:
    """As in "Refills in a hold: usually 3 before, none after."."""
    before, after = (_usual(side) for side in refills)
    return (f"Refills in a hold: {before} before, {after} after.",)


def _usual(refills: NDArray[np.int64]) -> str:
    """The commonest count where most holds have it, else the range of nine in ten."""
    (common, times), *_ = Counter(refills.tolist()).most_common(1)
    word = "none" if common == 0 else str(common)
    if times == len(refills):
        return word
    if times >= 0.6 * len(refills):
        return f"usually {word}"
    low, high = (int(v) for v in np.percentile(refills, (5, 95)))
    return f"{low} to {high}"


def _caption(sides: Sequence[Sequence[HoldRows]]) -> Text:
    drawn = [min(_ROWS, sum(len(h.cycle) for h in side)) for side in sides]
    holds = [sum(len(h.refills) for h in side) for side in sides]
    which = f"{drawn[0]} of {count(holds[0])} holds before, {drawn[1]} of {count(holds[1])} after"
    return (f"One row is one hold: long bar, making vacuum; short bars, refills; tick, its end. {which}.",)


def _numbers(word: str, side: Sequence[HoldRows]) -> list[tuple[Cell, ...]]:
    return [
        (word, int(h.cycle[k]), round(a, 3), round(b, 3))
        for h in side
        for k, a, b in zip(h.row.tolist(), h.start.tolist(), h.stop.tolist(), strict=True)
    ]
