"""One measure has one figure, all outcomes of the first test stand where there is room, a lent name is said once."""

import re
from dataclasses import replace
from html import unescape

import pytest
import stories
from stories import Play

from tracekit.model.finding import Evidence, NextStep
from tracekit.report.page import station_page
from tracekit.report.steps_told import GOAL
from tracekit.report.todo import steps
from tracekit.report.verdict import verdict
from tracekit.report.words import plain


def words_of(part):
    """The words of a part of a page."""
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", part)).replace("\u00a0", " ").split())


def leaking(now, fact=(10.5, 10.1, 10.9, "kPa/s")):
    """A leak told by an interval, and a last step that says what it is now."""
    value, lower, upper, unit = fact
    told = Evidence(measure="decay_rate_kpa_s", value=value, unit=unit, lower=lower, upper=upper)
    last = NextStep(
        do="Record again.",
        expect_if=f"Here: fall at most 1.0 kPa/s, now {now}.",
        expect_else="",
        minutes=30,
        caution="",
    )
    return stories.result(Play(cycles=20), findings=(stories.finding("leak_steady", steps=(last,), evidence=(told,)),))


@pytest.mark.parametrize(
    ("now", "fact", "said"),
    [
        ("10.6 kPa/s", (10.5, 10.1, 10.9, "kPa/s"), "10.5 kPa/s"),  # the same measure, taken over other cycles
        ("26.8 kPa", (27.7, 26.9, 28.5, "kPa"), "27.7 kPa"),  # the same measure, of the last cycles alone
        ("59.1 kPa", (59.125, 56.97, 61.28, "kPa"), "59 kPa"),  # digits that the interval leaves
        ("10.6 kPa/s", (10.5, 10.1, 10.9, "kPa"), "10.6 kPa/s"),  # another unit: another measure
        ("12.0 kPa/s", (10.5, 10.1, 10.9, "kPa/s"), "12.0 kPa/s"),  # too far away to be the same
    ],
)
def test_what_is_now_has_the_figure_of_the_evidence(now, fact, said):
    """The goal of the last step tells its measure as the lead does; other figures stay."""
    (goal,) = (means for seen, means in steps(leaking(now, fact))[-1].results if seen == GOAL)
    assert goal == f"fall at most 1.0 kPa/s, now {said}"


def test_the_goal_of_a_leak_has_the_figure_of_the_verdict():
    """Where the verdict tells the log's own estimate, the goal does, though the finding compares other cycles."""
    log = stories.result(Play(cycles=20, rate=3.8)).leak.decay_rate
    near = log.value - 0.04
    result = leaking(f"{near:.1f} kPa/s", (near, near - 0.2, near + 0.2, "kPa/s"))
    result = replace(result, leak=stories.result(Play(cycles=20, rate=3.8)).leak)
    (goal,) = (means for seen, means in steps(result)[-1].results if seen == GOAL)
    said = f"{log.value:.1f} kPa/s"
    assert f"{near:.1f} kPa/s" != said
    assert goal.endswith(f"now {said}")
    assert f"Vacuum falls {said}" in plain(verdict(result).lead).replace("\u00a0", " ")


def test_further_outcomes_stand_on_the_first_screen_where_there_is_room():
    """A third outcome of the first test is shown at once; beside a long act it stands under Steps alone."""
    third = "No change with either cup: plug back along the hose."
    test = NextStep(
        do="Pick a plate.", expect_if=f"A new cup halves it: the cup leaks. {third}", expect_else="Tight: the parts leak.",
        minutes=5, caution="Safe stop.",
    )  # fmt: skip
    for act, shown in (("Pick a plate.", True), (f"Pick a plate{' and look at every joint' * 12}.", False)):
        found = stories.finding("leak_steady", steps=(replace(test, do=act),))
        page = station_page(stories.record(stories.result(Play(cycles=20), findings=(found,))), 0)
        first = page.split('id="first"')[1].split('id="settings"')[0]
        assert ("plug back along the hose" in words_of(first)) is shown
        assert "plug back along the hose" in words_of(page.split('id="steps"')[1])
        assert "the parts leak" in words_of(first)


def test_a_name_that_the_file_has_lent_is_said_once():
    """A station without a name is called by its file, and the page says so; one with a name is not explained."""
    own = stories.result(Play(cycles=12))
    lent = replace(own, data=replace(own.data, station="night_3"))
    facts = replace(stories.FACTS, source="night_3.csv")
    assert words_of(station_page(stories.record(lent, facts=facts), 0)).count("(the file’s name)") == 1
    assert "the file’s name" not in station_page(stories.record(own, facts=facts), 0)
