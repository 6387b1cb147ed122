"""Gas warming taken out of a trace: what pressure the same gas would have at the temperature of the walls."""

import numpy as np

from tracekit.model.cycle import StationData
from tracekit.model.result import LeakResult
from tracekit.physics.heat import exchange_boost, exchange_rate_1_s, follow, virtual_pressure
from tracekit.report.view import Floats, Mask, median

_LEAST_KPA, _PASSES = 1.0, 2


def without_warming(data: StationData, leak: LeakResult) -> Floats | None:
    """Absolute pressure of every bin at wall temperature, shape (n_bins,) [kPa]; None without a time constant.

    The gas's memory of its pressure starts afresh wherever the supply is off outside a hold (see `physics.heat`).
    """
    tau = leak.wall_time_constant_s
    if not np.isfinite(tau) or tau <= 0.0 or len(data.bins.time_s) < 2:
        return None
    idle = median(data.cycles.floats("idle_vacuum_kpa"))
    zero = -idle if np.isfinite(idle) else 0.0
    pressure = np.maximum(data.ambient_kpa + data.bins.pressure_kpa - zero, _LEAST_KPA)
    log_pressure = np.log(pressure)
    step = np.diff(data.bins.time_s, prepend=data.bins.time_s[:1])
    rate = median(leak.rate)
    inflow = rate / pressure if np.isfinite(rate) else 0.0
    exchange, outside = exchange_rate_1_s(tau, pressure / data.ambient_kpa), _outside(data)
    memory = log_pressure
    for _ in range(_PASSES):
        turns = (exchange * exchange_boost(log_pressure, memory) + inflow) * np.maximum(step, 0.0)
        memory = follow(log_pressure, turns, outside)
    return virtual_pressure(log_pressure, memory)


def _outside(data: StationData) -> Mask:
    """True for bins in which nothing is sucked or held, shape (n_bins,)."""
    kind = data.periods.where("kind", "idle") | data.periods.where("kind", "release")
    found = kind[data.bins.period]
    found[0] = True
    return np.asarray(found, np.bool_)
