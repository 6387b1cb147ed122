"""Some holds of a recording, to be drawn before against after."""

import numpy as np
from numpy.typing import NDArray

from tracekit.model.comparison import HoldRows
from tracekit.model.cycle import StationData

Ints = NDArray[np.int64]

MOST_ROWS = 20


def hold_rows_of(data: StationData, most: int = MOST_ROWS) -> HoldRows | None:
    """At most `most` holds in even spacing, with their refills; None where no part was gripped."""
    cycles = data.cycles
    gripped = np.flatnonzero(cycles.where("outcome", "held") | cycles.where("outcome", "dropped"))
    if not len(gripped):
        return None
    drawn = gripped[np.unique(np.linspace(0, len(gripped) - 1, min(most, len(gripped))).round().astype(np.int64))]
    begun = cycles.floats("start_s")
    refill = data.periods.where("kind", "recharge") & (data.periods.codes("cycle") >= 0)
    owner = data.periods.codes("cycle")[refill].astype(np.int64)
    start, stop = data.periods.floats("start_s")[refill], data.periods.floats("end_s")[refill]
    place = np.full(len(cycles), -1, np.int64)
    place[drawn] = np.arange(len(drawn))
    kept = place[owner] >= 0
    return HoldRows(
        cycle=drawn.astype(np.int64),
        first=_first_suction(data)[drawn] - begun[drawn],
        end=cycles.floats("hold_end_s")[drawn] - begun[drawn],
        row=place[owner[kept]],
        start=start[kept] - begun[owner[kept]],
        stop=stop[kept] - begun[owner[kept]],
        refills=np.bincount(owner, minlength=len(cycles))[gripped].astype(np.int64),
    )


def _first_suction(data: StationData) -> NDArray[np.float64]:
    """When the last evacuation of each cycle ends, else when its set point was reached, shape (n_cycles,) [s]."""
    ends = np.full(len(data.cycles), -np.inf)
    known = data.periods.where("kind", "evacuate") & (data.periods.codes("cycle") >= 0)
    np.maximum.at(ends, data.periods.codes("cycle")[known], data.periods.floats("end_s")[known])
    return np.where(np.isfinite(ends), ends, data.cycles.floats("hold_start_s"))
