"""Digitals that were stamped early: the switch comes on before its vacuum is there and goes off before it is gone."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trace import PRESENT_BIT, RELEASE_BIT, SUPPLY_BIT, Block
from tracekit.options.answers import ANSWERS
from tracekit.options.evidence import EVIDENCE
from tracekit.read.answers import Floats, after_onset, onsets, shares
from tracekit.read.apart import Misplaced
from tracekit.signal.select import median


def find_early(station: str, blocks: Sequence[Block]) -> Misplaced | None:
    """The digitals of a station where they look early; None where they do not, or nothing shows it.

    A pressure switch comes on at a higher vacuum than it goes off at. Stamps that are early turn that round, since
    the vacuum still rises at the one and has not yet fallen at the other. A part sensor that is no switch of the
    vacuum may do so too: then the pressure answers the commands soon, and nothing is told.
    """
    found = shares(blocks)
    if found is None:
        return None
    time_s, share, digital, span_kpa = found
    edges = _switch_edges(time_s, share, (digital & PRESENT_BIT > 0).astype(np.int8))
    if edges is None:
        return None
    at = [median(np.interp(e, time_s, share)) for e in edges]
    if at[0] > at[1] - EVIDENCE.early_share:
        return None
    for early_s in np.arange(ANSWERS.early_grid_s, EVIDENCE.early_most_s, ANSWERS.early_grid_s):
        if median(np.interp(edges[0] + early_s, time_s, share)) >= median(np.interp(edges[1] + early_s, time_s, share)):
            break
    else:
        return None
    interval_s = median(np.diff(time_s))
    release = (digital & RELEASE_BIT > 0).astype(np.int8)
    rare = 1 if 2 * int(release.sum()) <= len(release) else -1  # blow-off is on for less of the time than off
    delay_s = _delay_s(time_s, 1.0 - share, release, interval_s, (rare,))
    if delay_s is None:
        delay_s = _delay_s(time_s, share, (digital & SUPPLY_BIT > 0).astype(np.int8), interval_s, (1, -1))
    if delay_s is None or delay_s < early_s - interval_s:
        return None
    on_kpa, off_kpa = (span_kpa * level for level in at)
    answered_s = delay_s - EVIDENCE.prompt_s
    likely_s = answered_s if abs(answered_s - early_s) < EVIDENCE.early_agree_s else float(early_s)
    shown = (
        f"the digitals of {station} look {early_s:.3g} s early or more: part_present comes on {on_kpa:.0f} kPa "
        f"above the least vacuum and goes off {off_kpa:.0f} kPa above it, as no switch does, and the pressure "
        "answers commands that late"
    )
    so = (
        "response_delay_s, evacuation_time_s and release_time_s are too long by as much, unless part_present is "
        "another sensor and the valves are slow"
    )
    return Misplaced(late_s=(-likely_s,), found=shown, so=so)


def _switch_edges(time_s: Floats, share: Floats, level: NDArray[np.int8]) -> tuple[Floats, Floats] | None:
    """Times at which the switch comes on and goes off [s], on being the level of more vacuum; None for too few."""
    if not level.any() or level.all():
        return None
    if share[level == 1].mean() < share[level == 0].mean():
        level = (1 - level).astype(np.int8)
    steps = np.diff(level)
    on, off = time_s[1:][steps == 1], time_s[1:][steps == -1]
    return (on, off) if min(len(on), len(off)) >= EVIDENCE.fewest_lines else None


def _delay_s(
    time_s: Floats, answer: Floats, level: NDArray[np.int8], interval_s: float, directions: Sequence[int]
) -> float | None:
    """The shortest median time from the edges of one direction to the answers [s], None where too few edges lead."""
    onset, steps = onsets(time_s, answer, interval_s), np.diff(level)
    late = [after_onset(time_s[1:][steps == direction], onset) for direction in directions]
    leads = [-median(own) for own in late if len(own) >= EVIDENCE.fewest_lines and median(own) < 0.0]
    return min(leads, default=None)
