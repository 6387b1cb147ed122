"""Dips that recover at the same times of the holds: the volume grew for a moment, or a lip opened. The machine moves.

In a coast nothing pumps. Vacuum that comes back there was never lost: a hose flexed, a bellows cup was stretched, or
the sensor was shaken. Where air is not saved the supply is on all the time and would fetch back what a lip let in; a
feed that pulsates dips at any time, so most of the hold must be calm.
"""

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.judge.coasting import last_or_middle, spread
from tracekit.judge.course import SHARP
from tracekit.judge.evidence import Sign
from tracekit.judge.features import highest_yet
from tracekit.judge.signs import logistic
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions
from tracekit.signal.pieces import whole_runs

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_CELL_S = 0.1
"""Length of a cell of time since a hold began: moves come at their times within it or a neighbour."""
_EVENED_S = 0.12
"""So long after a cut volumes even out, and a reading behind a filter may rise (common practice, no source)."""
_FARTHEST_S = 60.0
"""Of a hold, what lies later is left out: no move is so late after the grip (common practice, no source)."""
_MOST = 2000
"""Holds that are looked at."""
_LEAST = 8
"""Holds that must coast at a time before it is judged."""
_USUAL = 0.7
"""Quantile of the holds that a dip must reach: a move that began inside the log is missing in the holds before it."""
_BUSY = 0.5
"""Share of the times of a hold that is pumped: dips at more of them are the feed's (no source)."""
_NEAR = 2
"""Cells on either side that belong to one dip and its jitter."""

_BEND_OF_NOISE = 0.6745 * 6.0**0.5
"""Median size of a second difference of independent normal values, over their standard deviation."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rebound:
    """The largest dip that recovers in coasts, at one time of the holds [kPa], `at_s` after they began.

    outside    share of the holds that show half of it at other times than such dips come at
    noise_kpa  of the bins of the noisier holds; a fault of the sensor may have come inside the log
    """

    depth_kpa: float
    at_s: float
    outside: float
    noise_kpa: float


def shared_rebound(data: StationData) -> Rebound | None:
    """None where too few holds coast, or are pumped without air saving, at any one time after they began."""
    depth, noise = _depths(data, "coast" if data.air_saving else "steady")
    seen = np.isfinite(depth).sum(axis=0)
    known = seen >= max(_LEAST, (1.0 - _USUAL) * len(depth))
    if not known.any():
        return None
    wide = depth.copy()  # with the neighbours of every cell: moves are not made to the hundredth of a second
    wide[:, 1:] = np.fmax(wide[:, 1:], depth[:, :-1])
    wide[:, :-1] = np.fmax(wide[:, :-1], depth[:, 1:])
    usual = np.zeros(depth.shape[1])
    usual[known] = np.nanquantile(wide[:, known], _USUAL, axis=0)
    top = int(np.argmax(usual))
    near = np.convolve(usual > 0.5 * usual[top], np.ones(2 * _NEAR + 1), mode="same") > 0.0
    if not data.air_saving and _busy(depth[:, known], float(usual[top])) > _BUSY:
        return None
    other = depth[:, ~near]
    elsewhere = other[np.isfinite(other).any(axis=1)] if other.size else np.zeros((0, 0))
    outside = float(np.mean(np.nanmax(elsewhere, axis=1) > 0.5 * usual[top])) if len(elsewhere) else 0.0
    return Rebound(
        depth_kpa=float(usual[top]), at_s=(top + 0.5) * _CELL_S, outside=outside,
        noise_kpa=float(np.quantile(noise, 0.8)),
    )  # fmt: skip


def rebound_sign(data: StationData, baseline: StationData | None, options: JudgeOptions) -> Sign | None:
    """Does vacuum dip and come back at the same times of the holds, while the supply is cut or is never cut?

    None where it does not, or no further than in the baseline: shallow dips are those of any machine.
    """
    if data.late_s > 0.0:
        return None
    found = shared_rebound(data)
    if found is None:
        return None
    limit = options.rebound_kpa
    usual = None if baseline is None else shared_rebound(baseline)
    if usual is not None:
        limit = max(options.travel_dip_least_kpa, 1.5 * usual.depth_kpa + 0.5 * options.travel_dip_least_kpa)
    noises = options.rebound_noises if data.air_saving else options.rebound_pumped_noises
    limit = max(limit, noises * found.noise_kpa)
    deep = logistic(SHARP * float(np.log(max(found.depth_kpa, 1e-6) / limit)))
    present = deep * logistic((0.3 - found.outside) / 0.03)
    text = f"vacuum dips by {found.depth_kpa:.2g} kPa and comes back, {found.at_s:.2g} s after the holds began"
    return Sign(name="travel_dips", present=min(present, 0.9997), text=text) if present > 0.5 else None


def _busy(depth: Floats, top_kpa: float) -> float:
    """Share of the times of the holds, shape (holds, times), at which a third of the largest dip is usual."""
    return float(np.mean(np.nanquantile(depth, _USUAL, axis=0) > top_kpa / 3.0))


def _depths(data: StationData, kind: str) -> tuple[Floats, Floats]:
    """How far vacuum lies under what it comes back to in the same period, by hold and cell, NaN off it [kPa].

    kind  of the periods that are looked at

    And the noise of each hold's bins, from how they bend, which a move does in few of them [kPa].
    """
    bins, periods = data.bins, data.periods
    looked_at, start_s = periods.where("kind", kind), periods.floats("start_s")
    held, began_s = spread(data.cycles.where("outcome", "held"), _MOST), data.cycles.floats("hold_start_s")
    rows, cells, depths, bends = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)], [np.zeros(0)], [np.zeros(0)]
    for some in whole_runs(bins.period):
        period, cycle = bins.period[some], bins.cycle[some]
        since_s = bins.time_s[some] - began_s[cycle]
        with np.errstate(invalid="ignore"):
            keep = looked_at[period] & held[cycle] & (since_s >= 0.0) & (since_s < _FARTHEST_S)
        keep &= bins.time_s[some] - start_s[period] > _EVENED_S
        if not keep.any():
            continue
        vacuum, owner = -bins.pressure_kpa[some][keep], np.unique(period[keep], return_inverse=True)[1].astype(np.int64)
        before = highest_yet(vacuum[::-1], owner.max() - owner[::-1])[::-1]
        higher = np.minimum(before, highest_yet(vacuum, owner))
        rows.append(cycle[keep].astype(np.int64))
        cells.append((since_s[keep] / _CELL_S).astype(np.int64))
        depths.append(higher - vacuum)
        bend = np.full(len(vacuum), np.nan)
        bend[1:-1] = np.where(owner[2:] == owner[:-2], np.abs(vacuum[2:] - 2.0 * vacuum[1:-1] + vacuum[:-2]), np.nan)
        bends.append(bend)
    (row, cell), (depth, bend) = map(np.concatenate, (rows, cells)), map(np.concatenate, (depths, bends))
    holds, place = np.unique(row, return_inverse=True)
    out = np.full((len(holds), int(cell.max(initial=0)) + 1), np.nan)
    np.fmax.at(out, (place, cell), depth)
    known = np.isfinite(bend)
    owners, middle = last_or_middle(bend[known], place[known], 0.5)
    noise = np.zeros(len(holds))
    noise[owners] = bend[known][middle] / _BEND_OF_NOISE
    return out, noise
