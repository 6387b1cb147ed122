"""What a picture claims is true of what it draws: whose cycles, what differs, what leads."""

import re
from dataclasses import replace

import numpy as np
import pytest
import stories
from stories import Play

from tracekit.model.estimate import Withheld
from tracekit.report.pictures.blowoff import _plot, _Release, blowoff
from tracekit.report.pictures.choose import choose
from tracekit.report.pictures.fall import fall
from tracekit.report.pictures.hold_rows import hold_rows
from tracekit.report.pictures.overlay import overlay
from tracekit.report.pictures.pulldown import pulldown
from tracekit.report.pictures.rates import rates
from tracekit.report.verdict import verdict
from tracekit.report.words import plain


def said(picture):
    """Heading and caption as plain text with plain spaces."""
    return f"{plain(picture.heading)} {plain(picture.caption)}".replace("\u00a0", " ").replace("\u202f", " ")


def with_cycles(result, **columns):
    """The same result with other columns in its cycle table."""
    return replace(result, data=replace(result.data, cycles=result.data.cycles.with_columns(**columns)))


def with_setting(result, name, value_kpa):
    """The same result with one setting in force."""
    known = {**result.data.settings, name: replace(result.data.settings["set_point"], value_kpa=value_kpa)}
    return replace(result, data=replace(result.data, settings=known))


def test_few_refills_are_told_by_how_many_holds_need_one():
    """Where most holds need none or one, no sentence says "no to one"."""
    base = stories.result(Play(cycles=30, rate=2.0, spread=0.3))
    counted = hold_rows(base)
    assert "no to" not in said(counted)
    mixed = stories.result(Play(cycles=30, slow=tuple(range(0, 30, 2)), slow_rate=3.2, hold_s=2.4))
    assert "15 of 30 holds need a refill." in said(hold_rows(mixed))


def test_vacuum_that_rises_is_not_called_lost():
    """A coast in which vacuum still grows is told as that, never as a negative loss."""
    text = said(fall(stories.result(Play(cycles=30, rate=-0.6))))
    assert text.startswith("With the supply closed, vacuum still rises by ")
    assert "are gone" not in text


def test_fall_of_the_touched_cycles_stands_against_the_others():
    """Where the finding names a part of the cycles, their fall is drawn and told, the others beside it."""
    slow = tuple(range(40, 62))
    found = stories.finding("leak_steady", cycles=slow, share=22 / 62)
    text = said(fall(stories.result(Play(cycles=62, slow=slow), findings=(found,))))
    assert " on 22 cycles; on the others " in text
    assert "Line: median fall of the 22 cycles with the fault." in text


def test_no_rates_are_drawn_where_the_rate_is_withheld():
    """A rate that the page withholds is not shown by another picture."""
    result = stories.torn_cup().stations[0]
    assert rates(result) is not None
    assert rates(replace(result, leak=replace(result.leak, decay_rate=Withheld("vacuum grows")))) is None


def test_a_leak_that_grows_is_told_as_growing():
    """A rise through the whole log is told by its ends, not as two groups; steady rates are not called growing."""
    result = stories.torn_cup().stations[0]
    grown = np.linspace(0.5, 5.5, 95)
    leak = replace(result.leak, rate=grown, rate_lower=grown - 0.1, rate_upper=grown + 0.1)
    found = replace(result.findings[0], cycles=tuple(range(40, 95)), onset_cycle=40)
    text = said(rates(replace(result, leak=leak, findings=(found,))))
    assert text.startswith("The leak grows from 0.7 kPa/s in the first 9 cycles to 5.3 kPa/s in the last.")
    assert "grows" not in said(rates(result))


def test_pulldown_counts_the_picks_that_never_grip():
    """Missed picks that made vacuum are drawn and told; the caption counts what is drawn."""
    result = stories.slow_suction().stations[0]
    names = list(result.data.cycles.texts("outcome"))
    codes = result.data.cycles.codes("outcome").copy()
    codes[50:] = result.data.cycles.categories["outcome"].index("missed")
    data = replace(result.data, cycles=result.data.cycles.with_columns(outcome=codes))
    text = said(pulldown(replace(result, data=data)))
    assert text.startswith(f"{len(names) - 50} of {len(names)} cycles never reach the set point; the others take ")
    assert f"Line: median of 80 of {len(names)} cycles, aligned" in text


def test_quicker_suction_of_a_blocked_line_is_explained():
    """Only where a blocked line evacuates faster the caption says why."""
    base = stories.slow_suction().stations[0]
    found = stories.finding("flow_restricted")
    faster = replace(base, findings=(found,), baseline=stories.data_of(Play(cycles=60, tau=0.12)))
    assert "a blocked line is a smaller volume" in said(pulldown(faster))
    assert "a blocked line" not in said(pulldown(replace(base, findings=(found,))))
    assert "a blocked line" not in said(pulldown(replace(faster, findings=base.findings)))


def test_captions_count_the_releases_that_are_drawn():
    """At most 80 releases are drawn, and the caption says of how many."""
    assert "Line: median of 80 of 95 held cycles." in said(blowoff(stories.torn_cup().stations[0]))


@pytest.mark.parametrize(("tau", "lead"), [(0.06, "blowoff"), (0.12, "pulldown")])
def test_a_picture_without_a_difference_does_not_lead(tau, lead):
    """Suction that is as in the baseline does not stand beside the verdict while another picture tells more."""
    found = stories.finding("exhaust_restricted")
    result = stories.result(Play(tau=tau), findings=(found,), base=Play(cycles=60, seed=2))
    late = with_cycles(result, release_time_s=np.full(95, 0.3))
    assert choose(late, (stories.FACTS,))[0].id == lead


def test_a_leak_with_an_onset_leads_with_its_rates():
    """Where a leak began inside the log, the picture over the cycles shows it."""
    slow = tuple(range(40, 95))
    found = stories.finding("leak_steady", cycles=slow, share=55 / 95, onset_cycle=40)
    assert choose(stories.result(Play(slow=slow), findings=(found,)), (stories.FACTS,))[0].id == "rates"


@pytest.mark.parametrize("level", ["high", "low"])
def test_the_onset_is_named_beside_the_marks_not_on_them(level):
    """The words at the rule stand under marks that reach the top of the axis, else at the top."""
    slow = tuple(range(40, 95))
    found = stories.finding("leak_steady", cycles=slow, share=55 / 95, onset_cycle=40)
    made = stories.result(Play(slow=slow), findings=(found,))
    rate = made.leak.rate.copy()
    before, after = (0.2, 9.5) if level == "high" else (9.5, 0.2)
    rate[:40], rate[40:] = before, after
    picture = rates(replace(made, leak=replace(made.leak, rate=rate, rate_lower=rate - 0.1, rate_upper=rate + 0.1)))
    place = re.search(r'<text[^>]*y="([\d.]+)%"[^>]*>(?:<tspan[^>]*>)?from cycle 40', picture.html)
    assert place is not None, picture.html[:2000]
    assert (float(place[1]) > 30.0) == (level == "high")


def test_overlay_says_whether_supply_off_is_reached():
    """Peaks below supply off are told against it; where they reach it no such sentence stands."""
    result = stories.healthy().stations[0]
    peaks = result.data.cycles.floats("peak_vacuum_kpa")
    high = with_setting(result, "supply_off", float(np.nanmax(peaks)) + 5.0)
    assert f"never reaches supply off, {float(np.nanmax(peaks)) + 5.0:.1f} kPa: the supply stays on." in said(overlay(high))
    low = with_setting(result, "supply_off", float(np.nanmin(peaks)) - 1.0)
    assert "never reaches" not in said(overlay(low))
    assert overlay(stories.unmeasurable().stations[0]) is None


def test_overlay_draws_and_names_the_odd_cycles():
    """Odd cycles are drawn one by one with their number; without any, none is named."""
    picture = overlay(stories.dropping().stations[0])
    assert "Thin lines: cycles 4, 20, 31, 44 and 58." in said(picture) or "Thin lines: cycles 4, 17" in said(picture)
    assert picture.html.count('class="thin odd"') == 5
    plain_one = overlay(stories.healthy().stations[0])
    assert "Thin lines" not in said(plain_one)
    assert 'class="thin odd"' not in plain_one.html


def test_holds_that_end_early_are_told():
    """A hold that stops far before the others is named under the rows and counted in the verdict; usual scatter is not."""
    result = stories.result(Play(cycles=40))
    ends = result.data.cycles.floats("hold_end_s").copy()
    assert "early" not in said(hold_rows(result)) + verdict(result).reasons
    for cycle in (3, 17):
        ends[cycle] -= 1.2
    short = with_cycles(result, hold_end_s=ends)
    assert "Ended early: cycles 3 and 17." in said(hold_rows(short))
    assert verdict(short).reasons == "No drop seen; 2 holds end early."
    ends[::2] -= 1.2
    assert "early" not in said(hold_rows(with_cycles(result, hold_end_s=ends)))


def test_a_band_stays_inside_its_axes():
    """Where a fault grows through the log the band reaches far beyond both lines, and not over the axis."""
    time = np.linspace(0.0, 0.3, 7)
    line = np.linspace(70.0, -15.0, 7)
    here = _Release(time_s=time, low=line - 25.0, mid=line, high=line + 3.0, cycles=60)
    plot = _plot(here, replace(here, mid=line + 5.0), ("60 cycles", "baseline"))
    assert plot.y.low <= float(here.low.min())
    assert plot.y.high >= float(here.high.max())
