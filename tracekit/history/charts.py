"""Alarms: a CUSUM and an EWMA chart per measure, against what was usual before, only for changes for the worse.

What is usual is learnt from the logs of the present regime (since the last confirmed repair) that are older than a
guard time, so that growth is not learnt as usual. Its own uncertainty is allowed for: the scatter is taken at the
upper end of its standard error and the centre is moved by its standard error towards the alarm. Correlation between
logs enters as the factor by which it raises the variance of a long mean. One log counts no more than `clip` standard
deviations, so one odd log never alarms. The decision at a log uses nothing that came later.

E. S. Page, Biometrika 41 (1954) 100–115; S. W. Roberts, Technometrics 1 (1959) 239–250.
"""

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.history.runlength import cusum_limit, ewma_limit
from tracekit.history.slope import find_correlation, middle_of, robust_sigma
from tracekit.options.history import TrendOptions

_RELEARN = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Limits of the two charts and the false alarms per station-year that they are set for, over all measures."""

    cusum: float
    ewma: float
    allowance: float
    weight: float
    clip: float
    run_length: float
    charts: int
    per_year: float

    @property
    def rule(self) -> str:
        """How the limits were set, in one sentence."""
        return (
            f"{self.charts} charts per station share {self.per_year:g} false alarms a year equally (Bonferroni): "
            f"average run length {self.run_length:.0f} logs each, CUSUM k {self.allowance:g} h {self.cusum:.2f}, "
            f"EWMA weight {self.weight:g} limit {self.ewma:.2f}"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartAlarm:
    """An alarm at log `index`: which chart, which side (1 up, -1 down), how many standard deviations off usual."""

    index: int
    kind: str
    side: int
    deviation: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Charted:
    """The charts of one series. `centre`, `sigma` (n_logs,): what was usual at each log, NaN while learning."""

    alarms: tuple[ChartAlarm, ...]
    centre: NDArray[np.float64]
    sigma: NDArray[np.float64]
    in_alarm: bool


def chart_limits(sides: int, options: TrendOptions) -> Limits:
    """Limits such that `sides` one-sided series, each with two charts, share the false alarms aimed at."""
    charts = 2 * max(sides, 1)
    run_length = float(round(charts * options.logs_per_year / options.false_alarms_per_year))
    return Limits(
        cusum=cusum_limit(run_length, options.cusum_allowance, options.clip),
        ewma=ewma_limit(run_length, options.ewma_weight, options.clip),
        allowance=options.cusum_allowance, weight=options.ewma_weight, clip=options.clip,
        run_length=run_length, charts=charts, per_year=options.false_alarms_per_year,
    )  # fmt: skip


def cusum(z: NDArray[np.float64], allowance: float) -> NDArray[np.float64]:
    """One-sided cumulative sum max(0, C + z − allowance), shape (n,)."""
    walk = np.cumsum(z - allowance)
    return walk - np.minimum(np.minimum.accumulate(walk), 0.0)


def ewma(value: NDArray[np.float64], weight: float, start: float) -> NDArray[np.float64]:
    """Exponentially weighted moving average from `start`, shape (n,)."""
    out = np.empty(len(value))
    level = start
    for index, x in enumerate(value.tolist()):
        level += weight * (x - level)
        out[index] = level
    return out


def ewma_sigma(weight: float, logs: NDArray[np.int64]) -> NDArray[np.float64]:
    """Standard deviation of the EWMA after so many independent logs of unit variance."""
    grown = 1.0 - (1.0 - weight) ** (2.0 * logs.astype(np.float64))
    return np.asarray(np.sqrt(weight / (2.0 - weight) * grown), np.float64)


def run_charts(
    time: NDArray[np.float64],
    value: NDArray[np.float64],
    sides: tuple[int, ...],
    least: tuple[float, float],
    limits: Limits,
    options: TrendOptions,
    restarts: tuple[int, ...] = (),
    anew: tuple[int, ...] = (),
) -> Charted:
    """Run both charts over a series.

    time, value  shape (n_logs,): days, and values on the scale where scatter is even
    sides        1 where more is worse, -1 where less is worse, or both
    least        smallest standard deviation that is believed, and a swing by weather that is no alarm
    restarts     indices of the first log after each confirmed repair: what is usual is learnt anew from there, and
                 until then what was usual before it holds
    anew         indices among them from which on what was usual before says nothing
    """
    alarms: list[ChartAlarm] = []
    active = False
    centre = sigma = np.full(len(time), np.nan)
    for side in sides:
        run = _run_side(time, value * side, least, (limits, options), restarts, anew)
        alarms.extend(ChartAlarm(index=i, kind=k, side=side, deviation=d) for i, k, d in run.alarms)
        active |= run.standing
        centre, sigma = np.array(run.centre) * side, np.array(run.sigma)
    return Charted(alarms=tuple(sorted(alarms, key=lambda a: a.index)), centre=centre, sigma=sigma, in_alarm=active)


@dataclass(frozen=True, slots=True)
class _Usual:
    """What is usual: centre and standard deviation for the charts, with their uncertainty allowed for."""

    centre: float
    sigma: float
    allowed: float


@dataclass(frozen=True, slots=True)
class _Run:
    """One side: alarms as (log, chart, deviation), whether the last one stands, what was usual at each log."""

    alarms: list[tuple[int, str, float]]
    standing: bool
    centre: NDArray[np.float64]
    sigma: NDArray[np.float64]


def _run_side(
    time: NDArray[np.float64],
    value: NDArray[np.float64],
    least: tuple[float, float],
    rules: tuple[Limits, TrendOptions],
    restarts: tuple[int, ...],
    anew: tuple[int, ...],
) -> _Run:
    """Both charts for more being worse. What is usual is learnt at a few logs; between them it stays as it is."""
    limits, options = rules
    chart = _Chart(limits)
    usual: _Usual | None = None
    begin, learnt = 0, 0
    centre, sigma = np.full(len(time), np.nan), np.full(len(time), np.nan)
    alarms: list[tuple[int, str, float]] = []
    ready = np.searchsorted(time, time - options.guard_days, side="right")
    index = 0
    while index < len(time):
        if index in restarts:
            begin, learnt = index, 0
            chart.reset()
            usual = None if index in anew else usual
        known = max(int(ready[index]), min(index, begin + options.baseline_logs)) - begin
        if not chart.standing and known >= options.baseline_logs and known >= learnt * _RELEARN:
            usual, learnt = _learn(time[begin : begin + known], value[begin : begin + known], least, limits.clip), known
        stop = _next_change(index, ready, (begin, learnt), restarts, options)
        if usual is not None:
            centre[index:stop], sigma[index:stop] = usual.centre, usual.sigma
            deviation = (value[index:stop] - usual.centre) / usual.sigma
            alarm, used = chart.run(deviation - usual.allowed)
            if alarm:
                alarms.append((index + used - 1, alarm, float(deviation[used - 1])))
            stop = index + used
        index = stop
    return _Run(alarms, chart.standing, centre, sigma)


def _next_change(
    index: int, ready: NDArray[np.int64], learnt: tuple[int, int], restarts: tuple[int, ...], options: TrendOptions
) -> int:
    """The first log after `index` at which something is learnt anew."""
    begin, known = learnt
    later = [r for r in restarts if r > index]
    wanted = max(known * _RELEARN, float(options.baseline_logs))
    by_guard = int(np.searchsorted(ready, begin + wanted))
    by_count = begin + options.baseline_logs if wanted <= options.baseline_logs else len(ready)
    relearn = min(by_guard, by_count)
    return min([*later, relearn if relearn > index else len(ready), len(ready)])


class _Chart:
    """State of the two charts of one side of one measure."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._scale = sqrt(limits.weight / (2.0 - limits.weight))
        self._sum = 0.0
        self._mean = 0.0
        self.standing = False

    def reset(self) -> None:
        """Begin anew, as after a repair."""
        self._sum = self._mean = 0.0
        self.standing = False

    def run(self, z: NDArray[np.float64]) -> tuple[str, int]:
        """Take in logs until an alarm begins or ends: the chart that alarms ("" for none), and the logs taken in."""
        limits = self._limits
        clip, allowance, weight = limits.clip, limits.allowance, limits.weight
        total, mean, standing = self._sum, self._mean, self.standing
        highest, ended = limits.ewma * self._scale, 1.0 * self._scale
        kind, used = "", 0
        for x in np.clip(z, -clip, clip).tolist():
            used += 1
            total = max(0.0, total + x - allowance)
            mean += weight * (x - mean)
            if standing:
                if mean < ended:
                    total, standing = 0.0, False
                    break
            elif total > limits.cusum or mean > highest:
                kind, standing = "cusum" if total > limits.cusum else "ewma", True
                break
        self._sum, self._mean, self.standing = total, mean, standing
        return kind, used


def _learn(time: NDArray[np.float64], value: NDArray[np.float64], least: tuple[float, float], clip: float) -> _Usual:
    """Centre and scatter of the logs, each with its own uncertainty added on the side of caution."""
    floor, swing = least
    middle = middle_of(value)
    residual = value - middle
    about_line = residual - _gentle_line(time, residual)
    sigma = max(robust_sigma(about_line), floor)
    centre = middle + float(np.clip(residual, -2.5 * sigma, 2.5 * sigma).mean())
    clipped = np.clip(about_line, -clip * sigma, clip * sigma)
    sigma = max(float(np.sqrt(np.mean(clipped**2))), floor)
    long_run = find_correlation(about_line).long_run
    effective = len(value) / long_run
    wide = sigma * sqrt(long_run) * (1.0 + 1.0 / sqrt(2.0 * effective))
    return _Usual(centre, wide, sqrt(1.0 / effective) + swing / wide)


def _gentle_line(time: NDArray[np.float64], residual: NDArray[np.float64]) -> NDArray[np.float64]:
    """A line through the residuals, by least squares of clipped values."""
    scale = 1.4826 * middle_of(np.abs(residual))
    clipped = np.clip(residual, -3.0 * scale, 3.0 * scale) if scale > 0 else residual
    centred = time - time.mean()
    square = float((centred**2).sum())
    return centred * (float((centred * clipped).sum()) / square) if square > 0 else np.zeros(len(time))
