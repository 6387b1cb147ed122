"""What a leak costs: extra supply time times nozzle flow times energy and price of air, and extra valve operations."""

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from tracekit.history.collect import StationHistory
from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.trend import LeakCost, MeasureTrend
from tracekit.options.history import TrendOptions

_LEVEL = 0.95
_BEST_LOGS = 5


def leak_cost(
    history: StationHistory, supply_time: MeasureTrend | None, switches: MeasureTrend | None, options: TrendOptions
) -> LeakCost | None:
    """Cost per month against the best five logs in a row; None where nothing of it can be told.

    Cycles a month are those of the newest logs, at the running hours of the options.
    """
    flow = history.number("fact", "nozzle_flow_l_min_anr")
    energy = history.number("fact", "energy_kwh_per_m3_anr")
    price = history.number("fact", "price_per_kwh")
    extra = _above_best(supply_time)
    if flow is None or extra is None:
        return None
    per_hour = cycles_per_hour(history)
    hours = options.running_hours
    switched = _switched(_above_best(switches), hours)
    if energy is None or per_hour is None:
        gone = Withheld("the energy per air is not in the station file" if energy is None else "no cycles counted")
        return LeakCost(energy_kwh=gone, money=gone, switches=switched, hours=hours)
    kwh = _scaled(extra, energy_per_supply_second(flow, energy) * per_hour * hours, "kWh/month")
    money = Withheld("no price in the station file") if price is None else _scaled(kwh, price, "1/month")
    return LeakCost(energy_kwh=kwh, money=money, switches=switched, hours=hours)


def energy_per_supply_second(nozzle_flow_l_min: float, energy_kwh_per_m3: float) -> float:
    """Energy of the air that the nozzle takes in one second [kWh/s], from flow [L/min ANR] and energy [kWh/m³ ANR]."""
    return nozzle_flow_l_min / 60.0 / 1000.0 * energy_kwh_per_m3


def cycles_per_hour(history: StationHistory) -> float | None:
    """Cycles per hour of recording, the median over the newest 30 logs."""
    cycles, duration = history.followed.get("cycles"), history.followed.get("duration")
    if cycles is None or duration is None:
        return None
    rate = (cycles.value / np.maximum(duration.value, 1.0) * 3600.0)[-30:]
    known = rate[np.isfinite(rate)]
    return float(np.median(known)) if known.size else None


def _above_best(trend: MeasureTrend | None) -> Estimate | None:
    """Present level less the lowest median of five logs in a row, never below zero."""
    if trend is None or isinstance(trend.present, Withheld):
        return None
    present = trend.present
    best, best_half = _best(trend.series.value)
    more = max(present.value - best, 0.0)
    half = sqrt(((present.upper - present.lower) / 2.0) ** 2 + best_half**2)
    return Estimate(
        value=more, lower=max(more - half, 0.0), upper=more + half, unit=present.unit, n=present.n,
        method="present level less the lowest median of five logs in a row", level=_LEVEL,
    )  # fmt: skip


def _best(value: NDArray[np.float64]) -> tuple[float, float]:
    """The lowest median of five logs in a row and the half-width of its interval."""
    logs = min(_BEST_LOGS, len(value))
    windows = np.lib.stride_tricks.sliding_window_view(value, logs)
    medians = np.median(windows, axis=1)
    at = int(np.argmin(medians))
    sigma = 1.4826 * float(np.median(np.abs(windows[at] - medians[at])))
    return float(medians[at]), 1.96 * 1.2533 * sigma / sqrt(logs)


def _scaled(estimate: Estimate, factor: float, unit: str) -> Estimate:
    return Estimate(
        value=estimate.value * factor, lower=estimate.lower * factor, upper=estimate.upper * factor, unit=unit,
        n=estimate.n, method=estimate.method, level=estimate.level,
    )  # fmt: skip


def _switched(extra: Estimate | None, hours: float) -> Estimate | Withheld:
    if extra is None:
        return Withheld("supply switches are not followed")
    return _scaled(extra, hours, "1/month")
