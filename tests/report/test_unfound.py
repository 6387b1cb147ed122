"""A log without a finding says what it leaves open, in the words of its own chances."""

import re
from dataclasses import replace

import numpy as np
import stories
from stories import Play

from tracekit.model.finding import CauseChance, Detectable
from tracekit.report.entries import setting_entries, suggested_entries, why_leave
from tracekit.report.ruled import causes_map
from tracekit.report.sections import limits, what_to_do
from tracekit.report.todo import steps, to_record
from tracekit.report.verdict import verdict
from tracekit.report.why import why_this_cause
from tracekit.report.words import plain


def maybe(leak):
    """A station without a baseline that loses 6 kPa/s: a leak with a chance, else nothing."""
    causes = (CauseChance(code="none of these", chance=1.0 - leak, reason="no known cause explains it better"),
              CauseChance(code="leak_steady", chance=leak, reason="a leak larger than sound stations have seen"))  # fmt: skip
    return stories.result(Play(cycles=40, rate=6.0), causes=causes, detectable=())


def test_a_leak_of_some_chance_is_told_with_it():
    """From a chance of 3 in 20 on the headline does not say that nothing is wrong, and names the chance."""
    said = verdict(maybe(0.32))
    assert said.headline == "Perhaps a leak; the plate test decides"
    assert f"{said.action} {said.reasons}" == "Do the plate test first. No drop seen. Too much: 3 in 10 likely."
    rare = verdict(maybe(0.08))
    assert rare.headline.startswith("Nothing wrong shows")
    assert "Too much" not in rare.reasons


def test_the_likelier_row_heads_the_table():
    """Where nothing is told as a fault, what is most likely stands first, and no row calls less than a half likely."""
    html = why_this_cause(maybe(0.32), "kPa")
    assert html.index("Nothing wrong, or unknown") < html.index("Leak at the cup")
    assert "No known cause stands out." in html
    _, drawn = causes_map(maybe(0.32), "kPa")
    assert "(not excluded, chance 3 in 10)" in drawn
    assert "■" not in drawn


def test_of_equal_chances_the_verdict_s_stands_first():
    """Two faults with the same chance in words: the table begins as the headline does."""
    causes = (CauseChance(code="leak_steady", chance=0.51, reason="r"), CauseChance(code="valves_overlap", chance=0.49, reason="r"))
    found = stories.finding("valves_overlap", kind="setting")
    html = why_this_cause(stories.result(Play(cycles=30), findings=(found,), causes=causes), "kPa")
    assert html.index("Supply and release on together") < html.index("Leak at the cup")


def test_the_plate_test_has_figures():
    """Each outcome says which fall it is about."""
    result = maybe(0.3)
    rate = result.leak.decay_rate.value
    seen = [pair[0] for pair in steps(result)[0].results]
    assert seen[0] == f"Only the new cup halves the fall (at most {rate / 2.0:.2g} kPa/s)"
    assert seen[1] == f"Neither cup halves it (stays near {rate:.2g} kPa/s)"


def test_more_cycles_are_asked_for_at_the_pace_of_the_log():
    """200 cycles take as long as this log's own cycles say; the fall is asked for in one form."""
    result = stories.result(Play(cycles=40), causes=())
    pace = float(np.diff(result.data.cycles.floats("start_s")).mean())
    asked = next(line for line in to_record(result) if line.startswith("Record at least 200 cycles"))
    assert asked == f"Record at least 200 cycles, some {5 * round(200 * pace / 300.0)} min."
    unseen = stories.withheld().stations[0]
    assert any("20 times, for 10 s each" in line for line in to_record(unseen))


def test_a_leak_that_cannot_show_is_no_answer_withheld():
    """Where nothing else looks wrong the headline says so, and nothing has to be wired."""
    sound = (CauseChance(code="none of these", chance=0.96, reason="nothing in this log points to a fault"),)
    result = replace(stories.withheld().stations[0], causes=sound, detectable=())
    said = verdict(result)
    assert said.headline == "No fault found, but a leak would not show"
    assert plain(said.lead) == "The supply is never closed in a hold, so how fast vacuum falls does not show."
    assert "Wire" not in steps(result)[-1].caution
    assert verdict(replace(result, causes=())).headline == "This recording cannot answer"
    short = replace(stories.result(Play(cycles=1, saving=False), causes=sound, detectable=()), leak=result.leak)
    said = verdict(short)
    assert said.headline == "This recording cannot answer"
    assert plain(said.lead).replace("\u00a0", " ") == "Only 1 cycle is in this log: too few to judge a station."


def test_what_would_have_shown_is_told_in_plain_words():
    """A leak that could not be measured may still be small: the sentence says so."""
    could = (Detectable(code="leak_steady", measure="decay_rate_kpa_s", smallest=3.4, unit="kPa/s", why=""),)
    result = replace(stories.withheld().stations[0], detectable=could)
    told = plain(verdict(result).lead).replace("\u00a0", " ")
    assert told == "A leak that grew by 3.4 kPa/s would have shown; a smaller one may be there."


def test_no_setting_is_entered_before_the_plate_test():
    """A leak that may be too large is not tuned around: neither values nor their reasons stand on the page."""
    result = replace(maybe(0.32), suggestion=replace(stories.suggestion(""), withheld=None))
    assert setting_entries(result) == []
    assert len(suggested_entries(result)) == 4  # a tuning that was asked for shows them
    assert why_leave(result) == "The plate test comes first."
    assert "Why these settings" not in what_to_do(result, "kPa")
    assert setting_entries(replace(result, baseline=result.data, baseline_leak=result.leak))


def test_refills_do_not_speak_against_a_narrow_band_as_such():
    """Many refills are another cause's: the reason says what the width alone says."""
    causes = (CauseChance(code="leak_steady", chance=0.8, reason="r"),
              CauseChance(code="supply_band_too_narrow", chance=0.01, reason="the band is 7.5 kPa and a usual hold has 5 refills"))  # fmt: skip
    result = replace(maybe(0.8), causes=causes)
    _, drawn = causes_map(result, "kPa")
    told = " ".join(re.sub("<[^>]*>", "", drawn).replace("\u00a0", " ").split())
    assert "The band is 7.5 kPa, wide enough; the 5 refills of a hold have another cause." in told


def test_an_undecided_path_is_told_with_its_chances():
    """In the words of the page, the likeliest first, and how a plate parts them."""
    result = stories.torn_cup().stations[0]
    open_path = replace(result.leak, mechanism="undecided", evidence="e", form_probability={"hole": 0.62, "mixture": 0.33, "porous": 0.05})
    text = " ".join(re.sub("<[^>]*>", "", limits(replace(result, leak=open_path), "kPa")).split())
    assert "The fall fits more than one path: a hole or lip 6 in 10, both 3 in 10, pores of the part 1 in 20." in text
