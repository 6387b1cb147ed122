"""The order in which settings are entered."""

import itertools

import numpy as np
import pytest

from tracekit.model.station import Display
from tracekit.tune.entry_order import entry_plan, margins

NOW = {"set_point": 55.0, "reset_point": 50.0, "supply_off": 70.0, "supply_on": 63.0}


def walk(display, now, plan):
    """Settings [kPa] after each step of a plan, worked out from what is shown alone."""
    unit, sign = {"kPa": 1.0, "mbar": 0.1}[display.unit], -1.0 if display.negative else 1.0
    def kpa(entries):
        out = {}
        for name in sorted(entries, key=lambda n: n in display.entry):
            form = display.entry.get(name)
            out[name] = entries[name] * unit * sign if form is None else out[form.split()[1]] - entries[name] * unit
        return out
    entries = {}
    for name, value in now.items():
        form = display.entry.get(name)
        entries[name] = value / unit * sign if form is None else (now[form.split()[1]] - value) / unit
    states = []
    for step in plan.steps:
        entries = {**entries, step.name: step.enter}
        states.append(kpa(entries))
    return states


@pytest.mark.parametrize("entry", [{}, {"reset_point": "below set_point", "supply_on": "below supply_off"}])
def test_no_step_breaks_the_order(entry):
    """For random moves between two sound sets every state in between keeps the order, and the last is the wanted one."""
    rng = np.random.default_rng(7)
    display = Display(entry=entry)
    safe = 0
    for _ in range(150):
        sets = []
        for _ in range(2):
            reset = rng.uniform(30.0, 60.0)
            on = reset + rng.uniform(1.5, 8.0)
            off = on + rng.uniform(2.0, 9.0)
            point = rng.uniform(reset + 0.5, off - 0.5)
            sets.append({n: round(v, 1) for n, v in zip(("set_point", "reset_point", "supply_off", "supply_on"), (point, reset, off, on), strict=True)})
        plan = entry_plan(display, sets[0], sets[1], 1.0)
        states = walk(display, sets[0], plan)
        if states:
            assert states[-1] == pytest.approx(sets[1], abs=0.01)
        if plan.safe:
            safe += 1
            assert all(min(margins(s, 1.0, 0.1)) > -1e-6 for s in states)
        else:
            orders = itertools.permutations([s.name for s in plan.steps])
            assert entry or not list(orders) or not any(min(margins(s, 1.0, 0.1)) > -1e-6 for s in states[:-1])
    assert safe >= 140


def test_a_setting_that_only_follows_is_not_entered():
    """Where the set point moves and the reset point is entered below it, one entry moves both."""
    display = Display(entry={"reset_point": "below set_point"})
    plan = entry_plan(display, NOW, {**NOW, "set_point": 58.0, "reset_point": 53.0}, 1.0)
    assert [s.name for s in plan.steps] == ["set_point"]


def test_nothing_to_change_needs_no_step():
    """The same settings need no entry."""
    assert entry_plan(Display(), NOW, NOW, 1.0).steps == ()
