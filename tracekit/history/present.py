"""Where a measure stands at its last log."""

from dataclasses import replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from tracekit.history.forecast import Lines, level_error, share_of_amounts
from tracekit.history.prepare import Prepared
from tracekit.history.slope import Slope
from tracekit.model.estimate import Estimate, Withheld
from tracekit.options.history import TrendOptions

_RATE_LOGS = 30


def present_level(
    prepared: Prepared, lines: Lines | None, stretch: NDArray[np.bool_], options: TrendOptions
) -> Estimate | Withheld:
    """Level at the last log: of the line through the present stretch, or of that log itself where it has few logs."""
    n = int(stretch.sum())
    if prepared.measure.scale in ("share", "count"):
        return _rare(prepared, stretch)
    if lines is None or n < options.shortest_logs:
        return _newest_log(prepared)
    by_factor = lines.factors is not None and share_of_amounts(lines) < 0.5
    line = lines.factors if by_factor and lines.factors is not None else lines.amounts
    values = np.log(lines.value) if by_factor else lines.value
    line = line if line.p_value < options.growth_p else _flat(values, line)
    last = float(prepared.days[-1])
    centre, away = line.value_at(last), last - float(np.median(lines.time))
    as_amount = prepared.measure.scale == "log" and not by_factor
    floor = prepared.floor * (abs(centre) if as_amount else 1.0) / sqrt(n)
    half = 1.96 * sqrt(max(level_error(lines.time, values, line), floor) ** 2 + (line.se * away) ** 2)
    ends = (centre - half, centre, centre + half)
    lower, value, upper = (float(np.exp(e)) for e in ends) if by_factor else ends
    how = "line of the present stretch at the last log"
    return Estimate(value=value, lower=lower, upper=upper, unit=prepared.measure.unit, n=n, method=how)


def _rare(prepared: Prepared, stretch: NDArray[np.bool_]) -> Estimate:
    """Rate of rare events over the newest logs of the stretch, with Wilson's interval."""
    rows = np.flatnonzero(stretch)[-_RATE_LOGS:]
    cycles = np.maximum(prepared.followed.n[prepared.use][rows], 1.0)
    total, value = float(cycles.sum()), prepared.value[rows]
    rate = float((value * cycles).sum()) / total
    middle, spread = rate + 1.92 / total, 1.96 * sqrt(max(rate * (1.0 - min(rate, 1.0)), 0.0) / total + 0.96 / total**2)
    if prepared.measure.scale == "count":
        own = float(value.std(ddof=1)) / sqrt(len(rows)) if len(rows) > 1 else 0.0
        middle, spread = rate + 1.92 / total, 1.96 * sqrt(max(rate / total, own**2) + 0.96 / total**2)
    scale = 1.0 + 3.84 / total
    return Estimate(
        value=rate, lower=max((middle - spread) / scale, 0.0), upper=(middle + spread) / scale,
        unit=prepared.measure.unit, n=len(rows), method=f"all cycles of the newest {len(rows)} logs of the stretch",
    )  # fmt: skip


def _flat(values: NDArray[np.float64], line: Slope) -> Slope:
    """Where no growth is established the level is the median of the stretch."""
    return replace(line, slope=0.0, intercept=float(np.median(values)), se=0.0)


def _newest_log(prepared: Prepared) -> Estimate | Withheld:
    """The newest log's own value and interval."""
    row = int(np.flatnonzero(prepared.use)[-1])
    lower, upper = float(prepared.followed.lower[row]), float(prepared.followed.upper[row])
    if not (np.isfinite(lower) and np.isfinite(upper)):
        return Withheld("too few logs in the present stretch, and the newest has no interval of its own")
    value, unit = float(prepared.followed.value[row]), prepared.measure.unit
    return Estimate(value=value, lower=lower, upper=upper, unit=unit, n=1, method="the newest log")
