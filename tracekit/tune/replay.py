"""Recorded pressure through a software switch with other thresholds: what the output would have done."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import StationData

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Values = Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayed:
    """Per cycle, shape (n_cycles,): first output-on [s, NaN never], output-offs before the end of suction, all edges."""

    on_s: Floats
    offs: Ints
    edges: Ints


def switch(vacuum: Floats, set_kpa: float, reset_kpa: float, before: bool = False) -> Bools:
    """State of a switch after each reading: on at or over the set point, off below the reset point, else as before.

    `before` is the state ahead of the first reading. A reading that is missing (NaN) changes nothing.
    """
    wants = np.where(vacuum >= set_kpa, 1, np.where(vacuum < reset_kpa, 0, -1))
    last = np.maximum.accumulate(np.where(wants >= 0, np.arange(1, len(wants) + 1), 0))
    return np.concatenate([[1 if before else 0], wants])[last] == 1


def changes(state: Bools, before: bool = False) -> tuple[Ints, Ints]:
    """Indices of the readings at which the state goes on, and off."""
    step = np.diff(np.concatenate([[before], state]).astype(np.int8))
    return np.flatnonzero(step > 0), np.flatnonzero(step < 0)


def held_to_loop(vacuum: Floats, now: Values, values: Values, fall: float) -> Floats:
    """The recorded vacuum as far as another air-saving loop would have kept it from falling or rising [kPa].

    A higher supply_on resumes sooner: vacuum stays over it less `fall`. A lower supply_off cuts sooner. What a lower
    supply_on or a higher supply_off would have done is not in the recording.
    """
    out = vacuum
    if values.get("supply_on", 0.0) > now.get("supply_on", 0.0):
        out = np.where(out > 0.8 * now["supply_on"], np.maximum(out, values["supply_on"] - fall), out)
    return out


def replay_bins(data: StationData, values: Values, now: Values, fall: float) -> Replayed:
    """Replay of the averaged trace of every cycle, from its start to the end of suction."""
    bins, n = data.bins, len(data.cycles)
    quit_s = data.timing["quit_s"]
    use = bins.time_s < np.where(np.isfinite(quit_s), quit_s, np.inf)[bins.cycle]
    vacuum = held_to_loop(-bins.pressure_kpa[use], now, values, fall)
    return _per_cycle(bins.cycle[use].astype(np.int64), bins.time_s[use], vacuum, values, n)


def _per_cycle(cycle: Ints, time: Floats, vacuum: Floats, values: Values, n: int) -> Replayed:
    """The switch starts anew, off, in each cycle."""
    fresh = np.concatenate([[True], cycle[1:] != cycle[:-1]]) if len(cycle) else np.zeros(0, bool)
    shown = np.where(fresh & (vacuum < values["set_point"]), -np.inf, vacuum)
    state = switch(shown, values["set_point"], values["reset_point"])
    before = np.concatenate([[False], state[:-1]]) if len(state) else state
    before = np.where(fresh, False, before)
    up, down = state & ~before, ~state & before & ~fresh
    first = np.full(n, np.inf)
    np.minimum.at(first, cycle[up], time[up])
    offs = np.bincount(cycle[down], minlength=n)
    return Replayed(
        on_s=np.where(np.isfinite(first), first, np.nan), offs=offs, edges=np.bincount(cycle[up], minlength=n) + offs
    )


def compared(data: StationData, values: Values, now: Values, fall: float) -> Mapping[str, int]:
    """Drops and superfluous edges of the output in held cycles that the settings avoid, and those that are left.

    A drop is an output-off before the end of suction. Recorded ones count as the log shows them; what is left is
    replayed, at most as much as a replay of the settings in force misses of the recorded ones.
    """
    held = data.cycles.where("outcome", "held")
    new, old = (replay_bins(data, v, now, fall) for v in (values, now))
    drops = np.isfinite(data.cycle_settings["reset_point"]) & held
    edges = np.where(held, np.maximum(data.cycles.codes("chatter_edges"), 0), 0)
    left = (new.offs > 0) & held
    drops_left = int(left.sum())
    extra_new, extra_old = (int(np.maximum(r.edges - 1, 0)[held].sum()) for r in (new, old))
    share = extra_new / extra_old if extra_old else float(extra_new > 0)
    edges_left = min(round(share * int(edges.sum())), int(edges.sum())) if edges.sum() else extra_new
    return {
        "drops_avoided": max(int(drops.sum()) - drops_left, 0),
        "drops_left": drops_left,
        "edges_avoided": max(int(edges.sum()) - edges_left, 0),
        "edges_left": edges_left,
    }
