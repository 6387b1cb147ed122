"""The measures that are followed over time: which way is worse, on which scale they are judged."""

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trend import Scale, TrendMeasure


def _m(name: str, title: str, unit: str, scale: Scale, worse: int, floor: float, marks: str = "") -> TrendMeasure:
    """One line of the table; `marks`: h held cycles only, s shows a weak supply, q no alarm of its own."""
    return TrendMeasure(
        name=name, title=title, unit=unit, scale=scale, worse=worse, floor=floor,
        held="h" in marks, supply="s" in marks, alarm="q" not in marks,
    )  # fmt: skip


MEASURES: tuple[TrendMeasure, ...] = (
    _m("decay_rate_kpa_s", "leak: fall of vacuum with the supply closed", "kPa/s", "log", 1, 0.03, "h"),
    _m("leak_rate_pa_m3_s", "leak rate", "Pa·m³/s", "log", 1, 0.03, "hq"),
    _m("uncoasted_share", "holds without a usable coast", "1", "share", 1, 0.02, "h"),
    _m("evacuation_time_s", "evacuation time", "s", "log", 1, 0.02, "s"),
    _m("seal_time_s", "time from contact to set point", "s", "log", 1, 0.02, "qs"),
    _m("pump_time_constant_s", "time constant of the evacuation", "s", "log", 1, 0.02, "s"),
    _m("ultimate_vacuum_kpa", "ultimate vacuum", "kPa", "linear", -1, 0.5, "s"),
    _m("open_cup_vacuum_kpa", "vacuum with the cup open", "kPa", "linear", 0, 0.3, "s"),
    _m("hold_min_vacuum_kpa", "lowest vacuum in the hold", "kPa", "linear", -1, 0.5, "hq"),
    _m("release_time_s", "release time", "s", "log", 1, 0.03, "hs"),
    _m("residual_vacuum_kpa", "vacuum left after release", "kPa", "linear", 1, 0.3, "hq"),
    _m("response_delay_s", "response delay", "s", "log", 1, 0.03, "s"),
    _m("noise_kpa", "noise of the sensor", "kPa", "log", 1, 0.05),
    _m("idle_vacuum_kpa", "zero of the sensor", "kPa", "linear", 0, 0.1),
    _m("chatter_edges", "extra output edges per cycle", "1", "count", 1, 0.15),
    _m("supply_switches_per_hour", "supply switches per hour", "1/h", "log", 1, 0.05, "q"),
    _m("supply_on_time_s", "air per cycle, as supply time", "s", "log", 1, 0.03, "h"),
    _m("drop_share", "share of parts dropped", "1", "share", 1, 0.01),
    _m("miss_share", "share of picks missed", "1", "share", 1, 0.01),
)

SMALLEST_LOG = 1e-4


def measure_named(name: str) -> TrendMeasure | None:
    """The measure of that name, or None."""
    return next((m for m in MEASURES if m.name == name), None)


def to_scale(measure: TrendMeasure, value: NDArray[np.float64], n: NDArray[np.float64]) -> NDArray[np.float64]:
    """Values on the scale where their scatter is even. All arrays have shape (n_logs,).

    Shares use the angular transform with Anscombe's 3/8 (Biometrika 35, 1948, 246–254), whose standard deviation
    is 1/√n; counts twice the square root.
    """
    if measure.scale == "log":
        return np.log(np.maximum(value, SMALLEST_LOG))
    if measure.scale == "share":
        safe_n = np.maximum(n, 1.0)
        raised = (np.clip(value, 0.0, 1.0) * safe_n + 0.375) / (safe_n + 0.75)
        return 2.0 * np.arcsin(np.sqrt(raised))
    if measure.scale == "count":
        return 2.0 * np.sqrt(np.maximum(value, 0.0))
    return value


def floor_on_scale(measure: TrendMeasure, n: NDArray[np.float64]) -> float:
    """Smallest standard deviation that is believed, on the scale, given the cycles per log, shape (n_logs,)."""
    if measure.scale in ("share", "count") and n.size:
        return float(max(measure.floor, 1.0 / np.sqrt(max(float(np.median(n)), 1.0))))
    return measure.floor
