"""Recorded coasts and recharges: how long they last, where vacuum turns, how much the gas warms."""


import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.signal.pieces import whole_runs

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SURGE_S = 0.3  # by then most of the cold gas has warmed: some three time constants of a usual circuit


@dataclass(frozen=True, slots=True, kw_only=True)
class Coasts:
    """Supply-off stretches of held cycles, arrays of shape (n,).

    cycle        row of the cycles table
    first        the first of its hold
    complete     ended by supply_on, not by the end of suction
    duration_s   supply-off to supply-on command [s]
    turn_kpa     highest vacuum [kPa]
    turn_s       when, after the supply-off command [s]
    surge_kpa    vacuum lost within SURGE_S of the turn [kPa], NaN where the coast is shorter
    surge_for_s  the time that it took [s]
    end_kpa      vacuum at the end [kPa]
    """

    cycle: Ints
    first: Bools
    complete: Bools
    duration_s: Floats
    turn_kpa: Floats
    turn_s: Floats
    surge_kpa: Floats
    surge_for_s: Floats
    end_kpa: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Recharges:
    """Supply-on stretches of holds that end in a cut, arrays of shape (n,): duration, lowest vacuum and when."""

    cycle: Ints
    duration_s: Floats
    turn_kpa: Floats
    turn_s: Floats


def _turns(data: StationData, period: Ints, *, highest: bool) -> tuple[Floats, Floats]:
    """Extreme vacuum of each period and when it stands, after the period's start."""
    bins = data.bins
    n = len(data.periods)
    sign = 1.0 if highest else -1.0
    value = np.full(n, -np.inf)
    at = np.full(n, np.inf)
    for some in whole_runs(bins.period):
        own, level = bins.period[some], -sign * bins.pressure_kpa[some]
        np.maximum.at(value, own, level)
        top = level >= value[own] - 1e-12
        np.minimum.at(at, own[top], bins.time_s[some][top])
    with np.errstate(invalid="ignore"):
        when = at[period] - data.periods.floats("start_s")[period]
    return sign * value[period], np.where(np.isfinite(when), when, np.nan)


def coasts_of(data: StationData, held: Bools) -> Coasts:
    """The coasts of held cycles; a stretch that no release ends and no recharge follows is left out."""
    periods = data.periods
    owner = periods.codes("cycle")
    coast = periods.where("kind", "coast")
    follows = np.append(periods.where("kind", "recharge")[1:], False) & (np.append(owner[1:], -1) == owner)
    index = np.flatnonzero(coast & held[owner])
    turn, when = _turns(data, index, highest=True)
    start, end = periods.floats("start_s")[index], periods.floats("end_s")[index]
    mine = owner[index]
    first = np.append(True, mine[1:] != mine[:-1])[: len(index)]
    surge, took = _surge(data, index, start + when, turn)
    return Coasts(
        cycle=mine, first=np.asarray(first, np.bool_), complete=follows[index], duration_s=end - start, turn_kpa=turn,
        turn_s=when, surge_kpa=surge, surge_for_s=took, end_kpa=periods.floats("vacuum_end_kpa")[index],
    )  # fmt: skip


def _surge(data: StationData, index: Ints, turn_s: Floats, turn_kpa: Floats) -> tuple[Floats, Floats]:
    """Loss of vacuum from the turn to SURGE_S later (or to the end, where that comes first)."""
    bins = data.bins
    if not len(index) or not len(bins.time_s):
        return np.full(len(index), np.nan), np.full(len(index), np.nan)
    end = data.periods.floats("end_s")[index] - 0.5 * data.sensor.sample_interval_s
    at = np.minimum(turn_s + SURGE_S, end)
    place = np.clip(np.searchsorted(bins.time_s, np.nan_to_num(at)) - 1, 0, len(bins.time_s) - 1)
    inside = bins.period[place] == index
    lost = turn_kpa + np.interp(bins.time_s[place], bins.time_s, bins.pressure_kpa)
    took = bins.time_s[place] - turn_s
    good = inside & (took > 0.06)
    return np.where(good, lost, np.nan), np.where(good, took, np.nan)


def recharges_of(data: StationData, held: Bools) -> Recharges:
    """The recharges of held cycles that a coast follows."""
    periods = data.periods
    owner = periods.codes("cycle")
    kind = periods.where("kind", "recharge")
    follows = np.append(periods.where("kind", "coast")[1:], False) & (np.append(owner[1:], -1) == owner)
    index = np.flatnonzero(kind & follows & held[owner])
    turn, when = _turns(data, index, highest=False)
    length = periods.floats("end_s")[index] - periods.floats("start_s")[index]
    return Recharges(cycle=owner[index], duration_s=length, turn_kpa=turn, turn_s=when)
