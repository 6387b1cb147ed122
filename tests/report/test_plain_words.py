"""Tables, labels and sentences that a reader takes in without asking what they mean."""

import re
from dataclasses import replace

import numpy as np
import pytest
import stories
from stories import Play

from tracekit.report.pictures.hold_rows import _usual_count, hold_rows
from tracekit.report.pictures.overlay import _foot, _leaders, _level_labels
from tracekit.report.pictures.rates import rates
from tracekit.report.plot import Axis, nice_ticks
from tracekit.report.sections import evidence, limits


def with_reasons(*reasons):
    """The limits of a log whose smallest changes have these reasons."""
    result = stories.healthy().stations[0]
    seen = [d for d in result.detectable if d.smallest is not None]
    found = tuple(replace(seen[k % len(seen)], why=why) for k, why in enumerate(reasons))
    return limits(replace(result, detectable=found), "kPa").replace("\u00a0", " ")


def test_rows_that_are_stacked_name_their_cells():
    """Where a phone hides the heads of the table of smallest changes, each cell carries its own."""
    page = with_reasons("14 cycles now against 32", "the sampling interval")
    rows = page.split("<tbody>")[-1]
    assert rows.count('data-name="Change of:"') == rows.count('data-name="By at least:"') == 2
    assert rows.count('data-name="Because:"') == 2


def test_a_reason_that_rows_share_is_told_once():
    """The commonest reason stands above the table, another one beside its row; alone it needs no column."""
    mixed = with_reasons("14 cycles now against 32", "the sampling interval", "14 cycles now against 32")
    assert mixed.count("14 cycles now against 32") == 1
    assert mixed.index("14 cycles now against 32") < mixed.index("By at least") < mixed.index("he sampling interval")
    assert "Because" not in with_reasons("14 cycles now against 32", "14 cycles now against 32")


@pytest.mark.parametrize(
    ("refills", "words"),
    [
        ([0] * 16 + [5] * 5 + [4] * 15, "20 of 36 holds need refills, up to five"),
        ([5] * 22 + [4] * 10 + [6] * 3, "22 of 35 holds need five refills, the others four to six"),
        ([1] * 32 + [0] * 16, "32 of 48 holds need one refill, the others none"),
        ([2] * 34 + [3], "34 of 35 holds need two refills, the other three"),
        ([2] * 5, "All 5 holds need two refills"),
        ([0] * 9 + [1], "1 of 10 holds needs a refill"),
        ([0] * 9 + [3], "1 of 10 holds needs refills, up to three"),
        ([0] * 4, "None of 4 holds needs a refill"),
        ([2] * 10 + [3] * 10, "All 20 holds need two to three refills"),
    ],
)
def test_refills_are_told_of_all_holds(refills, words):
    """No hold without a refill is counted among those with one, and the rest of a majority is told."""
    assert _usual_count(np.array(refills)).replace("\u202f", " ") == words


def test_a_picture_without_marks_lists_no_empty_table():
    """Where no hold has a refill the numbers say so, with no heads over nothing."""
    drawn = hold_rows(stories.result(Play(cycles=30, rate=0.1, hold_s=1.0)))
    assert drawn.rows == ()
    page = evidence((drawn,), "kPa")
    assert "No refill in any hold." in page
    assert "<table" not in page
    torn = evidence((hold_rows(stories.torn_cup().stations[0]),), "kPa")
    assert "No refill" not in torn
    assert "<table" in torn


def test_this_log_is_named_only_at_a_line_of_its_own():
    """The rates of a log are named beside its median line, and not where nothing stands against them."""
    alone = rates(stories.result(Play(cycles=30)))
    assert "this log" not in alone.html
    assert 'class="thin usual"' not in alone.html
    beside = rates(stories.result(Play(cycles=30), base=stories.HEALTHY)).html
    height = float(re.search(r'<path class="thin usual" d="M0 ([\d.]+)H1000"', beside)[1])
    named = re.search(r'<text class="strong"[^>]* y="([\d.]+)%"[^>]*>this log', beside)
    assert float(named[1]) == pytest.approx(height / 10.0, abs=0.02)


def test_a_moved_name_is_led_back_to_its_line():
    """Settings close together keep names apart; each name that moved has a stroke from its own line to it."""
    x, y = Axis(low=0.0, high=3.0, unit="s"), Axis(low=0.0, high=80.0, unit="kPa")
    levels = [("supply_off", 75.0), ("supply_on", 73.0), ("set_point", 40.0)]
    labels = _level_labels(levels, x, y)
    (leader,) = _leaders(labels, y)
    ends = [float(v) for v in re.findall(r"[\d.]+", re.search(r'd="([^"]*)"', leader)[1])]
    assert ends[1] == pytest.approx(1000.0 * 7.0 / 80.0)
    assert (ends[3] - ends[1]) / 1000.0 * 240.0 == pytest.approx(labels[1].dy - 4, abs=0.1)
    assert _leaders([labels[0], labels[2]], y) == []


@pytest.mark.parametrize(("lowest", "foot"), [(-19.0, -20.0), (-3.0, -3.0), (4.0, 0.0)])
def test_an_axis_well_below_zero_has_a_number_there(lowest, foot):
    """Vacuum that goes well below zero ends at a numbered line."""
    assert _foot(lowest, 75.0) == foot
    if lowest < -10.0:
        assert min(nice_ticks(foot, 78.0)) == foot
