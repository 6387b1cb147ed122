"""Settings as the device takes them: unit, sign, step, and entry relative to another setting."""

import math
from collections.abc import Mapping
from itertools import product

from tracekit.model.station import Display
from tracekit.units import pressure_unit

_SNAP = 1e-6


def step_kpa(display: Display) -> float:
    """Smallest step of the device [kPa]."""
    return display.step * pressure_unit(display.unit).kpa


def relation(display: Display, name: str) -> tuple[str, float] | None:
    """The setting that `name` is entered against and the sign of the entry; None where it is absolute."""
    form = display.entry.get(name, "absolute")
    if form == "absolute":
        return None
    way, other = form.split()
    return other, -1.0 if way == "below" else 1.0


def entry_form(display: Display, name: str) -> str:
    """How `name` is entered: "" for an absolute value, else as in "below set_point"."""
    form = display.entry.get(name, "absolute")
    return "" if form == "absolute" else form


def shown(display: Display, values: Mapping[str, float], name: str) -> float:
    """What the device shows for `name`, in its unit and sign; a relative setting shows its distance, never negative."""
    unit = pressure_unit(display.unit).kpa
    related = relation(display, name)
    if related is not None and related[0] in values:
        distance = (values[name] - values[related[0]]) * related[1]
        return _tidy(distance / unit, display.step)
    value = _tidy(values[name] / unit, display.step)
    return -value if display.negative and value else value


def _tidy(value: float, step: float) -> float:
    """Without the dust of binary fractions, but not rounded to the step: a value in force may lie between steps."""
    digits = max(0, 3 - math.floor(math.log10(step)))
    return round(value, digits)


def on_grid(display: Display, values: Mapping[str, float], names: tuple[str, ...]) -> tuple[Mapping[str, float], ...]:
    """All ways to round the settings `names` to the device's steps, each up or down; the others stay as they are.

    A relative setting is rounded in its distance. Where the same value is up and down it counts once. The nearest
    way comes first.
    """
    order = sorted(names, key=lambda n: relation(display, n) is not None)
    found: list[tuple[float, Mapping[str, float]]] = []
    for ways in product((0, 1), repeat=len(order)):
        rounded = dict(values)
        for name, up in zip(order, ways, strict=True):
            rounded[name] = _rounded(display, rounded, name, bool(up))
        if not any(rounded == other for _, other in found):
            found.append((sum(abs(rounded[n] - values[n]) for n in names), rounded))
    return tuple(v for _, v in sorted(found, key=lambda pair: pair[0]))


def _rounded(display: Display, values: Mapping[str, float], name: str, up: bool) -> float:
    step = step_kpa(display)
    related = relation(display, name)
    base = values[related[0]] if related is not None and related[0] in values else 0.0
    steps = (values[name] - base) / step
    whole = math.ceil(steps - _SNAP) if up else math.floor(steps + _SNAP)
    return round(base + whole * step, 9)
