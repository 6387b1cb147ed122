"""Gas warming taken out of a trace: what pressure the same gas would have at the temperature of the walls."""

import numpy as np

from tracekit.model.cycle import StationData
from tracekit.model.result import LeakResult
from tracekit.physics.heat import exchange_boost, exchange_rate_1_s, follow, virtual_pressure
from tracekit.report.view import Floats, Indices, Mask, median

_LEAST_KPA, _PASSES = 1.0, 2


def without_warming(data: StationData, leak: LeakResult, cycles: Indices | None = None) -> Floats | None:
    """Absolute pressure of every bin at wall temperature, shape (n_bins,) [kPa]; None without a time constant.

    The gas's memory of its pressure starts afresh wherever the supply is off outside a hold (see `physics.heat`). With
    `cycles` only the bins of these are filled, the others NaN: a long log has far more than a picture draws.
    """
    tau = leak.wall_time_constant_s
    if not np.isfinite(tau) or tau <= 0.0 or len(data.bins.time_s) < 2:
        return None
    rows = _bins_of(data, cycles)
    idle = median(data.cycles.floats("idle_vacuum_kpa"))
    zero = -idle if np.isfinite(idle) else 0.0
    pressure = np.maximum(data.ambient_kpa + data.bins.pressure_kpa[rows] - zero, _LEAST_KPA)
    log_pressure, time = np.log(pressure), data.bins.time_s[rows]
    step = np.diff(time, prepend=time[:1])
    rate = median(leak.rate)
    inflow = rate / pressure if np.isfinite(rate) else 0.0
    exchange, outside = exchange_rate_1_s(tau, pressure / data.ambient_kpa), _outside(data, rows)
    memory = log_pressure
    for _ in range(_PASSES):
        turns = (exchange * exchange_boost(log_pressure, memory) + inflow) * np.maximum(step, 0.0)
        memory = follow(log_pressure, turns, outside)
    out = np.full(len(data.bins.time_s), np.nan)
    out[rows] = virtual_pressure(log_pressure, memory)
    return out


def _bins_of(data: StationData, cycles: Indices | None) -> Indices:
    """Bins of some cycles and of the one before each, of which the gas remembers; of all where none are named."""
    if cycles is None:
        return np.arange(len(data.bins.time_s))
    wanted = np.zeros(len(data.cycles), np.bool_)
    wanted[cycles] = True
    wanted[:-1] |= wanted[1:].copy()
    return np.flatnonzero(wanted[data.bins.cycle])


def _outside(data: StationData, rows: Indices) -> Mask:
    """True for bins in which nothing is sucked or held, and where bins before are left out, shape (n_rows,)."""
    kind = data.periods.where("kind", "idle") | data.periods.where("kind", "release")
    return np.asarray(kind[data.bins.period[rows]] | (np.diff(rows, prepend=rows[:1] - 2) != 1), np.bool_)
