"""An opened log: blocks of samples once through, then the facts about it."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import LogReadError, UsageError, message
from tracekit.frozen import dataclass
from tracekit.model.station import Channel
from tracekit.model.trace import Block, DigitalLag, Layout, LogFacts, Rejection
from tracekit.options.evidence import EVIDENCE
from tracekit.options.read import ReadOptions
from tracekit.read.apart import Misplaced, refused_as_misplaced
from tracekit.read.changed import OTHER_UNIT, refused_as_glued, refused_as_other_unit, refused_as_turned, turned_at
from tracekit.read.clock import DOUBLE, STRAY, Clock, Samples
from tracekit.read.convert import Portion
from tracekit.read.lag import LagWatch
from tracekit.read.moved import Mover
from tracekit.read.pairs import Merger
from tracekit.read.plan import Plan
from tracekit.read.tally import Losses, Thinned, quantisation
from tracekit.read.timeread import Spreader
from tracekit.read.unordered import fit_together, told_stretches


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending:
    """What is known only after the last row: functions that are called once then."""

    log_id: Callable[[], str]
    start_time_us: Callable[[], int | None]
    steps: Callable[[], tuple[tuple[float, float], ...]]
    context: Callable[[], Mapping[str, tuple[str, ...]]]
    warnings: Callable[[], tuple[str, ...]]


class Log:
    """What `open_log` gives back; see `model.trace.LogSource`. `plan` is what was decided about the file."""

    def __init__(
        self,
        *,
        layout: Layout,
        plan: Plan,
        source: str,
        portions: Iterator[Portion],
        ending: Ending,
        options: ReadOptions,
        time: Channel | None = None,
        late_s: float = 0.0,
        named: bool = False,
    ) -> None:
        """Take the decoded rows and what is needed to finish them.

        time    how the station file says that time is read
        late_s  by how much digitals of the same file are late, as it says [s]
        named   it says which signal of the same file is the supply
        """
        self.plan = plan
        self._layout = layout
        self._source = source
        self._portions = portions
        self._ending = ending
        self._context = plan.context
        self._options = options
        self._time = time
        self._named = named
        self._clocks = [Clock(plan.time.typical_s, options) for _ in layout.stations]
        self._spreaders = [Spreader(plan.time) for _ in layout.stations]
        self._mergers = [Merger() for _ in layout.stations] if plan.stamp_rows > 1 else []
        self._lags = [
            LagWatch(name, len(layout.stations), _zero_kpa(plan, place)) for place, name in enumerate(layout.stations)
        ]
        self._movers = [Mover(late_s) for _ in layout.stations] if late_s else []
        self._losses = Losses(options.lines_kept)
        self._missing = Losses(options.lines_kept)
        self._intervals = Thinned(options.sample_size)
        self._pressures = Thinned(options.sample_size)
        self._rows_read = 0
        self._longest_s = self._end_s = 0.0
        self._first_s = [np.nan] * len(layout.stations)
        self._last_s = [np.nan] * len(layout.stations)
        self._shared = False
        self._state = "unread"
        self._found_lags: tuple[DigitalLag, ...] = ()
        self._misplaced: tuple[str, ...] = ()
        self._log_id = ""

    @property
    def layout(self) -> Layout:
        """What was understood of the log."""
        return self._layout

    @property
    def source(self) -> str:
        """Base names of the files."""
        return self._source

    @property
    def rows_read(self) -> int:
        """Rows read so far, good and bad; with blocks made ahead, those of the blocks to come among them."""
        return self._rows_read

    def blocks(self) -> Iterator[Block]:
        """The samples, once, in bounded memory.

        Raises LogReadError at the end where most rows were in no order of time, or stretches of them in another one,
        where pressures are written otherwise from some row on, and where digitals stand at another time than they.
        """
        if self._state != "unread":
            raise UsageError(message(self._source, "already read", "one pass", "Open the log again."))
        self._state = "reading"
        for portion in self._portions:
            self._account(portion)
            for station, samples in enumerate(portion.stations):
                if samples is not None:
                    spread = self._spreaders[station].spread(samples.time_s)
                    samples = samples if spread is samples.time_s else replace(samples, time_s=spread)
                    samples = self._mergers[station].feed(samples) if self._mergers else samples
                    yield from self._finish(station, self._clocks[station].feed(samples))
        for station, clock in enumerate(self._clocks):
            rest = _nothing(len(self._context))
            rest = self._mergers[station].feed(rest, last=True) if self._mergers else rest
            yield from self._finish(station, clock.feed(rest, last=True), last=True)
        self._check_order()
        shown = self._pressures.values if len(self._clocks) == 1 else np.empty(0)
        _check_readings(self._source, self._missing, self._rows_read, shown, self._end_s)
        # here and not in facts: blocks are made ahead, while the last ones are still being analysed
        looked = [watch.found() for watch in self._lags]
        glued = next((one.glued for one in looked if one.glued), "")
        if glued:
            raise refused_as_glued(self._source, glued)
        self._found_lags = tuple(lag for one in looked for lag in one.lags)
        sure = not self._named and not any(s.pressure.doubts for s in self.plan.stations)
        misplaced = [one.misplaced for one in looked if one.misplaced is not None]
        self._misplaced = _misplaced(self._source, misplaced, self._time, sure=sure)
        self._log_id = self._ending.log_id()
        self._state = "read"

    def _check_order(self) -> None:
        """Raise LogReadError where most rows went back in time, or stretches of them fit together in another order.

        What is left of them is no recording; the first rows, by which they would have been sorted, do not show it.
        """
        strays = self._all_losses().count(STRAY)
        if strays > EVIDENCE.most_strays * self._rows_read:
            found = f"{strays} of {self._rows_read} rows whose time goes back: they are not in the order of time"
            raise LogReadError(message(self._source, found, "rows in the order of time", _SORT))
        for clock, first_s, last_s in zip(self._clocks, self._first_s, self._last_s, strict=True):
            if not clock.steps or clock.restarts or clock.more_gaps:
                continue
            stretches = told_stretches(first_s, last_s, clock.gaps, clock.steps, self.plan.time.typical_s)
            if fit_together(stretches, self.plan.time.typical_s):
                found = f"{len(stretches)} stretches of rows that stand in another order than their times"
                raise LogReadError(message(self._source, found, "rows in the order of time", _SORT))

    def _account(self, portion: Portion) -> None:
        self._rows_read += portion.rows_read
        self._shared |= portion.shared
        for reason, lines, count in portion.rejected:
            self._losses.add(reason, lines, count)
        for reason, lines in portion.missing:
            self._missing.add(reason, lines)

    def _finish(self, station: int, samples: Samples, *, last: bool = False) -> Iterator[Block]:
        """Statistics of samples that are final, and the block of them; digitals are moved to their time before."""
        samples = self._movers[station].feed(samples, last=last) if self._movers else samples
        if len(samples) == 0:
            return
        last_s = self._last_s[station]
        if np.isnan(last_s):
            self._first_s[station] = float(samples.time_s[0])
        intervals = _steps_from(last_s, samples.time_s)
        if len(intervals):
            self._intervals.add(intervals)
            self._longest_s = max(self._longest_s, float(intervals.max()))
        self._pressures.add(samples.pressure_kpa)
        self._last_s[station] = float(samples.time_s[-1])
        self._end_s = max(self._end_s, float(samples.time_s[-1]))
        block = Block(
            station=station,
            time_s=samples.time_s,
            pressure_kpa=samples.pressure_kpa,
            digital=samples.digital,
            context=dict(zip(self._context, samples.context, strict=True)),
        )
        self._lags[station].feed(block)
        yield block

    def facts(self) -> LogFacts:
        """Facts about the whole log; only after `blocks` is exhausted."""
        if self._state != "read":
            raise UsageError(message(self._source, "not read to its end", "facts after the blocks", "Read them first."))
        losses = self._all_losses()
        rejections = losses.rejections()
        intervals = self._intervals.values
        clocks = self._clocks[:1] if self._shared else self._clocks
        lags = self._found_lags
        return LogFacts(
            log_id=self._log_id,
            source=self._source,
            rows_read=self._rows_read,
            rows_used=self._rows_read - sum(r.rows for r in rejections),
            rejections=rejections,
            start_time_us=self._ending.start_time_us(),
            duration_s=self._end_s,
            interval_median_s=float(np.median(intervals)) if len(intervals) else 0.0,
            interval_p95_s=float(np.quantile(intervals, 0.95)) if len(intervals) else 0.0,
            interval_max_s=self._longest_s,
            quantisation_kpa=quantisation(self._pressures.values),
            gaps=tuple(g for clock in clocks for g in clock.gaps),
            clock_steps=(*self._ending.steps(), *(s for clock in clocks for s in clock.steps)),
            warnings=(
                *self._ending.warnings(),
                *self._missing_warnings(),
                *_rejected_warnings(rejections, self._rows_read),
                *(_lag_warning(lag, lags) for lag in lags),
                *self._misplaced,
            ),
            duplicates=sum(clock.losses.count(DOUBLE) for clock in clocks),
            digital_lags=lags,
            context_values=self._ending.context(),
        )

    def _all_losses(self) -> Losses:
        losses = Losses(self._options.lines_kept)
        losses.merge(self._losses)
        for clock in self._clocks[:1] if self._shared else self._clocks:
            losses.merge(clock.losses)
        return losses

    def _missing_warnings(self) -> list[str]:
        more = sum(clock.more_gaps for clock in self._clocks)
        unlisted = [f"{more} more gaps are not listed"] if more else []
        restarts = [r for clock in (self._clocks[:1] if self._shared else self._clocks) for r in clock.restarts]
        return [*map(restart_warning, restarts[:RESTARTS_TOLD]), *unlisted] + [
            f"{r.rows} rows: {r.reason} (first in lines {', '.join(map(str, r.first_lines))})"
            for r in self._missing.rejections()
        ]


def _zero_kpa(plan: Plan, place: int) -> float:
    """How far the zero of a station's readings lies below that of its gauge pressure: ambient, or nothing."""
    pressure = plan.stations[min(place, len(plan.stations) - 1)].pressure
    return pressure.ambient_kpa or 0.0 if pressure.absolute else 0.0


_SORT = "Sort them and read again."
RESTARTS_TOLD = 5  # one by one; all are among the clock's steps
_LATE = {
    "supply": "response_delay_s, evacuation_time_s and the decay of coasts between its edges are wrong by that or more",
    "release": "release_time_s and the ends of holds are wrong by that or more",
}


def restart_warning(restart: tuple[float, float]) -> str:
    """What a reader should know of a pause that is assumed, by the last time before it and its length [s]."""
    return (
        f"time starts again after {restart[0]:.2f} s: how long the log paused there is not known; "
        f"a gap of {restart[1]:.3g} s is assumed, and all later times rest on it"
    )


def _check_readings(source: str, missing: Losses, rows: int, kpa: NDArray[np.float64], end_s: float) -> None:
    """Raise LogReadError where pressures are written in another sense or unit from some row on.

    kpa  of the only station, thinned, in the order of time, shape (n,); empty where there are several
    """
    other = next((r for r in missing.rejections() if r.reason == OTHER_UNIT), None)
    if other is not None and other.rows > EVIDENCE.other_unit_rows * rows:
        raise refused_as_other_unit(source, other.rows, rows, other.first_lines)
    share = turned_at(kpa)
    if share is not None:
        raise refused_as_turned(source, share, end_s)


def _misplaced(source: str, found: Sequence[Misplaced], time: Channel | None, *, sure: bool) -> tuple[str, ...]:
    """What to tell of digitals that stand at another time than their pressure.

    time  how the station file says that time is read: digitals that it says to be right are told of alone
    sure  neither the sense of the pressure nor the supply was given against what the rows show
    Raises LogReadError where digitals are so far from their time that no cycle can be told as they stand.
    """
    for one in found:
        if one.asked and sure and (time is None or time.digitals_late_s is None):
            raise refused_as_misplaced(source, one, time)
    return tuple(f"{one.found}; nothing was moved: {one.so}" for one in found)


def _rejected_warnings(rejections: Sequence[Rejection], rows: int) -> list[str]:
    """What to tell where so many rows were rejected that the log is not what it seems; nothing for a few bad lines."""
    count = sum(r.rows for r in rejections)
    if count <= ReadOptions().told_rejected * rows:
        return []
    most = max(rejections, key=lambda r: r.rows)
    lines = ", ".join(map(str, most.first_lines))
    told = (
        f"{count} of {rows} rows ({count / rows:.0%}) could not be read and are left out, {most.rows} of them because "
        f"of: {most.reason} (first in lines {lines}); see whether the log was written in two ways"
    )
    return [told]


def _lag_warning(lag: DigitalLag, lags: Sequence[DigitalLag]) -> str:
    """What to tell of a digital that lags, beside all of its station; of one that another shows to be as late, so."""
    others = [one.signal for one in lags if one.station == lag.station and one.signal != lag.signal]
    theirs = [one for one in lags if one.station == lag.station and one.signal in others and one.lag_s == lag.lag_s]
    shown = theirs[0].signal if theirs and lag.signal == "supply" else ""
    what = (
        f", as its {shown} shows, which the same scan writes" * bool(shown)
        + ": the pressure answers"
        + " that" * bool(shown)
    )
    more = "" if shown else ", or more by the valve's own delay"
    return (
        f"{lag.signal} of {lag.station} was written late{what} {lag.lag_s:.3g} s before its edges "
        f"(± {2 * lag.u_s:.2g} s, {lag.edges} edges){more}; nothing was moved: {_LATE[lag.signal]}"
    )


def _steps_from(last_s: float, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Time from each row to the next, from that before the first on where it is known [s]."""
    if np.isnan(last_s):
        return time_s[1:] - time_s[:-1]
    steps = np.empty(len(time_s))
    steps[0] = time_s[0] - last_s
    np.subtract(time_s[1:], time_s[:-1], out=steps[1:])
    return steps


def _nothing(contexts: int) -> Samples:
    none: NDArray[np.float64] = np.empty(0)
    return Samples(
        time_s=none,
        pressure_kpa=none,
        digital=np.empty(0, np.uint8),
        lines=np.empty(0, np.int64),
        context=(np.empty(0, np.int32),) * contexts,
    )
