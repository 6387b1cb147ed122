"""Dips in the hold: what all holds share, by the time since they began, is the machine's own motion, not the air's."""


import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.judge.effects import Comparison
from tracekit.judge.evidence import Sign
from tracekit.judge.features import Features
from tracekit.judge.signs import logistic
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_SETTLED_S = 0.2
"""The end of an evacuation is over after about so long (common practice, no source)."""
_BEFORE_END_S = 0.05
"""The end of a hold may hold the first samples of its release."""
_LEAST = 8
"""Holds from which on a mean course says what they share."""
_MOST = 200
"""Holds that are laid over one another; more tell nothing new."""
_LEAST_POINTS = 12
"""Points of a course in which a dip can have a before and an after."""
SHARP = 16.0
"""Log-odds of a dip per its own logarithm: of half as much again as a sound station shows, 99.8 in 100 are faults."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Mean vacuum of the holds, each less its own median, by the time since it began [s, kPa], shape (n_points,).

    share  of the variance about each hold's median that is the same in all of them, from 0 to 1
    """

    time_s: Floats
    vacuum_kpa: Floats
    share: float

    @property
    def valley_kpa(self) -> float:
        """How far it falls at most under both what comes before and what comes after it."""
        before = np.maximum.accumulate(self.vacuum_kpa)
        after = np.maximum.accumulate(self.vacuum_kpa[::-1])[::-1]
        return float(np.max(np.minimum(before, after) - self.vacuum_kpa))


def shared_course(data: StationData) -> Course | None:
    """Of the steady holds that last as long as most, at most 200 spread over the log; None for fewer than eight.

    What comes at times of its own in each, as dips of the supply do, averages out.
    """
    periods, bins = data.periods, data.bins
    start, end = periods.floats("start_s"), periods.floats("end_s")
    steady = periods.codes("kind") == periods.categories["kind"].index("steady")
    held = data.cycles.where("outcome", "held")[periods.codes("cycle")]
    rows = np.flatnonzero(steady & held)
    if len(rows) < _LEAST:
        return None
    length = end[rows] - start[rows]
    until = 0.9 * float(np.median(length)) - _BEFORE_END_S
    rows = rows[length - _BEFORE_END_S >= until]
    rows = rows[np.linspace(0, len(rows) - 1, min(len(rows), _MOST)).astype(np.int64)]
    first, last = (np.searchsorted(bins.period, rows, side=side) for side in ("left", "right"))
    rows, first, last = (x[last - first >= _LEAST_POINTS] for x in (rows, first, last))
    if len(rows) < _LEAST:
        return None
    step = float(np.median([np.median(np.diff(bins.time_s[a:b])) for a, b in zip(first, last, strict=True)]))
    time = np.arange(_SETTLED_S, until, step)
    if len(time) < _LEAST_POINTS:
        return None
    traces = np.array([
        np.interp(time, bins.time_s[a:b] - start[row], -bins.pressure_kpa[a:b])
        for row, a, b in zip(rows, first, last, strict=True)
    ])  # fmt: skip
    rest = traces - np.median(traces, axis=1, keepdims=True)
    mean = rest.mean(axis=0)
    own = rest.var(axis=0, ddof=1).mean()
    common = max(float(mean.var() - own / len(rest)), 0.0)
    return Course(time_s=time, vacuum_kpa=mean, share=common / max(common + float(own), 1e-12))


def travel_sign(data: StationData, baseline: StationData | None, options: JudgeOptions) -> Sign | None:
    """Does vacuum fall and recover at the same times of every hold, further than in the baseline? None where unknown.

    Moves are made at the same times after the grip; nothing else that lets vacuum fall keeps to them.
    """
    course = shared_course(data)
    if course is None:
        return None
    usual = None if baseline is None else shared_course(baseline)
    limit = options.travel_dip_kpa
    if usual is not None:
        limit = max(options.travel_dip_least_kpa, 1.5 * usual.valley_kpa + 0.5 * options.travel_dip_least_kpa)
    deep = logistic(SHARP * float(np.log(max(course.valley_kpa, 1e-6) / limit)))
    alike = logistic((course.share - options.travel_share) / 0.05)
    return Sign(
        name="travel_dips", present=float(np.clip(deep * alike, 0.0005, 0.9997)),
        text=f"vacuum falls by {course.valley_kpa:.2g} kPa at the same times of every hold",
    )  # fmt: skip


def dip_sign(features: Features, comparison: Comparison, *, steady: bool, options: JudgeOptions) -> tuple[Sign, Bools]:
    """Dips of vacuum in the hold that recover, far deeper than the reference shows.

    Where there is none, deeper than a sound station shows in holds with the supply on throughout, as `steady` ones.
    """
    dip = np.where(features.held, features.values["dip"], np.nan)
    seen = np.isfinite(dip)
    effect = comparison.effects.get("dip")
    flag = np.zeros(len(dip), np.bool_)
    if seen.sum() < 8 or (effect is None and not steady):
        return Sign(name="deep_dips", present=0.03), flag
    limit = (
        2.0 * options.travel_dip_kpa
        if effect is None
        else effect.reference + max(2.0, 4.0 * effect.error, 0.5 * effect.reference)
    )
    flag = seen & (dip > limit)
    share = float(flag.sum() / seen.sum())
    return Sign(name="deep_dips", present=min(max(logistic((share - 0.15) / 0.04), 0.01), 0.98)), flag
