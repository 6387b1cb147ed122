"""The order that settings must keep, and what else binds them."""

from collections.abc import Mapping
from dataclasses import dataclass

from tracekit.model.result import Constraint

_ROUNDING = 1e-9
LOWERING = ("set_point", "reset_point", "supply_on")  # without a load none of these is lowered


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """What binds the settings of one station, all in kPa.

    guard       least distance from reset point to supply_on
    step        smallest step of the device
    hysteresis  least distance from reset point to set point
    needed      vacuum that the load needs, None where unknown
    open_level  vacuum of an empty cup with its margin, None where it never shows
    reach       highest vacuum that every healthy cycle reaches, with its margin, None where unknown
    dip_level   highest reset point that no healthy hold crosses without air saving, None where air is saved
    now         settings in force
    """

    guard: float
    step: float
    hysteresis: float
    needed: float | None
    open_level: float | None
    reach: float | None
    dip_level: float | None
    now: Mapping[str, float]


Rule = tuple[str, float]


def _order(values: Mapping[str, float], rules: Rules) -> list[Rule]:
    """The order itself: name of each rule and its margin [kPa]; only rules whose settings exist."""
    found: list[Rule] = []
    point, reset = values.get("set_point"), values.get("reset_point")
    off, on = values.get("supply_off"), values.get("supply_on")
    if reset is not None and on is not None:
        found.append(("reset_point + guard <= supply_on", on - reset - rules.guard))
    if on is not None and off is not None:
        found.append(("supply_on < supply_off", off - on - rules.step))
    if point is not None and off is not None:
        found.append(("set_point + step <= supply_off", off - point - rules.step))
    if reset is not None and point is not None:
        found.append(("reset_point < set_point", point - reset - rules.step))
    return found


def _limits(values: Mapping[str, float], rules: Rules) -> list[Rule]:
    """What load, sensor noise and the weakest healthy cycle ask for."""
    found: list[Rule] = []
    point, reset = values.get("set_point"), values.get("reset_point")
    if rules.needed is not None:
        found += [(f"needed vacuum <= {n}", values[n] - rules.needed) for n in ("reset_point", "supply_on") if n in values]
        found += [("needed vacuum <= set_point", point - rules.needed)] if point is not None else []
    else:
        lowered = [(n, values[n] - rules.now[n]) for n in LOWERING if n in values and n in rules.now]
        found += [(f"without a load: {n} not lowered", margin) for n, margin in lowered]
    if point is not None and rules.open_level is not None:
        found.append(("open-cup vacuum + margin <= set_point", point - rules.open_level))
    if point is not None and rules.reach is not None:
        found.append(("set_point <= weakest vacuum reached - margin", rules.reach - point))
    if "supply_off" in values and rules.reach is not None:
        found.append(("supply_off <= weakest vacuum reached - margin", rules.reach - values["supply_off"]))
    if point is not None and reset is not None:
        found.append(("reset_point + hysteresis <= set_point", point - reset - rules.hysteresis))
    if reset is not None and rules.dip_level is not None:
        found.append(("reset_point <= deepest healthy dip - margin", rules.dip_level - reset))
    return found


def constraints(values: Mapping[str, float], rules: Rules) -> tuple[Constraint, ...]:
    """Every rule on a set of settings, with its margin [kPa]."""
    return tuple(
        Constraint(name=name, holds=margin >= -_ROUNDING, margin_kpa=round(margin, 6))
        for name, margin in (*_order(values, rules), *_limits(values, rules))
    )


def broken(values: Mapping[str, float], rules: Rules, unless: Mapping[str, float] | None = None) -> tuple[str, ...]:
    """Names of the rules that a set breaks. With `unless`, those that it already breaks at least as much are left out."""
    before = {c.name: c.margin_kpa for c in constraints(unless, rules)} if unless is not None else {}
    return tuple(
        c.name
        for c in constraints(values, rules)
        if not c.holds and not c.margin_kpa >= before.get(c.name, float("inf")) - _ROUNDING
    )
