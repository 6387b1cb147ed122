"""Falls of vacuum with the supply closed, laid over one another: median and middle 90 % of all coasts."""

import numpy as np

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.model.result import LeakResult
from tracekit.report.view import Floats, Indices, Mask, grid_spread, in_periods, runs, spaced
from tracekit.report.warmth import without_warming

_MOST_COASTS, _POINTS, _SURGE_S, _SURGE_MOST_S = 300, 24, 0.02, 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Fall:
    """Median and middle 90 % of vacuum lost since the end of the closing surge.

    `bare` is true where gas warming is still in it.
    """

    time_s: Floats
    low: Floats
    mid: Floats
    high: Floats
    bare: bool


def fall_of(data: StationData, leak: LeakResult, part: Mask | None) -> Fall | None:
    """Falls of all coasts, or of those of a part of the cycles, on one grid, cut where half of them have ended."""
    coasts = data.periods.where("kind", "coast") & (data.periods.codes("used") != 0)
    if part is not None:
        coasts &= np.append(part, False)[data.periods.codes("cycle")]
    usable = np.flatnonzero(coasts)
    drawn = spaced(usable, _MOST_COASTS)
    cleaned = without_warming(data, leak, np.unique(data.periods.codes("cycle")[drawn]))
    pressure = data.bins.pressure_kpa if cleaned is None else cleaned
    chosen = runs(in_periods(data, drawn), data.bins.period)
    begin = _end_of_surge_s(data, chosen)
    kept = [c for _, rows in chosen if (c := _lost(data, rows, pressure, begin)) is not None]
    if len(kept) < 5:
        return None
    grid = np.linspace(0.0, float(np.median([t[-1] for t, _ in kept])), _POINTS)
    low, mid, high, present = grid_spread([np.interp(grid, t, v, right=np.nan) for t, v in kept])
    good = present >= 0.5 * len(kept)
    return Fall(time_s=grid[good], low=low[good], mid=mid[good], high=high[good], bare=cleaned is None)


def _end_of_surge_s(data: StationData, chosen: list[tuple[int, Indices]]) -> float:
    """Seconds from the cut until vacuum is deepest in the median coast, and a little more."""
    least = max(_SURGE_S, 2.5 * data.sensor.sample_interval_s)
    starts = data.periods.floats("start_s")
    grid = np.arange(0.0, _SURGE_MOST_S, 0.01)
    curves = [
        np.interp(grid, data.bins.time_s[rows] - starts[p], -data.bins.pressure_kpa[rows], right=np.nan)
        for p, rows in chosen
        if len(rows) > 2
    ]
    if not curves:
        return least
    _, mid, _, present = grid_spread(curves)
    there = present >= 0.5 * len(curves)
    return float(grid[int(np.argmax(np.where(there, mid, -np.inf)))]) + least if there.any() else least


def _lost(data: StationData, rows: Indices, pressure: Floats, begin: float) -> tuple[Floats, Floats] | None:
    """Time and vacuum lost of one coast from the end of its surge, the origin at the intercept of a straight line."""
    time = data.bins.time_s[rows]
    start = data.periods.floats("start_s")[data.bins.period[rows[0]]] + begin
    after = time >= start
    if after.sum() < 6:
        return None
    since, level = time[after] - start, pressure[rows][after]
    early = since <= max(0.5 * since[-1], since[5])
    mean_t, mean_p = since[early].mean(), level[early].mean()
    spread = ((since[early] - mean_t) ** 2).sum()
    slope = ((since[early] - mean_t) * (level[early] - mean_p)).sum() / spread if spread > 0 else 0.0
    return since, level - (mean_p - slope * mean_t)
