"""Digitals that stand in a second file: their times and levels, laid under the samples of the first."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.station import Channel, Station
from tracekit.model.trace import Assumption
from tracekit.options.evidence import EVIDENCE
from tracekit.read.clock import Samples
from tracekit.read.clockcolumns import with_packed_clocks
from tracekit.read.convert import BITS, LevelReader, Missing, Portion, Rejected
from tracekit.read.dateorder import with_date_order
from tracekit.read.digitals import ROLES, LevelPlan, by_name, find_digitals
from tracekit.read.events import EventPlan, EventReader, find_events, with_starts
from tracekit.read.head import Head, finite
from tracekit.read.opened import Opened
from tracekit.read.plan import Plan, StationPlan
from tracekit.read.pressure import PressurePlan
from tracekit.read.rounding import assumption, with_rounding
from tracekit.read.timeplan import TimePlan, plan_time, seconds_of
from tracekit.read.timeread import TimeReader

_SAME_S = 5e-6  # stamps of two files that are the same may differ by what their shift is rounded to


@dataclass(frozen=True, slots=True, kw_only=True)
class SideFile:
    """A file of digitals, and the plan by which it is read.

    events  where it has a row per change of one of them
    even    its rows come in even steps: they are samples, not changes
    """

    opened: Opened
    plan: Plan
    digitals: Mapping[str, LevelPlan]
    assumptions: tuple[Assumption, ...]
    events: EventPlan | None = None
    even: bool = False

    def late_s(self, typical_s: float) -> float:
        """By how much its edges may come late: its rows are written in even steps, less often than samples [s]."""
        own_s = self.plan.time.typical_s
        often = self.events is not None or own_s <= EVIDENCE.slow_digitals * typical_s or not self.even
        return 0.0 if often else own_s

    def slower_than(self, typical_s: float) -> str:
        """What to tell of edges that come late; nothing where none do."""
        own_s = self.late_s(typical_s)
        if not own_s:
            return ""
        return (
            f"the digitals of {self.opened.head.name} are written every {own_s:.3g} s, the pressure every "
            f"{typical_s:.3g} s: their edges come up to {own_s:.3g} s late"
        )


def side_file(opened: Opened, station: Station, missing_roles: tuple[str, ...]) -> SideFile | None:
    """A file as one that holds digitals in roles that the main file lacks; None where it does not."""
    head = with_date_order(with_packed_clocks(opened.head), station.channels.get("time"))
    events = find_events(head, station, missing_roles)
    if events is not None:
        return _listed(opened, head, station, events)
    time, _ = plan_time(head, _channel(head, station.channels.get("time")))
    if time is None:
        return None
    free = find_digitals([c for c in head.columns if c.name not in time.columns])
    given = {r: station.channels[r].column for r in ROLES if r in station.channels}
    chosen: dict[str, LevelPlan] = {r: d.plan for r, name in given.items() for d in free if d.name == name}
    named = by_name([d for d in free if d.plan not in chosen.values()])
    for role, digital in named.items():
        chosen.setdefault(role, digital.plan)
    chosen = {role: plan for role, plan in chosen.items() if role in missing_roles}
    if not chosen:
        return None
    time = with_rounding(head, time)
    used = {*time.columns, *(p.column for p in chosen.values())}
    station_plan = StationPlan(name="", pressure=PressurePlan(column=""), digitals=chosen)
    columns = {c.name: c for c in head.columns if c.name in used}
    facts = [
        Assumption(what=role, value=f"{p.column} in {head.name}", evidence="name in a second file", confidence=0.95)
        for role, p in chosen.items()
    ]
    time_fact = replace(assumption(time), what=f"time in {head.name}")
    plan = Plan(time=time, stations=(station_plan,), columns=columns)
    steps = np.diff(finite(seconds_of(head, time)))
    even = len(steps) > 0 and bool(np.median(np.abs(steps - np.median(steps))) < EVIDENCE.even_steps * np.median(steps))
    return SideFile(opened=opened, plan=plan, digitals=chosen, assumptions=(time_fact, *facts), even=even)


def _listed(opened: Opened, head: Head, station: Station, events: EventPlan) -> SideFile | None:
    """A file with a row per change of a digital."""
    bare = replace(head, columns=tuple(c for c in head.columns if c.name not in (events.signal, events.level)))
    time, _ = plan_time(bare, _channel(head, station.channels.get("time")))
    if time is None:
        return None
    events = with_starts(events, head, seconds_of(head, time))
    digitals = {role: LevelPlan(column=name, kind="word") for role, name in events.names.items()}
    facts = [
        Assumption(what=role, value=f"{name} in {head.name}", evidence="listed in a second file", confidence=0.95)
        for role, name in events.names.items()
    ]
    used = {*time.columns, events.signal, *([events.level] if events.level else [])}
    plan = Plan(time=time, stations=(), columns={c.name: c for c in head.columns if c.name in used})
    time_fact = replace(assumption(time), what=f"time in {head.name}")
    return SideFile(opened=opened, plan=plan, digitals=digitals, assumptions=(time_fact, *facts), events=events)


def left_aside(table: Opened) -> Iterator[Portion]:
    """The rows of a table that adds nothing to the station, each accounted for as rejected."""
    columns = {c.name: c for c in table.head.columns[:1]}
    plan = Plan(time=TimePlan(kind="row", columns=()), stations=(), columns=columns)
    reason = "another table, which holds no channel of the station"
    for rows in table.rows(plan):
        lines = rows.line_of(np.arange(rows.count))
        rejected = [(r.reason, np.array(r.first_lines, np.int64), r.rows) for r in rows.rejected]
        count = rows.count + sum(r.rows for r in rows.rejected)
        yield Portion(stations=(), rows_read=count, rejected=((reason, lines, rows.count), *rejected))


def _channel(head: Head, given: Channel | None) -> Channel | None:
    """The station file's time channel where this file has that column."""
    return given if given is not None and given.column and head.column(given.column) is not None else None


class SideReader:
    """Gives the levels of a second file at the times of samples, which must come in rising time."""

    def __init__(self, side: SideFile, shift_s: float) -> None:
        """Read from the start; `shift_s` is added to the second file's times [s]."""
        self._side = side
        self._shift_s = shift_s
        self._time = TimeReader(side.plan.time, side.plan.columns)
        plans = {} if side.events is not None else side.digitals
        self._readers = [LevelReader(role, plan, side.plan.columns) for role, plan in plans.items()]
        self._roles = tuple(plans)
        self._events = EventReader(side.events, side.plan.columns) if side.events is not None else None
        starts = side.events.starts if side.events is not None else {}
        self._start = np.uint8(sum(BITS[role] for role, level in starts.items() if level))
        self._rows = side.opened.rows(side.plan)
        self._times: NDArray[np.float64] = np.empty(0)
        self._levels: NDArray[np.uint8] = np.empty(0, np.uint8)
        self._done = False
        self._count = 0
        self._rejected: Rejected = []
        self._missing: Missing = []
        self._end_s = self._last_s = -np.inf

    def ends_early(self) -> str:
        """What to tell where samples go on after a file of levels has ended; nothing of one that lists changes."""
        over_s = self._last_s - self._end_s
        if not self._side.even or not np.isfinite(over_s) or over_s < EVIDENCE.ends_early_s:
            return ""
        return (
            f"the digitals of {self._side.opened.head.name} end {over_s:.1f} s before the pressure does: "
            "what comes after is read with the last levels, and no cycle of it is measured"
        )

    def under(self, samples: Samples) -> Samples:
        """Samples with the digitals of the second file; before its first row they are 0, or what its events change."""
        if len(samples) == 0:
            return samples
        self._last_s = max(self._last_s, float(samples.time_s.max()))
        self._advance(self._last_s)
        place = np.searchsorted(self._times, samples.time_s + _SAME_S, side="right") - 1
        levels = self._levels[np.maximum(place, 0)] if len(self._levels) else np.zeros(len(samples), np.uint8)
        digital = samples.digital | np.where(place >= 0, levels, self._start)
        return replace(samples, digital=digital)

    def _advance(self, until_s: float) -> None:
        """Read on until the second file is past a time; forget what lies long before it."""
        while not self._done and (len(self._times) == 0 or self._times[-1] <= until_s):
            rows = next(self._rows, None)
            if rows is None:
                self._done = True
                return
            lines = rows.lines if rows.lines is not None else np.arange(rows.first_line, rows.first_line + rows.count)
            time_s = self._time.read(rows) + self._shift_s
            packed = np.zeros(rows.count, np.uint8) if self._events is None else self._events.read(rows.columns)
            for role, reader in zip(self._roles, self._readers, strict=True):
                packed |= reader.read(rows.columns, lines, self._missing).view(np.uint8) * np.uint8(BITS[role])
            good = np.isfinite(time_s)
            if not good.all():
                self._rejected.append(("no time, or none that can be read", lines[~good], int((~good).sum())))
            self._rejected += [(r.reason, np.array(r.first_lines, np.int64), r.rows) for r in rows.rejected]
            self._count += rows.count + sum(r.rows for r in rows.rejected)
            old = max(len(self._times) - 1, 0) if len(self._times) and self._times[-1] < until_s - 60 else 0
            self._times = np.maximum.accumulate(np.concatenate([self._times[old:], time_s[good]]))
            self._levels = np.concatenate([self._levels[old:], packed[good]])
            self._end_s = float(self._times[-1]) if len(self._times) else self._end_s

    def account(self) -> Portion:
        """What was read since the last call, as a portion without samples."""
        rejected = tuple((f"{reason} ({self._side.opened.source.name})", at, n) for reason, at, n in self._rejected)
        portion = Portion(stations=(), rows_read=self._count, rejected=rejected, missing=tuple(self._missing))
        self._count, self._rejected, self._missing = 0, [], []
        return portion

    def rest(self) -> Iterator[Portion]:
        """Read to the end, so that every row is accounted for."""
        self._advance(np.inf)
        yield self.account()
