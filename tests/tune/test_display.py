"""Settings in the device's unit, sign, step and entry form."""

import pytest

from tracekit.model.station import Display
from tracekit.tune.display import entry_form, on_grid, shown, step_kpa

VALUES = {"set_point": 56.0, "reset_point": 51.5, "supply_off": 70.0, "supply_on": 63.0}
RELATIVE = Display(unit="mbar", step=1.0, negative=True, entry={"reset_point": "below set_point", "supply_on": "below supply_off"})


def test_unit_and_sign():
    """A device in negative mbar shows 56 kPa of vacuum as -560."""
    assert shown(RELATIVE, VALUES, "set_point") == -560.0
    assert shown(Display(), VALUES, "set_point") == 56.0


def test_relative_entries_are_distances():
    """An entry below another setting is the distance to it, positive whatever the sign of the device."""
    assert shown(RELATIVE, VALUES, "reset_point") == 45.0
    assert shown(RELATIVE, VALUES, "supply_on") == 70.0
    assert entry_form(RELATIVE, "reset_point") == "below set_point"
    assert entry_form(RELATIVE, "set_point") == ""


@pytest.mark.parametrize(("unit", "step", "expected"), [("kPa", 0.1, 0.1), ("mbar", 1.0, 0.1), ("bar", 0.001, 0.1), ("inHg", 0.1, 0.33864)])
def test_step_in_kpa(unit, step, expected):
    """The step of the device counts in kPa, whatever unit it shows (conversion: SI brochure)."""
    assert step_kpa(Display(unit=unit, step=step)) == pytest.approx(expected, rel=1e-4)


def test_rounding_offers_up_and_down_nearest_first():
    """A value between steps is offered both ways, the nearer one first; one on a step is offered once."""
    found = on_grid(Display(step=0.5), {"set_point": 56.2, "reset_point": 51.0}, ("set_point", "reset_point"))
    assert [v["set_point"] for v in found] == [56.0, 56.5]
    assert {v["reset_point"] for v in found} == {51.0}


def test_relative_settings_are_rounded_in_their_distance():
    """With a base that lies between steps the entered distance is whole, not the absolute value."""
    display = Display(step=1.0, entry={"reset_point": "below set_point"})
    for values in on_grid(display, {"set_point": 56.3, "reset_point": 51.6}, ("reset_point",)):
        assert (values["set_point"] - values["reset_point"]) == pytest.approx(round(values["set_point"] - values["reset_point"]))
