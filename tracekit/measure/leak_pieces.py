"""Uninterrupted stretches of coasts that a fit may use, and the sums of a linear model over them."""

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.measure.leak_bins import Bools, Floats, History, Ints
from tracekit.options.leak import LeakOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """Times left out of the coasts [s]: after the supply's cut, about the lift, before the end of the hold.

    The lift's window reaches from `present_from_s` to `present_s` after part present, a second one from `again_from_s`
    to `again_s`, where a machine moves on later. `quiet` where longer windows could be tried and showed no motion: in
    holds too short for that it may go on all through what is left. `doubt_kpa_s` is by how much the median rate moves
    under longer windows, beyond chance.
    """

    cut_s: float
    present_from_s: float
    present_s: float
    end_s: float
    again_from_s: float = float("inf")
    again_s: float = float("inf")
    quiet: bool = True
    doubt_kpa_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pieces:
    """Used bins and the pieces that they form.

    index   (m,) positions in the history
    start   (k,) first bin of each piece, a position in `index`
    owner   (m,) piece of each bin
    first   (m,) True at the first bin of a piece
    step_s  (m,) time since the bin before in the same piece, 0 at its first [s]
    cycle   (k,) place of each piece's cycle in the history's rows, ascending
    opens   first piece of each cycle that has one
    count   (k,) bins of each piece
    cycles  number of the history's rows, as often as there are trials
    """

    index: Ints
    start: Ints
    owner: Ints
    first: Bools
    step_s: Floats
    cycle: Ints
    opens: Ints
    count: Ints
    cycles: int


def pieces_of(index: Ints, count: Ints, cycle: Ints, step_s: Floats, cycles: int) -> Pieces:
    """Pieces of so many bins each, shape (k,), one after the other; `step_s` of every bin of the history."""
    start = np.cumsum(count) - count
    first = np.zeros(len(index), bool)
    first[start] = True
    return Pieces(
        index=index, start=start, owner=np.repeat(np.arange(len(count)), count), first=first,
        step_s=np.where(first, 0.0, step_s[index]), cycle=cycle, opens=np.flatnonzero(np.diff(cycle, prepend=-1)),
        count=count, cycles=cycles,
    )  # fmt: skip


def usable(history: History, windows: Windows) -> Bools:
    """True in bins of coasts that no event disturbs, shape (n_bins,)."""
    present = history.since_present_s
    moving = (present > windows.present_from_s) & (present < windows.present_s)
    moving |= (present > windows.again_from_s) & (present < windows.again_s)
    return np.asarray(
        (history.coast >= 0)
        & ~history.clipped
        & ~history.stepped
        & (history.since_cut_s > windows.cut_s)
        & ~moving
        & (history.until_end_s > windows.end_s)
    )


def cut_pieces(history: History, use: Bools, options: LeakOptions) -> Pieces:
    """Runs of used bins within a coast that have at least `bins_per_piece` bins.

    `use` may hold trials, shape (n_trials, n_bins): the cycles of each are numbered on from those of the one before.
    """
    trial, index = np.divmod(np.flatnonzero(use), use.shape[-1])
    coast = history.coast[index] + trial * history.coasts
    breaks = (index[1:] - index[:-1] != 1) | (coast[1:] != coast[:-1])
    bounds = np.concatenate([[0], np.flatnonzero(breaks) + 1, [len(index)]])
    count = np.diff(bounds)
    long = count >= max(options.bins_per_piece, 1)
    rows, opens = len(history.rows), bounds[:-1][long]
    return pieces_of(
        index[np.repeat(long, count)], count[long], history.cycle[index[opens]] + trial[opens] * rows, history.step_s,
        rows * (use.size // use.shape[-1]),
    )  # fmt: skip


def piece_sum(pieces: Pieces, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sum over each piece along the last axis, shape (..., k)."""
    return np.asarray(np.add.reduceat(values, pieces.start, axis=-1))


def cycle_sum(pieces: Pieces, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sum of piece values over each cycle, shape (..., n_cycles); pieces stand in the order of their cycles."""
    out = np.zeros((*values.shape[:-1], pieces.cycles))
    if len(pieces.opens):
        out[..., pieces.cycle[pieces.opens]] = np.add.reduceat(values, pieces.opens, axis=-1)
    return out
