"""Alarms over time while watching: told once each, by station or by supply group, whatever happens in between."""

import json
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from history.made_up_records import DAY_US, JAN_US, cycles_table, facts_of, log_id_of, record_of, station_result

from tracekit.fleet import watch as watching
from tracekit.fleet import watch_trend
from tracekit.fleet.batch import Job, Outcome
from tracekit.fleet.watch import Watch, watch
from tracekit.fleet.watch_alarm import Telling
from tracekit.fleet.watch_trend import DUE, TOLD, TrendWatch, note_due
from tracekit.history.add import add_record
from tracekit.history.events import note_event
from tracekit.history.good import NoGoodLogError
from tracekit.history.place import LocalPlace
from tracekit.model.station import Limit, Station, StationFacts
from tracekit.model.trend import Event
from tracekit.options.watch import WatchOptions

QUICK = WatchOptions(poll_s=0.01, settle_s=0.0, bad_s=0.0)
GROUP = ("Glaze 1", "Glaze 2", "Glaze 3")
USUAL = 24


class Told:
    """What the watch said; what its command was told stands in a file."""

    def __init__(self, file: Path) -> None:
        self.events: list[tuple[str, dict[str, object]]] = []
        self.file = file

    def __call__(self, event: str, facts: Mapping[str, object]) -> None:
        """Keep one event."""
        json.dumps(facts)
        self.events.append((event, dict(facts)))

    def alarms(self) -> list[dict[str, object]]:
        """Facts of the alarms that were said."""
        return [facts for name, facts in self.events if name == "trend_alarm"]

    def by_command(self) -> list[str]:
        """Stations, supply groups and measures of each run of the command."""
        return self.file.read_text().splitlines() if self.file.exists() else []

    def command(self) -> tuple[str, ...]:
        """Writes a line per run."""
        names = (
            "TRACEKIT_STATIONS",
            "TRACEKIT_SUPPLY_GROUPS",
            "TRACEKIT_ALARMS",
            "TRACEKIT_SEVERITY",
            "TRACEKIT_FINDINGS",
        )
        line = f"'|'.join(os.environ[n] for n in {names!r})"
        return (sys.executable, "-c", f"import os; open({str(self.file)!r}, 'a').write({line} + chr(10))")


def add(history: str, number: int, station: str, values: Mapping[str, float], file: Station | None = None) -> None:
    """Add the log of that day to the history; scatter of 3 % in every value."""
    rng = np.random.default_rng([number, *station.encode()])
    log_id = log_id_of(number * 100 + int(station[-1]))
    scattered = {name: value * float(np.exp(0.03 * rng.normal())) for name, value in values.items()}
    result = station_result(cycles_table(log_id, station, values=scattered))
    add_record(history, record_of(result, facts=facts_of(log_id, JAN_US + number * DAY_US)), stations=file)


def file_of(station: str) -> Station:
    """A station file: all stations are of one supply group."""
    return Station(station=StationFacts(name=station, supply_group="line A"))


def stand_in(job: Job) -> Outcome:
    """Adds what the dropped file says: day, station, values."""
    day, station, values = json.loads(Path(job.log).read_text())
    file = next((s for s in job.stations if s.station.name == station), None)
    add(job.history, day, station, values, file)
    return Outcome(
        log=job.log, document={"logs": [{"log_id": "x"}], "stations": [{"station": station, "findings": []}]}
    )


@pytest.fixture
def told(tmp_path: Path) -> Told:
    return Told(tmp_path / "told.txt")


@pytest.fixture
def watched(tmp_path: Path, told: Told, monkeypatch: pytest.MonkeyPatch) -> Watch:
    """A folder to watch beside a history; the main job is the stand-in."""
    monkeypatch.setattr(watching, "run_job", stand_in)
    (tmp_path / "drop").mkdir()
    history = tmp_path / "history"
    return Watch(
        folder=tmp_path / "drop", template=Job(log="", folder=tmp_path, history=str(history)), out=tmp_path / "out",
        notes=LocalPlace(history), telling=Telling(command=told.command()), options=QUICK,
    )  # fmt: skip


def usual(
    watched: Watch, station: str = "Glaze 1", file: Station | None = None, days: int = USUAL, **values: float
) -> None:
    """Days on which all is as usual."""
    for day in range(days):
        add(watched.template.history, day, station, values or {"decay_rate_kpa_s": 1.5}, file)


def drop(watched: Watch, say: Told, day: int, station: str = "Glaze 1", **values: float) -> None:
    """Drop one log and watch once: every call is a restart."""
    (watched.folder / f"{day}-{station}.csv").write_text(
        json.dumps([day, station, values or {"decay_rate_kpa_s": 1.5}])
    )
    watch(watched, say, once=True)


def test_an_alarm_is_told_once_and_again_after_a_repair(watched: Watch, told: Told) -> None:
    """A leak that grows is told at one log; not at the next, nor after restarts; after a repair, once more."""
    usual(watched)
    drop(watched, told, 24)
    assert told.alarms() == []
    add(watched.template.history, 25, "Glaze 1", {"decay_rate_kpa_s": 2.5})
    for day in range(26, 30):
        drop(watched, told, day, decay_rate_kpa_s=2.5)
    (alarm,) = told.alarms()
    assert (alarm["station"], alarm["measure"], alarm["severity"]) == ("Glaze 1", "decay_rate_kpa_s", "major")
    assert float(str(alarm["value"])) > 1.5 * float(str(alarm["usual"]))
    assert told.by_command() == ["Glaze 1||decay_rate_kpa_s|major|"]
    note_event(
        watched.notes, Event(time_us=JAN_US + 30 * DAY_US - 3_600_000_000, station="Glaze 1", text="cup changed")
    )
    for day in range(30, 54):
        add(watched.template.history, day, "Glaze 1", {"decay_rate_kpa_s": 1.5})
    drop(watched, told, 54)
    assert len(told.alarms()) == 1
    for day in range(55, 59):
        drop(watched, told, day, decay_rate_kpa_s=2.5)
    assert len(told.alarms()) == 2
    assert len(told.by_command()) == 2


def test_what_failed_or_was_cut_short_is_told_at_the_next_start(watched: Watch, told: Told) -> None:
    """A command that fails, and a program killed between adding and telling: the next start tells, with no new log."""
    usual(watched)
    for day in range(24, 28):
        add(watched.template.history, day, "Glaze 1", {"decay_rate_kpa_s": 2.5})
    note_due(watched.notes, watched.folder, {"stations": [{"station": "Glaze 1"}]}, ("27.csv", ""))
    failing = replace(watched, telling=Telling(command=(sys.executable, "-c", "raise SystemExit(1)")))
    watch(failing, told, once=True)
    assert [name for name, _ in told.events] == ["watching", "trend_alarm", "command_ran"]
    watch(watched, told, once=True)
    watch(watched, told, once=True)
    assert len(told.alarms()) == 1
    assert told.by_command() == ["Glaze 1||decay_rate_kpa_s|major|"]
    assert watched.notes.names(DUE) == []


def test_a_weak_line_is_told_of_the_group(watched: Watch, told: Told) -> None:
    """When evacuation slows at all stations of a supply group, the group is told once; at most two stations before it shows."""
    grouped = replace(watched, template=replace(watched.template, stations=tuple(file_of(s) for s in GROUP)))
    for station in GROUP:
        usual(grouped, station, file_of(station), evacuation_time_s=0.2)
    for day in range(24, 29):
        for station in GROUP[1:]:
            (grouped.folder / f"{day}-{station}.csv").write_text(json.dumps([day, station, {"evacuation_time_s": 0.3}]))
        drop(grouped, told, day, GROUP[0], evacuation_time_s=0.3)
    groups = [alarm for alarm in told.alarms() if "supply_group" in alarm]
    assert [(a["supply_group"], a["measure"]) for a in groups] == [("line A", "evacuation_time_s")]
    assert len(told.alarms()) <= 3
    assert told.by_command().count("|line A|evacuation_time_s|major|") == 1


def test_alarms_below_the_asked_severity_are_said_only(watched: Watch, told: Told) -> None:
    """With --alarm-on critical an alarm is an event, and told where the limit of its measure is critical."""
    strict = replace(watched, telling=replace(watched.telling, severities=("critical",)))
    usual(strict)
    for day in range(24, 28):
        drop(strict, told, day, decay_rate_kpa_s=2.5)
    assert len(told.alarms()) == 1
    assert told.by_command() == []
    limit = {"decay_rate_kpa_s": Limit(max=9.0, severity="critical")}
    file = Station(station=StationFacts(name="Glaze 1"), limits=limit)
    critical = replace(strict, template=replace(strict.template, stations=(file,)))
    drop(critical, told, 28, decay_rate_kpa_s=2.5)
    assert told.by_command() == ["Glaze 1||decay_rate_kpa_s|critical|"]
    assert len(told.alarms()) == 1


def test_a_limit_that_is_exceeded_is_told_once(watched: Watch, told: Told) -> None:
    """On the second log already, with the limit's severity; not again while it stands, and anew once it was within."""
    limit = {"decay_rate_kpa_s": Limit(max=2.0, severity="critical")}
    file = Station(station=StationFacts(name="Glaze 1"), limits=limit)
    limited = replace(watched, template=replace(watched.template, stations=(file,)))
    drop(limited, told, 0, decay_rate_kpa_s=1.5)
    assert told.alarms() == []
    for day in (1, 2, 3):
        drop(limited, told, day, decay_rate_kpa_s=3.0)
    (alarm,) = told.alarms()
    assert (alarm["kind"], alarm["severity"], alarm["usual"]) == ("limit", "critical", 2.0)
    assert alarm["since"] == "2025-01-02T00:00:00Z"
    assert alarm["rule"] == "over the limit 2 of the station file"
    assert told.by_command() == ["Glaze 1||decay_rate_kpa_s|critical|"]
    for day in (4, 5, 6, 7, 8, 9):
        drop(limited, told, day, decay_rate_kpa_s=1.0)
    assert len(told.alarms()) == 1
    for day in (10, 11, 12, 13, 14, 15):
        drop(limited, told, day, decay_rate_kpa_s=3.0)
    assert len([a for a in told.alarms() if a["kind"] == "limit"]) == 2


def test_an_alarm_of_long_ago_that_is_dated_anew_is_the_same(watched: Watch, told: Told) -> None:
    """A note of the same alarm dated some days earlier keeps it from being told; a damaged note does not end the watch."""
    usual(watched)
    for day in range(24, 28):
        drop(watched, told, day, decay_rate_kpa_s=2.5)
    (name,) = watched.notes.names(TOLD)
    note = json.loads(watched.notes.read(f"{TOLD}/{name}"))
    watched.notes.put(f"{TOLD}/{name}", json.dumps({**note, "alarm_us": note["alarm_us"] - 5 * DAY_US}).encode())
    drop(watched, told, 28, decay_rate_kpa_s=2.5)
    assert len(told.alarms()) == 1
    watched.notes.put(f"{TOLD}/{name}", b"{]")
    drop(watched, told, 29, decay_rate_kpa_s=2.5)
    assert len(told.alarms()) == 2


def test_waiting_logs_are_not_held_up_by_trends(watched: Watch, told: Told, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of ten logs that wait, the trends are found at the first and at the end, not ten times; a broken history is said."""
    usual(watched, days=3)
    runs = []
    original = watch_trend.trend
    monkeypatch.setattr(watch_trend, "trend", lambda *a, **k: runs.append(1) or original(*a, **k))
    for day in range(3, 12):
        (watched.folder / f"{day}.csv").write_text(json.dumps([day, "Glaze 1", {}]))
    drop(watched, told, 12)
    assert len(runs) == 2
    note_due(watched.notes, watched.folder, {"stations": [{"station": "Glaze 1"}]}, ("12.csv", ""))
    trends = TrendWatch(str(watched.folder / "none"), {}, (watched.notes, watched.folder), watched.telling, QUICK)
    trends.look(told)
    assert told.events[-1][0] == "cannot_trend"
    told.events.clear()
    trends.look(told)
    assert told.events == []


def test_the_last_good_log_is_the_baseline_once_there_is_one(
    watched: Watch, told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With --baseline last-good a first log is done without one, the next with it."""
    used: list[str | None] = []

    def needing(job: Job) -> Outcome:
        if job.baseline == "last-good" and not used:
            used.append(None)
            raise NoGoodLogError("no good log")
        used.append(job.baseline)
        return stand_in(job)

    monkeypatch.setattr(watching, "run_job", needing)
    compared = replace(watched, template=replace(watched.template, baseline="last-good"))
    drop(compared, told, 1)
    drop(compared, told, 2)
    assert used == [None, None, "last-good"]
    assert [name for name, _ in told.events].count("done") == 2
