"""The map of causes: states, words and counts."""

from dataclasses import replace

import stories

from tracekit.model.finding import CODES, CauseChance
from tracekit.report.ruled import causes_map


def with_causes(*causes):
    """The torn cup with other causes."""
    return replace(
        stories.torn_cup().stations[0], causes=tuple(CauseChance(code=c, chance=p, reason=r) for c, p, r in causes)
    )


def test_states_are_told_apart_by_mark_and_word():
    """A likely cause, one that is left open and one that the log speaks against differ by mark and by word."""
    title, html = causes_map(
        with_causes(("leak_steady", 0.9, "fall is 7 kPa/s"), ("check_valve_leak", 0.02, "not excluded, but nothing speaks for it"),
                    ("flow_restricted", 0.01, "the evacuation time is unchanged")), "kPa")  # fmt: skip
    assert title == "The log speaks against 1 of 3 causes; it leaves 1 open"
    for mark, word in (("■", "(chance 9 in 10)"), ("◧", "(not excluded)"), ("□", "(against it)")):
        assert mark in html
        assert word in html
    assert "Nothing speaks for it." in html
    assert html.index("Cup, hose and filter") < html.index("Valves")


def test_nothing_is_ruled_out_without_a_reason():
    """Only likely causes, or causes without a reason, make no map."""
    assert causes_map(with_causes(("leak_steady", 0.9, "fall is 7 kPa/s")), "kPa") == ("", "")
    assert causes_map(with_causes(("leak_steady", 0.01, " ")), "kPa") == ("", "")


def test_only_open_causes_are_not_called_ruled_out():
    """Where nothing speaks against any cause, the title says that all are open."""
    title, html = causes_map(
        with_causes(("sensor_slow", 0.01, "not in this log"), ("release_weak", 0.02, "needs a baseline to be seen")),
        "kPa",
    )
    assert title == "What the log leaves open: 2 of 2 causes"
    assert "No measure of this log shows it." in html
    assert "□" not in html


def test_every_cause_of_the_trade_has_its_place():
    """No code that can be a cause stands under "Elsewhere"."""
    kinds = ("cause", "setting", "sensor")
    _, html = causes_map(with_causes(*((c, 0.0, "unchanged") for c, kind in CODES.items() if kind in kinds)), "kPa")
    assert "Elsewhere" not in html


def test_a_cause_that_the_log_could_not_show_stays_open():
    """What stands under the limits of the log is not called spoken against."""
    result = with_causes(("leak_steady", 0.9, "fall is 7 kPa/s"), ("release_valve_leak", 0.01, "the fall is unchanged"))
    title, html = causes_map(result, "kPa")
    assert title == "What the log leaves open: 1 of 2 causes"
    assert "The range of the sensor ends at 0." in html
    assert "unchanged" not in html


def test_a_rival_of_a_small_chance_is_open_not_likely():
    """Its chance stands beside it, whatever its reason says."""
    title, html = causes_map(
        with_causes(("leak_steady", 0.8, "fall is 7 kPa/s"), ("check_valve_leak", 0.12, "not excluded: it would show so too (fall is 7 kPa/s)")),
        "kPa",
    )  # fmt: skip
    assert title == "What the log leaves open: 1 of 2 causes"
    assert "(not excluded, chance 1 in 10)" in html
    assert "It would show so too (fall is " in html
    assert html.count("■") == 2  # in the reading and at the likely one
