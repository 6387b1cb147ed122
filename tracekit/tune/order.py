"""The order that settings must keep, and what else binds them."""

from collections.abc import Mapping

from tracekit.frozen import dataclass
from tracekit.model.result import Constraint
from tracekit.model.tuning import Known

_ROUNDING = 1e-9
LOWERING = ("set_point", "reset_point", "supply_on")  # without a load none of these is lowered

_HELD_BY_NONE = (("reset_point", "set_point"), ("supply_on", "supply_off"))

Values = Mapping[str, float]
Margin = tuple[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """What binds the settings of one station, all in kPa.

    guard       least distance from reset point to supply_on: max(floor, slope × delay + z·σ + deepest dip + one step)
    step        smallest step of the device
    hysteresis  least distance from reset point to set point where either is moved
    band, band_most  least and widest distance from supply_on to supply_off where either is moved
    needed      vacuum that the load needs, None where unknown
    open_level  vacuum of an empty cup with its margin, None where it never shows
    point_most  highest set point that the weakest healthy cycle reaches with a margin, None where unknown
    off_most    highest supply_off that it reaches with a margin, None where unknown
    dip_level   highest reset point that no healthy hold crosses without air saving, None where air is saved
    known       settings in force with what is not known about them
    """

    guard: float
    step: float
    hysteresis: float
    band: float
    band_most: float
    needed: float | None
    open_level: float | None
    point_most: float | None
    off_most: float | None
    dip_level: float | None
    known: Mapping[str, Known]

    def moved(self, values: Values, name: str) -> bool:
        """Whether `name` differs from the setting in force."""
        return name in values and (name not in self.known or abs(values[name] - self.known[name].value) > _ROUNDING)

    def low(self, values: Values, name: str) -> float:
        """Least that the setting may be: a kept one is known only within its interval."""
        return values[name] if self.moved(values, name) else self.known[name].low

    def high(self, values: Values, name: str) -> float:
        """Most that the setting may be."""
        return values[name] if self.moved(values, name) else self.known[name].high


def _order(values: Values, rules: Rules) -> list[Margin]:
    """The order itself: name of each rule and its margin [kPa]; only rules whose settings exist."""
    pairs = (
        ("reset_point + guard <= supply_on", "reset_point", "supply_on", rules.guard),
        ("supply_on + step <= supply_off", "supply_on", "supply_off", rules.step),
        ("set_point + step <= supply_off", "set_point", "supply_off", rules.step),
        ("reset_point + step <= set_point", "reset_point", "set_point", rules.step),
    )
    return [
        (name, rules.low(values, above) - rules.high(values, below) - distance)
        for name, below, above, distance in pairs
        if below in values and above in values
    ]


def _load(values: Values, rules: Rules) -> list[Margin]:
    """What the load asks for; without one, that nothing is lowered that grips."""
    names = [n for n in LOWERING if n in values]
    if rules.needed is not None:
        return [(f"needed vacuum <= {n}", rules.low(values, n) - rules.needed) for n in names]
    lowered = [n for n in names if rules.moved(values, n) and n in rules.known]
    return [(f"no load given: {n} not lowered", values[n] - rules.known[n].high) for n in lowered]


def _margins(values: Values, rules: Rules) -> list[Margin]:
    """What noise, empty cup and weakest cycle ask of settings that are moved."""
    found: list[Margin] = []
    point, reset = values.get("set_point", float("nan")), values.get("reset_point", float("nan"))
    if rules.moved(values, "set_point"):
        found += [("open-cup vacuum + margin <= set_point", point - rules.open_level)] if rules.open_level else []
        found += (
            [("set_point <= weakest vacuum reached - margin", rules.point_most - point)] if rules.point_most else []
        )
    if rules.moved(values, "supply_off") and rules.off_most is not None:
        found.append(("supply_off <= weakest vacuum reached - margin", rules.off_most - values["supply_off"]))
    if "set_point" in values and "reset_point" in values and _either(values, rules, "set_point", "reset_point"):
        found.append(("reset_point + hysteresis <= set_point", point - reset - rules.hysteresis))
    if {"supply_off", "supply_on"} <= set(values) and _either(values, rules, "supply_off", "supply_on"):
        band = values["supply_off"] - values["supply_on"]
        found += [("supply_on + least band <= supply_off", band - rules.band)]
        found += [("supply_off <= supply_on + widest band", rules.band_most - band)]
    if rules.moved(values, "reset_point") and rules.dip_level is not None:
        found.append(("reset_point <= deepest healthy dip - margin", rules.dip_level - reset))
    return found


def _either(values: Values, rules: Rules, one: str, other: str) -> bool:
    return rules.moved(values, one) or rules.moved(values, other)


def impossible(values: Values, rules: Rules) -> tuple[Constraint, ...]:
    """What no device can hold: a reset point not under the set point, a supply_on not under supply_off, as asked.

    Margins are those of the values themselves, whatever is not known of a setting in force.
    """
    return tuple(
        Constraint(name=f"{below} + step <= {above}", holds=False,
                   margin_kpa=round(values[above] - values[below] - rules.step, 6))
        for below, above in _HELD_BY_NONE
        if below in values and above in values and _either(values, rules, below, above)
        and values[below] > values[above] - _ROUNDING
    )  # fmt: skip


def constraints(values: Values, rules: Rules) -> tuple[Constraint, ...]:
    """Every rule that a set of settings must keep, with its margin [kPa]."""
    return tuple(
        Constraint(name=name, holds=margin >= -_ROUNDING, margin_kpa=round(margin, 6))
        for name, margin in (*_order(values, rules), *_load(values, rules), *_margins(values, rules))
    )


def broken(values: Values, rules: Rules) -> tuple[str, ...]:
    """Names of the rules that a set breaks."""
    return tuple(c.name for c in constraints(values, rules) if not c.holds)
