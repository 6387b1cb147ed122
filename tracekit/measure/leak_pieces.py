"""Uninterrupted stretches of coasts that a fit may use, and the sums of a linear model over them."""

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.measure.leak_bins import Bools, History, Ints
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
    cycle   (k,) place of each piece's cycle in the history's rows
    count   (k,) bins of each piece
    """

    index: Ints
    start: Ints
    owner: Ints
    first: Bools
    cycle: Ints
    count: Ints


def usable(history: History, windows: Windows) -> Bools:
    """True in bins of coasts that no event disturbs, shape (n_bins,)."""
    present = history.since_present_s
    moving = (present > windows.present_from_s) & (present < windows.present_s)
    moving |= (present > windows.again_from_s) & (present < windows.again_s)
    return np.asarray(
        (history.coast >= 0)
        & ~history.clipped
        & (history.since_cut_s > windows.cut_s)
        & ~moving
        & (history.until_end_s > windows.end_s)
    )


def cut_pieces(history: History, use: Bools, options: LeakOptions) -> Pieces:
    """Runs of used bins within a coast that have at least `bins_per_piece` bins."""
    index = np.flatnonzero(use)
    _, owner, count = _runs(index, history.coast)
    index = index[count[owner] >= options.bins_per_piece] if len(index) else index
    start, owner, count = _runs(index, history.coast)
    first = np.zeros(len(index), bool)
    first[start] = True
    return Pieces(index=index, start=start, owner=owner, first=first, cycle=history.cycle[index[start]], count=count)


def _runs(index: Ints, coast: Ints) -> tuple[Ints, Ints, Ints]:
    """Start, owner and length of runs of consecutive bins of one coast."""
    if not len(index):
        return index, index, index
    breaks = (np.diff(index) > 1) | (np.diff(coast[index]) != 0)
    start = np.flatnonzero(np.concatenate([[True], breaks]))
    count = np.diff(np.append(start, len(index)))
    return start, np.repeat(np.arange(len(start)), count), count


def piece_sum(pieces: Pieces, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sum over each piece along the last axis, shape (..., k)."""
    return np.asarray(np.add.reduceat(values, pieces.start, axis=-1))


def cycle_sum(pieces: Pieces, values: NDArray[np.float64], n_cycles: int) -> NDArray[np.float64]:
    """Sum of piece values over each cycle, shape (..., n_cycles); pieces stand in the order of their cycles."""
    out = np.zeros((*values.shape[:-1], n_cycles))
    opens = np.flatnonzero(np.diff(pieces.cycle, prepend=-1))
    if len(opens):
        out[..., pieces.cycle[opens]] = np.add.reduceat(values, opens, axis=-1)
    return out
