"""Falls that come at the same times of most holds while the supply is cut: the machine's motion lets air in.

Where air is saved nothing recovers in a coast, so that no dip shows; how fast vacuum falls does, by the time since the
hold began.
"""

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.judge.coasting import coasting, spread
from tracekit.judge.course import SHARP
from tracekit.judge.evidence import Sign
from tracekit.judge.signs import logistic
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions
from tracekit.signal.known import known_quantiles

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_CELL_S, _CELL_BINS = 0.05, 1.5
"""Length of a cell of time at least, and how many bins of the averaged trace it holds at least."""
_WARMS_S = 0.3
"""So long after a cut warming gas and evening out let vacuum fall faster on any station (common practice)."""
_LEAST, _SEEN_SHARE = 8, 0.3
"""Holds that must coast at a time before it is judged, and their share."""
_MOST = 2000
"""Holds that are looked at."""
_FARTHEST_S = 60.0
"""Of a hold, what lies later is left out: no move is so late after the grip (common practice, no source)."""
_USUAL = 0.7
"""Quantile of the holds that a fall must reach: what half of them show counts."""
_EDGE = 0.2
"""Of the fastest fall, where its window ends."""
_REFILLED = 0.8
"""Of the least fall that counts, where a refill ends it."""
_LONGEST_S = 0.6
"""Moves that lift a lip are over in less (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedFall:
    """The largest fall beyond the holds' own leak at one time of the holds [kPa], `at_s` after they began.

    inside  share of the holds that show at least half of it then; outside  the same at other times
    refilled  whether the supply comes on in most holds before it is over, so that it may be larger
    """

    depth_kpa: float
    at_s: float
    inside: float
    outside: float
    refilled: bool


def shared_fall(data: StationData, *, pulses: bool) -> SharedFall | None:
    """None where too few holds coast; of `pulses` alone, which a calm time goes before, or of warming gas as well."""
    extra, cell_s = _beyond_the_leak(data)
    if not extra.size:
        return None
    seen = np.isfinite(extra).sum(axis=0)
    known = seen >= max(_LEAST, _SEEN_SHARE * len(extra))
    longest = min(round(_LONGEST_S / cell_s), int(known.sum()) // 3)  # of a short coast a move is a part
    if longest < 2:
        return None
    usual = np.full(extra.shape[1], np.nan)
    usual[known] = known_quantiles(extra[:, known], (_USUAL,))[0]
    usual -= float(np.nanmedian(usual))
    usual = np.where(known & (_calm_before(usual) | (not pulses)), usual, 0.0)
    if usual.max() <= 0.0:
        return None
    first, last = _window(usual, longest)
    depth = float(usual[first:last].sum())
    if depth <= 0.0:
        return None
    here = _fallen(extra, first, last)
    calm = known & (usual < _EDGE * float(usual.max()))
    others = [k for k in range(0, len(usual) - (last - first), last - first) if calm[k : k + last - first].all()]
    there = np.concatenate([_fallen(extra, k, k + last - first) for k in others]) if others else np.zeros(0)
    if not len(there) or not len(here):
        return None
    return SharedFall(
        depth_kpa=depth, at_s=(first + 0.5) * cell_s, inside=float(np.mean(here > 0.5 * depth)),
        outside=float(np.mean(there > 0.5 * depth)), refilled=bool(last >= len(usual) or not known[last]),
    )  # fmt: skip


def fall_sign(data: StationData, baseline: StationData | None, options: JudgeOptions) -> Sign | None:
    """Does vacuum fall at the same times of every hold while the supply is cut, further than in the baseline?

    None where it does not, and where digitals were written late: the coasts then hold what the supply did.
    A move that lets in little leaves nothing to see. Without a baseline only pulses count, and
    more than a sound station shows; with one the same warming gas stands in both.
    """
    fall = shared_fall(data, pulses=baseline is None)
    if not data.air_saving or data.late_s > 0.0 or fall is None:
        return None
    limit = options.travel_dip_kpa * (_REFILLED if fall.refilled else 1.0)
    if baseline is not None:
        usual = shared_fall(baseline, pulses=False)
        if usual is None:
            return None
        limit = max(2.0 * options.travel_dip_least_kpa, 1.5 * usual.depth_kpa + options.travel_dip_least_kpa)
    present = logistic(SHARP * float(np.log(max(fall.depth_kpa, 1e-6) / limit)))
    present *= logistic((fall.inside - options.travel_holds) / 0.03) * logistic((0.12 - fall.outside) / 0.012)
    text = f"vacuum falls by {fall.depth_kpa:.2g} kPa {fall.at_s:.2g} s after most holds began"
    return Sign(name="travel_dips", present=min(present, 0.9997), text=text) if present > 0.5 else None


def _calm_before(usual: Floats) -> Bools:
    """Cells of pulses: those that come after a calm one without a gap. What warms falls fastest at first."""
    calm = usual < _EDGE * float(np.nanmax(usual))
    ok, after = np.zeros(len(usual), np.bool_), False
    for k, level in enumerate(usual):
        after = bool(np.isfinite(level) and (after or calm[k]))
        ok[k] = after
    return ok


def _window(usual: Floats, longest: int) -> tuple[int, int]:
    """The run of cells about the fastest fall, no longer than a move, which takes `longest` cells."""
    top = int(np.argmax(usual))
    first = last = top
    while first > 0 and usual[first - 1] > _EDGE * usual[top] and last - first < longest:
        first -= 1
    while last + 1 < len(usual) and usual[last + 1] > _EDGE * usual[top] and last - first < longest:
        last += 1
    return first, last + 1


def _fallen(extra: Floats, first: int, last: int) -> Floats:
    """Fall in some cells of every hold that coasts in at least half of them [kPa]."""
    part = extra[:, first:last]
    known = np.isfinite(part).mean(axis=1) >= 0.5
    return np.asarray(np.nansum(part[known], axis=1), np.float64)


def _beyond_the_leak(data: StationData) -> tuple[Floats, float]:
    """Fall beyond each hold's own median, by hold and cell of the time since it began, NaN off coasts [kPa].

    With the length of a cell [s]; empty where too few holds coast. Of very many holds some are looked at.
    """
    none = np.zeros((0, 0))
    pairs = coasting(data, spread(data.cycles.where("outcome", "held"), _MOST))
    pairs = pairs.where((pairs.after_cut_s > _WARMS_S) & (pairs.since_s < _FARTHEST_S))
    if len(pairs.hold) < _LEAST:
        return none, _CELL_S
    cell_s = max(_CELL_S, _CELL_BINS * float(np.median(pairs.step_s)))
    rows, row = np.unique(pairs.hold, return_inverse=True)
    cell = (pairs.since_s / cell_s).astype(np.int64)
    shape = (len(rows), int(cell.max()) + 1)
    place = row * shape[1] + cell
    weight = np.bincount(place, pairs.step_s, minlength=shape[0] * shape[1])
    total = np.bincount(place, pairs.speed_kpa_s * pairs.step_s, minlength=shape[0] * shape[1])
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(weight > 0.2 * cell_s, total / weight, np.nan).reshape(shape)
    known = np.isfinite(mean).any(axis=1)
    if known.sum() < _LEAST:
        return none, cell_s
    mean = mean[known]
    return np.asarray((mean - known_quantiles(mean.T, (0.5,))[0][:, None]) * cell_s, np.float64), cell_s
