"""Histories of few logs: what they tell, and what nobody can tell from them yet."""

from pathlib import Path

import numpy as np
import pytest
from history.made_up_records import DAY_US, JAN_US, simple_record
from history.made_up_series import LEAK, followed

from tracekit.history.add import add_record
from tracekit.history.collect import StationHistory
from tracekit.history.digest import digest_text
from tracekit.history.events import note_event
from tracekit.history.place import open_place
from tracekit.history.trend import grows_fast, station_trend, stepped_worse, trend
from tracekit.model.station import Limit
from tracekit.model.trend import CrossingDate, Event, FleetTrend, MeasureTrend
from tracekit.options.history import TrendOptions
from tracekit.report.trend_page import trend_pages
from tracekit.report.trend_words import finding, headline

OPTIONS = TrendOptions()
TORN_ON = 12
TORN = 0.25 * np.array([1.04, 0.97, 0.96, 0.94, 0.97, 0.97, 0.96, 1.02, 1.04, 1.0, 0.98, 0.99, 15.2, 15.6, 15.5])
GROWING = np.array([0.07, 1.8, 3.54, 5.33, 7.23, 9.1])


def kept(folder: Path, values: np.ndarray) -> str:
    """A history with a log a day of that leak."""
    for day, value in enumerate(values.tolist()):
        add_record(str(folder), simple_record(day, decay=value))
    return str(folder)


def leak_of(fleet: FleetTrend) -> MeasureTrend:
    """The leak of the only station."""
    return fleet.stations[0].measures[LEAK]


def made_up(values: np.ndarray) -> MeasureTrend:
    """The trend of a leak kept by no folder, a log a day."""
    start = JAN_US + np.arange(len(values)) * DAY_US
    history = StationHistory(
        station="Glaze 1", start_us=start, followed={LEAK: followed(values)}, latest={}, findings=()
    )  # fmt: skip
    return station_trend(history, (), None, {}, OPTIONS).measures[LEAK]


def test_what_came_later_is_left_out(tmp_path: Path) -> None:
    """As of the third day there are three logs, the third's leak is the newest, and no event of the fourth is known."""
    history = kept(tmp_path, GROWING)
    note_event(open_place(history), Event(time_us=JAN_US + 3 * DAY_US, station="Glaze 1", text="cup changed"))
    fleet = trend(history, as_of_us=JAN_US + 2 * DAY_US + 3_600_000_000)
    assert (fleet.logs, fleet.stations[0].logs) == (3, 3)
    assert leak_of(fleet).series.value[-1] == pytest.approx(3.54, rel=0.05)
    assert fleet.stations[0].events == ()
    assert trend(history).logs == 6


def test_a_date_gone_by_is_told_as_past(tmp_path: Path) -> None:
    """The limit of 12 is due two days after the last log: ahead as of that log, gone by a month later."""
    history, limits = kept(tmp_path, GROWING), {LEAK: Limit(max=12.0)}
    ahead, gone = trend(history, limits=limits), trend(history, limits=limits, as_of_us=JAN_US + 36 * DAY_US)
    for fleet, past in ((ahead, False), (gone, True)):
        crossing = leak_of(fleet).crossing
        assert isinstance(crossing, CrossingDate)
        assert crossing.past is past
        assert ("by these logs reached" in " ".join(digest_text(fleet).split())) is past
        assert ("By these logs it reached" in "".join(str(p) for p in finding(leak_of(fleet)))) is past


def test_six_logs_that_multiply_are_growing_without_a_limit(tmp_path: Path) -> None:
    """From 0.07 to 9.1 kPa/s in six days is growing, and a limit is named as what gives a date."""
    fleet = trend(kept(tmp_path, GROWING))
    assert fleet.stations[0].state == "growing"
    text = " ".join(digest_text(fleet).split())
    assert text.startswith("1 of 1 station growing.")
    assert "no limit given: with --limit its date is told" in text
    assert "No limit is set: with one its date is told." in "".join(str(p) for p in finding(leak_of(fleet)))
    assert headline(fleet) == "Glaze 1: leak growing"


def test_scatter_of_few_logs_neither_grows_nor_steps() -> None:
    """Of 300 young series of ten per cent scatter none is called growing or worse."""
    rng = np.random.default_rng(5)
    for _ in range(300):
        got = made_up(1.5 * np.exp(0.1 * rng.normal(size=int(rng.integers(5, 7)))))
        assert not grows_fast(got, OPTIONS)
        later = made_up(1.5 * np.exp(0.1 * rng.normal(size=int(rng.integers(8, 20)))))
        assert stepped_worse(later, OPTIONS) is None


def test_a_cup_that_tore_three_logs_ago(tmp_path: Path) -> None:
    """Twelve logs at 0.25, three at 3.87: worse since the thirteenth day, with the levels before and after."""
    fleet = trend(kept(tmp_path, TORN))
    (step,) = leak_of(fleet).steps
    assert step.time_us == JAN_US + TORN_ON * DAY_US
    assert (step.before, step.after) == (pytest.approx(0.246, rel=0.03), pytest.approx(3.87, rel=0.01))
    assert fleet.stations[0].state == "worse"
    assert headline(fleet) == "Glaze 1: leak worse since 13 Jan 2025"
    assert "Glaze 1: worse since 2025-01-13" in digest_text(fleet)
    line = leak_of(fleet).series.lines[-1]
    assert (line.start_us, line.begin) == (step.time_us, pytest.approx(3.87, rel=0.05))


@pytest.mark.parametrize("day", [TORN_ON, TORN_ON + 1])
def test_a_repair_is_not_blamed_for_what_came_before(tmp_path: Path, day: int) -> None:
    """Cups changed on the day of the first torn log, or on the next: no sentence says the repair brought the leak."""
    history = kept(tmp_path, TORN)
    noted = Event(time_us=JAN_US + day * DAY_US, station="Glaze 1", text="cups changed", whole_day=True)
    note_event(open_place(history), noted)
    fleet = trend(history)
    repair = fleet.stations[0].repair
    assert repair is not None
    assert repair.effects == {}
    assert "It brought" not in "".join(trend_pages(fleet).values())


def test_a_repair_has_what_came_after_it(tmp_path: Path) -> None:
    """Cups changed on the day of the first log that is better: the repair brought the leak down."""
    history = kept(tmp_path, 1.0 / TORN)
    noted = Event(time_us=JAN_US + TORN_ON * DAY_US, station="Glaze 1", text="cups changed", whole_day=True)
    note_event(open_place(history), noted)
    repair = trend(history).stations[0].repair
    assert repair is not None
    assert repair.effects[LEAK] == (pytest.approx(4.07, rel=0.05), pytest.approx(0.258, rel=0.02))


def test_too_few_logs_are_said_to_be(tmp_path: Path) -> None:
    """Four logs, one log, none: how many there are and how many are needed, in grammar."""
    four = trend(kept(tmp_path / "four", np.full(4, 1.5)))
    assert digest_text(four).startswith("Too few logs to judge (4; 5 for a slope, 20 for an alarm).")
    assert headline(four) == "Too few logs to judge (4; 5 for a slope, 20 for an alarm)"
    one = trend(kept(tmp_path / "one", np.full(1, 1.5)))
    assert "As of 2025-01-01, 1 log.\n" in digest_text(one)
    pages = "".join(trend_pages(one).values())
    assert "1 log<" in pages
    assert "1 logs" not in pages


def test_a_history_without_logs(tmp_path: Path) -> None:
    """A history that holds an event alone, and one before its first log: no date of 1970, and how to add logs."""
    note_event(open_place(tmp_path / "noted"), Event(time_us=JAN_US, station="Glaze 1", text="cups changed"))
    none, before = trend(tmp_path / "noted"), trend(kept(tmp_path / "four", np.full(4, 1.5)), as_of_us=JAN_US - DAY_US)
    assert digest_text(none).startswith("No logs yet.\nThe history has no logs: add them with")
    assert digest_text(before).startswith("No logs yet.\nThe history has no logs by 2024-12-31:")
    for fleet in (none, before):
        assert headline(fleet) == "No logs yet"
        assert "1970" not in digest_text(fleet) + trend_pages(fleet)["report.html"]


def test_lines_of_the_digest_fit_a_mail(tmp_path: Path) -> None:
    """No line is longer than 80 characters, nothing is lost by it."""
    text = digest_text(trend(kept(tmp_path, TORN)))
    assert max(map(len, text.splitlines())) <= 80
    assert "to 3.88 on 2025-01-13" in " ".join(text.split())
