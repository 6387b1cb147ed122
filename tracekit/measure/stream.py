"""One station's samples, block by block, to measured cycles in bounded memory.

Samples are regrouped into chunks at fixed row numbers, whatever the blocks of the reader, so that results are bitwise
the same at any block size. A chunk is cut at its last cycle start; the unfinished cycle is carried raw to the next
chunk, so every cycle is measured whole.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tracekit.measure.chunk import ChunkResult, measure_chunk
from tracekit.measure.strip import StripMaker
from tracekit.model.cycle import SettingInForce, Wiring
from tracekit.model.station import Settings
from tracekit.model.trace import Block, Layout
from tracekit.options.measure import MeasureOptions
from tracekit.options.segment import SegmentOptions
from tracekit.segment.cycles import Reference, cycle_starts
from tracekit.segment.learn import learn
from tracekit.segment.samples import find_quantisation, make_samples, second_difference_noise
from tracekit.segment.wiring import find_wiring

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Raw samples as they came: time [s], gauge pressure [kPa], digitals as wired, context codes by column."""

    time: Floats
    pressure: Floats
    digital: NDArray[np.uint8]
    context: Mapping[str, NDArray[np.int32]]

    def __len__(self) -> int:
        """Number of samples."""
        return len(self.time)

    def part(self, start: int, stop: int) -> "Rows":
        """Rows `[start, stop)`."""
        return Rows(
            time=self.time[start:stop],
            pressure=self.pressure[start:stop],
            digital=self.digital[start:stop],
            context={k: v[start:stop] for k, v in self.context.items()},
        )


def join_rows(parts: list[Rows]) -> Rows:
    """Rows one after the other."""
    if len(parts) == 1:
        return parts[0]
    return Rows(
        time=np.concatenate([p.time for p in parts]),
        pressure=np.concatenate([p.pressure for p in parts]),
        digital=np.concatenate([p.digital for p in parts]),
        context={k: np.concatenate([p.context[k] for p in parts]) for k in parts[0].context},
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """What the head of the log taught."""

    wiring: Wiring
    reference: Reference
    settings: Mapping[str, SettingInForce]
    interval: float
    noise: float
    quantisation: float
    clipped_low: float
    clipped_high: float


@dataclass(slots=True)
class _State:
    """What changes while a log streams by; private to the analyser."""

    pending: list[Rows] = field(default_factory=list)
    pending_rows: int = 0
    learned: Learned | None = None
    carry: Rows | None = None
    known: int = -1
    begun: bool = False
    results: list[ChunkResult] = field(default_factory=list)


class StationAnalyser:
    """Feeds on blocks of one station and keeps per-cycle results only."""

    def __init__(
        self,
        layout: Layout,
        filed: Settings,
        segment_options: SegmentOptions,
        measure_options: MeasureOptions,
    ) -> None:
        """An analyser for one station; `filed` are the settings of the station file."""
        self._layout = layout
        self._filed = filed
        self._segment = segment_options
        self._measure = measure_options
        self._state = _State()
        self._strip = StripMaker(segment_options.strip_buckets)

    @property
    def learned(self) -> Learned | None:
        """What the head taught, once it has been read."""
        return self._state.learned

    @property
    def results(self) -> list[ChunkResult]:
        """Results so far, in order of time."""
        return self._state.results

    @property
    def strip(self) -> StripMaker:
        """The thinned recording."""
        return self._strip

    def feed(self, block: Block) -> None:
        """Take the next samples."""
        rows = Rows(
            time=block.time_s, pressure=block.pressure_kpa, digital=block.digital, context=dict(block.context)
        )
        self._strip.feed(rows.time, rows.pressure)
        state = self._state
        state.pending.append(rows)
        state.pending_rows += len(rows)
        wanted = self._segment.head_rows if state.learned is None else self._segment.chunk_rows
        if state.pending_rows >= wanted:
            self._drain(final=False)

    def finish(self) -> None:
        """Take the end of the log."""
        self._drain(final=True)

    def _drain(self, *, final: bool) -> None:
        state = self._state
        if not state.pending:
            if final and state.carry is not None:
                self._advance(state.carry, final=True)
            return
        rows = join_rows(state.pending)
        if state.learned is None:
            state.learned = self._learn(rows.part(0, self._segment.head_rows))
        step, at = self._segment.chunk_rows, 0
        while len(rows) - at > step or (not final and len(rows) - at == step):
            self._advance(self._with_carry(rows.part(at, at + step)), final=False)
            at += step
        rest = rows.part(at, len(rows))
        state.pending, state.pending_rows = [], 0
        if final:
            self._advance(self._with_carry(rest), final=True)
        elif len(rest):
            state.pending, state.pending_rows = [rest], len(rest)

    def _with_carry(self, rows: Rows) -> Rows:
        return rows if self._state.carry is None else join_rows([self._state.carry, rows])

    def _learn(self, rows: Rows) -> Learned:
        vacuum = -rows.pressure
        wiring = find_wiring(rows.pressure, rows.digital, self._layout)
        quantisation = find_quantisation(vacuum)
        noise = second_difference_noise(vacuum, quantisation)
        step = np.diff(rows.time)
        interval = float(np.median(step)) if len(step) else 0.01
        samples = make_samples(
            rows.time, rows.pressure, rows.digital, wiring, interval=interval, noise=noise, options=self._segment
        )
        reference, settings = learn(samples, self._filed, self._segment)
        return Learned(
            wiring=wiring,
            reference=reference,
            settings=settings,
            interval=interval,
            noise=noise,
            quantisation=quantisation,
            clipped_low=_clipped(rows.pressure, float(np.nanmin(rows.pressure)) if len(rows) else 0.0),
            clipped_high=_clipped(rows.pressure, float(np.nanmax(rows.pressure)) if len(rows) else 0.0),
        )

    def _advance(self, rows: Rows, *, final: bool) -> None:
        state, learned = self._state, self._state.learned
        assert learned is not None  # noqa: S101  learned before the first chunk by construction
        samples = make_samples(
            rows.time,
            rows.pressure,
            rows.digital,
            learned.wiring,
            interval=learned.interval,
            noise=learned.noise,
            options=self._segment,
        )
        starts = cycle_starts(samples, learned.reference, state.known, self._segment)
        if state.known >= 0 and not np.any(starts == state.known):
            starts = np.concatenate([[state.known], starts]).astype(np.int64)
        if not state.begun:
            state.begun = True
            under_way = len(samples.time) > 0 and samples.smooth[0] > self._segment.open_share * learned.reference.peak
            if under_way and (not len(starts) or starts[0] > 0):
                starts = np.concatenate([[0], starts]).astype(np.int64)
        full = len(rows) > self._segment.carry_rows
        keep_all = final or full
        if keep_all:
            stop = len(rows)
            done = starts
        elif len(starts):
            stop = int(starts[-1])
            done = starts[:-1]
        else:
            stop, done = len(rows), starts
        if len(done):
            state.results.append(
                measure_chunk(samples, rows.context, done, stop, learned.reference, final, self._segment, self._measure)
            )
        self._carry_on(rows, samples.time, stop, known=bool(len(starts)) and not keep_all)

    def _carry_on(self, rows: Rows, time: Floats, stop: int, *, known: bool) -> None:
        """Keep the unfinished cycle, with the samples before it that tell its idle level."""
        edge = time[min(stop, len(time) - 1)] if len(time) else 0.0
        keep = int(np.searchsorted(time, edge - self._segment.lead_s))
        self._state.carry = rows.part(keep, len(rows))
        self._state.known = stop - keep if known else -1


def _clipped(pressure: Floats, end: float) -> float:
    """Share of samples that sit exactly at an end of the range in runs of three and more."""
    at = pressure == end
    if len(at) < 3:
        return 0.0
    run = at[2:] & at[1:-1] & at[:-2]
    return float(run.mean())
