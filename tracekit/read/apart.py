"""Clocks of two writers that are far apart: the pressure answers the commands, but at another time."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trace import RELEASE_BIT, SUPPLY_BIT, Block
from tracekit.options.evidence import EVIDENCE
from tracekit.read.answers import Floats, shares
from tracekit.signal.select import median


def apart_warning(station: str, blocks: Sequence[Block]) -> str:
    """What to tell where commands fit the pressure at another time alone; empty where they fit as they stand.

    At the right shift vacuum rises upon suction and ends upon blow-off. Either level of suction may be the one that
    sucks. Cycles of one length fit again a cycle later, so that the shift is known but for whole cycles.
    """
    found = shares(blocks)
    if found is None:
        return ""
    time_s, share, digital, _ = found
    supply, release = ((digital & bit > 0).astype(np.int8) for bit in (SUPPLY_BIT, RELEASE_BIT))
    blown = _edges(time_s, release, 1 if 2 * int(release.sum()) <= len(release) else -1)
    sucks = [_edges(time_s, supply, direction) for direction in (1, -1)]
    if min(map(len, (blown, *sucks))) < EVIDENCE.fewest_lines:
        return ""
    step_s = max(median(np.diff(time_s)), EVIDENCE.apart_step_s)
    shifts_s = np.arange(-EVIDENCE.apart_most_s, EVIDENCE.apart_most_s, step_s)
    ends = _rise(time_s, share, blown, shifts_s)
    fit = np.max([_rise(time_s, share, edges, shifts_s) - ends for edges in sucks], axis=0)
    best, here = float(fit.max()), float(fit[np.abs(shifts_s) <= EVIDENCE.apart_least_s].max())
    if best < EVIDENCE.apart_fit or here > EVIDENCE.apart_here * best:
        return ""
    shift_s = float(shifts_s[int(fit.argmax())])
    way = "late" if shift_s < 0 else "early"
    return (
        f"the digitals of {station} fit its pressure only if they were written about {abs(shift_s):.1f} s {way}, "
        "or whole cycles more or less: two clocks differ, and as it stands no cycle of this log can be trusted; "
        "nothing was moved: set the clocks alike, or add the difference to the times of one file, and read again"
    )


def _edges(time_s: Floats, level: NDArray[np.int8], direction: int) -> Floats:
    """Times of the edges of one direction, 1 or -1 [s]."""
    return np.asarray(time_s[1:][np.diff(level) == direction][: EVIDENCE.apart_edges], np.float64)


def _rise(time_s: Floats, share: Floats, edges: Floats, shifts_s: Floats) -> Floats:
    """Mean rise of the vacuum, as a share of its range, in the time that answers take, for each shift of the edges."""
    at = edges[:, None] + shifts_s
    after = np.interp((at + EVIDENCE.apart_answer_s).ravel(), time_s, share)
    before = np.interp(at.ravel(), time_s, share)
    return np.asarray((after - before).reshape(at.shape).mean(axis=0), np.float64)
