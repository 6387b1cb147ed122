"""The fall of coasts that are too short to be rated: how much leaks at least."""

import numpy as np

from tracekit.model.cycle import StationData
from tracekit.model.estimate import Bound
from tracekit.options.leak import LeakOptions
from tracekit.signal.falls import fall_rate_kpa_s


def least_leak(data: StationData, options: LeakOptions) -> Bound | None:
    """What leaks at least at the reference vacuum, by the fall of coasts too short to rate; None where it is not fast.

    Without exchange of heat vacuum falls faster than it would at one temperature, and gas that was cooled warms.
    Through pores less enters at a lesser vacuum than the coasts'.
    """
    fall = fall_rate_kpa_s(data)
    fall = fall[np.isfinite(fall)]
    if len(fall) < options.fewest_cycles:
        return None
    slow = float(np.quantile(fall, 0.05))
    if slow < options.fall_least_kpa_s:
        return None
    deep = data.ambient_kpa - np.maximum(float(np.nanmedian(data.cycles.floats("peak_vacuum_kpa"))), 0.0)
    kept = data.ambient_kpa - options.ref_vacuum_kpa
    pores = (data.ambient_kpa**2 - kept**2) / (data.ambient_kpa**2 - deep**2)
    limit = (slow - options.fall_warming_kpa_s) / options.fall_quick * min(float(pores), 1.0)
    method = "fall of coasts too short to rate, less what gas adds that is compressed and warms"
    return Bound(status="lower_bound", limit=limit, unit="kPa/s", n=len(fall), method=method)
