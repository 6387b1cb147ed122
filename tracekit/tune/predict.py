"""Predicted effects of a set of settings, each with its interval."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import StationData
from tracekit.model.estimate import Estimate
from tracekit.model.station import Price
from tracekit.options.tune import TuneOptions
from tracekit.tune.cost import Levels, lanes_of
from tracekit.tune.intervals import estimate, of_mean, of_median, of_share
from tracekit.tune.loop import Lanes, run_loop
from tracekit.tune.noise import above
from tracekit.tune.order import Values
from tracekit.tune.station_model import FittedStation

Floats = NDArray[np.float64]

MEASURED, MODELLED = "as recorded", "modelled from this log"
_SEED = 20310303
_TICK_S = 0.004  # a loop and its recorder answer within one another's steps (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What predictions are made from. `fall`: how far vacuum goes below supply_on, with the deepest healthy dip [kPa]."""

    data: StationData
    model: FittedStation
    levels: Levels
    now: Values
    fall: float
    price: Price | None
    options: TuneOptions


def predict(scene: Scene, values: Values) -> Mapping[str, Estimate]:
    """Every predicted effect of `values`; those of the settings in force are as recorded."""
    changed = {n for n in values if abs(values[n] - scene.now.get(n, math.inf)) > 1e-9}
    found = {"evacuation_time_s": _evacuation(scene, values, "set_point" in changed)}
    found |= _shares(scene, values, changed)
    switches, on_time = _supply(scene, values, changed)
    return found | _per_time(scene, switches, on_time)


def _evacuation(scene: Scene, values: Values, changed: bool) -> Estimate:
    model, interval = scene.model, scene.data.sensor.sample_interval_s
    if not changed or "set_point" not in values:
        return of_median(model.evacuation_s, "s", MEASURED, interval / math.sqrt(12.0))
    level = values["set_point"]
    times = model.rise.at(np.array([level]))[:, 0]
    times = times[np.isfinite(times)]
    beyond = max(level - float(np.median(model.rise.last_level())), 0.0)
    method = MODELLED + (", beyond the recorded range of vacuum" if beyond > 1.0 else "")
    if not len(times):
        times = model.end_s
    middle = float(np.median(times))
    own = 0.03 * middle + 0.3 * interval + 0.02 * beyond * middle
    return of_median(times, "s", method, own)


def _shares(scene: Scene, values: Values, changed: set[str]) -> Mapping[str, Estimate]:
    """Missed picks, false drops and chatter."""
    cycles = scene.data.cycles
    n = max(len(cycles), 1)
    held = cycles.where("outcome", "held")
    holds = max(int(held.sum()), 1)
    missed = cycles.where("outcome", "missed")
    lost = np.isfinite(scene.data.cycle_settings["reset_point"]) & held
    edges = np.maximum(cycles.codes("chatter_edges"), 0)[held].astype(np.float64)
    if not changed & {"set_point", "reset_point", "supply_on", "supply_off"}:
        return {
            "missed_share": of_share(float(missed.sum()), n, MEASURED),
            "false_drop_share": of_share(float(lost.sum()), holds, MEASURED),
            "chatter_edges_per_hold": _of_edges(edges),
        }
    chance = _drop_chance(scene, values)
    count = 2.0 * chance
    return {
        "missed_share": of_share(_missed(scene, values), n, MODELLED),
        "false_drop_share": of_share(chance * holds, holds, MODELLED),
        "chatter_edges_per_hold": estimate(count, 2.0 * (count + 3.0 / holds), "per hold", holds, MODELLED),
    }


def _of_edges(edges: Floats) -> Estimate:
    found = of_mean(edges, "per hold", MEASURED) if len(edges) else estimate(0.0, 0.0, "per hold", 0, MEASURED)
    return replace(found, upper=max(found.upper, 6.0 / max(len(edges), 1)))


def _missed(scene: Scene, values: Values) -> float:
    """Picks that would be missed: empty ones as recorded, closed ones where the set point is out of reach."""
    missed = scene.data.cycles.where("outcome", "missed")
    peak = scene.data.cycles.floats("peak_vacuum_kpa")
    empty = missed & ~(peak > 0.5 * scene.data.usual_peak_kpa)
    point = values.get("set_point", 0.0)
    spread = float(np.hypot(scene.levels.sigma, scene.options.least_spread_kpa))
    short = above((scene.levels.reach + scene.levels.sigma - point) / spread)
    return float(empty.sum() + short.sum())


def _drop_chance(scene: Scene, values: Values) -> float:
    """Chance that a healthy hold loses the output."""
    reset = values.get("reset_point", 0.0)
    spread = float(np.hypot(scene.levels.sigma, scene.options.least_spread_kpa))
    floors = scene.levels.floor
    if scene.data.air_saving and "supply_on" in values:
        floors = np.array([values["supply_on"] - scene.fall])
    if not len(floors):
        return 0.0
    return float(np.minimum(scene.options.readings * above((floors - reset) / spread), 1.0).mean())


def _supply(scene: Scene, values: Values, changed: set[str]) -> tuple[Estimate, Estimate]:
    """Edges of the supply per hold and supply time per held cycle."""
    cycles, rows = scene.data.cycles, scene.model.rows
    held = cycles.where("outcome", "held")
    switches = np.maximum(cycles.codes("supply_switches"), 0)[held].astype(np.float64)
    on_time = cycles.floats("supply_on_time_s")[held]
    same = of_mean(switches, "per hold", MEASURED), of_mean(on_time, "s", MEASURED)
    loop = {"supply_off", "supply_on"} <= set(values) and scene.data.air_saving
    if not loop:
        return _later(scene, same, values, changed)
    if not changed & {"supply_off", "supply_on", "set_point"}:
        return same
    new, spread_new = _modelled(scene, values)
    old, _ = _modelled(scene, scene.now)
    seen = cycles.floats("supply_on_time_s")[rows].mean()
    scale = seen / max(old[1], 1e-6)
    n = len(rows)
    method = MODELLED + _extrapolates(scene, values)
    first = estimate(new[0], 1.96 * spread_new[0], "per hold", n, method)
    return first, estimate(new[1] * scale, 1.96 * spread_new[1] * scale, "s", n, method)


def _later(
    scene: Scene, same: tuple[Estimate, Estimate], values: Values, changed: set[str]
) -> tuple[Estimate, Estimate]:
    """Without air saving only the end of the hold moves with the set point."""
    if "set_point" not in changed or not scene.model.lift_on_point:
        return same
    shift = float(np.median(_shift(scene, values)))
    time = same[1]
    half = 0.5 * (time.upper - time.lower) + 0.1 * abs(shift)
    return same[0], estimate(time.value + shift, half, "s", time.n, MODELLED)


def _shift(scene: Scene, values: Values) -> Floats:
    """How much later the hold ends per cycle, because the set point is reached later [s]."""
    model = scene.model
    if "set_point" not in values or not model.lift_on_point:
        return np.zeros(len(model.rows))
    times = model.rise.at(np.array([values["set_point"], scene.now["set_point"]]))
    moved = times[:, 0] - times[:, 1]
    return np.where(np.isfinite(moved), moved, 0.0)


def _modelled(scene: Scene, values: Values) -> tuple[tuple[float, float], tuple[float, float]]:
    """Mean switches and supply time per hold, and their standard uncertainties."""
    model = scene.model
    every = np.arange(len(model.rows))[:: max(1, len(model.rows) // 64)]
    off, on = np.array([values["supply_off"]]), np.array([values["supply_on"]])
    lanes = lanes_of(model, every, off, on)
    lanes = replace(lanes, end_s=lanes.end_s + _shift(scene, values)[every][None, :])
    middle = run_loop(lanes)
    drawn = run_loop(_drawn(scene, lanes, values))
    n = len(every)
    found, spread = [], []
    for value, draws in ((middle.switches, drawn.switches), (middle.on_time_s, drawn.on_time_s)):
        means = draws.mean(axis=1)
        own = float(value.std(ddof=1)) if n > 1 else 0.0
        found.append(float(0.5 * (means.mean() + value.mean())))
        spread.append(math.hypot(float(means.std(ddof=1)), own * math.sqrt(2.0 / len(model.rows))))
    return (found[0], found[1]), (spread[0], spread[1])


def _drawn(scene: Scene, lanes: Lanes, values: Values) -> Lanes:
    """The same lanes with what is not known about the model drawn anew, shape (draws, cycles)."""
    model, o = scene.model, scene.options
    rng = np.random.default_rng(_SEED)
    z = rng.standard_normal((8, max(o.draws // 4, 24), 1))
    like = model.recharges_seen >= 3 and not _extrapolates(scene, values)
    rate_u = math.hypot(model.rate_rel / 1.96, o.model_rel_u * (0.5 if like else 1.0))
    tau_u = o.recharge_rel_u * (0.5 if model.recharges_seen >= 3 else 1.0)
    cut = lanes.first_cut_s + z[4] * (_TICK_S + 0.3 * scene.data.sensor.sample_interval_s) + z[5] * 0.03 * lanes.first_cut_s
    return replace(
        lanes,
        rate=lanes.rate * np.exp(rate_u * z[0]),
        tau_s=lanes.tau_s * np.exp(tau_u * z[1]),
        first_memory=lanes.first_memory * np.exp(0.10 * z[2]),
        later_share=lanes.later_share * np.exp(0.25 * z[3]),
        first_cut_s=np.maximum(cut, 0.01),
        delay_on_s=lanes.delay_on_s * np.exp(0.2 * z[6]),
        delay_later_s=lanes.delay_later_s * np.exp(0.2 * z[7]),
        on=lanes.on + 0.1 * z[5],
    )


def _extrapolates(scene: Scene, values: Values) -> str:
    """A warning where the settings reach beyond the vacuum that the log shows."""
    floor, top = scene.model.facts.floor, float(np.nanmedian(scene.model.rise.last_level()))
    low = np.isfinite(floor) and values.get("supply_on", floor) < floor - 1.0
    high = values.get("supply_off", 0.0) > top + scene.model.facts.overshoot_seen + 1.0
    return ", beyond the recorded range of vacuum" if low or high else ""


def _per_time(scene: Scene, switches: Estimate, on_time: Estimate) -> Mapping[str, Estimate]:
    """The same per hour, as a share of time, and as air."""
    cycles = scene.data.cycles
    held = cycles.where("outcome", "held")
    start, end = cycles.floats("start_s"), cycles.floats("end_s")
    total = float(end[-1] - start[0]) if len(start) else 1.0
    others = float(np.nansum(cycles.floats("supply_on_time_s")[~held]))
    per_hour = 3600.0 * float(held.sum()) / max(total, 1e-6)
    found = {
        "supply_switches_per_hold": switches,
        "supply_switches_per_hour": _scaled(switches, per_hour, 0.0, "per hour"),
        "supply_on_share": _scaled(on_time, held.sum() / total, others / total, "share of time"),
    }
    flow = scene.price.nozzle_flow_l_min_anr if scene.price is not None else None
    if flow is not None:
        n = max(len(cycles), 1)
        found["air_l_anr_per_cycle"] = _scaled(
            on_time, flow / 60.0 * held.sum() / n, flow / 60.0 * others / n, "L ANR"
        )
    return found


def _scaled(value: Estimate, factor: float, plus: float, unit: str) -> Estimate:
    low, middle, high = (float(v * factor + plus) for v in (value.lower, value.value, value.upper))
    return replace(value, value=middle, lower=low, upper=high, unit=unit)
