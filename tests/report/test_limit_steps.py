"""What to do first where a limit of the station file is passed that no finding explains."""

from dataclasses import replace
from pathlib import Path

import pytest
import stories
from stories import Play

from tracekit.judge import handbook
from tracekit.model.station import Limit, Station
from tracekit.report.json import diagnosis_json
from tracekit.report.measures import handbook_code
from tracekit.report.notebook import notebook_html
from tracekit.report.page import station_page
from tracekit.report.passed import limits_passed
from tracekit.report.terminal import first_screen
from tracekit.report.todo import steps
from tracekit.report.whole import write_all

QUIET = stories.result(Play(cycles=12))


def passed(severity="critical", name="decay_rate_kpa_s", most=0.1):
    """The limits that the quiet station passes."""
    file = Station(limits={name: Limit(max=most, severity=severity)})
    return limits_passed(diagnosis_json(stories.record(QUIET)), (file,))


def test_a_limit_that_nothing_explains_comes_first():
    """Measure, value, limit and where to read stand in the first step; nothing says that the log is good."""
    (limit,) = passed()
    first, *rest = steps(QUIET, (limit,))
    assert first.act == "Find out why a limit is passed: fall of vacuum with the supply closed"
    told = first.how.replace("\u00a0", " ")
    assert told.startswith(f"It is {QUIET.leak.decay_rate.value:.1f}")
    assert told.endswith("kPa/s; the station file says at most 0.1 kPa/s.")
    assert "tracekit explain leak_steady" in first.results[0][1]
    assert first.caution == "Run no parts until it is known."
    assert [s.act for s in rest] == ["Record again after the repair"]
    assert rest[0].results == (("Expect", "every limit of the station file kept"),)
    assert "as the baseline" in steps(QUIET)[0].act


def test_page_and_screen_say_the_same():
    """Beside "Stop" neither the page nor the terminal advises to keep the log as the baseline."""
    record, limits = stories.record(QUIET), passed()
    page, screen = station_page(record, 0, limits=limits), first_screen(record, Path("report.html"), limits=limits)
    for text in (page, screen):
        assert "Find out why a limit is passed" in text.replace("\n", " ")
        assert "tracekit explain leak_steady" in text
        assert "as the baseline" not in text
        assert "Stop. Do not run parts." in text
    several = replace(record, stations=tuple(
        replace(QUIET, data=replace(QUIET.data, station=name)) for name in (QUIET.data.station, "Stacker")
    ))  # fmt: skip
    lines = first_screen(several, Path("report.html"), limits=limits).split("\n")
    assert lines[1].startswith(f"{QUIET.data.station}: No fault found in 12 cycles. Stop.")
    assert "Find out why a limit is passed" in lines[2]


def test_notebooks_and_written_folders_say_the_same(tmp_path):
    """What a notebook shows and what is written at once know the limits too; without limits neither speaks of one."""
    record, limits = stories.record(QUIET), passed()
    written = write_all(record, tmp_path / "out", limits=limits).read_text(encoding="utf-8")
    for text in (notebook_html(record, limits), written):
        assert "Limit passed: fall of vacuum with the supply closed" in text
        assert "Stop. Do not run parts." in text
        assert "Find out why a limit is passed" in text
    plain = write_all(record, tmp_path / "plain").read_text(encoding="utf-8")
    for text in (notebook_html(record), plain):
        assert "Limit passed" not in text
        assert "Stop." not in text.partition("</h1>")[2][:600]


@pytest.mark.parametrize(("severity", "first"), [("critical", "Find out why"), ("minor", "Blank the cup")])
def test_a_limit_goes_before_findings_only_where_it_weighs_more(severity, first):
    """The steps of a major finding stay first beside a minor limit, and follow a critical one."""
    torn = stories.torn_cup().stations[0]
    found = steps(torn, passed(severity))
    assert found[0].act.startswith(first)
    assert any(s.act.startswith("Blank the cup") for s in found)


def test_a_limit_is_read_up_where_the_handbook_speaks_of_it():
    """Every measure with an entry to read has a code of the handbook that proves a repair by that measure or its kin."""
    assert handbook_code("start_s") == ""
    for name in ("decay_rate_kpa_s", "open_cup_vacuum_kpa", "evacuation_time_s", "pump_time_constant_s", "response_delay_s",
                 "release_time_s", "residual_vacuum_kpa", "noise_kpa", "idle_vacuum_kpa", "hold_vacuum_kpa", "drop_share",
                 "miss_share", "chatter_edges", "supply_on_time_s", "supply_switches", "peak_vacuum_kpa"):  # fmt: skip
        assert name in handbook.entry(handbook_code(name)).verify.measures
