"""What a fitted model leaves of the coasts: residuals, and how far their slow part exceeds that of white noise."""

import numpy as np

from tracekit.measure.leak_bins import Bools, Floats, History, Ints
from tracekit.measure.leak_pieces import Pieces, piece_sum
from tracekit.measure.leak_search import Coasts
from tracekit.measure.leak_sums import Regressors, Scales, Wall, cycle_sums, fit_all, gas_of, regressors, stack, weights

BLOCK = 6
"""Bins of a block: long against the sensor's lag, short against a coast."""
PLACES = 14
"""Places along the mean coast at which its residual is looked at."""
FEWEST = 6
"""Fewest cycles that tell the scatter of a mean."""


def beyond_noise(coasts: Coasts, wall: Wall, flow: Floats, chosen: Bools, scales: Scales) -> tuple[float, float]:
    """How far residuals exceed white noise in their slow part, and in their mean over the cycles, under one model.

    flow   φ of its form, shape (1, n_bins);  chosen   cycles that are fitted
    """
    history, pieces = coasts.history, coasts.pieces
    weight = weights(history, pieces, scales.noise)
    columns = regressors(history, pieces, gas_of(history, wall, coasts.rho), flow)
    sums = stack([cycle_sums(history, pieces, columns, weight, scales.ridge)])
    fits = fit_all(sums, chosen, scales)
    left = residuals(pieces, columns, weight, fits.rate[0, 0], float(fits.amplitude[0, 0]), scales.ridge)
    return inflation(pieces, left), common_misfit(history, pieces, left)


def residuals(
    pieces: Pieces, columns: Regressors, weight: Floats, rate: Floats, amplitude: float, ridge: float
) -> Floats:
    """Residual of every used bin in units of its expected noise, shape (m,); NaN in cycles without a rate.

    columns of one form; rate per cycle of the history [kPa/s]; amplitude is the common α − 1.
    """
    own = rate[pieces.cycle][pieces.owner]
    left = columns.seen - (1.0 + amplitude) * columns.memory - own * columns.leak[0]
    e, owner = columns.level, pieces.owner
    ee = piece_sum(pieces, weight * e * e)
    left = left - e * (piece_sum(pieces, weight * e * left) / ee)[owner]
    h = columns.memory - e * (piece_sum(pieces, weight * e * columns.memory) / ee)[owner]
    free = piece_sum(pieces, weight * h * left) / (piece_sum(pieces, weight * h * h) + ridge)
    return np.asarray((left - h * free[owner]) * np.sqrt(weight))


def inflation(pieces: Pieces, residual: Floats) -> float:
    """Mean square of sums over blocks of bins, over that of white residuals of the same size; at least 1.

    Only whole blocks inside pieces count. With fewer than ten blocks it cannot be told, and 1 is returned.
    """
    place = np.arange(len(residual)) - pieces.start[pieces.owner]
    whole = place < BLOCK * (pieces.count[pieces.owner] // BLOCK)
    known = whole & np.isfinite(residual)
    if np.count_nonzero(known) < 10 * BLOCK:
        return 1.0
    block = np.cumsum(place[known] % BLOCK == 0) - 1
    sums = np.bincount(block, weights=residual[known])
    return max(1.0, float(np.mean(sums**2) / (BLOCK * np.mean(residual[known] ** 2))))


def common_misfit(history: History, pieces: Pieces, residual: Floats) -> float:
    """Mean square of the residuals' mean over the cycles, over what their scatter allows; at least 1.

    What all coasts have in common beyond the model does not shrink with their number. Looked at by the time since the
    supply's cut, apart for the first coast of a hold and the later ones; each of them has fitted a level and a rate.
    """
    coast, cycle = history.coast[pieces.index], pieces.cycle[pieces.owner]
    later = ~_first_of_hold(history)[coast]
    time, known = history.since_cut_s[pieces.index], np.isfinite(residual)
    excess, places = 0.0, 0
    for part in (known & ~later, known & later):
        found = _places(time[part], cycle[part], residual[part])
        excess, places = excess + float(np.sum(found)), places + max(len(found) - 2, 0)
    return max(1.0, excess / (places - 1)) if places > 3 else 1.0


def _first_of_hold(history: History) -> Bools:
    """True for coasts that are the first of their cycle, shape (n_coasts,)."""
    inside = history.coast >= 0
    _, at = np.unique(history.cycle[inside], return_index=True)
    first = np.zeros(history.coasts, bool)
    first[history.coast[inside][at]] = True
    return first


def _places(time: Floats, cycle: Ints, residual: Floats) -> Floats:
    """Squared mean residual over its variance at places along the coast that enough cycles reach."""
    if len(time) < 4 * PLACES:
        return np.zeros(0)
    place = np.searchsorted(np.quantile(time, np.linspace(0.0, 1.0, PLACES + 1)[1:-1]), time, side="right")
    rows = int(cycle.max()) + 1
    flat = place * rows + cycle
    total, count = (
        np.bincount(flat, weights=w, minlength=PLACES * rows).reshape(PLACES, rows) for w in (residual, None)
    )
    cycles, bins = np.count_nonzero(count, axis=1), np.maximum(count.sum(axis=1), 1)
    mean = total.sum(axis=1) / bins
    spread = np.sum((total - mean[:, None] * count) ** 2, axis=1) / bins**2
    enough = (cycles >= FEWEST) & (spread > 0.0)
    n = cycles[enough]
    return np.asarray(mean[enough] ** 2 / spread[enough] * (n - 3.0) / n)
