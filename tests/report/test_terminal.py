"""The first screen of a terminal."""

from dataclasses import replace
from pathlib import Path

import pytest
import stories

from tracekit.options.report import ReportOptions
from tracekit.report.terminal import HEIGHT, WIDTH, first_screen

PAGE = Path("tracekit-out") / "loader_2" / "report.html"


@pytest.mark.parametrize("name", [*sorted(stories.STORIES), "many"])
def test_it_fits(name):
    """Every story fits 80 by 24 with the prompt below it, and carries no colour code."""
    record = stories.many() if name == "many" else stories.STORIES[name]()
    lines = first_screen(record, PAGE).split("\n")
    assert len(lines) < HEIGHT
    assert max(len(line) for line in lines) <= WIDTH
    assert "\x1b" not in "".join(lines)
    assert lines[-1] == f"Page: {PAGE}"


def test_it_answers():
    """Verdict, cause with chance, step with minutes and caution, settings: in words."""
    text = first_screen(stories.torn_cup(), PAGE)
    for part in (
        "Loader 2: Very likely a leak at the cup, hose or a fitting.", "9 in 10 likely", "First: Blank the cup with a flat plate (5 min).",
        "Below 1 kPa/s: change the cup.", "Caution: Nobody under the load", "Settings: leave them. Repair the leak first.",
    ):  # fmt: skip
        assert part in text
    assert text.count("in 10 likely") == 1
    assert "Supply off                    −74.0 -> −72.5 kPa" in first_screen(stories.chattering(), PAGE)


def test_it_survives_any_console():
    """A console that knows ASCII alone gets ASCII; an unknown encoding too."""
    for encoding in ("ascii", "cp437", "no-such-code"):
        text = first_screen(stories.chattering(), PAGE, encoding=encoding)
        assert "-74.0 -> -72.5 kPa" in text.replace("\u2212", "-")
        if encoding != "no-such-code":
            text.encode(encoding)


def test_colour_is_only_for_the_asking():
    """Asked for, headline and caution are marked."""
    text = first_screen(stories.torn_cup(), PAGE, colour=True)
    assert text.startswith("\x1b[1m")
    assert "\x1b[7m  Caution:" in text


def test_it_speaks_the_unit_asked_for():
    """Pressures follow the unit, settings stay as the device takes them."""
    text = first_screen(stories.chattering(), PAGE, options=ReportOptions(unit="mbar"))
    assert "Below 10 mbar/s: change the cup." in text
    assert "−72.5 kPa" in text


def test_long_steps_are_cut_with_a_pointer_to_the_page():
    """What does not fit is said to be on the page."""
    long = replace(stories.BLANK, do="Do it. " + "Then do more of the same thing. " * 12, expect_if="One: two. " * 9, caution="Mind it. " * 30)
    record = stories.record(stories.result(stories.Play(cycles=12), findings=(stories.finding("leak_steady", steps=(long,)),), suggestion=stories.suggestion("")))
    lines = first_screen(record, PAGE).split("\n")
    assert len(lines) < HEIGHT
    assert lines[-1] == f"Page: {PAGE}"


def test_without_a_page_none_is_named():
    """Where no page was written the screen names none."""
    assert "Page:" not in first_screen(stories.healthy(), None)


def test_a_setting_that_stays_says_so():
    """An arrow from a value to itself is no change to enter."""
    record = stories.chattering()
    first = record.stations[0]
    same = tuple(replace(s, shown=s.shown_now) for s in first.suggestion.settings)
    kept = replace(record, stations=(replace(first, suggestion=replace(first.suggestion, settings=same)),))
    shown = first_screen(kept, PAGE)
    assert "->" not in shown
    assert shown.count("stays ") == len(same)
