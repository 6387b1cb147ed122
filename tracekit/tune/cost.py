"""What a set of settings costs per pick cycle: risk first, then air, wear and time. Weights stand in `options.tune`."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.options.tune import TuneOptions
from tracekit.tune.loop import Lanes, LoopCounts, run_loop
from tracekit.tune.noise import above
from tracekit.tune.station_model import FittedStation

Floats = NDArray[np.float64]

_SPREADS = (-1.2, 0.0, 1.2)  # three points that stand for the uncertainty of the leak rates
GOALS = ("air", "time", "valve", "grip")


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Levels of the recorded cycles that thresholds are held against [kPa].

    empty   highest vacuum of each cycle while its cup was open, or of a pick without a part
    reach   highest vacuum of each pick whose cup had closed
    floor   lowest settled vacuum of each hold, stations without air saving
    sigma   noise of single readings
    """

    empty: Floats
    reach: Floats
    floor: Floats
    sigma: float


def weights(options: TuneOptions, goal: str | None) -> Mapping[str, float]:
    """The weights, with the one that `goal` names raised."""
    found = {
        name: getattr(options, f"weight_{name}")
        for name in ("false_drop", "false_present", "missed", "chatter", "air", "switch", "time", "grip")
    }
    raised = {"valve": "switch"}.get(goal or "", goal)
    if raised in found:
        found[raised] *= options.goal_factor
    return found


def point_cost(point: Floats, levels: Levels, model: FittedStation, w: Mapping[str, float], o: TuneOptions) -> Floats:
    """Cost of set points, shape (k,): empty cups taken for parts, picks never finished, time, grip."""
    spread = float(np.hypot(levels.sigma, o.least_spread_kpa))
    fooled = _share_above(levels.empty, point, spread, 3.0 * levels.sigma)
    missed = 1.0 - _share_above(levels.reach, point, spread, -levels.sigma)
    times = model.rise.at(point)
    usual = np.median(np.where(np.isfinite(times), times, 10.0), axis=0)
    grip = np.maximum(o.grip_share * model.facts.reach_low - point, 0.0)
    return np.asarray(w["false_present"] * fooled + w["missed"] * missed + w["time"] * usual + w["grip"] * grip)


def _share_above(values: Floats, level: Floats, spread: float, shift: float) -> Floats:
    """Share of values above each level, smeared by `spread`; 0 where there are none."""
    if not len(values):
        return np.zeros(len(level))
    return np.array([above((one - values - shift) / spread).mean() for one in level])


def drop_cost(distance: Floats, levels: Levels, w: Mapping[str, float], o: TuneOptions) -> Floats:
    """Cost of losing the output in a hold whose lowest vacuum lies `distance` above the reset point [kPa]."""
    spread = float(np.hypot(levels.sigma, o.least_spread_kpa))
    chance = np.minimum(o.readings * above(distance / spread), 1.0)
    return np.asarray((w["false_drop"] + 4.0 * w["chatter"]) * chance)


def reset_cost(reset: Floats, levels: Levels, w: Mapping[str, float], o: TuneOptions) -> Floats:
    """Cost of reset points without air saving, shape (k,): mean over the recorded floors."""
    if not len(levels.floor):
        return np.zeros(len(reset))
    return np.asarray(drop_cost(levels.floor[None, :] - reset[:, None], levels, w, o).mean(axis=1))


def lanes_of(model: FittedStation, chosen: NDArray[np.int64], off: Floats, on: Floats) -> Lanes:
    """Loop lanes of shape (pairs, cycles) for settings (pairs,) and the cycles `chosen` of the model."""
    levels, place = np.unique(off, return_inverse=True)
    cut = model.rise.at(levels)[chosen].T[place]
    speed = model.rise.speed(levels)[chosen].T[place]
    off2, on2 = off[:, None], on[:, None]
    return Lanes(
        off=off2, on=on2, first_cut_s=cut, end_s=model.end_s[chosen][None, :], rate=model.rate[chosen][None, :],
        ambient=model.ambient_kpa, exchange_1_s=model.exchange_1_s(off2), ultimate=model.rise.ultimate[chosen][None, :],
        tau_s=np.full((1, 1), model.tau_s), delay_on_s=np.full((1, 1), model.delay_on_s),
        delay_off_s=np.full((1, 1), model.delay_off_s), delay_later_s=np.full((1, 1), model.delay_later_s),
        first_rise=speed, first_memory=model.memory_at(off2), later_share=np.full((1, 1), model.later_share),
    )  # fmt: skip


def representatives(model: FittedStation, options: TuneOptions) -> NDArray[np.int64]:
    """Cycles that stand for all: evenly taken in order of leak rate."""
    order = np.argsort(model.rate, kind="stable")
    n = min(options.representatives, len(order))
    return np.asarray(order[np.linspace(0, len(order) - 1, n).round().astype(np.int64)])


def loop_cost(
    model: FittedStation, off: Floats, on: Floats, w: Mapping[str, float], options: TuneOptions
) -> tuple[Floats, LoopCounts]:
    """Cost of air-saving thresholds, shape (pairs,), over what is not known of the leak; and the counts behind it."""
    lanes = lanes_of(model, representatives(model, options), off, on)
    factors = np.exp(np.array(_SPREADS) * np.hypot(model.rate_u, options.model_rel_u))
    counts = run_loop(replace(lanes, rate=lanes.rate[None, :, :] * factors[:, None, None]))
    grip = options.grip_of_hold * w["grip"] * np.maximum(model.facts.reach_low - 0.5 * (off + on), 0.0)
    return w["air"] * counts.on_time_s.mean(axis=(0, 2)) + w["switch"] * counts.switches.mean(
        axis=(0, 2)
    ) + grip, counts
