"""The leak as air stands beside how fast vacuum falls, and losses that come slowly are not called sudden."""

import re
from dataclasses import replace
from html import unescape

import numpy as np
import stories
from stories import Play

from tracekit.model.estimate import Estimate
from tracekit.model.finding import Evidence
from tracekit.model.tables import DROP_KINDS
from tracekit.report.flow import leak_as_air
from tracekit.report.page import station_page
from tracekit.report.terminal import first_screen
from tracekit.report.verdict import verdict
from tracekit.report.words import plain

AIR = Estimate(value=0.2664, lower=0.231, upper=0.304, unit="L/min ANR", n=95, method="given")
TOLD = "lets in 0.27 L/min ANR (0.23 to 0.31): normal litres of air."


def with_air(result):
    """The same with a volume known."""
    return replace(result, leak_rate_l_min_anr=AIR)


def spaced(text):
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", text)).replace("\u00a0", " ").split())


def test_a_known_volume_gives_the_leak_as_air_on_page_and_screen():
    """Under the lead, with the interval that holds the volume's uncertainty; without a volume nothing is said there."""
    record = stories.torn_cup()
    known = stories.record(with_air(record.stations[0]))
    assert f"The leak {TOLD}" in spaced(station_page(known, 0))
    assert f"The leak {TOLD}" in spaced(first_screen(known, None))
    assert "L/min" not in first_screen(record, None)
    assert "L/min" not in spaced(station_page(record, 0)).partition("What to do")[0]
    assert all(len(line) <= 80 for line in first_screen(known, None).split("\n"))


def test_a_leak_of_some_picks_is_not_given_the_flow_of_all():
    """Where the verdict tells the rate of some picks, the flow says that it is the middle hold's."""
    rate = Evidence(measure="decay_rate_kpa_s", value=4.0, unit="kPa/s", lower=3.8, upper=4.2, cycles=12)
    some = stories.finding("leak_part_dependent", share=0.3, cycles=tuple(range(12)), evidence=(rate,))
    told = plain(leak_as_air(with_air(stories.result(Play(cycles=40), findings=(some,))))).replace("\u00a0", " ")
    assert told == f"In the middle hold the leak {TOLD}"


def lost(kind):
    """A station that lost five parts, one of them as `kind` says."""
    play = Play(cycles=62, dropped=(4, 17, 31, 44, 58))
    found = stories.finding("collision_or_peel", severity="critical", cycles=play.dropped, share=5 / 62)
    made = stories.result(play, findings=(found,))
    kinds = np.array(made.data.cycles.codes("drop_kind"))
    kinds[17] = DROP_KINDS.index(kind)
    return replace(made, data=replace(made.data, cycles=made.data.cycles.with_columns(drop_kind=kinds)))


def test_losses_are_called_sudden_only_where_none_is_gradual():
    """One gradual loss among the counted ones, and the lead counts losses without that word."""
    assert plain(verdict(lost("sudden")).lead).startswith("Parts are lost suddenly on 5 of 62 cycles")
    assert plain(verdict(lost("gradual")).lead).startswith("Parts are lost in the hold on 5 of 62 cycles")
