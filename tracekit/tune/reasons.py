"""Why a setting is moved, why none is: one plain sentence each."""

from tracekit.options.tune import TuneOptions
from tracekit.tune.order import Rules, Values
from tracekit.tune.prepare import Prepared

UNSEEN_LEAK = (
    "The supply hardly ever cut, so how fast this station leaks was not seen: record ten picks after entering; "
    "more than {most} supply changes in a hold mean a leak, which is repaired first"
)

_LEAVE = "Leave them: no change clearly helps"


def leave(rules: Rules, now: Values) -> str:
    """Why the settings in force stay."""
    reset, on = now.get("reset_point"), now.get("supply_on")
    if reset is not None and on is not None and on - reset >= rules.guard:
        return f"{_LEAVE}; the supply resumes {on - reset:.1f} kPa above the reset point"
    return _LEAVE


def cannot(rules: Rules, faults: tuple[str, ...], options: TuneOptions) -> str:
    """Why no set of settings can be given although those in force are not right."""
    if any(known.half_width > options.exact_kpa for known in rules.known.values()):
        return "The settings in force show only roughly: put them into the station file"
    if rules.needed is None:
        return "A setting would have to come down: put [load] into the station file"
    if rules.point_most is not None and rules.needed > rules.point_most:
        most = f"a set point may be {rules.point_most:.1f} kPa at most"
        return f"The load needs {rules.needed:.1f} kPa, {most}: repair suction or add cups"
    if "set_point_too_high" in faults or "supply_off_unreachable" in faults:
        return "The vacuum reached is too weak for the load: repair suction first"
    return "No settings keep order, load and weakest cycle: repair first"


def off_stays(rules: Rules, faults: tuple[str, ...], options: TuneOptions) -> str:
    """Why nothing is offered where supply_off is out of reach and no set that helps has a lower one."""
    if rules.needed is None:
        return cannot(rules, faults, options)
    return "Supply off is out of reach and no lower one keeps every rule: restore suction first"


def reason_of(prepared: Prepared, values: Values, name: str) -> str:
    """Why `name` is moved to its value."""
    rules, facts = prepared.problem.rules, prepared.problem.model.facts
    now, new = prepared.problem.now, values
    up = new[name] > now[name]
    way = f"{'up' if up else 'down'} {abs(new[name] - now[name]):.1f} kPa"
    if name == "supply_off":
        if up:
            band = new[name] - new["supply_on"]
            wider = band > now[name] - now["supply_on"]
            why = "a wider band spares valve and air" if wider else f"it stays {band:.1f} kPa over supply_on"
            return f"supply_off {way}: {why}; the weakest cycle reaches {facts.reach_low:.1f} kPa"
        if rules.off_most is not None and now[name] > rules.off_most:
            return f"supply_off {way}: the weakest cycle reaches only {facts.reach_low:.1f} kPa"
        return f"supply_off {way}: less air per pick; {new[name] - new['supply_on']:.1f} kPa over supply_on"
    if name == "supply_on":
        if up:
            return f"supply_on {way}: it stays {new[name] - new['reset_point']:.1f} kPa over the reset point"
        gap = f"{new[name] - new['reset_point']:.1f} kPa over the reset point"
        return f"supply_on {way}: the supply resumes less often; {gap}"
    if name == "set_point":
        if up:
            level = (
                f"an empty cup reaches {facts.open_high:.1f} kPa" if rules.open_level else "an empty cup may reach it"
            )
            return f"set_point {way}: {level}"
        if rules.point_most is not None and now[name] > rules.point_most:
            return f"set_point {way}: the weakest cycle reaches only {facts.reach_low:.1f} kPa"
        return f"set_point {way}: part present comes sooner; the weakest cycle reaches {facts.reach_low:.1f} kPa"
    hysteresis = new["set_point"] - new["reset_point"]
    return f"reset_point {way}: hysteresis {hysteresis:.1f} kPa against noise of {facts.sigma:.2f} kPa"
