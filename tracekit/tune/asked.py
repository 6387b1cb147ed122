"""Settings that a user asks about: understood, put on the device's steps, held against the rules, predicted."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from tracekit.errors import UsageError, message, nearest
from tracekit.frozen import dataclass
from tracekit.model.result import Constraint
from tracekit.model.station import Station
from tracekit.model.tuning import EntryPlan, WhatIf
from tracekit.tune.display import on_grid, shown
from tracekit.tune.entry_order import entry_plan
from tracekit.tune.known import NAMES
from tracekit.tune.order import Rules, Values, broken, constraints, impossible
from tracekit.tune.predict import hardly_holds, leak_unseen, predict
from tracekit.tune.prepare import Prepared
from tracekit.tune.reasons import UNSEEN_LEAK
from tracekit.units import find_pressure_unit

_DEEPEST_KPA = 110.0
_DUST = 1e-6
_VALUE = re.compile(
    r"\s*(?P<figure>[-+\u2212]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?)\s*(?P<unit>[^\d\s].*)?", re.IGNORECASE
)
_LIKE = "Give kPa of vacuum, like set_point=56, or the unit too, like set_point=560mbar."
_NO_DEVICE = "no device can hold these settings; ask for both of the pair, with the upper one higher"
_NO_HOLD = "hardly any pick would reach the set point, so there is no hold to tell of"


def parse_settings(texts: Iterable[str], unit: str = "kPa") -> dict[str, float]:
    """Settings from texts like "set_point=56" or "set_point=560mbar", as kPa of vacuum.

    Where the user works in another `unit`, each value must say its own. Raises UsageError that names the fault.
    """
    found: dict[str, float] = {}
    for text in texts:
        name, sign, value = text.partition("=")
        name = name.strip().removesuffix("_kpa")
        if not sign or name not in NAMES:
            hint = nearest(name, NAMES)
            raise UsageError(message("--set", f'"{text}"', "a setting and its value, like set_point=56", hint))
        number = _vacuum_kpa(text, name, value, unit)
        if not number < _DEEPEST_KPA:
            most = f"less than {_DEEPEST_KPA:.0f} kPa of vacuum"
            raise UsageError(message("--set", f'"{text}"', most, _LIKE))
        found[name] = number
    return found


def _vacuum_kpa(text: str, name: str, value: str, unit: str) -> float:
    """The value after the sign [kPa of vacuum], whatever its sign."""
    match = _VALUE.fullmatch(value)
    if match is None:
        wanted = "a number of kPa of vacuum" if value.strip().lower() in ("nan", "inf", "-inf") else "a number"
        raise UsageError(message("--set", f'"{text}"', wanted, _LIKE))
    figure = match["figure"].replace("\u2212", "-")
    if match["unit"] is None:
        if unit != "kPa":
            todo = f"Say {name}={figure}{unit} or {name}={figure}kPa."
            raise UsageError(message("--set", f'"{text}" with --units {unit}', "a value with its unit", todo))
        return abs(float(figure))
    known = find_pressure_unit(match["unit"])
    if known is None or known[1] == "absolute":
        raise UsageError(message("--set", f'"{text}"', "a unit of vacuum or none", _LIKE))
    return abs(float(figure)) * known[0].kpa


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """What a question about other settings is answered from; `replay` counts a set's edges and says if exactly."""

    prepared: Prepared
    station: Station
    replay: Callable[[Values], tuple[dict[str, int], bool]]


def what_if(asking: Asking, typed: Values | None) -> WhatIf | None:
    """The answer for the settings `typed` [kPa of vacuum]; None where nothing was asked."""
    if not typed:
        return None
    problem, scene, display = asking.prepared.problem, asking.prepared.scene, asking.station.display
    values = _entered(asking, typed)
    never = impossible(values, problem.rules)
    rules = never or constraints(values, problem.rules)
    newly = tuple(c.name for c in never) or _newly(rules, problem.now, problem.rules)
    replayed, exact = ({}, False) if never else asking.replay(values)
    why = _NO_DEVICE if never else _NO_HOLD if hardly_holds(scene, values) else None
    return WhatIf(
        typed=typed, values=values, shown={n: shown(display, values, n) for n in values}, constraints=rules,
        newly=newly, unsure=() if never else _unsure(rules, values, problem.rules),
        predicted={} if never else predict(scene, values), replayed=replayed, exact=exact, withheld=why,
        order=None if newly else _order(asking, values), notes=() if never else _unseen(asking, values),
    )  # fmt: skip


def _unseen(asking: Asking, values: Values) -> tuple[str, ...]:
    """That a leak was not seen, where the loop's thresholds move."""
    problem = asking.prepared.problem
    loop = any(problem.rules.moved(values, n) for n in ("supply_off", "supply_on"))
    unseen = loop and leak_unseen(asking.prepared.scene)
    return (UNSEEN_LEAK.format(most=problem.options.switches_doubtful),) if unseen else ()


def _entered(asking: Asking, typed: Values) -> Mapping[str, float]:
    """All settings with the asked ones on the device's steps: the nearest that keep every rule, else the nearest."""
    problem = asking.prepared.problem
    values = {**problem.now, **typed}
    names = tuple(n for n in typed if abs(typed[n] - problem.now[n]) > _DUST)
    ways = on_grid(asking.station.display, values, names)
    return next((way for way in ways if not broken(way, problem.rules)), ways[0])


def _newly(found: tuple[Constraint, ...], now: Values, rules: Rules) -> tuple[str, ...]:
    """Names of the broken rules that the settings in force keep, or break less."""
    before = {c.name: c.margin_kpa for c in constraints(now, rules)}
    return tuple(c.name for c in found if not c.holds and c.margin_kpa < before.get(c.name, 0.0) - _DUST)


def _unsure(found: tuple[Constraint, ...], values: Values, rules: Rules) -> tuple[str, ...]:
    """Names of the broken rules that hold with the best value of each setting in force."""
    exact = {n: replace(k, low=k.value, high=k.value) for n, k in rules.known.items()}
    kept = {c.name for c in constraints(values, replace(rules, known=exact)) if c.holds}
    return tuple(c.name for c in found if not c.holds and c.name in kept)


def _order(asking: Asking, values: Values) -> EntryPlan:
    return entry_plan(asking.station.display, asking.prepared.problem.now, values, asking.station.settings.guard_kpa)
