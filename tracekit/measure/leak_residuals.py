"""What a fitted model leaves of the coasts: residuals, and how far their slow part exceeds that of white noise."""

import numpy as np

from tracekit.measure.leak_bins import Floats
from tracekit.measure.leak_pieces import Pieces, piece_sum
from tracekit.measure.leak_sums import Regressors

BLOCK = 6
"""Bins of a block: long against the sensor's lag, short against a coast."""


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
