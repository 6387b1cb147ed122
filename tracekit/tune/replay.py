"""Recorded pressure through a software switch with other thresholds: what the output would have done."""

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.model.trace import Block

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Values = Mapping[str, float]

_CARRY_S = 0.2
ANSWERS_S = (0.0, 0.002, 0.005, 0.01, 0.015, 0.02)


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayed:
    """What the output does per cycle, shape (n_cycles,).

    on_s    first output-on [s], NaN where it never comes on
    offs    output-offs between that and the end of suction
    edges   all edges of the output in the cycle
    """

    on_s: Floats
    offs: Ints
    edges: Ints


def switch(vacuum: Floats, set_kpa: float, reset_kpa: float, before: bool = False) -> Bools:
    """State of a switch after each reading: on at or over the set point, off below the reset point, else as before.

    `before` is the state ahead of the first reading. A reading that is missing (NaN) changes nothing.
    """
    return _latched(vacuum >= set_kpa, vacuum < reset_kpa, before)


def answering_switch(
    time: Floats, vacuum: Floats, thresholds: tuple[float, float], answer_s: float, before: bool
) -> Bools:
    """The same for a switch that answers only once the reading has stayed beyond a threshold for `answer_s`.

    thresholds  set point and reset point [kPa]
    """
    high, low = vacuum >= thresholds[0], vacuum < thresholds[1]
    if answer_s <= 0.0:
        return _latched(high, low, before)
    return _latched(_lasting(time, high, answer_s), _lasting(time, low, answer_s), before)


def _latched(high: Bools, low: Bools, before: bool) -> Bools:
    wants = np.where(high, 1, np.where(low, 0, -1))
    last = np.maximum.accumulate(np.where(wants >= 0, np.arange(1, len(wants) + 1), 0))
    return np.asarray(np.concatenate([[1 if before else 0], wants])[last] == 1, np.bool_)


def _lasting(time: Floats, flag: Bools, least_s: float) -> Bools:
    """Where a flag has been up for at least `least_s`."""
    start = np.maximum.accumulate(np.where(~flag, np.arange(len(flag)), -1)) + 1
    since = time - time[np.minimum(start, len(time) - 1)]
    return np.asarray(flag & (since >= least_s - 1e-9), np.bool_)


def changes(state: Bools, before: bool = False) -> tuple[Ints, Ints]:
    """Indices of the readings at which the state goes on, and off."""
    step = np.diff(np.concatenate([[before], state]).astype(np.int8))
    return np.flatnonzero(step > 0), np.flatnonzero(step < 0)


def replay_blocks(
    blocks: Iterable[Block], station: int, data: StationData, settings: Values, answer_s: float
) -> Replayed:
    """Replay of every sample of a log: `blocks` in order of time, `station` is the station's index among them."""
    thresholds = (settings["set_point"], settings["reset_point"])
    kept_time, kept, state = np.zeros(0), np.zeros(0), False
    ups: list[Floats] = []
    downs: list[Floats] = []
    for block in blocks:
        if block.station != station or not len(block.time_s):
            continue
        time = np.concatenate([kept_time, block.time_s])
        vacuum = np.concatenate([kept, -block.pressure_kpa])
        found = answering_switch(time, vacuum, thresholds, answer_s, state)
        found[: len(kept)] = state
        up, down = changes(found, state)
        ups.append(time[up])
        downs.append(time[down])
        state = bool(found[-1])
        carry = time >= time[-1] - _CARRY_S
        kept_time, kept = time[carry], vacuum[carry]
    return _by_cycle(data, np.concatenate([np.zeros(0), *ups]), np.concatenate([np.zeros(0), *downs]))


def _by_cycle(data: StationData, up: Floats, down: Floats) -> Replayed:
    """Edges at the times `up` and `down`, sorted into cycles."""
    n = len(data.cycles)
    start, end, stop = data.cycles.floats("start_s"), data.cycles.floats("end_s"), data.timing["quit_s"]
    up_in, down_in = _owner(start, end, up), _owner(start, end, down)
    first = np.full(n, np.inf)
    np.minimum.at(first, up_in[up_in >= 0], up[up_in >= 0])
    inside = (down_in >= 0) & (down < stop[down_in] - 1e-9)
    edges = np.bincount(up_in[up_in >= 0], minlength=n) + np.bincount(down_in[down_in >= 0], minlength=n)
    offs = np.bincount(down_in[inside], minlength=n)
    return Replayed(on_s=np.where(np.isfinite(first), first, np.nan), offs=offs, edges=edges)


def _owner(start: Floats, end: Floats, time: Floats) -> Ints:
    """Cycle in which each time lies, -1 for none."""
    if not len(start):
        return np.full(len(time), -1)
    at = np.searchsorted(start, time, side="right") - 1
    return np.where((at >= 0) & (time < end[np.maximum(at, 0)]), at, -1)


def held_to_loop(vacuum: Floats, now: Values, values: Values, fall: float) -> Floats:
    """The recorded vacuum as far as a higher supply_on would have kept it from falling [kPa].

    It resumes sooner: vacuum stays over it less `fall`. What other changes of the loop would have done is not in the
    recording.
    """
    if values.get("supply_on", 0.0) <= now.get("supply_on", 0.0):
        return vacuum
    return np.where(vacuum > 0.8 * now["supply_on"], np.maximum(vacuum, values["supply_on"] - fall), vacuum)


def replay_bins(data: StationData, values: Values, now: Values, fall: float) -> Replayed:
    """Replay of the averaged trace of every cycle up to the end of its suction; the switch is off at its start."""
    bins, n = data.bins, len(data.cycles)
    stop = data.timing["quit_s"]
    use = bins.time_s < np.where(np.isfinite(stop), stop, np.inf)[bins.cycle]
    cycle, time = bins.cycle[use].astype(np.int64), bins.time_s[use]
    vacuum = held_to_loop(-bins.pressure_kpa[use], now, values, fall)
    fresh = np.concatenate([[True], cycle[1:] != cycle[:-1]]) if len(cycle) else np.zeros(0, bool)
    shown = np.where(fresh & (vacuum < values["set_point"]), -np.inf, vacuum)
    state = switch(shown, values["set_point"], values["reset_point"])
    before = np.concatenate([[False], state[:-1]]) & ~fresh if len(state) else state
    up, down = state & ~before, ~state & before
    first = np.full(n, np.inf)
    np.minimum.at(first, cycle[up], time[up])
    offs = np.bincount(cycle[down], minlength=n)
    edges = (
        np.bincount(cycle[up], minlength=n) + offs + (np.isfinite(first) & (offs < np.bincount(cycle[up], minlength=n)))
    )
    return Replayed(on_s=np.where(np.isfinite(first), first, np.nan), offs=offs, edges=edges)


def compared(data: StationData, old: Replayed, new: Replayed) -> dict[str, int]:
    """Drops and superfluous edges of the output in held cycles that new settings avoid, and those that are left.

    A drop is an output-off before the end of suction in a cycle whose part was held. Where a replay of the settings in
    force misses some that are recorded (the switch sees more than the log), what is left grows by the same factor, but
    to no more than was recorded where the replay itself improves.
    """
    held = data.cycles.where("outcome", "held")
    recorded_drops = int((np.isfinite(data.cycle_settings["reset_point"]) & held).sum())
    recorded_edges = int(np.maximum(data.cycles.codes("chatter_edges"), 0)[held].sum())
    drops = _left(recorded_drops, *(int(((r.offs > 0) & held).sum()) for r in (old, new)))
    edges = _left(recorded_edges, *(int(np.maximum(r.edges - 2, 0)[held].sum()) for r in (old, new)))
    return {
        "drops_avoided": max(recorded_drops - drops, 0), "drops_left": drops,
        "edges_avoided": max(recorded_edges - edges, 0), "edges_left": edges,
    }  # fmt: skip


def _left(recorded: int, old: int, new: int) -> int:
    if new >= old or old == 0:
        return max(new, recorded if new > 0 else 0) if old else new
    return min(round(new * max(recorded, old) / old), max(recorded, old))


def answer_time_s(blocks: tuple[Block, ...], station: int, data: StationData, settings: Values) -> float:
    """The answering time at which a replay of the settings in force comes nearest to the recorded edges [s]."""
    recorded = np.maximum(data.cycles.codes("output_edges"), 0)
    misses = [
        int(np.abs(replay_blocks(blocks, station, data, settings, answer).edges - recorded).sum())
        for answer in ANSWERS_S
    ]
    return ANSWERS_S[int(np.argmin(misses))]
