"""Groups of cycles with rates far apart, as parts of two kinds or a leak that starts in mid-log make them."""

import numpy as np

from tracekit.measure.leak_bins import Bools, Floats, Ints
from tracekit.options.leak import LeakOptions


def limits(rate: Floats, noise: Floats, options: LeakOptions, depth: int = 2) -> tuple[float, ...]:
    """Rates that part the groups, ascending; none where the cycles form one group [kPa/s].

    A split is accepted where the empty stretch between the sides is wide against noise, against the distance of
    their medians, and both sides have cycles enough. Sides are split again, `depth` times.
    """
    known = np.isfinite(rate)
    found = _split(rate[known], noise[known], options)
    if found is None or depth == 0:
        return ()
    low, high = known & (rate < found), known & (rate >= found)
    below = limits(np.where(low, rate, np.nan), noise, options, depth - 1)
    above = limits(np.where(high, rate, np.nan), noise, options, depth - 1)
    return (*below, found, *above)


def _split(rate: Floats, noise: Floats, options: LeakOptions) -> float | None:
    """The middle of the widest accepted gap, or None."""
    n, least = len(rate), options.fewest_in_group
    if n < 2 * least:
        return None
    order = np.argsort(rate)
    r, se = rate[order], noise[order]
    gaps = np.diff(r)[least - 1 : n - least]
    at = int(np.argmax(gaps)) + least
    gap = float(r[at] - r[at - 1])
    apart = float(np.median(r[at:]) - np.median(r[:at]))
    blur = float(np.hypot(np.median(se[:at]), np.median(se[at:])))
    wide = gap > options.group_gap_noise * blur and gap > options.group_gap_share * apart
    if not (wide and apart > options.group_apart_kpa_s):
        return None
    return float(0.5 * (r[at] + r[at - 1]))


def assign(rate: Floats, parted: tuple[float, ...]) -> Ints:
    """Group of every cycle, -1 where the rate is unknown."""
    group = np.searchsorted(np.asarray(parted), np.nan_to_num(rate), side="right")
    return np.where(np.isfinite(rate), group, -1).astype(np.int64)


def masks(group: Ints, count: int) -> tuple[Bools, ...]:
    """One mask over the cycles per group."""
    return tuple(np.asarray(group == k) for k in range(count))
