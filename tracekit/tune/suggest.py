"""Settings to enter, from the measured station."""

from collections.abc import Mapping

import numpy as np

from tracekit.model.cycle import StationData
from tracekit.model.finding import Finding
from tracekit.model.result import LeakResult, SuggestedSetting, Suggestion
from tracekit.model.station import Station
from tracekit.options.tune import TuneOptions
from tracekit.tune.display import entry_form, on_grid, shown
from tracekit.tune.known import NAMES, known_settings
from tracekit.tune.obstacles import leak_first, repair_first, setting_faults, unknown
from tracekit.tune.order import Rules, Values, broken, constraints
from tracekit.tune.predict import leak_unseen, predict
from tracekit.tune.prepare import Prepared, prepare
from tracekit.tune.reasons import UNSEEN_LEAK, cannot, leave, off_stays, reason_of
from tracekit.tune.replay import compared, replay_bins
from tracekit.tune.search import Problem, best, cost_of

_PETTY = 2.0  # a small move must be worth that much more


def suggest(data: StationData, leak: LeakResult, station: Station, findings: tuple[Finding, ...]) -> Suggestion:
    """Suggested settings, or the reason why none can be given."""
    return suggest_for(data, leak, station, findings, goal=None, options=TuneOptions())


def suggest_for(
    data: StationData,
    leak: LeakResult,
    station: Station,
    findings: tuple[Finding, ...],
    *,
    goal: str | None,
    options: TuneOptions,
) -> Suggestion:
    """Suggested settings for a goal (air, time, valve, grip; None for the usual weights)."""
    known = known_settings(data, options)
    faults = setting_faults(findings)
    reason = unknown(data, known, options) or repair_first(findings) or leak_first(leak, station, faults, options)
    if reason is not None:
        return withheld(reason)
    prepared = prepare(data, leak, station, known, goal, options)
    held = int(data.cycles.where("outcome", "held").sum())
    if (
        prepared.problem.saving
        and held < options.least_held
        and prepared.problem.model.coasts_seen < options.least_held
    ):
        return withheld("No part was held and the supply never cut: repair suction first")
    return decided(prepared, station, faults, goal)


def withheld(reason: str) -> Suggestion:
    """No settings, with the reason."""
    return Suggestion(
        settings=(), constraints=(), predicted_now={}, predicted_suggested={}, replayed={}, reasons=(), withheld=reason
    )


def decided(prepared: Prepared, station: Station, faults: tuple[str, ...], goal: str | None) -> Suggestion:
    """The best settings where they are clearly better than those in force, else none with the reason."""
    problem = prepared.problem
    options, rules, now = problem.options, problem.rules, problem.now
    present = cost_of(problem, now)
    found = best(problem)
    if found is None:
        return withheld(cannot(rules, faults, options)) if faults else withheld(leave(rules, now))
    needed_gain = (
        options.gain_of_fault if faults or goal else max(options.least_gain, options.least_gain_share * present)
    )
    if present - found[1] < needed_gain:
        return withheld(cannot(rules, faults, options)) if faults else withheld(leave(rules, now))
    wide = {n for n in rules.known if rules.known[n].half_width > options.exact_kpa}
    stuck = "supply_off_unreachable" in faults
    values = _rounded(_pruned(prepared, found[0], found[1], wide, stuck=stuck), rules, station)
    if values is not None and stuck and values.get("supply_off", 0.0) >= now.get("supply_off", np.inf):
        return withheld(off_stays(rules, faults, options))
    if values is None or present - cost_of(problem, values) < 0.5 * needed_gain:
        return withheld(cannot(rules, faults, options))
    return made(prepared, values, station)


def _pruned(prepared: Prepared, values: Values, cost: float, wide: set[str], *, stuck: bool = False) -> Values:
    """The same with every setting back at its present value that the change hardly needs.

    stuck  True where supply_off is out of reach: it does not go back there
    """
    problem = prepared.problem
    now, most = problem.now, problem.options.worth_moving
    kept, cost = dict(values), min(cost, cost_of(problem, values))
    for trial in _steps_back(problem, values, now, wide):
        settings = {**kept, **trial}
        petty = max(abs(settings[n] - kept[n]) for n in settings) < problem.options.petty_kpa
        worth = _PETTY * most if petty else most
        if stuck and settings.get("supply_off", 0.0) >= now.get("supply_off", np.inf):
            continue
        if not broken(settings, problem.rules) and cost_of(problem, settings) - cost < worth:
            kept = settings
    return kept


def _steps_back(problem: Problem, values: Values, now: Values, wide: set[str]) -> list[Values]:
    """What is tried in turn: the loop's pair nearer to its present place, then each setting at its present value."""
    tried: list[Values] = []
    if {"supply_off", "supply_on"} <= set(values):
        band = max(values["supply_off"] - values["supply_on"], problem.rules.band)
        higher = [now["supply_off"], problem.rules.off_most or now["supply_off"]]
        tried = [{"supply_off": v, "supply_on": v - band} for v in higher if v > values["supply_off"]]
    order = sorted(values, key=lambda n: (n not in wide, abs(values[n] - now[n])))
    return tried + [{name: now[name]} for name in order]


def _rounded(values: Values, rules: Rules, station: Station) -> Values | None:
    """The nearest set on the device's steps that keeps every rule, None where there is none."""
    moved = tuple(n for n in values if rules.moved(values, n))
    for rounded in on_grid(station.display, values, moved):
        if moved and not broken(rounded, rules):
            return rounded
    return None


def made(prepared: Prepared, values: Values, station: Station) -> Suggestion:
    """The suggestion of a set that keeps every rule."""
    problem, scene = prepared.problem, prepared.scene
    rules, now = problem.rules, problem.now
    rows = _rows(prepared, values, station)
    loop_moved = any(rules.moved(values, n) for n in ("supply_off", "supply_on") if n in values)
    unseen = (UNSEEN_LEAK.format(most=problem.options.switches_doubtful),) if loop_moved and leak_unseen(scene) else ()
    return Suggestion(
        settings=rows,
        constraints=constraints(values, rules),
        predicted_now=predict(scene, now),
        predicted_suggested=predict(scene, values),
        replayed=compared(scene.data, *(replay_bins(scene.data, v, now, scene.fall) for v in (now, values))),
        reasons=(*(row.reason for row in rows if row.reason), *unseen),
    )


def _rows(prepared: Prepared, values: Values, station: Station) -> tuple[SuggestedSetting, ...]:
    rules, options, now = prepared.problem.rules, prepared.problem.options, prepared.problem.now
    exact = {n: rules.known[n].half_width <= options.exact_kpa for n in values}
    display = station.display
    return tuple(
        SuggestedSetting(
            name=n,
            now_kpa=now[n] if exact[n] else None,
            suggested_kpa=values[n],
            shown=shown(display, values, n),
            shown_now=shown(display, now, n) if exact[n] else None,
            unit=display.unit,
            entry=entry_form(display, n),
            reason=reason_of(prepared, values, n) if rules.moved(values, n) else "",
        )
        for n in NAMES
        if n in values and (exact[n] or rules.moved(values, n))
    )


def settings_now(known: Mapping[str, float], station: Station) -> dict[str, object]:
    """The settings in force as in `tuning.json`."""
    display = station.display
    return {
        n: {
            "kpa": v,
            "display": {"value": shown(display, known, n), "unit": display.unit, "from": entry_form(display, n)},
        }
        for n, v in known.items()
    }
