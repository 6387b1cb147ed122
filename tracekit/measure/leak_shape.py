"""The pooled fall of vacuum with the gas's warming taken out, beside the two forms it is held against."""

import numpy as np

from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Bools, Floats, Ints
from tracekit.measure.leak_find import Search
from tracekit.measure.leak_pieces import Pieces, piece_sum
from tracekit.measure.leak_search import flow_of, inflow
from tracekit.measure.leak_sums import cycle_sums, fit_all, gas_of, regressors, stack, weights
from tracekit.model.result import CoastShape
from tracekit.options.leak import LeakOptions
from tracekit.physics.heat import MEMORY_SHARE

POINTS = 14
FORMS = (leak_forms.MIDDLE, len(leak_forms.NAMES) - 1)


def coast_shape(search: Search, options: LeakOptions) -> CoastShape | None:
    """Mean fall over the coasts of the group with the largest leak, or None where there are too few bins.

    What is drawn is the virtual pressure, which rises at the isothermal rate, since the first used bin of a coast;
    both forms are fitted to the same coasts, each with its own rates, and averaged over the same bins.
    """
    history, pieces, group = search.history, search.pieces, search.group
    chosen = np.asarray(group == int(group.max(initial=-1)), np.bool_)
    if int(group.max(initial=-1)) < 0:
        return None
    flow = flow_of(history, options)[list(FORMS)]
    gas = gas_of(history, search.located.best, inflow(history, search.located.rate))
    columns = regressors(history, pieces, gas, flow)
    sums = stack([cycle_sums(pieces, columns, weights(history, pieces, search.scales.noise), search.scales.ridge)])
    fits = fit_all(sums, chosen, search.scales)
    u = history.log_pressure[pieces.index]
    content = u - MEMORY_SHARE * (u - gas.memory.mean(axis=0)[pieces.index])
    content = content - MEMORY_SHARE * float(fits.amplitude[0, 0]) * columns.memory / 0.4
    virtual = history.ambient_kpa * np.exp(content)
    grown = np.stack([_grown(search, fits.rate[0, k], flow[k]) for k in range(len(FORMS))])
    apart = _centred(pieces, virtual - grown)
    seen = grown[0] + apart[0]
    curves = np.stack([seen, grown[0], grown[1] + _piece_mean(pieces, seen - grown[1])])
    return _pooled(search, chosen[pieces.cycle][pieces.owner], curves)


def _grown(search: Search, rate: Floats, flow: Floats) -> Floats:
    """Rise of the virtual pressure under one form since a piece's first bin, shape (m,) [kPa]; NaN without a rate."""
    pieces, time = search.pieces, search.history.time_s[search.pieces.index]
    own = rate[pieces.cycle][pieces.owner] * flow[pieces.index]
    step = np.where(pieces.first, 0.0, np.diff(time, prepend=0.0))
    mean = 0.5 * (own + np.concatenate([own[:1], own[:-1]]))
    summed = np.cumsum(np.nan_to_num(mean * step))
    return np.asarray(np.where(np.isfinite(own), summed - summed[pieces.start][pieces.owner], np.nan))


def _piece_mean(pieces: Pieces, values: Floats) -> Floats:
    """Mean over each piece, at every bin, along the last axis."""
    return np.asarray((piece_sum(pieces, values) / pieces.count)[..., pieces.owner])


def _centred(pieces: Pieces, values: Floats) -> Floats:
    """Values less their mean over each piece."""
    return np.asarray(values - _piece_mean(pieces, values))


def _pooled(search: Search, wanted: Bools, curves: Floats) -> CoastShape | None:
    """Curves averaged over equal numbers of bins, by the time since a piece's first bin."""
    pieces = search.pieces
    time = search.history.time_s[pieces.index]
    since = time - time[pieces.start][pieces.owner]
    use = wanted & np.all(np.isfinite(curves), axis=0)
    if np.count_nonzero(use) < 4 * POINTS:
        return None
    since, kept = since[use], curves[:, use]
    place: Ints = np.searchsorted(np.quantile(since, np.linspace(0, 1, POINTS + 1)[1:-1]), since, side="right")
    count = np.maximum(np.bincount(place, minlength=POINTS), 1)

    def mean(values: Floats) -> Floats:
        return np.asarray(np.bincount(place, weights=values, minlength=POINTS) / count)

    seen, hole, porous = (mean(row) for row in kept)
    spread = np.sqrt(np.maximum(mean((kept[0] - kept[1]) ** 2) - mean(kept[0] - kept[1]) ** 2, 0.0) / count)
    return CoastShape(time_s=mean(since), lost_kpa=seen, lost_u_kpa=spread, hole_kpa=hole, porous_kpa=porous)
