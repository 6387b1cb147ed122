"""Steps that every search over coasts shares: which cycles, which flow, which sums, which of them are sound."""

from collections.abc import Sequence

import numpy as np

from tracekit.frozen import dataclass
from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Bools, Floats, History, Timeline, only
from tracekit.measure.leak_pieces import Pieces, cut_pieces
from tracekit.measure.leak_sums import (
    CycleSums,
    Fits,
    Scales,
    Wall,
    cycle_sums,
    gases_of,
    joined,
    regressors,
    weights,
)  # fmt: skip
from tracekit.options.leak import LeakOptions

ROOM = 12_000
"""Numbers of an array of a scan: few enough for the processor's cache, many enough that calls cost little."""
TOLD_BY = 1000
"""Bins, spread over all, that tell how alike the forms are: they depend on the pressure alone, smoothly."""
MANY_FORMS = 8
"""Forms from which on they are made up of a few of them: products of each two of these cost less than all forms."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coasts:
    """Bins of some cycles, the pieces of their coasts that a fit may use, and ρ in every bin [1/s]."""

    history: History
    pieces: Pieces
    rho: Floats


def thinned(coasts: Coasts, most: int, options: LeakOptions) -> Coasts:
    """The same with pieces of fewer cycles, evenly spread, so that some `most` pieces are left.

    Cycles that are left out are no longer in the history.
    """
    pieces, rows = coasts.pieces, np.unique(coasts.pieces.cycle)
    keep = int(len(rows) * most / max(len(pieces.start), 1))
    if keep >= len(rows) or keep < options.fewest_cycles:
        return coasts
    chosen = np.zeros(len(coasts.history.rows), bool)
    chosen[rows[np.linspace(0, len(rows) - 1, keep).round().astype(int)]] = True
    kept = chosen[coasts.history.cycle]
    use = np.zeros(len(kept), bool)
    use[pieces.index] = True
    history = only(coasts.history, chosen)
    return Coasts(history=history, pieces=cut_pieces(history, use[kept], options), rho=coasts.rho[kept])


def stratified(line: Timeline, most: int) -> Bools:
    """Mask of rated cycles, evenly spread over the log, that hold about `most` coasts in all."""
    rows = np.flatnonzero(line.rated)
    chosen = np.zeros(len(line.rated), bool)
    if not len(rows):
        return chosen
    keep = min(len(rows), max(1, int(most / max(float(np.mean(line.coasts[rows])), 1.0))))
    chosen[rows[np.unique(np.linspace(0, len(rows) - 1, keep).round().astype(int))]] = True
    return chosen


def inflow(history: History, rate: Floats) -> Floats:
    """ρ = r/P in every bin, from a rate per cycle of the history [1/s]; unknown and negative rates count as 0."""
    known = np.where(np.isfinite(rate), np.maximum(rate, 0.0), 0.0)
    return np.asarray(known[history.cycle] / history.pressure_kpa)


def scan(
    history: History, pieces: Pieces, walls: Sequence[Wall], scales: Scales, rho: Floats, flow: Floats
) -> CycleSums:
    """Sums for every wall exchange and every form of `flow` (n_forms, n_bins), leading axis (n_walls,)."""
    weight, share = weights(history, pieces, scales.noise), None
    if len(flow) > MANY_FORMS:
        few, share = leak_forms.few_of(flow[:, pieces.index[:: max(len(pieces.index) // TOLD_BY, 1)]])
        flow = flow[few]
    groups = _together(walls, max(len(history.time_s), len(pieces.index) * len(flow)))
    columns = (regressors(history, pieces, gases_of(history, some, rho), flow) for some in groups)
    return joined([cycle_sums(pieces, one, weight, scales.ridge, share) for one in columns])


def _together(walls: Sequence[Wall], values: int) -> list[list[Wall]]:
    """Walls of one spread that are reckoned at once: as many as keep arrays of `values` numbers each in the cache."""
    most, groups = max(1, ROOM // max(values, 1)), list[list[Wall]]()
    for wall in walls:
        if not groups or len(groups[-1]) >= most or groups[-1][0].spread_ln != wall.spread_ln:
            groups.append([])
        groups[-1].append(wall)
    return groups


def flow_of(history: History, options: LeakOptions) -> Floats:
    """φ of every form in every bin of the history, shape (n_forms, n_bins)."""
    return leak_forms.relative_flow(history.pressure_kpa, history.ambient_kpa, options.ref_vacuum_kpa)


def tried_flow_of(history: History, options: LeakOptions) -> Floats:
    """φ of every form with every share by which the volume gives way, shape (n_tried, n_bins)."""
    beyond = history.ambient_kpa - history.pressure_kpa - options.ref_vacuum_kpa
    return leak_forms.giving_way(flow_of(history, options), beyond)


def middle_of(flow: Floats) -> Floats:
    """The row of the middle form, shape (1, n_bins)."""
    return flow[leak_forms.MIDDLE : leak_forms.MIDDLE + 1]


def enough(sums: CycleSums, options: LeakOptions) -> Bools:
    """Cycles with bins enough for a rate, shape (n_cycles,)."""
    gg = sums.gg.reshape(-1, sums.gg.shape[-1])
    return np.asarray((sums.bins >= options.bins_per_cycle) & np.all(gg > 0.0, axis=0))


def sound(fits: Fits, chosen: Bools, options: LeakOptions) -> Bools:
    """Chosen cycles without those whose misfit at the best model is far above the others'."""
    ratio = fits.misfit[fits.best] / np.maximum(fits.free, 1)
    middle = float(np.median(ratio[chosen])) if chosen.any() else 0.0
    return np.asarray(chosen & (np.nan_to_num(ratio, nan=np.inf) <= options.outlier_ratio * max(middle, 1e-12)))
