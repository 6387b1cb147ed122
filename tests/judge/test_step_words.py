"""What the steps say can be decided by what they ask for, and none of them leads back to itself."""

import pytest

from tracekit.judge import handbook
from tracekit.judge.steps import next_steps


def told(code: str, *rivals: str) -> list[str]:
    """Every text of a code's steps."""
    steps = next_steps(
        code, rivals, air_saving=True, has_baseline=True, sensor_at="generator", source="ejector", measures={}
    )
    return [f"{s.do} {s.expect_if} {s.expect_else} {s.caution}" for s in steps]


@pytest.mark.parametrize("code", ["leak_steady", "flow_restricted", "exhaust_restricted", "collision_or_peel"])
def test_a_repair_without_effect_leads_on(code: str) -> None:
    """Without a rival the next likely cause comes next, not the same test again."""
    words = " ".join(told(code))
    assert "No change: look into the next likely cause." in words
    assert "Not reached: look into the next likely cause." in words
    assert "repeat the test above" not in words


def test_the_test_of_a_valve_parts_it_from_the_controller() -> None:
    """Both outcomes look at the valve's own signal: a delay that the log has already told cannot give both answers."""
    test = handbook.entry("supply_valve_slow").test
    assert "lamp" in test.do
    assert "lamp" in test.expect_if
    assert "lamp" in test.expect_else
    assert " ".join(told("supply_valve_slow")).casefold().count("valve moves on command") == 0


def test_a_test_asks_for_what_its_outcomes_need() -> None:
    """An outcome by the inlet pressure needs a step that reads it; files that a command names are those recorded."""
    first = told("exhaust_restricted")[0]
    assert "read the inlet pressure" in first
    plate = told("leak_steady")[0]
    assert "ordinary.csv" not in plate
    assert plate.count("plate_new_cup.csv") == 2
