"""How fast the vacuum of some holds falls while the supply is cut, from bin to bin of the averaged trace."""


import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Coasting:
    """Pairs of neighbouring bins in coasts, shape (n,).

    hold  the cycle;  since_s  middle of the pair after the hold began;  after_cut_s  its first bin after the cut
    step_s  from bin to bin;  speed_kpa_s  of the falling vacuum
    """

    hold: Ints
    since_s: Floats
    after_cut_s: Floats
    step_s: Floats
    speed_kpa_s: Floats

    def where(self, flag: Bools) -> "Coasting":
        """Some of the pairs."""
        return Coasting(
            hold=self.hold[flag], since_s=self.since_s[flag], after_cut_s=self.after_cut_s[flag],
            step_s=self.step_s[flag], speed_kpa_s=self.speed_kpa_s[flag],
        )  # fmt: skip


def coasting(data: StationData, cycles: Bools) -> Coasting:
    """The pairs of some cycles, shape (n_cycles,), that lie in one coast after the hold began."""
    bins = data.bins
    at = np.flatnonzero(cycles[bins.cycle[:-1]])
    at = at[(bins.period[at + 1] == bins.period[at]) & data.periods.where("kind", "coast")[bins.period[at]]]
    hold, step_s = bins.cycle[at].astype(np.int64), bins.time_s[at + 1] - bins.time_s[at]
    since_s = 0.5 * (bins.time_s[at + 1] + bins.time_s[at]) - data.cycles.floats("hold_start_s")[hold]
    with np.errstate(invalid="ignore", divide="ignore"):
        pairs = Coasting(
            hold=hold, since_s=since_s, step_s=step_s,
            after_cut_s=bins.time_s[at] - data.periods.floats("start_s")[bins.period[at]],
            speed_kpa_s=(bins.pressure_kpa[at + 1] - bins.pressure_kpa[at]) / step_s,
        )  # fmt: skip
        return pairs.where((since_s >= 0.0) & (step_s > 0.0))


def spread(flag: Bools, most: int) -> Bools:
    """At most some `most` of the cycles in `flag`, spread over the log: what many show, so many show too."""
    rows = np.flatnonzero(flag)
    out = np.zeros(len(flag), np.bool_)
    out[rows[:: max(1, len(rows) // most)]] = True
    return out


def last_or_middle(value: Floats, owner: Ints, share: float) -> tuple[Ints, Ints]:
    """Owners, and the place of the value below which `share` of each owner's values lie."""
    order = np.lexsort((value, owner))
    rows, first, count = np.unique(owner[order], return_index=True, return_counts=True)
    return rows, order[first + np.minimum((share * count).astype(np.int64), count - 1)]
