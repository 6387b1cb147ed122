"""Digitals at another time than their pressure: how far from it they fit, and the question that follows."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.model.station import Channel
from tracekit.model.trace import RELEASE_BIT, SUPPLY_BIT, Block
from tracekit.options.evidence import EVIDENCE
from tracekit.read.answers import Floats, after_onset, onsets, shares
from tracekit.signal.select import median


@dataclass(frozen=True, slots=True, kw_only=True)
class Misplaced:
    """Digitals of a station that stand at another time than its pressure.

    late_s  how late they are, below 0 for early ones; the likeliest first [s]
    found   what shows it
    so      what follows where they are read as they stand
    """

    late_s: tuple[float, ...]
    found: str
    so: str

    @property
    def asked(self) -> bool:
        """True where so much is wrong that cycles cannot be told as they stand."""
        return abs(self.late_s[0]) >= EVIDENCE.asked_apart_s


def find_apart(station: str, blocks: Sequence[Block]) -> Misplaced | None:
    """Where commands fit the pressure at another time alone; None where they fit as they stand, or nothing shows it.

    At the right shift vacuum rises upon suction and ends upon blow-off. Either level of suction may be the one that
    sucks. Cycles of one length fit again a cycle later, so that the shift is known but for whole cycles.
    """
    found = shares(blocks)
    if found is None:
        return None
    time_s, share, digital, _ = found
    supply, release = ((digital & bit > 0).astype(np.int8) for bit in (SUPPLY_BIT, RELEASE_BIT))
    blown = _edges(time_s, release, 1 if 2 * int(release.sum()) <= len(release) else -1)
    sucks = [_edges(time_s, supply, direction) for direction in (1, -1)]
    if min(map(len, (blown, *sucks))) < EVIDENCE.fewest_lines:
        return None
    interval_s = median(np.diff(time_s))
    step_s = max(interval_s, EVIDENCE.apart_step_s)
    shifts_s = np.arange(-EVIDENCE.apart_most_s, EVIDENCE.apart_most_s, step_s)
    ends = _rise(time_s, share, blown, shifts_s)
    fit = np.max([_rise(time_s, share, edges, shifts_s) - ends for edges in sucks], axis=0)
    best, here = float(fit.max()), float(fit[np.abs(shifts_s) <= max(EVIDENCE.apart_near_s, step_s)].max())
    if best < EVIDENCE.apart_fit or here > EVIDENCE.apart_here * best:
        return None
    blow_offs = onsets(time_s, 1.0 - share, interval_s)
    late_s = tuple(_finely(s, blown, blow_offs) for s in _best(shifts_s, fit))
    if abs(late_s[0]) < EVIDENCE.apart_least_s:
        return None
    shown = (
        f"the digitals of {station} fit its pressure only if they were written about {_way(late_s[0])}, "
        "or whole cycles more or less: two clocks differ"
    )
    return Misplaced(late_s=late_s, found=shown, so="as it stands no cycle of this log can be trusted")


def refused_as_misplaced(source: str, found: Misplaced, given: Channel | None) -> LogReadError:
    """The question by how much digitals are to be moved, as an error; `given` is how the station file reads time."""
    known = {} if given is None else {
        "column": given.column, "unit": given.unit, "interval_s": given.interval_s, "date_order": given.date_order,
    }  # fmt: skip
    said = [f'{k} = "{v}"' if isinstance(v, str) else f"{k} = {v}" for k, v in known.items() if v is not None]
    line = f"    time = {{ {', '.join([*said, f'digitals_late_s = {found.late_s[0]:.2f}'])} }}"
    others = "".join(f"or digitals_late_s = {s:.2f}; " for s in found.late_s[1:])
    todo = (
        "Set the clocks alike; or put this into a station file, with the right value, and give it with --station:\n"
        f"    [channels]\n{line}   # seconds; {others}or digitals_late_s = 0 to read them as they stand"
    )
    return LogReadError(message(source, found.found, "digitals at the time of what they do", todo))


def _way(late_s: float) -> str:
    return f"{abs(late_s):.1f} s {'late' if late_s > 0 else 'early'}"


def _best(shifts_s: Floats, fit: Floats) -> list[float]:
    """The shifts that fit best, each the best about it, those that fit as well in the order of their size [s]."""
    left, found = fit.copy(), list[tuple[float, float]]()
    while len(found) < EVIDENCE.apart_offered and float(left.max()) >= EVIDENCE.apart_as_well * float(fit.max()):
        place = int(left.argmax())
        found.append((float(left[place]), float(shifts_s[place])))
        left[np.abs(shifts_s - shifts_s[place]) < EVIDENCE.apart_least_s] = -np.inf
    sure = found[0][0] - EVIDENCE.apart_same
    return [s for _, s in sorted(found, key=lambda one: (one[0] < sure, abs(one[1])))]


def _finely(shift_s: float, blown: Floats, blow_offs: Floats) -> float:
    """How late digitals are that fit after some shift: blow-off is answered soon, suction upon the part alone [s]."""
    after = after_onset(blown + shift_s, blow_offs)
    if len(after) < EVIDENCE.fewest_lines:
        return -shift_s
    return median(after) + EVIDENCE.prompt_s - shift_s


def _edges(time_s: Floats, level: NDArray[np.int8], direction: int) -> Floats:
    """Times of the edges of one direction, 1 or -1 [s]."""
    return np.asarray(time_s[1:][np.diff(level) == direction][: EVIDENCE.apart_edges], np.float64)


def _rise(time_s: Floats, share: Floats, edges: Floats, shifts_s: Floats) -> Floats:
    """Mean rise of the vacuum, as a share of its range, in the time that answers take, for each shift of the edges."""
    at = edges[:, None] + shifts_s
    after = np.interp((at + EVIDENCE.apart_answer_s).ravel(), time_s, share)
    before = np.interp(at.ravel(), time_s, share)
    return np.asarray((after - before).reshape(at.shape).mean(axis=0), np.float64)
