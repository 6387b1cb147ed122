"""An opened log: blocks of samples once through, then the facts about it."""

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import UsageError, message
from tracekit.model.trace import Block, Layout, LogFacts
from tracekit.options.read import ReadOptions
from tracekit.read.clock import Clock, Samples
from tracekit.read.convert import Portion
from tracekit.read.tally import Losses, Thinned, quantisation


class Log:
    """What `open_log` gives back; see `model.trace.LogSource`."""

    def __init__(
        self,
        *,
        layout: Layout,
        source: str,
        portions: Iterator[Portion],
        log_id: Callable[[], str],
        typical_s: float,
        options: ReadOptions,
    ) -> None:
        """Take the decoded rows and what is needed to finish them."""
        self._layout = layout
        self._source = source
        self._portions = portions
        self._log_id = log_id
        self._options = options
        self._clocks = [Clock(typical_s, options) for _ in layout.stations]
        self._losses = Losses(options.lines_kept)
        self._missing = Losses(options.lines_kept)
        self._intervals = Thinned(options.sample_size)
        self._pressures = Thinned(options.sample_size)
        self._rows_read = self._rows_used = 0
        self._longest_s = self._end_s = 0.0
        self._last_s = [np.nan] * len(layout.stations)
        self._start_us: int | None = None
        self._warnings: dict[str, None] = {}
        self._state = "unread"

    @property
    def layout(self) -> Layout:
        """What was understood of the log."""
        return self._layout

    def blocks(self) -> Iterator[Block]:
        """The samples, once, in bounded memory."""
        if self._state != "unread":
            raise UsageError(message(self._source, "already read", "one pass", "Open the log again."))
        self._state = "reading"
        for portion in self._portions:
            self._account(portion)
            for station, samples in enumerate(portion.stations):
                if samples is not None:
                    yield from self._finish(station, self._clocks[station].feed(samples))
        for station, clock in enumerate(self._clocks):
            yield from self._finish(station, clock.feed(_nothing(), last=True))
        self._state = "read"

    def _account(self, portion: Portion) -> None:
        self._rows_read += portion.rows_read
        if self._start_us is None:
            self._start_us = portion.start_time_us
        for reason, lines, count in portion.rejected:
            self._losses.add(reason, lines, count)
        for reason, lines in portion.missing:
            self._missing.add(reason, lines)
        self._warnings.update(dict.fromkeys(portion.warnings))

    def _finish(self, station: int, samples: Samples) -> Iterator[Block]:
        """Statistics of samples that are final, and the block of them."""
        if len(samples) == 0:
            return
        last_s = self._last_s[station]
        intervals = np.diff(samples.time_s) if np.isnan(last_s) else np.diff(samples.time_s, prepend=last_s)
        if len(intervals):
            self._intervals.add(intervals)
            self._longest_s = max(self._longest_s, float(intervals.max()))
        self._pressures.add(samples.pressure_kpa)
        self._last_s[station] = float(samples.time_s[-1])
        self._end_s = max(self._end_s, float(samples.time_s[-1]))
        self._rows_used += len(samples)
        yield Block(station=station, time_s=samples.time_s, pressure_kpa=samples.pressure_kpa, digital=samples.digital)

    def facts(self) -> LogFacts:
        """Facts about the whole log; only after `blocks` is exhausted."""
        if self._state != "read":
            raise UsageError(message(self._source, "not read to its end", "facts after the blocks", "Read them first."))
        losses = Losses(self._options.lines_kept)
        for rejection in self._losses.rejections():
            losses.add(rejection.reason, np.array(rejection.first_lines, np.int64), rejection.rows)
        for clock in self._clocks:
            for lines in clock.strays:
                losses.add("time goes back and returns", lines)
            for lines in clock.doubles:
                losses.add("same time as the row before", lines)
        intervals = self._intervals.values
        return LogFacts(
            log_id=self._log_id(),
            source=self._source,
            rows_read=self._rows_read,
            rows_used=self._rows_used,
            rejections=losses.rejections(),
            start_time_us=self._start_us,
            duration_s=self._end_s,
            interval_median_s=float(np.median(intervals)) if len(intervals) else 0.0,
            interval_p95_s=float(np.quantile(intervals, 0.95)) if len(intervals) else 0.0,
            interval_max_s=self._longest_s,
            quantisation_kpa=quantisation(self._pressures.values),
            gaps=tuple(g for clock in self._clocks for g in clock.gaps),
            clock_steps=tuple(s for clock in self._clocks for s in clock.steps),
            warnings=(*self._warnings, *self._missing_warnings()),
            duplicates=sum(len(lines) for clock in self._clocks for lines in clock.doubles),
        )

    def _missing_warnings(self) -> list[str]:
        return [
            f"{r.rows} rows: {r.reason} (first in lines {', '.join(map(str, r.first_lines))})"
            for r in self._missing.rejections()
        ]


def _nothing() -> Samples:
    none: NDArray[np.float64] = np.empty(0)
    return Samples(time_s=none, pressure_kpa=none, digital=np.empty(0, np.uint8), lines=np.empty(0, np.int64))
