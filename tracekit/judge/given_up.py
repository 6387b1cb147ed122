"""Suctions that end before the set point while vacuum still rises: the time-out, with or without a second try."""

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.facts import Fact, known, middle, rows
from tracekit.judge.signs import logistic
from tracekit.model.cycle import StationData
from tracekit.model.finding import Evidence
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_CLOSED = 0.4
"""Share of the usual peak over which a cup has closed on its part."""
_FEWEST = 3
"""Retries from which on they are no chance."""
WEAK_SUCTION = (
    "leak_steady",
    "leak_part_dependent",
    "exhaust_restricted",
    "supply_pressure_low",
    "supply_pressure_dips",
)
"""Causes for which vacuum comes late or never: repair them first."""


def _vacuum_at(data: StationData, time_s: Floats) -> Floats:
    return np.interp(time_s, data.bins.time_s, -data.bins.pressure_kpa)


def still_rising(data: StationData) -> Bools:
    """Missed picks whose vacuum is still rising clearly when the suction is given up."""
    n = len(data.cycles)
    if not len(data.bins.time_s):
        return np.zeros(n, np.bool_)
    start, peak = data.timing["try_s"], data.cycles.floats("peak_vacuum_kpa")
    rising = _rising(data, start, data.timing["quit_s"], peak)
    return np.asarray(rising & data.cycles.where("outcome", "missed"), np.bool_)


def _rising(data: StationData, start_s: Floats, stop_s: Floats, peak_kpa: Floats) -> Bools:
    """Whether suctions end on a rising curve at their peak."""
    late, early = (_vacuum_at(data, start_s + share * (stop_s - start_s)) for share in (0.97, 0.77))
    with np.errstate(invalid="ignore"):
        rise = late - early
        # what rises steeply has risen on by the time that the last valve has closed
        at_peak = late + 0.5 * rise > 0.93 * peak_kpa
        return np.asarray((rise > 0.04 * peak_kpa) & (rise > 4.0 * data.sensor.noise_kpa) & at_peak, np.bool_)


def earlier_tries(data: StationData) -> tuple[Ints, Floats, Floats]:
    """Cycle, start and end [s] of the suctions before the last try of each cycle that took several, each (n_tries,)."""
    edges = data.edges
    if not len(edges) or "supply" not in edges.categories["signal"]:
        return np.zeros(0, np.int64), np.zeros(0), np.zeros(0)
    supply = edges.codes("signal") == edges.categories["signal"].index("supply")
    cycle, time, on = edges.codes("cycle")[supply], edges.floats("time_s")[supply], edges.codes("value")[supply] == 1
    several = data.cycles.codes("attempts") > 1
    known_cycle = (cycle[:-1] >= 0) & (cycle[:-1] == cycle[1:])
    own = np.where(known_cycle, cycle[:-1], 0)
    before = time[1:] < data.timing["try_s"][own]
    tries = known_cycle & on[:-1] & ~on[1:] & several[own] & before
    return own[tries].astype(np.int64), time[:-1][tries], time[1:][tries]


def retried_while_rising(data: StationData) -> tuple[Bools, float]:
    """Cycles with a try that ended under the set point on a rising curve, and the usual vacuum at its end [kPa]."""
    flag = np.zeros(len(data.cycles), np.bool_)
    cycle, start, stop = earlier_tries(data)
    if not len(cycle) or not len(data.bins.time_s):
        return flag, float("nan")
    end = _vacuum_at(data, start + 0.97 * (stop - start))
    set_point = data.settings["set_point"].value_kpa
    level = data.cycle_settings["set_point"][cycle]
    level = np.where(np.isfinite(level), level, np.inf if set_point is None else set_point)
    cut = _rising(data, start, stop, end) & (end > _CLOSED * data.usual_peak_kpa) & (end < level)
    flag[cycle[cut]] = True
    return flag, middle(end[cut])


def timeout_fact(data: StationData, now: Bools, options: JudgeOptions) -> Fact | None:
    """Picks given up, or begun again, while vacuum still rose."""
    peak = data.cycles.floats("peak_vacuum_kpa")
    missed = still_rising(data) & (peak > _CLOSED * data.usual_peak_kpa)
    retried, at_kpa = retried_while_rising(data)
    lost, again = int(missed.sum()), int(retried.sum())
    share = float(np.mean(retried[now])) if now.any() else 0.0
    often = 0.93 * logistic((share - options.retried_share) / 0.015) if again >= _FEWEST else 0.0
    chance = max({0: 0.0, 1: 0.6}.get(lost, 0.93), often)
    if chance <= 0.0:
        return None
    said = [f"{lost} picks were given up while vacuum still rose"] if lost else []
    said += [f"{again} of {len(peak)} picks were cut off while vacuum still rose, and begun again"] if again else []
    evidence = Evidence(
        measure="peak_vacuum_kpa", value=middle(peak[missed]) if lost else at_kpa, unit="kPa",
        reference=known(_set_point(data)), reference_source="set point", cycles=int((missed | retried).sum()),
        text="; ".join(said),
    )  # fmt: skip
    return Fact(
        code="timeout_too_short", probability=chance, evidence=(evidence,), cycles=rows(missed | retried),
        explained_by=WEAK_SUCTION,
        reason=f"picks are {'given up' if lost else 'begun again'} while vacuum still rises",
    )  # fmt: skip


def _set_point(data: StationData) -> float:
    value = data.settings["set_point"].value_kpa
    return float("nan") if value is None else value
