"""Settings to enter, from the measured station."""

from collections.abc import Mapping

import numpy as np

from tracekit.model.cycle import StationData
from tracekit.model.finding import Finding
from tracekit.model.result import LeakResult, SuggestedSetting, Suggestion
from tracekit.model.station import Station
from tracekit.options.tune import TuneOptions
from tracekit.tune.display import entry_form, on_grid, shown, step_kpa
from tracekit.tune.facts import Facts, station_facts
from tracekit.tune.known import NAMES, Known, known_settings
from tracekit.tune.needed import needed_kpa
from tracekit.tune.obstacles import repair_first, unknown
from tracekit.tune.order import Rules, broken, constraints

Values = Mapping[str, float]

LEAVE = "Leave them: no change is predicted to help clearly"


def suggest(data: StationData, leak: LeakResult, station: Station, findings: tuple[Finding, ...]) -> Suggestion:
    """Suggested settings, or the reason why none can be given."""
    options = TuneOptions()
    codes = {f.code for f in findings if f.severity != "info"}
    known = known_settings(data, options)
    reason = unknown(data, known, options) or repair_first(findings)
    if reason is not None:
        return withheld(reason)
    if not codes & set(_MOVES):
        return withheld(LEAVE)
    wide = [k for k in known.values() if k.half_width > options.exact_kpa]
    if wide:
        return withheld("The settings in force are known too roughly; put them into the station file")
    facts = station_facts(data, options)
    now = {name: k.value for name, k in known.items()}
    rules = rules_of(facts, now, station, data.air_saving, options)
    wanted = dict(now)
    for code, move in _MOVES.items():
        if code in codes:
            wanted.update(move(wanted, rules, facts, options))
    return _rounded(now, wanted, rules, station)


def withheld(reason: str) -> Suggestion:
    """No settings, with the reason."""
    return Suggestion(
        settings=(), constraints=(), predicted_now={}, predicted_suggested={}, replayed={}, reasons=(), withheld=reason
    )


def rules_of(facts: Facts, now: Values, station: Station, saving: bool, options: TuneOptions) -> Rules:
    """What binds the settings of this station."""
    step = step_kpa(station.display)
    sigma = facts.sigma
    parts = (np.nan_to_num(facts.undershoot), np.nan_to_num(facts.dip))
    guard = max(station.settings.guard_kpa, sum(parts) + options.sigmas * sigma + step)
    reach = facts.reach_low - options.margin_reach_kpa - sigma
    return Rules(
        guard=float(guard),
        step=step,
        hysteresis=max(options.hysteresis_kpa, options.hysteresis_sigmas * sigma),
        needed=needed_kpa(station.load),
        open_level=facts.open_high + options.margin_open_kpa if np.isfinite(facts.open_high) else None,
        reach=float(reach) if np.isfinite(reach) else None,
        dip_level=None if saving or not np.isfinite(facts.floor) else facts.floor - options.sigmas * sigma - step,
        now=now,
    )


def _raise_point(v: Values, r: Rules, f: Facts, o: TuneOptions) -> Values:
    if r.open_level is None or r.reach is None:
        return {}
    point = max(v["set_point"], r.open_level, 0.6 * r.reach)
    return {"set_point": point, "reset_point": max(v["reset_point"], point - 1.5 * r.hysteresis)}


def _lower_point(v: Values, r: Rules, f: Facts, o: TuneOptions) -> Values:
    if r.needed is None or r.reach is None:
        return {}
    point = min(v["set_point"], o.set_share * f.reach_low)
    return {"set_point": point, "reset_point": min(v["reset_point"], point - r.hysteresis)}


def _widen(v: Values, r: Rules, f: Facts, o: TuneOptions) -> Values:
    if r.needed is None:
        return {}
    lowest = f.floor if np.isfinite(f.floor) else v["set_point"]
    return {"reset_point": max(min(v["set_point"], lowest) - 1.2 * r.hysteresis, r.needed)}


def _raise_on(v: Values, r: Rules, f: Facts, o: TuneOptions) -> Values:
    if not {"supply_on", "supply_off"} <= set(v):
        return {}
    on = max(v["supply_on"], v["reset_point"] + r.guard)
    off = max(v["supply_off"], on + o.band_kpa)
    if r.reach is not None and off > r.reach:
        off = max(r.reach, v["supply_off"])
        on = min(on, off - o.band_kpa)
    reset = min(v["reset_point"], on - r.guard) if r.needed is not None else v["reset_point"]
    return {"supply_on": on, "supply_off": off, "reset_point": reset}


def _widen_band(v: Values, r: Rules, f: Facts, o: TuneOptions) -> Values:
    if not {"supply_on", "supply_off"} <= set(v) or r.reach is None:
        return {}
    off = max(v["supply_off"], min(v["supply_on"] + 6.0, r.reach))
    on = v["supply_on"]
    if r.needed is not None:
        on = min(on, max(off - 6.0, v["reset_point"] + r.guard, r.needed))
    return {"supply_off": off, "supply_on": on}


def _lower_off(v: Values, r: Rules, f: Facts, o: TuneOptions) -> Values:
    if "supply_off" not in v or r.reach is None:
        return {}
    off = min(v["supply_off"], r.reach)
    on = v.get("supply_on", off - 6.0)
    if r.needed is not None:
        on = min(on, off - 5.0)
    return {"supply_off": off, "supply_on": on}


_MOVES = {
    "set_point_too_low": _raise_point,
    "set_point_too_high": _lower_point,
    "hysteresis_too_small": _widen,
    "supply_off_unreachable": _lower_off,
    "supply_on_below_reset": _raise_on,
    "supply_band_too_narrow": _widen_band,
}


def _rounded(now: Values, wanted: Values, rules: Rules, station: Station) -> Suggestion:
    moved = tuple(n for n in NAMES if n in now and n in station.settings.adjustable and abs(wanted[n] - now[n]) > 0.5 * rules.step)
    wanted = {n: wanted[n] if n in moved else now[n] for n in now}
    if not moved:
        return withheld(_cannot(rules))
    for values in on_grid(station.display, wanted, moved):
        if not broken(values, rules, now):
            return _made(now, values, rules, station)
    return withheld(_cannot(rules))


def _cannot(rules: Rules) -> str:
    if rules.needed is None:
        return "A setting would have to come down; put the load into the station file"
    return "No setting keeps the order, the load and the weakest cycle; repair first"


def _made(now: Values, values: Values, rules: Rules, station: Station) -> Suggestion:
    rows = tuple(
        SuggestedSetting(
            name=n, now_kpa=now[n], suggested_kpa=values[n], shown=shown(station.display, values, n),
            shown_now=shown(station.display, now, n), unit=station.display.unit, entry=entry_form(station.display, n),
            reason="" if values[n] == now[n] else f"{'Raised' if values[n] > now[n] else 'Lowered'} to keep its distance",
        )
        for n in now
    )  # fmt: skip
    return Suggestion(
        settings=rows, constraints=constraints(values, rules), predicted_now={}, predicted_suggested={}, replayed={},
        reasons=tuple(f"{r.name}: {r.reason}" for r in rows if r.reason),
    )  # fmt: skip
