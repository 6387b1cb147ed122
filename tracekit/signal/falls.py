"""How fast vacuum falls in coasts that are too short to be rated."""

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import StationData

Floats = NDArray[np.float64]


def fall_rate_kpa_s(data: StationData) -> Floats:
    """Median fall of the coasts of each hold that a recharge ended, shape (n_cycles,) [kPa/s]; NaN for fewer than two.

    What cooled gas that warms, and a volume compressed without exchange of heat, add is in it: up to 1.4 times the
    isothermal rate, and some kPa/s.
    """
    periods, out = data.periods, np.full(len(data.cycles), np.nan)
    kind, cycle = periods.codes("kind"), periods.codes("cycle")
    names = periods.categories["kind"]
    coast, recharge = names.index("coast"), names.index("recharge")
    ended = np.flatnonzero((kind[:-1] == coast) & (kind[1:] == recharge) & (cycle[:-1] == cycle[1:]))
    if not len(ended):
        return out
    # from its first sample to its last one
    length = periods.floats("end_s")[ended] - periods.floats("start_s")[ended] - data.sensor.sample_interval_s
    fall = periods.floats("vacuum_start_kpa")[ended] - periods.floats("vacuum_end_kpa")[ended]
    several = length > 0.5 * data.sensor.sample_interval_s
    rate, held_in = fall[several] / length[several], cycle[ended][several]
    order = np.lexsort((rate, held_in))
    owner, first, count = np.unique(held_in[order], return_index=True, return_counts=True)
    middle = rate[order][first + count // 2]
    out[owner] = np.where(count >= 2, middle, np.nan)
    return out
