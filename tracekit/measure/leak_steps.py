"""Steps of the pressure inside a coast: a lip opens for a moment where the machine turns or stops, and gas is lost.

What is lost in a step is no leak. A step is sharp against the fall on either side of it: bins in which it passes are
left out, so that what is before and after forms pieces of their own, with a level each. Near the lift and the end of
the hold the windows of motion do this for all coasts alike.
"""

from dataclasses import replace

import numpy as np

from tracekit.frozen import dataclass
from tracekit.measure.leak_bins import Bools, Floats, History, Ints, break_at_falls, scatter_of
from tracekit.measure.leak_sums import Scales, bin_noise
from tracekit.options.leak import LeakOptions

SIDES = (1, 2, 3, 4)
"""Bins of the lines on both sides, in pieces of fewest bins: steps follow each other, and longer lines tell more."""
SPRINGS_BACK = 0.25
"""Share of an excess that is gone a step's length later where it springs back: that is no loss, and no step."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sides:
    """Straight lines through a few bins in a row, shape (n_bins - few + 1,)."""

    time_s: Floats
    mean_kpa: Floats
    slope_kpa_s: Floats
    mean_var: Floats
    slope_var: Floats


def calm(history: History, cut_s: float, scales: Scales, options: LeakOptions) -> History:
    """The same history with coasts broken where pressure falls, and with steps left out."""
    noise = bin_noise(history, scales.noise)
    return leave_out_steps(break_at_falls(history, cut_s, noise), cut_s, noise, options)


def leave_out_steps(history: History, cut_s: float, bin_noise_kpa: Floats, options: LeakOptions) -> History:
    """The same history with the bins marked in which the pressure of a coast steps up, `stepped`.

    cut_s  time since the supply's cut from which coasts are used [s];  bin_noise_kpa  of every bin, shape (n_bins,).
    """
    usable = (history.coast >= 0) & ~history.clipped & (history.since_cut_s > cut_s)
    z, least = np.zeros(len(usable)), options.step_z * scatter_of(history, usable, bin_noise_kpa)
    places = _places(history, usable, options)
    for times in SIDES:
        excess, chance, at = _excess(history, usable, bin_noise_kpa, times * options.bins_per_piece, places)
        z[at] = np.maximum(z[at], np.where(excess > options.step_least_kpa, excess / chance, 0.0))
    at = np.flatnonzero(z > least)
    return replace(history, stepped=_about(history, at, z[at], options)) if len(at) else history


@dataclass(frozen=True, slots=True, kw_only=True)
class _Places:
    """Bins about which a step is looked for, and where the sides begin, positions in the history, shape (n_places,).

    left   behind the last bin before the step;  right  first bin after it;  later  the same, a step's length later
    run    number of the stretch of each bin that nothing interrupts, shape (n_bins,)
    """

    at: Ints
    left: Ints
    right: Ints
    later: Ints
    run: Ints


def _places(history: History, usable: Bools, options: LeakOptions) -> _Places:
    """The bins that are usable and lie away from the lift and the end of the hold."""
    time, half, reach = history.time_s, 0.5 * _width(history), 0.5 * options.step_s
    quiet = options.window_most_s + options.window_margin_s
    mid = usable & (history.until_end_s > quiet) & ~(np.abs(history.since_present_s) < quiet)
    at = np.flatnonzero(mid)
    own, first = time[at], time - half
    return _Places(
        at=at, left=np.searchsorted(time + half, own - reach, side="left"),
        right=np.searchsorted(first, own + reach, side="right"),
        later=np.searchsorted(first, own + reach + options.step_s, side="right"),
        run=np.cumsum((np.diff(history.coast, prepend=-2) != 0) | (np.diff(history.since_cut_s, prepend=0.0) < 0.0)),
    )  # fmt: skip


def _excess(history: History, usable: Bools, noise: Floats, few: int, places: _Places) -> tuple[Floats, Floats, Ints]:
    """By how much pressure rises about a bin beyond the fall on both sides of it, its chance, and the bins [kPa].

    Sides are lines through `few` bins. The steeper side counts: a coast that bends one way, as gas warms or a leak
    grows, has no excess.
    """
    n, run = len(history.time_s), places.run
    none = np.zeros(0), np.ones(0), np.zeros(0, np.int64)
    at, left, right, later = places.at, places.left - few, places.right, places.later
    inside = (left >= 0) & (right + few <= n)
    at, left, right, later = at[inside], left[inside], right[inside], later[inside]
    whole = usable[left] & usable[right + few - 1] & (run[left] == run[at]) & (run[right + few - 1] == run[at])
    at, left, right, later = at[whole], left[whole], right[whole], later[whole]
    if not len(at):
        return none
    later = np.where(later + few <= n, later, right)
    later = np.where(usable[later + few - 1] & (run[later + few - 1] == run[at]), later, right)
    lines = _lines(history, noise, few)
    apart = lines.time_s[right] - lines.time_s[left]
    steeper = np.maximum(lines.slope_kpa_s[left], lines.slope_kpa_s[right])
    slope_var = np.maximum(lines.slope_var[left], lines.slope_var[right])
    chance = np.sqrt(lines.mean_var[left] + lines.mean_var[right] + apart**2 * slope_var)
    excess = lines.mean_kpa[right] - lines.mean_kpa[left] - apart * steeper
    gone = lines.mean_kpa[right] + (lines.time_s[later] - lines.time_s[right]) * steeper - lines.mean_kpa[later]
    return np.where(gone > SPRINGS_BACK * excess, 0.0, excess), chance, at


def _lines(history: History, noise: Floats, few: int) -> _Sides:
    """Straight lines through every few bins in a row.

    Sums over the bins of a line are sums of the history moved by so many bins: sums along a short axis take longer.
    """
    count = len(history.time_s) - few + 1
    moved = [slice(k, k + count) for k in range(few)]
    time, pressure, var = history.time_s, history.pressure_kpa, np.square(noise)
    middle, mean, mean_var = (sum(values[k] for k in moved[1:]) + values[moved[0]] for values in (time, pressure, var))
    middle, mean, mean_var = middle / few, mean / few, mean_var / few**2
    square, both, slope_var = np.zeros((3, count))
    off, rise = np.empty((2, count))
    for k in moved:
        np.subtract(time[k], middle, out=off)
        np.subtract(pressure[k], mean, out=rise)
        rise *= off
        both += rise
        off *= off
        square += off
        off *= var[k]
        slope_var += off
    np.maximum(square, 1e-12, out=square)
    return _Sides(
        time_s=middle, mean_kpa=mean, slope_kpa_s=both / square, mean_var=mean_var, slope_var=slope_var / square**2
    )


def _width(history: History) -> Floats:
    """Length of every bin [s]: the distance to the one before, which is never much shorter."""
    return np.where(history.coast >= 0, np.minimum(history.step_s, np.append(history.step_s[1:], np.inf) * 2.0), 0.0)


def _about(history: History, at: Ints, z: Floats, options: LeakOptions) -> Bools:
    """Bins of steps that are seen at some bins `at`, with a margin: those about the middle of each run of them."""
    time, n = history.time_s, len(history.time_s)
    apart = (np.diff(time[at]) > options.step_s) | (np.diff(history.coast[at]) != 0)
    number = np.cumsum(np.concatenate([[False], apart]))
    weight = np.bincount(number, weights=z)
    middle = np.bincount(number, weights=z * (time[at] - time[0])) / weight + time[0]
    reach, half = 0.5 * options.step_s + options.window_margin_s, 0.5 * _width(history)
    first = np.searchsorted(time + half, middle - reach, side="left")
    last = np.searchsorted(time - half, middle + reach, side="right")
    change = np.zeros(n + 1)
    np.add.at(change, first, 1.0)
    np.add.at(change, last, -1.0)
    return np.cumsum(change[:-1]) > 0.5
