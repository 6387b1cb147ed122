"""In which order new settings are entered, so that no step in between breaks the order that they must keep."""

from collections.abc import Mapping
from itertools import permutations

from tracekit.model.station import Display
from tracekit.model.tuning import Entry, EntryPlan
from tracekit.tune.display import relation, shown, step_kpa

Values = Mapping[str, float]

_DUST = 1e-9


def entry_plan(display: Display, now: Values, new: Values, guard_kpa: float) -> EntryPlan:
    """The order of entry from `now` to `new` [kPa]. Settings that only follow another one are not entered."""
    names = tuple(n for n in new if n in now and _differs(display, now, new, n))
    best: tuple[int, float, tuple[str, ...]] | None = None
    for order in permutations(names):
        bad, worst = _path(display, now, new, order, guard_kpa)
        if best is None or (bad, -worst) < (best[0], -best[1]):
            best = (bad, worst, order)
    order = best[2] if best is not None else ()
    return EntryPlan(steps=_steps(display, now, new, order), safe=best is None or best[0] == 0)


def _differs(display: Display, now: Values, new: Values, name: str) -> bool:
    return abs(shown(display, now, name) - shown(display, new, name)) > _DUST


def _after(display: Display, state: Values, new: Values, name: str) -> Values:
    """Settings [kPa] once `name` is entered: those that are entered relative to it move along."""
    out = dict(state)
    related = relation(display, name)
    if related is None or related[0] not in out:
        out[name] = new[name]
    else:
        out[name] = out[related[0]] + (new[name] - new[related[0]])
    for other in out:
        base = relation(display, other)
        if base is not None and base[0] == name:
            out[other] = out[name] + (state[other] - state[name])
    return out


def _path(display: Display, now: Values, new: Values, order: tuple[str, ...], guard: float) -> tuple[int, float]:
    """Steps of an order that break a rule more than the state before them, and the least margin on the way."""
    state, bad, worst = now, 0, float("inf")
    before = margins(state, guard, step_kpa(display))
    for name in order:
        state = _after(display, state, new, name)
        after = margins(state, guard, step_kpa(display))
        bad += any(a < -_DUST and a < b - _DUST for a, b in zip(after, before, strict=True))
        worst, before = min([worst, *after]), after
    return bad, worst


def margins(values: Values, guard: float, step: float) -> tuple[float, ...]:
    """Margins of the four rules of the order [kPa], infinite where a setting does not exist."""
    pairs = (
        ("reset_point", "supply_on", guard), ("supply_on", "supply_off", step), ("set_point", "supply_off", step),
        ("reset_point", "set_point", step),
    )  # fmt: skip
    return tuple(
        values[above] - values[below] - distance if below in values and above in values else float("inf")
        for below, above, distance in pairs
    )


def _steps(display: Display, now: Values, new: Values, order: tuple[str, ...]) -> tuple[Entry, ...]:
    state, found = now, []
    for name in order:
        state_after = _after(display, state, new, name)
        form = display.entry.get(name, "absolute")
        found.append(
            Entry(
                name=name,
                before=shown(display, state, name),
                enter=shown(display, state_after, name),
                entry="" if form == "absolute" else form,
                unit=display.unit,
            )
        )
        state = state_after
    return tuple(found)
