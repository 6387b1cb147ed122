"""Settings that are safe until a repair, where those in force are not: only raised, never lowered."""

from dataclasses import replace

from tracekit.model.station import Station
from tracekit.tune.display import entry_form, on_grid, shown
from tracekit.tune.order import Values, broken
from tracekit.tune.prepare import Prepared


def until_repaired(prepared: Prepared) -> Values | None:
    """Settings in which supply_on is a guard over the reset point, None where the order holds or none keeps every rule.

    The guard already holds the undershoot of the leak as it is recorded.
    """
    problem = prepared.problem
    now = problem.now
    if not {"supply_on", "supply_off", "reset_point"} <= set(now):
        return None
    rules = replace(problem.rules, needed=None)
    if now["supply_on"] - rules.high(now, "reset_point") >= rules.guard:
        return None
    values = {**now, "supply_on": rules.high(now, "reset_point") + rules.guard}
    values["supply_off"] = max(now["supply_off"], values["supply_on"] + rules.band)
    return None if broken(values, rules) else values


def interim_note(prepared: Prepared, station: Station) -> str | None:
    """What to enter until the repair, as a sentence; None where nothing helps."""
    values = until_repaired(prepared)
    if values is None:
        return None
    rules, display = prepared.problem.rules, station.display
    moved = tuple(n for n in values if rules.moved(values, n))
    if any(n not in station.settings.adjustable for n in moved):
        return None
    rounded = next((v for v in on_grid(display, values, moved) if not broken(v, replace(rules, needed=None))), None)
    if rounded is None:
        return None
    entries = (f"{n} {shown(display, rounded, n):g} [{display.unit}] {entry_form(display, n)}".strip() for n in moved)
    return f"Until the repair, enter {', '.join(entries)}: the supply then resumes before the part counts as lost"
