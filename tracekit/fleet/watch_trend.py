"""Alarms over time while watching: a log that was added makes its station's trend due, and a new alarm is told once.

Which trends are due and which alarms were told is noted beside the history, so that a restart loses and repeats
nothing. An alarm is the same as long as it stands: until its charts have come back to what is usual, or a repair was
confirmed. A limit that is exceeded is an alarm too, on few logs as well, until its measure is within. What the
stations of a supply group show at once is told once, of the group. While many logs wait, trends are found now and
then, not after each.
"""

import json
import time
from collections.abc import Mapping
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np

from tracekit.errors import OutputError, TracekitError
from tracekit.fleet.batch import SEVERITIES
from tracekit.fleet.watch_alarm import Notice, Say, Telling, send
from tracekit.frozen import dataclass
from tracekit.history.events import iso
from tracekit.history.place import Place
from tracekit.history.schema import digest
from tracekit.history.trend import trend
from tracekit.model.station import Station
from tracekit.model.trend import Alarm, LimitState, MeasureTrend, StationTrend
from tracekit.options.watch import WatchOptions

LIMIT = "limit"
"""Kind of the alarm that a limit is exceeded; its `usual` is the limit."""
DUE, TOLD = "trend-due", "trend-alarms"
_DAY_US = 86_400_000_000
_SEVERITY = "major"


def note_due(notes: Place, folder: Path, document: Mapping[str, object] | None, facts: tuple[str, str]) -> None:
    """Note that the trends of a diagnosis' stations are due; `facts` are name of the log's file and path of its page.

    Raises OutputError where that cannot be written.
    """
    stations = (document or {}).get("stations", ())
    for station in stations if isinstance(stations, list | tuple) else ():
        name = str(station["station"])
        body = {"schema": "tracekit.trend-due/1", "station": name, "file": facts[0], "page": facts[1]}
        notes.put(f"{DUE}/{_due_name(folder, name)}", json.dumps(body).encode())


def _due_name(folder: Path, station: str) -> str:
    return f"{digest([str(folder.resolve())], 16)}-{digest([station], 16)}.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """An alarm that stands now: of a station, or with `group` of all stations of a supply group."""

    station: str
    group: str
    trend: MeasureTrend
    alarm: Alarm

    @property
    def key(self) -> str:
        """Name of the note on it."""
        who = ["group", self.group] if self.group else ["station", self.station]
        return _key(who, self.trend.measure.name, limit=self.alarm.kind == LIMIT)

    @property
    def severity(self) -> str:
        """That of the measure's limit, where it has one."""
        return self.trend.limit.severity if self.trend.limit is not None else _SEVERITY

    def facts(self) -> dict[str, object]:
        """What is told of it."""
        who = {"supply_group": self.group} if self.group else {"station": self.station}
        return {
            **who, "measure": self.trend.measure.name, "title": self.trend.measure.title,
            "since": iso(self.alarm.time_us), "kind": self.alarm.kind, "rule": self.alarm.rule,
            "severity": self.severity, "unit": self.trend.measure.unit,
            "value": float(f"{self.alarm.value:.6g}"), "usual": float(f"{self.alarm.usual:.6g}"),
        }  # fmt: skip


def _key(who: list[str], measure: str, *, limit: bool = False) -> str:
    return f"{digest([*who, measure, *([LIMIT] if limit else [])], 32)}.json"


def _standing(station: StationTrend) -> list[Standing]:
    """The station's alarms that stand at its newest log, common ones as those of its group, and exceeded limits."""
    over = [
        Standing(station=station.station, group="", trend=measure, alarm=_over(measure, measure.limit))
        for measure in station.measures.values()
        if measure.limit is not None and measure.limit.state == "over"
    ]
    return over + [
        Standing(station=station.station, group=measure.alarms[-1].common, trend=measure, alarm=measure.alarms[-1])
        for measure in station.measures.values()
        if measure.in_alarm and measure.alarms
    ]


def _over(trend_of: MeasureTrend, limit: LimitState) -> Alarm:
    """An exceeded limit as an alarm since the first of the newest logs in a row that are beyond it."""
    beyond = trend_of.series.value * limit.side > limit.value * limit.side
    within = np.flatnonzero(~beyond)
    first = min(int(within[-1]) + 1 if within.size else 0, len(beyond) - 1)
    return Alarm(
        time_us=int(trend_of.series.time_us[first]), kind=LIMIT, value=float(trend_of.series.value[-1]),
        usual=limit.value, rule=f"over the limit {limit.value:g} of the {limit.source}",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """The note on an alarm: of when it is, whether somebody was told, whether it has ended since."""

    alarm_us: int
    told: bool = False
    ended: bool = False


@dataclass(frozen=True, slots=True)
class _ToldNotes:
    """The notes on alarms, by key."""

    place: Place

    def read(self, key: str) -> _Told | None:
        """The note of that key, None where there is none."""
        body = _read(self.place, f"{TOLD}/{key}")
        if body is None or not isinstance(body.get("alarm_us"), int):
            return None
        alarm_us = int(str(body["alarm_us"]))
        return _Told(alarm_us=alarm_us, told=body.get("told") is True, ended=body.get("ended") is True)

    def write(self, key: str, note: _Told) -> None:
        """Write it. Raises OutputError where it cannot be written."""
        body = {"schema": "tracekit.trend-alarm/1", **asdict(note)}
        self.place.put(f"{TOLD}/{key}", json.dumps(body).encode())


def _read(place: Place, name: str) -> dict[str, object] | None:
    """A note; None where it is gone or damaged: then it is as if it had never been."""
    try:
        body = json.loads(place.read(name))
    except (OSError, ValueError):
        return None
    return body if isinstance(body, dict) else None


class TrendWatch:
    """Finds trends that are due and tells of new alarms."""

    def __init__(
        self, history: str, files: Mapping[str, Station], notes: tuple[Place, Path], telling: Telling,
        options: WatchOptions,
    ) -> None:  # fmt: skip
        """Prepare; `notes` is where notes are kept, and the folder that is watched."""
        self._history, self._files, self._telling, self._options = history, files, telling, options
        self._place, self._folder = notes
        self._notes = _ToldNotes(self._place)
        self._next_s = 0.0

    def look(self, say: Say, *, now: bool = False) -> None:
        """Find the trends that are due, unless that was done of late (with `now` in any case), and tell what is new.

        With `now` raises OutputError where notes cannot be written; else that is said, and tried again later.
        """
        begun_s = time.monotonic()
        due = self._due() if now or begun_s >= self._next_s else {}
        if not due:
            return
        try:
            failed = not self._all_told(due, say)
        except TracekitError as error:
            say("cannot_trend", {"stations": sorted(due), "reason": str(error)})
            if now and isinstance(error, OutputError):
                raise
            failed = True
        least_s = self._options.longest_pause_s if failed else self._options.trend_least_s
        now_s = time.monotonic()
        self._next_s = now_s + max(least_s, (now_s - begun_s) / self._options.trend_share)

    def _due(self) -> dict[str, tuple[str, str]]:
        """Stations whose trends are due, each with file and page of its newest log."""
        bodies = [_read(self._place, f"{DUE}/{name}") for name in self._place.names(DUE) if self._is_mine(name)]
        return {str(b.get("station")): (str(b.get("file", "")), str(b.get("page", ""))) for b in bodies if b}

    def _is_mine(self, name: str) -> bool:
        return name.startswith(digest([str(self._folder.resolve())], 16)) and name.endswith(".json")

    def _all_told(self, due: Mapping[str, tuple[str, str]], say: Say) -> bool:
        """Tell what is new of the stations that are due. False where telling failed and is to be tried again."""
        fleet = trend(self._history, stations=self._files, only=due.keys())
        by_name = {station.station: station for station in fleet.stations}
        undone = {n for n, log in due.items() if n in by_name and not self._told(by_name[n], log, say)}
        for name in due.keys() - undone:
            self._place.delete(f"{DUE}/{_due_name(self._folder, name)}")
        return not undone

    def _told(self, station: StationTrend, log: tuple[str, str], say: Say) -> bool:
        """Tell of one station's new alarms. False where nobody could be told."""
        self._note_ended(station)
        standing = _standing(station)
        for one in standing:
            if self._is_new(one):
                say("trend_alarm", {"file": log[0], **one.facts()})
                self._notes.write(one.key, _Told(alarm_us=one.alarm.time_us))
        wanted = [(one, note) for one in standing if (note := self._untold(one)) is not None]
        if not wanted:
            return True
        worst = max((one.severity for one, _ in wanted), key=SEVERITIES.index)
        alarms = tuple(one.facts() for one, _ in wanted)
        notice = Notice(file=log[0], page=log[1], severity=worst, alarms=alarms)
        if not send(self._telling, notice, self._options, say):
            return False
        for one, note in wanted:
            self._notes.write(one.key, replace(note, told=True))
        return True

    def _note_ended(self, station: StationTrend) -> None:
        """Note of those of the station's own alarms that no longer stand that they have ended."""
        for name, measure in station.measures.items():
            over = measure.limit is not None and measure.limit.state in ("over", "may be over", "unknown")
            for stands, limit in ((measure.in_alarm, False), (over, True)):
                key = _key(["station", station.station], name, limit=limit)
                note = None if stands else self._notes.read(key)
                if note is not None and not note.ended:
                    self._notes.write(key, replace(note, ended=True))

    def _is_new(self, one: Standing) -> bool:
        note = self._notes.read(one.key)
        if note is None:
            return True
        if one.alarm.kind == LIMIT:
            return note.ended
        later_us = one.alarm.time_us - note.alarm_us
        return later_us > (0 if note.ended else self._options.same_alarm_days * _DAY_US)

    def _untold(self, one: Standing) -> _Told | None:
        """The note on an alarm that somebody is to be told of, None where nobody is."""
        if not self._telling.anybody or one.severity not in self._telling.severities:
            return None
        note = self._notes.read(one.key)
        return None if note is None or note.told else note
