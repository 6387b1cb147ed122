"""Puts together what the search and the predictions need of one station."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.model.result import LeakResult
from tracekit.model.station import Station
from tracekit.model.tuning import Known
from tracekit.options.tune import TuneOptions
from tracekit.tune.calibrate import calibrated
from tracekit.tune.cost import Levels, weights
from tracekit.tune.display import step_kpa
from tracekit.tune.facts import Facts, closed_picks, floors, open_levels, peaks, station_facts
from tracekit.tune.needed import needed_kpa
from tracekit.tune.order import Rules
from tracekit.tune.predict import Scene
from tracekit.tune.search import Problem
from tracekit.tune.station_model import fit_station


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """The search problem of a station, and the scene of its predictions."""

    problem: Problem
    scene: Scene


def prepare(
    data: StationData,
    leak: LeakResult,
    station: Station,
    known: Mapping[str, Known],
    goal: str | None,
    options: TuneOptions,
) -> Prepared:
    """Fit the station and collect what binds its settings. The log must hold `least_held` held cycles."""
    facts = station_facts(data, options)
    now = {name: k.value for name, k in known.items()}
    fall = _fall(data, facts, options)
    model = calibrated(data, fit_station(data, leak, facts, options), now)
    levels = _levels(data, facts)
    saving = {"supply_off", "supply_on"} <= set(known)
    rules = rules_of(facts, known, station, saving, fall, options)
    free = tuple(n for n in known if n in station.settings.adjustable)
    problem = Problem(
        model=model, levels=levels, rules=rules, weights=weights(options, goal), adjustable=free, options=options,
        saving=saving, fall=fall,
    )  # fmt: skip
    scene = Scene(data=data, model=model, levels=levels, now=now, fall=fall, price=station.price, options=options)
    return Prepared(problem=problem, scene=scene)


def _fall(data: StationData, facts: Facts, options: TuneOptions) -> float:
    """How far vacuum goes below supply_on: undershoot (else slope × delay) plus the deepest healthy dip [kPa]."""
    if not np.isfinite(facts.slope):
        return options.fall_unseen_kpa + float(np.nan_to_num(facts.dip))
    delay = data.cycles.floats("response_delay_s")
    late = (float(np.nanmedian(delay)) if np.isfinite(delay).any() else 0.02) + 0.03
    under = facts.undershoot if np.isfinite(facts.undershoot) else max(np.nan_to_num(facts.slope), 0.0) * late
    dip = facts.dip if np.isfinite(facts.dip) else options.dip_unseen_kpa
    return float(under + dip)


def _levels(data: StationData, facts: Facts) -> Levels:
    closed = closed_picks(data)
    peak = peaks(data)[closed]
    return Levels(empty=open_levels(data), reach=peak[np.isfinite(peak)], floor=floors(data, closed), sigma=facts.sigma)


def rules_of(
    facts: Facts, known: Mapping[str, Known], station: Station, saving: bool, fall: float, options: TuneOptions
) -> Rules:
    """What binds the settings of this station."""
    step, sigma, reach = step_kpa(station.display), facts.sigma, facts.reach_low
    known_reach = bool(np.isfinite(reach))
    off_most = reach - options.margin_reach_kpa - sigma
    floor = facts.floor - options.sigmas * sigma - step
    return Rules(
        guard=max(station.settings.guard_kpa, fall + options.sigmas * sigma + step),
        step=step,
        hysteresis=max(options.hysteresis_kpa, options.hysteresis_sigmas * sigma),
        band=options.band_kpa,
        band_most=options.band_most_kpa,
        needed=needed_kpa(station.load),
        open_level=facts.open_high + options.margin_open_kpa if np.isfinite(facts.open_high) else None,
        point_most=min(options.set_share * reach, off_most) if known_reach else None,
        off_most=off_most if known_reach else None,
        dip_level=None if saving or not np.isfinite(floor) else floor,
        known=known,
    )


def with_goal(prepared: Prepared, goal: str | None) -> Prepared:
    """The same with the weights of another goal."""
    problem = prepared.problem
    return replace(prepared, problem=replace(problem, weights=weights(problem.options, goal)))
