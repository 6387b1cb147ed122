"""Order statistics of tables with gaps, column by column at once; NumPy's own go through the columns one by one."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def known_quantiles(values: Floats, shares: Sequence[float]) -> Floats:
    """Quantiles of what is not NaN in each column of (n, m), shape (n_shares, m), as NumPy has them to the bit.

    shares  of 0 to 1. Columns without a value are NaN.
    """
    ordered, columns = np.sort(values, axis=0), np.arange(values.shape[1])
    last = np.count_nonzero(~np.isnan(values), axis=0) - 1
    out = np.full((len(shares), len(columns)), np.nan)
    for row, share in zip(out, shares, strict=True):
        place = np.maximum(last, 0) * share
        below = np.floor(place).astype(np.int64)
        part, low = place - below, ordered[below, columns]
        high = ordered[np.minimum(below + 1, np.maximum(last, 0)), columns]
        # from the nearer of the two, as NumPy reckons
        row[:] = np.where(part < 0.5, low + (high - low) * part, high - (high - low) * (1.0 - part))
    return out
