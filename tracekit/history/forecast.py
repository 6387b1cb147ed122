"""When a measure will cross its limit: a date with an interval, or why none can be given.

Growth may be by equal amounts or by equal factors; a few months of logs seldom tell. Each form gives, for every
future day, the probability that the limit is crossed by then (Student's t of the line's distance from the limit over
its standard error: a confidence distribution [1]); the two are mixed by how well they fit. Date and interval are
quantiles of the mixture.

[1] T. Schweder, N. L. Hjort, Confidence, Likelihood, Probability (2016): distributions from pivots; the interval of a
crossing time is that of E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175–185.
"""

from dataclasses import replace
from math import exp, log, sqrt

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.history.slope import Slope, mean_slope, middle_of, robust_sigma, robust_slope
from tracekit.model.estimate import Withheld
from tracekit.options.history import TrendOptions

_RESOLUTION_DAYS = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """Days (on the series' own time axis) at which the limit is crossed; `past` where it lies behind the last log."""

    date: float
    earliest: float
    latest: float
    past: bool
    form: str


@dataclass(frozen=True, slots=True)
class NotBefore(Withheld):
    """No interval of the date can be given, but its lower end: the limit is not crossed before the day `earliest`."""

    earliest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Form:
    """A line on its scale: distance from the limit (negative: not yet there) and its standard error at any day."""

    name: str
    line: Slope
    limit: float
    side: int
    middle: float
    level_se: float
    weight: float

    def crossed(self, days: NDArray[np.float64]) -> NDArray[np.float64]:
        """Probability that the limit is crossed by each day."""
        from scipy.special import stdtr

        distance = (self.line.intercept + self.line.slope * days - self.limit) * self.side
        se = np.sqrt(self.level_se**2 + (self.line.se * (days - self.middle)) ** 2)
        return np.asarray(stdtr(self.line.df, distance / np.maximum(se, 1e-12)), np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """The logs since the last step and the lines through them.

    time, value  shape (n_logs,): days, and the measure in its unit
    amounts      line through the values: growth by equal amounts
    factors      line through their logarithms: growth by equal factors; None where that makes no sense
    """

    time: NDArray[np.float64]
    value: NDArray[np.float64]
    amounts: Slope
    factors: Slope | None


def find_lines(
    time: NDArray[np.float64], value: NDArray[np.float64], by_factor: bool, extra_se: float = 0.0
) -> Lines | None:
    """The lines through a stretch of logs; None where it has no two different times.

    by_factor  the measure may grow by equal factors, where it is positive
    extra_se   further standard error of a slope on the scale of the measure (recorded influences taken out)
    """
    amounts = robust_slope(time, value)
    if amounts is None:
        return None
    factors = robust_slope(time, np.log(value)) if by_factor and bool((value > 0).all()) else None
    level = middle_of(np.abs(value)) if by_factor else 1.0
    return Lines(
        time=time, value=value, amounts=widened(amounts, extra_se * level),
        factors=None if factors is None else widened(factors, extra_se),
    )  # fmt: skip


def find_mean_lines(time: NDArray[np.float64], value: NDArray[np.float64], smallest_sigma: float) -> Lines | None:
    """The same for shares and counts of rare events, by least squares."""
    amounts = mean_slope(time, value, smallest_sigma)
    return None if amounts is None else Lines(time=time, value=value, amounts=amounts, factors=None)


def widened(line: Slope, se: float) -> Slope:
    """The slope with a further standard error in its interval."""
    if se <= 0.0 or line.se <= 0.0:
        return line
    factor = sqrt(line.se**2 + se**2) / line.se
    return replace(
        line, se=line.se * factor, lower=line.slope - (line.slope - line.lower) * factor,
        upper=line.slope + (line.upper - line.slope) * factor,
    )  # fmt: skip


def crossing(lines: Lines, limit: float, side: int, options: TrendOptions) -> Crossing | Withheld:
    """Date at which a measure reaches a limit: upwards where `side` is 1, downwards where it is -1."""
    time = lines.time
    if len(time) < options.shortest_logs:
        return Withheld(f"only {len(time)} logs in the present stretch; {options.shortest_logs} are needed")
    forms = _forms(lines, limit, side)
    span, last = float(time[-1] - time[0]), float(time[-1])
    best = max(forms, key=lambda f: f.weight)
    ahead = min(options.horizon_days, options.horizon_factor * span)
    days = np.arange(float(time[0]), last + ahead + _RESOLUTION_DAYS, _RESOLUTION_DAYS)
    chance = np.maximum.accumulate(sum(form.weight * form.crossed(days) for form in forms))
    low, high = (1.0 - options.level) / 2.0, (1.0 + options.level) / 2.0
    if chance[0] > high:
        return Withheld("over the limit in all logs since the last step")
    gone = _why_not(best, chance, days, last, ahead, side, (low, high), options)
    if gone is not None:
        return gone
    date, earliest, latest = (float(days[np.searchsorted(chance, q)]) for q in (0.5, low, high))
    return Crossing(date=date, earliest=earliest, latest=latest, past=date <= last, form=best.name)


def _why_not(
    best: _Form,
    chance: NDArray[np.float64],
    days: NDArray[np.float64],
    last: float,
    ahead: float,
    side: int,
    tails: tuple[float, float],
    options: TrendOptions,
) -> Withheld | None:
    """Why no date can be given, or None."""
    if best.line.slope * side <= 0 or best.line.p_value > options.growth_p:
        return Withheld(f"growth towards the limit is not established (p = {best.line.p_value:.2g})")
    if chance[-1] < tails[0]:
        return Withheld(f"further off than {ahead:.0f} days, which is as far as these logs can tell")
    if chance[-1] < tails[1]:
        earliest = float(days[np.searchsorted(chance, tails[0])])
        first = earliest - last
        if first <= 0:
            said = f"the limit may be crossed already; no latest date within {ahead:.0f} days"
        else:
            said = f"not before {first:.0f} days from the last log; no latest date within {ahead:.0f} days"
        return NotBefore(said, earliest)
    return None


def _forms(lines: Lines, limit: float, side: int) -> list[_Form]:
    amounts = _form("equal amounts", lines.time, lines.value, lines.amounts, limit, side)
    if lines.factors is None or limit <= 0:
        return [amounts]
    factors = _form("equal factors", lines.time, np.log(lines.value), lines.factors, log(limit), side)
    share = share_of_amounts(lines)
    return [replace(amounts, weight=share), replace(factors, weight=1.0 - share)]


def _form(
    name: str, time: NDArray[np.float64], value: NDArray[np.float64], line: Slope, limit: float, side: int
) -> _Form:
    level_se = level_error(time, value, line)
    middle = middle_of(time)
    return _Form(name=name, line=line, limit=limit, side=side, middle=middle, level_se=level_se, weight=1.0)


def share_of_amounts(lines: Lines) -> float:
    """Probability that growth is by equal amounts rather than equal factors, given the fits; 1 without the latter."""
    if lines.factors is None:
        return 1.0
    straight = lines.amounts.intercept + lines.amounts.slope * lines.time
    fitted = np.maximum(straight, 1e-3 * middle_of(lines.value))
    growing = lines.factors.intercept + lines.factors.slope * lines.time
    logs = np.log(lines.value)
    return _share_of_first(logs - np.log(fitted), logs - growing, lines.factors.df)


def level_error(time: NDArray[np.float64], value: NDArray[np.float64], line: Slope) -> float:
    """Standard error of the line at its middle: that of a median of correlated logs."""
    residual = value - line.intercept - line.slope * time
    sigma = robust_sigma(residual)
    return 1.2533 * sigma * sqrt(line.correlation.long_run / len(time))


def _share_of_first(first: NDArray[np.float64], second: NDArray[np.float64], effective: float) -> float:
    """Posterior share of the first form: likelihood of clipped residuals with the effective number of logs."""
    scale = 1.4826 * min(middle_of(np.abs(first)), middle_of(np.abs(second))) + 1e-9
    a, b = (float(np.mean(np.clip(r, -4.0 * scale, 4.0 * scale) ** 2)) + 1e-12 for r in (first, second))
    evidence = 0.5 * (effective + 2.0) * log(b / a)
    return 1.0 / (1.0 + exp(-float(np.clip(evidence, -30.0, 30.0))))
