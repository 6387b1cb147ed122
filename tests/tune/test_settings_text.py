"""Settings typed after --set: understood, or one message that says where, what was found and what to do."""

import pytest

from tracekit.errors import UsageError
from tracekit.model.estimate import Estimate
from tracekit.report.tune_words import plain_value, short
from tracekit.tune.asked import parse_settings


def test_settings_are_vacuum_whatever_their_sign():
    """A value with or without sign, a name with or without unit; of two of one name the later counts."""
    assert parse_settings(["set_point=-56", " reset_point_kpa = 51.5", "set_point=57"]) == {"set_point": 57.0, "reset_point": 51.5}
    assert parse_settings([]) == {}


@pytest.mark.parametrize(("text", "expected"), [
    ("set_point", "a setting and its value, like set_point=56"), ("set_pint=5", "a setting and its value"),
    ("set_point=high", "expected a number"), ("set_point=nan", "kPa of vacuum"), ("supply_off=-1e308", "kPa of vacuum"),
    ("supply_on=inf", "kPa of vacuum"),
])  # fmt: skip
def test_what_is_no_setting_is_told(text, expected):
    """The option, the text as it was typed, what was expected and what to do."""
    with pytest.raises(UsageError, match="--set") as told:
        parse_settings([text])
    assert f'"{text}"' in str(told.value)
    assert expected in str(told.value)
    assert str(told.value).startswith("--set")


@pytest.mark.parametrize(("value", "shown"), [(-0.0, "0"), (-1e-9, "0"), (-56.3, "\u221256.3"), (3.8, "3.8"), (-0.05, "\u22120.05")])
def test_nothing_has_no_sign(value, shown):
    """A distance of nothing is shown as the device shows it, without a minus."""
    assert plain_value(value) == shown


@pytest.mark.parametrize(("name", "unit", "value", "shown"), [
    ("supply_switches_per_hold", "per hold", 0.0, "0"), ("air_l_anr_per_cycle", "L ANR", 1.02, "1.0 L ANR"),
    ("evacuation_time_s", "s", 0.5, "0.50 s"), ("missed_share", "", 0.04, "4 %"),
])  # fmt: skip
def test_an_effect_without_its_interval_keeps_its_unit(name, unit, value, shown):
    """Short forms of effects: nothing is a bare nought, air and times have their unit."""
    effect = Estimate(value=value, lower=0.9 * value, upper=1.1 * value, unit=unit, n=24, method="as recorded")
    assert short(name, effect).replace("\u00a0", " ") == shown
