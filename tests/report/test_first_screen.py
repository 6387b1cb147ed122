"""One measure has one figure, all outcomes of the first test stand where there is room, a lent name is said once."""

import re
from dataclasses import replace
from html import unescape

import pytest
import stories
from stories import Play

from tracekit.model.finding import Evidence, NextStep
from tracekit.report.page import station_page
from tracekit.report.todo import GOAL, steps


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
        ("59.1 kPa", (59.125, 56.97, 61.28, "kPa"), "59 kPa"),  # digits that the interval leaves
        ("10.6 kPa/s", (10.5, 10.1, 10.9, "kPa"), "10.6 kPa/s"),  # another unit: another measure
        ("12.0 kPa/s", (10.5, 10.1, 10.9, "kPa/s"), "12.0 kPa/s"),  # too far away to be the same
    ],
)
def test_what_is_now_has_the_figure_of_the_evidence(now, fact, said):
    """The goal of the last step tells its measure as the lead does; other figures stay."""
    (goal,) = (means for seen, means in steps(leaking(now, fact))[-1].results if seen == GOAL)
    assert goal == f"fall at most 1.0 kPa/s, now {said}"


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
