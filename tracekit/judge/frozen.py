"""Cycles in which the reading answers neither the supply nor the blow-off, although both are commanded."""

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.facts import middle
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_ENOUGH = 3
"""Cycles that show a level before it is known, and silent ones in a row before they are no chance."""


def usual_open_kpa(data: StationData, baseline: StationData | None) -> float:
    """Rise from idle to the open cup of held cycles, the log's own else the baseline's, NaN where not shown [kPa]."""
    return _usual("open_cup_vacuum_kpa", data, baseline)


def usual_over_kpa(data: StationData, baseline: StationData | None) -> float:
    """Rise from idle to the highest over-pressure of the blow-offs after held cycles, NaN where not shown [kPa]."""
    return _usual("release_peak_kpa", data, baseline)


def _usual(name: str, data: StationData, baseline: StationData | None) -> float:
    for one in (data, baseline):
        if one is None:
            continue
        idle = np.nan_to_num(one.cycles.floats("idle_vacuum_kpa"))
        over = name == "release_peak_kpa"
        level = one.timing["over_kpa"] + idle if over else one.cycles.floats(name) - idle
        level = level[one.cycles.where("outcome", "held")]
        if np.isfinite(level).sum() >= _ENOUGH:
            return middle(level)
    return float("nan")


def suction_rise_kpa(data: StationData) -> Floats:
    """How far each suction raised the reading above idle, shape (n_cycles,) [kPa]."""
    return data.cycles.floats("peak_vacuum_kpa") - np.nan_to_num(data.cycles.floats("idle_vacuum_kpa"))


def makes_no_vacuum(data: StationData, baseline: StationData | None, options: JudgeOptions) -> Bools:
    """Missed picks whose suction stays far under what an open cup of this station has: they tell of no part."""
    level = usual_open_kpa(data, baseline)
    if not level >= options.answer_least_kpa:
        return np.zeros(len(data.cycles), np.bool_)
    with np.errstate(invalid="ignore"):
        low = suction_rise_kpa(data) < options.silent_share * level
    return np.asarray(data.cycles.where("outcome", "missed") & low, np.bool_)


def silent_cycles(data: StationData, baseline: StationData | None, options: JudgeOptions) -> Bools:
    """Runs of cycles in which an open cup's vacuum and the over-pressure both vanish, though this station shows both.

    An empty pick has both; a supply valve that stays closed leaves the blow-off. Only commands long enough count.
    """
    n = len(data.cycles)
    over = usual_over_kpa(data, baseline)
    none = np.zeros(n, np.bool_)
    if not over >= options.answer_least_kpa:
        return none
    idle = np.nan_to_num(data.cycles.floats("idle_vacuum_kpa"))
    suction = _long_enough(data, baseline, "try_s", "quit_s", "hold_start_s")
    blowing = _long_enough(data, baseline, "release_s", "release_end_s", "release_end_s")
    with np.errstate(invalid="ignore"):
        still = data.timing["over_kpa"] + idle < options.silent_share * over
    flag = np.asarray(makes_no_vacuum(data, baseline, options) & suction & blowing & still, np.bool_)
    return in_runs(flag)


def in_runs(flag: Bools) -> Bools:
    """The flag where it stands for three cycles in a row or more."""
    edge = np.diff(np.concatenate([[0], flag.astype(np.int8), [0]]))
    first, last = np.flatnonzero(edge > 0), np.flatnonzero(edge < 0)
    length = last - first
    return np.asarray(flag & (np.repeat(length, length)[np.cumsum(flag) - 1] >= _ENOUGH) if len(first) else flag)


def _long_enough(data: StationData, baseline: StationData | None, start: str, stop: str, usual_stop: str) -> Bools:
    """Commands at least half as long as held cycles need from `start` to `usual_stop`, where that is known."""
    usual = [
        middle((_moment(one, usual_stop) - one.timing[start])[one.cycles.where("outcome", "held")])
        for one in (data, baseline)
        if one is not None
    ]
    least = 0.5 * next((u for u in usual if np.isfinite(u)), 0.0)
    with np.errstate(invalid="ignore"):
        return np.asarray(data.timing[stop] - data.timing[start] >= least, np.bool_)


def _moment(data: StationData, name: str) -> Floats:
    return data.timing[name] if name in data.timing else data.cycles.floats(name)
