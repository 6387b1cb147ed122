"""Tables from which a page answers "what if" without a network: effects over grids of the settings."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.model.tuning import Tables
from tracekit.tune.cost import lanes_of
from tracekit.tune.loop import run_loop
from tracekit.tune.noise import above
from tracekit.tune.order import Values
from tracekit.tune.predict import Scene, leak_unseen
from tracekit.tune.prepare import Prepared
from tracekit.tune.replay import replay_bins

Floats = NDArray[np.float64]

_POINTS, _PLANE = 25, 13
_CYCLES = 24
_NEAR_KPA = 8.0


def tables_of(prepared: Prepared, tried: tuple[Values, ...] = ()) -> Tables:
    """All tables of a station; sets that are `tried` stand on the grid of the loop, so that they are told exactly."""
    scene, problem = prepared.scene, prepared.problem
    top = max(float(np.nanmax(problem.levels.reach, initial=1.0)), 1.0)
    point = _grid(scene.now, "set_point", 0.15 * top, top, _POINTS)
    reset = _grid(scene.now, "reset_point", 0.1 * top, top, _PLANE)
    few = np.unique(np.append(point[::2], scene.now["set_point"]))
    drops, edges = _replayed(scene, reset, few, kept=False)
    kept_drops, kept_edges = _replayed(scene, reset, few, kept=True)
    spread = float(np.hypot(problem.levels.sigma, problem.options.least_spread_kpa))
    gap = np.linspace(-6.0, 6.0, 25)
    risk = np.minimum(problem.options.readings * above(gap / spread), 1.0)
    off, on, switches, on_time = _loop(prepared, top, tried)
    times = scene.model.rise.at(point)
    evacuation = np.median(np.where(np.isfinite(times), times, scene.model.end_s[:, None]), axis=0)
    return Tables(
        point=few, reset=reset, off=off, on=on, evacuation_s=np.interp(few, point, evacuation),
        missed=np.interp(few, point, _missed(scene, point)), drops=drops, edges=edges,
        kept_drops=kept_drops, kept_edges=kept_edges, gap=gap, risk=risk, switches=switches, on_time_s=on_time,
    )  # fmt: skip


def _grid(now: Mapping[str, float], name: str, low: float, high: float, count: int) -> Floats:
    """An even grid with the value in force in it."""
    return np.unique(np.append(np.linspace(min(low, now[name]), max(high, now[name]), count), now[name]))


def _fine_grid(now: Mapping[str, float], name: str, low: float, high: float, tried: tuple[Values, ...]) -> Floats:
    """The same, in steps of a kPa near the value in force, where edges come and go one by one."""
    near = now[name] + np.arange(-_NEAR_KPA, _NEAR_KPA + 1.0)
    own = np.array([values[name] for values in tried if name in values])
    return np.unique(np.concatenate([_grid(now, name, low, high, _PLANE), near[(near > low) & (near < high)], own]))


def _missed(scene: Scene, point: Floats) -> Floats:
    """Share of the picks whose cup closed that never reach a set point."""
    spread = float(np.hypot(scene.levels.sigma, scene.options.least_spread_kpa))
    reach = scene.levels.reach
    if not len(reach):
        return np.zeros(len(point))
    return np.asarray(above((reach[None, :] + scene.levels.sigma - point[:, None]) / spread).mean(axis=1))


def _replayed(scene: Scene, reset: Floats, point: Floats, *, kept: bool) -> tuple[Floats, Floats]:
    """Recorded holds replayed for every pair of reset and set point, shape (resets, points).

    `kept`: with a supply_on that just keeps vacuum over the reset point. A higher one changes no edge, and a lower one
    keeps nothing, so the two planes tell every supply_on.
    """
    held = scene.data.cycles.where("outcome", "held")
    holds = max(int(held.sum()), 1)
    drops, edges = np.zeros((len(reset), len(point))), np.zeros((len(reset), len(point)))
    for i, low in enumerate(reset):
        for j, high in enumerate(point):
            if low >= high:
                drops[i, j] = edges[i, j] = np.nan
                continue
            values = {"set_point": high, "reset_point": low}
            if kept and "supply_on" in scene.now:
                values["supply_on"] = low + scene.fall + 1e-6
            found = replay_bins(scene.data, values, scene.now, scene.fall)
            drops[i, j] = ((found.offs > 0) & held).sum() / holds
            edges[i, j] = np.maximum(found.edges - 2, 0)[held].sum() / holds
    return drops, edges


def _loop(prepared: Prepared, top: float, tried: tuple[Values, ...]) -> tuple[Floats, Floats, Floats, Floats]:
    """Grids of supply_off and supply_on, edges and supply time over them; empty where the log tells nothing of them."""
    scene, model = prepared.scene, prepared.scene.model
    nothing = np.zeros(0)
    if not prepared.problem.saving or leak_unseen(scene):
        return nothing, nothing, np.zeros((0, 0)), np.zeros((0, 0))
    reached = float(np.median(scene.levels.reach)) if len(scene.levels.reach) else np.inf
    high = min(float(np.median(model.rise.ultimate)), reached + scene.options.beyond_most_kpa)
    off = _fine_grid(scene.now, "supply_off", 0.4 * top, high, tried)
    on = _fine_grid(scene.now, "supply_on", 0.25 * top, high, tried)
    pairs = np.stack(np.meshgrid(off, on, indexing="ij"), axis=-1).reshape(-1, 2)
    use = pairs[:, 0] > pairs[:, 1]
    chosen = np.arange(len(model.rows))[:: max(1, len(model.rows) // _CYCLES)]
    lanes = lanes_of(model, chosen, pairs[use, 0], pairs[use, 1])
    counts = run_loop(replace(lanes, end_s=lanes.end_s))
    switches, on_time = np.full(len(pairs), np.nan), np.full(len(pairs), np.nan)
    switches[use], on_time[use] = counts.switches.mean(axis=1), counts.on_time_s.mean(axis=1)
    shape = (len(off), len(on))
    return off, on, switches.reshape(shape), on_time.reshape(shape)
