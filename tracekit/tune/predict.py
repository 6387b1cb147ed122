"""Predicted effects of a set of settings, each with its interval."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Estimate
from tracekit.model.station import Price
from tracekit.options.tune import TuneOptions
from tracekit.tune.cost import Levels, lanes_of
from tracekit.tune.facts import closed_picks, cuts_unseen
from tracekit.tune.intervals import estimate, of_mean, of_median, of_share
from tracekit.tune.loop import Lanes, run_loop
from tracekit.tune.noise import above
from tracekit.tune.order import Values
from tracekit.tune.station_model import FittedStation

Floats = NDArray[np.float64]

MEASURED, MODELLED = "as recorded", "modelled from this log"
_HELD_LEAST, _COASTS_LEAST = 3, 3
_SEED = 20310303
_NEVER = 1e-6
_MISSING = 0.3  # share of the supply time that a model may be off by and still be told from it
_OVERSHOOT_DOUBT = 1.25  # an overshoot is known no better than that
_TICK_S = 0.004  # a loop and its recorder answer within one another's steps (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What predictions are made from. `fall`: how far vacuum goes below supply_on, dips included [kPa]."""

    data: StationData
    model: FittedStation
    levels: Levels
    now: Values
    fall: float
    price: Price | None
    options: TuneOptions

    @property
    def saving(self) -> bool:
        """Whether both thresholds of an air-saving loop are known."""
        return {"supply_off", "supply_on"} <= set(self.now)


@dataclass(frozen=True, slots=True)
class _Spread:
    """A modelled mean, and how far it may lie below and above [the unit of the quantity]."""

    value: float
    below: float
    above: float


def predict(scene: Scene, values: Values) -> dict[str, Estimate]:
    """Every predicted effect of `values`; those of the settings in force are as recorded.

    Where hardly any pick reaches the set point, only the missed picks are told.
    """
    changed = _changed(scene, values)
    if hardly_holds(scene, values):
        cycles = max(len(scene.data.cycles), 1)
        return {"missed_share": of_share(_missed(scene, values), cycles, MODELLED + _extrapolates(scene, values))}
    found = {"evacuation_time_s": _evacuation(scene, values, "set_point" in changed)}
    found |= _shares(scene, values, changed)
    moved = bool(changed & {"supply_off", "supply_on"})
    unseen = moved and leak_unseen(scene)
    hidden = scene.data.air_saving or cuts_unseen(scene.data)  # a loop whose thresholds are not known
    unseen |= not scene.saving and "set_point" in changed and hidden
    held = int(scene.data.cycles.where("outcome", "held").sum())
    if unseen or held < _HELD_LEAST or _rescued(scene, changed) > held:
        return found  # how fast vacuum is lost, or how long a hold lasts, is not in the log
    switches, on_time = _supply(scene, values, changed)
    if moved and scene.saving:
        found |= _of_saw_tooth(scene, values, switches, held)
    return found | _per_time(scene, switches, on_time, changed)


def _changed(scene: Scene, values: Values) -> set[str]:
    """Names of the settings that differ from those in force."""
    return {n for n in values if abs(values[n] - scene.now.get(n, math.inf)) > 1e-9}


def hardly_holds(scene: Scene, values: Values) -> bool:
    """Whether changed thresholds leave most closed picks below the set point, so that no hold begins."""
    if not _changed(scene, values) & {"set_point", "supply_off"} or not len(scene.levels.reach):
        return False
    return _short(scene, values) > 0.5 * len(scene.levels.reach)


def _falls_to(scene: Scene, values: Values, level: float, faster: float) -> float:
    """Share of the holds whose vacuum falls to `level` [kPa] before they end, with leaks so much `faster`."""
    model = scene.model
    every = np.arange(len(model.rows))[:: max(1, len(model.rows) // 64)]
    on = min(level, values["supply_off"] - 1e-3)
    lanes = lanes_of(model, every, np.array([values["supply_off"]]), np.array([on]))
    return float((run_loop(replace(lanes, rate=lanes.rate * faster)).switches >= 2.0).mean())


def leak_unseen(scene: Scene) -> bool:
    """Whether the log shows too few coasts to tell how often an air-saving loop would switch."""
    return scene.saving and scene.model.coasts_seen < _COASTS_LEAST


def _evacuation(scene: Scene, values: Values, changed: bool) -> Estimate:
    model, interval = scene.model, scene.data.sensor.sample_interval_s
    if not changed or "set_point" not in values:
        seen = model.evacuation_s[np.isfinite(model.evacuation_s)]
        if len(seen):
            return of_median(seen, "s", MEASURED, interval / math.sqrt(12.0))
        values = {"set_point": float(np.median(model.rise.ultimate))} | dict(values)
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


def _shares(scene: Scene, values: Values, changed: set[str]) -> dict[str, Estimate]:
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
    return float(empty.sum()) + _short(scene, values)


def _short(scene: Scene, values: Values) -> float:
    """Closed picks whose vacuum stays below the set point: out of reach, or the supply cuts before it."""
    point = values.get("set_point", 0.0)
    if scene.saving and point > values["supply_off"] + most_overshoot_kpa(scene):
        return float(len(scene.levels.reach))
    spread = float(np.hypot(scene.levels.sigma, scene.options.least_spread_kpa))
    later = scene.saving and values["supply_off"] > scene.now["supply_off"] + 1e-9
    reach = scene.levels.reach + (later_reach_kpa(scene) if later else 0.0)
    return float(above((reach + scene.levels.sigma - point) / spread).sum())


def most_overshoot_kpa(scene: Scene) -> float:
    """How far vacuum may go beyond a supply_off near the set point: speed there times the delay of the cut [kPa]."""
    speed = scene.model.rise.speed(np.array([scene.now.get("set_point", 0.0)]))
    usual = float(np.median(speed)) * scene.model.delay_off_s if speed.size else 0.0
    return max(_OVERSHOOT_DOUBT * usual, scene.model.facts.overshoot_seen)


def later_reach_kpa(scene: Scene) -> float:
    """How much higher vacuum goes where the supply cuts later: half of some way to its end is believed."""
    ultimate, reach = scene.model.rise.ultimate, scene.levels.reach
    if not len(ultimate) or not len(reach):
        return 0.0
    beyond = float(np.median(ultimate) - np.median(reach))
    return 0.5 * min(max(beyond, 0.0), scene.options.beyond_most_kpa)


def _of_saw_tooth(scene: Scene, values: Values, switches: Estimate, holds: int) -> dict[str, Estimate]:
    """False drops and chatter of a saw-tooth whose low points cross the reset point.

    A hold loses the output where it lasts long enough to fall so far, and as often as the supply resumes.
    """
    chance = _drop_chance(scene, values)
    if chance <= 0.0:
        return {}
    level = max(values["supply_on"], values.get("reset_point", 0.0))
    doubt = 1.96 * math.hypot(scene.model.rate_u, scene.options.model_rel_u)
    shares = [
        of_share(chance * _falls_to(scene, values, level, math.exp(z * doubt)) * holds, holds, MODELLED)
        for z in (-1, 0, 1)
    ]
    low, middle, high = (max(0.5 * (v - 1.0), 0.0) for v in (switches.lower, switches.value, switches.upper))
    edges = Estimate(
        value=2.0 * chance * middle, lower=2.0 * chance * low, upper=2.0 * chance * high + 6.0 / max(holds, 1),
        unit="per hold", n=holds, method=MODELLED,
    )  # fmt: skip
    return {
        "false_drop_share": replace(shares[1], lower=shares[0].lower, upper=shares[2].upper),
        "chatter_edges_per_hold": edges,
    }


def _drop_chance(scene: Scene, values: Values) -> float:
    """Chance that a healthy hold loses the output."""
    reset = values.get("reset_point", 0.0)
    spread = float(np.hypot(scene.levels.sigma, scene.options.least_spread_kpa))
    floors = scene.levels.floor
    if scene.saving:
        floors = np.array([values["supply_on"] - scene.fall])
    if not len(floors):
        return 0.0
    chance = float(np.minimum(scene.options.readings * above((floors - reset) / spread), 1.0).mean())
    return chance if chance > _NEVER else 0.0


def _supply(scene: Scene, values: Values, changed: set[str]) -> tuple[Estimate, Estimate]:
    """Edges of the supply per hold and supply time per held cycle."""
    cycles, rows = scene.data.cycles, scene.model.rows
    held = cycles.where("outcome", "held")
    switches = np.maximum(cycles.codes("supply_switches"), 0)[held].astype(np.float64)
    on_time = cycles.floats("supply_on_time_s")[held]
    same = of_mean(switches, "per hold", MEASURED), of_mean(on_time, "s", MEASURED)
    if not scene.saving:
        return _later(scene, same, values, changed)
    if not changed & {"supply_off", "supply_on", "set_point"}:
        return same
    new, old = _modelled(scene, values), _modelled(scene, scene.now)
    missing = cycles.floats("supply_on_time_s")[rows].mean() - old[1].value
    if abs(missing) > _MISSING * old[1].value:
        missing = 0.0  # the settings in force are not what the model is asked about
    plus = float(missing * min(new[0].value / max(old[0].value, 1.0), 1.0))  # recharges are what it is short of
    loop = bool(changed & {"supply_off", "supply_on"})
    method = MODELLED + (_extrapolates(scene, values) if loop else "")
    time = _Spread(new[1].value + plus, math.hypot(new[1].below, 0.5 * plus), math.hypot(new[1].above, 0.5 * plus))
    return _as_estimate(new[0], "per hold", rows, method), _as_estimate(time, "s", rows, method)


def _as_estimate(spread: _Spread, unit: str, rows: NDArray[np.int64], method: str) -> Estimate:
    value = spread.value
    low, high = max(value - spread.below, 0.0), value + spread.above
    return Estimate(value=float(value), lower=float(low), upper=float(high), unit=unit, n=len(rows), method=method)


def _later(
    scene: Scene, same: tuple[Estimate, Estimate], values: Values, changed: set[str]
) -> tuple[Estimate, Estimate]:
    """Without air saving only the end of the hold moves with the set point."""
    if "set_point" not in changed:
        return same
    chance = scene.model.follows_point
    shift = float(np.median(_shift(scene, values)))
    time = same[1]
    doubt = 1.96 * math.sqrt(chance * (1.0 - chance)) * abs(shift) + 0.1 * abs(shift)
    half = math.hypot(0.5 * (time.upper - time.lower), doubt)
    return same[0], estimate(time.value + chance * shift, half, "s", time.n, MODELLED)


def _shift(scene: Scene, values: Values) -> Floats:
    """How much later each cycle reaches the set point; a hold that is timed from there ends as much later [s]."""
    model = scene.model
    if abs(values.get("set_point", 0.0) - scene.now.get("set_point", 0.0)) < 1e-9:
        return np.zeros(len(model.rows))
    new, old = model.rise.at(np.array([values["set_point"], scene.now["set_point"]])).T
    old = np.where(np.isfinite(model.evacuation_s), model.evacuation_s, old)
    moved = np.fmax(new, model.contact_s) - np.fmax(old, model.contact_s)  # nothing is lifted before the cup is on it
    usual = np.median(moved[np.isfinite(moved)]) if np.isfinite(moved).any() else 0.0
    return np.where(np.isfinite(moved), moved, usual)


def _modelled(scene: Scene, values: Values) -> tuple[_Spread, _Spread]:
    """Mean switches and supply time per hold."""
    model = scene.model
    every = np.arange(len(model.rows))[:: max(1, len(model.rows) // 64)]
    lanes = lanes_of(model, every, np.array([values["supply_off"]]), np.array([values["supply_on"]]))
    lanes = replace(lanes, end_s=lanes.end_s + model.follows_point * _shift(scene, values)[every][None, :])
    middle, drawn = run_loop(lanes), run_loop(_drawn(scene, lanes, values))
    found = [
        _spread(value, draws.mean(axis=1), len(model.rows))
        for value, draws in ((middle.switches, drawn.switches), (middle.on_time_s, drawn.on_time_s))
    ]
    return found[0], found[1]


def _spread(values: Floats, means: Floats, n: int) -> _Spread:
    """Centre and reach of what was drawn, with the scatter of a second recording of `n` cycles."""
    own = float(np.std(values)) * math.sqrt(2.0 / n)
    middle = float(0.5 * (values.mean() + np.median(means)))
    low, high = (float(v) for v in np.quantile(means, (0.025, 0.975)))
    return _Spread(
        middle, math.hypot(max(middle - low, 0.0), 1.96 * own), math.hypot(max(high - middle, 0.0), 1.96 * own)
    )


def _drawn(scene: Scene, lanes: Lanes, values: Values) -> Lanes:
    """The same lanes with what is not known about the model drawn anew, shape (draws, cycles)."""
    model, o = scene.model, scene.options
    rng = np.random.default_rng(_SEED)
    z = rng.standard_normal((8, max(o.draws // 4, 24), 1))
    like = model.recharges_seen >= 3 and not _extrapolates(scene, values)
    rate_u = math.hypot(model.rate_u, o.model_rel_u * (0.5 if like else 1.0))
    tau_u = o.recharge_rel_u * (0.5 if model.recharges_seen >= 3 else 1.0)
    first = np.minimum(lanes.first_cut_s, 1e6)
    answer = _TICK_S + 0.3 * scene.data.sensor.sample_interval_s
    cut = first + z[4] * answer + z[5] * 0.03 * np.minimum(first, 2.0)
    return replace(
        lanes,
        rate=lanes.rate * np.exp(rate_u * z[0]),
        tau_s=lanes.tau_s * np.exp(tau_u * z[1]),
        first_memory=lanes.first_memory * np.exp(0.15 * z[2]),
        later_share=lanes.later_share * np.exp(0.25 * z[3]),
        first_cut_s=np.maximum(cut, 0.01),
        end_s=lanes.end_s + _end_doubt(scene, values) * z[6],
        delay_on_s=lanes.delay_on_s * np.exp(0.2 * z[6]),
        delay_later_s=lanes.delay_later_s * np.exp(0.2 * z[7]),
        on=lanes.on + 0.1 * z[5],
    )


def _end_doubt(scene: Scene, values: Values) -> float:
    """Standard uncertainty of the end of the hold where it is unclear what it is timed from [s]."""
    chance = scene.model.follows_point
    return math.sqrt(chance * (1.0 - chance)) * abs(float(np.median(_shift(scene, values))))


def _extrapolates(scene: Scene, values: Values) -> str:
    """A warning where the settings reach beyond the vacuum that the log shows."""
    floor, top = scene.model.facts.floor, float(np.nanmedian(scene.model.rise.last_level()))
    low = np.isfinite(floor) and values.get("supply_on", floor) < floor - 1.0
    high = values.get("supply_off", 0.0) > top + scene.model.facts.overshoot_seen + 1.0
    return ", beyond the recorded range of vacuum" if low or high else ""


def _per_time(scene: Scene, switches: Estimate, on_time: Estimate, changed: set[str]) -> dict[str, Estimate]:
    """The same per hour, as a share of time, and as air."""
    cycles = scene.data.cycles
    start, end = cycles.floats("start_s"), cycles.floats("end_s")
    total = max(float(end[-1] - start[0]), 1e-6) if len(start) else 1.0
    others, doubt = _others(scene, changed)
    holds = float(cycles.where("outcome", "held").sum()) + _rescued(scene, changed)
    found = {
        "supply_switches_per_hold": switches,
        "supply_switches_per_hour": _scaled(switches, 3600.0 * holds / total, 0.0, "per hour"),
        "supply_on_share": _scaled(on_time, holds / total, others / total, "share of time", doubt / total),
    }
    flow = scene.price.nozzle_flow_l_min_anr if scene.price is not None else None
    if flow is not None:
        each = flow / 60.0 / max(len(cycles), 1)
        found["air_l_anr_per_cycle"] = _scaled(on_time, each * holds, each * others, "L ANR", each * doubt)
    return found


def _rescued(scene: Scene, changed: set[str]) -> float:
    """Picks given up with the cup closed that another set point turns into holds."""
    if "set_point" not in changed:
        return 0.0
    return float((closed_picks(scene.data) & scene.data.cycles.where("outcome", "missed")).sum())


def _others(scene: Scene, changed: set[str]) -> tuple[float, float]:
    """Supply time of the cycles that were not held, in all, and how far it may be off either way [s].

    Where empty cups passed for parts, how long an empty pick sucks with another set point is not in the log.
    """
    cycles = scene.data.cycles
    rest = ~(closed_picks(scene.data) if "set_point" in changed else cycles.where("outcome", "held"))
    spent = float(np.nansum(cycles.floats("supply_on_time_s")[rest]))
    fooled = rest & (scene.data.timing["has_output_on"] > 0.0)
    if "set_point" not in changed or not fooled.any():
        return spent, 0.0
    theirs = float(np.nansum(cycles.floats("supply_on_time_s")[fooled]))
    return spent, 0.8 * theirs


def _scaled(value: Estimate, factor: float, plus: float, unit: str, doubt: float = 0.0) -> Estimate:
    middle = float(value.value * factor + plus)
    low = math.hypot((value.value - value.lower) * factor, doubt)
    high = math.hypot((value.upper - value.value) * factor, doubt)
    return replace(value, value=middle, lower=max(middle - low, 0.0), upper=middle + high, unit=unit)
