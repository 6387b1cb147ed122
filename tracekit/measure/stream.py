"""One station's samples, block by block, to measured cycles in bounded memory.

Samples are regrouped into chunks at fixed row numbers, whatever the blocks of the reader, so that results are bitwise
the same at any block size. A chunk is cut at its last cycle start; the unfinished cycle is carried raw to the next
chunk, so every cycle is measured whole.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.measure.buffer import RowBuffer, Rows, apart
from tracekit.measure.chunk import ChunkResult, Outline, measure_chunk, outline, usual_open_level
from tracekit.measure.excerpts import ExcerptKeeper
from tracekit.measure.strip import StripMaker
from tracekit.model.cycle import SettingInForce, Wiring
from tracekit.model.station import Settings
from tracekit.model.trace import Block, Layout
from tracekit.options.measure import MeasureOptions
from tracekit.options.segment import SegmentOptions
from tracekit.segment.cycles import Reference, cycle_starts, find_spans
from tracekit.segment.learn import learn
from tracekit.segment.samples import (
    GRID_SAMPLES,
    Samples,
    find_quantisation,
    make_samples,
    noise_at_rest,
    second_difference_noise,
)
from tracekit.segment.sawtooth import Saw, find_saw, with_device_supply
from tracekit.segment.wiring import find_wiring
from tracekit.signal.select import median

Floats = NDArray[np.float64]

_LARGE_BLOCK = 131_072  # rows: no reader's block is larger


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
    saw: Saw | None = None


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
        self._buffer = RowBuffer(segment_options.head_rows + _LARGE_BLOCK)
        self._carried = 0
        self._learned: Learned | None = None
        self._head: Samples | None = None
        self._outline: Outline | None = None
        self._known = -1
        self._begun = False
        self._results: list[ChunkResult] = []
        self._cycles = 0
        self.excerpts = ExcerptKeeper()
        self._strip = StripMaker(segment_options.strip_buckets)

    @property
    def learned(self) -> Learned | None:
        """What the head taught, once it has been read."""
        return self._learned

    @property
    def results(self) -> list[ChunkResult]:
        """Results so far, in order of time."""
        return self._results

    @property
    def strip(self) -> StripMaker:
        """The thinned recording."""
        return self._strip

    def feed(self, block: Block) -> None:
        """Take the next samples."""
        self._buffer.add(block)
        fresh = len(self._buffer) - self._carried
        if self._learned is None and fresh >= self._segment.head_rows:
            self._learned = self._learn(self._buffer.rows(self._segment.head_rows))
        if self._learned is None:
            return
        # what waited for the head is caught up with little by little, so that reading can go on in between
        due, step = 2 * len(block.time_s), self._segment.chunk_rows
        while due > 0 and len(self._buffer) - self._carried >= step:
            self._advance(self._buffer.rows(self._carried + step), final=False)
            due -= step

    def finish(self) -> None:
        """Take the end of the log; the buffer starts with the rows carried from the chunk before."""
        if self._learned is None and len(self._buffer):
            self._learned = self._learn(self._buffer.rows(self._segment.head_rows))
        while len(self._buffer) - self._carried > self._segment.chunk_rows:
            self._advance(self._buffer.rows(self._carried + self._segment.chunk_rows), final=False)
        if len(self._buffer):
            self._advance(self._buffer.rows(len(self._buffer)), final=True)
        self._buffer.close()

    def _learn(self, rows: Rows) -> Learned:
        wiring = find_wiring(rows.pressure, rows.digital, self._layout)
        low = float(np.fmin.reduce(rows.pressure)) if len(rows) else 0.0
        clipped = _clipped(rows.pressure, low)
        quantisation, noise = grain(rows.pressure, low if clipped >= 0.02 else None)
        interval = _interval(rows.time)
        if interval > 1.01 * self._segment.filter_s:  # else what bends between samples is noise
            rest = noise_at_rest(-rows.pressure, rows.digital, wiring, quantisation)
            noise = float(np.fmin(noise, self._segment.rest_most * rest))
        samples = make_samples(
            rows.time, rows.pressure, rows.digital, wiring, interval=interval, noise=noise, options=self._segment,
            late_s=self._layout.digital_late_s,
        )  # fmt: skip
        reference, settings = learn(samples, self._filed, self._segment)
        starts = cycle_starts(samples, reference, -1, self._segment)
        saw = self._find_saw(samples, starts, reference)
        if saw is not None:
            samples = with_device_supply(samples, saw, self._segment)
            reference, settings = learn(samples, self._filed, self._segment)
        self._head = samples
        if len(starts):
            stop = len(samples.time)
            self._outline = outline(samples, starts, stop, reference, True, self._segment, self._measure)
            reference = replace(reference, open_level=usual_open_level(self._outline))
        return Learned(
            wiring=wiring,
            reference=reference,
            settings=settings,
            interval=interval,
            noise=noise,
            quantisation=quantisation,
            clipped_low=clipped,
            clipped_high=_clipped(rows.pressure, float(np.fmax.reduce(rows.pressure)) if len(rows) else 0.0),
            saw=saw,
        )

    def _find_saw(self, samples: Samples, starts: NDArray[np.int64], reference: Reference) -> Saw | None:
        """The saw-tooth of a device that saves air by itself while the log holds only the request."""
        declared = self._layout.supply_signal == "request"
        if not len(starts) or self._layout.supply_signal == "pulse" or (reference.air_saving and not declared):
            return None
        spans = find_spans(samples, starts, len(samples.time), reference, self._segment)
        return find_saw(samples, spans, reference.peak, declared, self._filed.supply_off_kpa, self._segment)

    def _advance(self, rows: Rows, *, final: bool) -> None:
        learned = self._learned
        assert learned is not None  # learned before the first chunk by construction
        self._strip.feed(rows.time[self._carried :], rows.pressure[self._carried :])
        samples = self._cleaned(rows, learned)
        starts = cycle_starts(samples, learned.reference, self._known, self._segment)
        if not final:  # the moving mean of the last samples lacks its neighbours: what begins there begins next time
            starts = starts[starts <= len(samples.time) - samples.width]
        if self._known >= 0 and not np.any(starts == self._known):
            starts = np.concatenate([[self._known], starts]).astype(np.int64)
        if not self._begun:
            self._begun = True
            if _under_way(samples, learned.reference.peak, self._segment) and (not len(starts) or starts[0] > 0):
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
            cut = self._cut(samples, done, stop, learned.reference, keep_all=keep_all)
            result = measure_chunk(cut, rows.context, learned.reference.open_level, self._segment, self._measure)
            self.excerpts.take(samples, done, stop, result.cycles, self._cycles)
            self._cycles += len(done)
            self._results.append(_apart(result))
        self._outline = None
        self._carry_on(rows, samples.time, stop, known=bool(len(starts)) and not keep_all)

    def _cleaned(self, rows: Rows, learned: Learned) -> Samples:
        """The rows ready to be measured; where they are those of the head, that were cleaned to learn from it."""
        head, self._head = self._head, None
        if head is not None and len(head.time) == len(rows):
            return head
        samples = make_samples(
            rows.time,
            rows.pressure,
            rows.digital,
            learned.wiring,
            interval=learned.interval,
            noise=learned.noise,
            options=self._segment,
            late_s=self._layout.digital_late_s,
        )
        return samples if learned.saw is None else with_device_supply(samples, learned.saw, self._segment)

    def _cut(
        self, samples: Samples, starts: NDArray[np.int64], stop: int, reference: Reference, *, keep_all: bool
    ) -> Outline:
        """The cycles that begin at `starts`; where the head was cut there to learn from it, as they were cut then."""
        known = None if self._outline is None else self._outline.of(samples, starts, stop)
        return known or outline(samples, starts, stop, reference, keep_all, self._segment, self._measure)

    def _carry_on(self, rows: Rows, time: Floats, stop: int, *, known: bool) -> None:
        """Keep the unfinished cycle, with the samples before it that tell its idle level."""
        keep = 0
        if len(time):
            interval = self._learned.interval if self._learned is not None else 0.0
            lead = max(self._segment.lead_s, self._segment.lead_least_samples * interval)
            keep = int(np.searchsorted(time, time[min(stop, len(time) - 1)] - lead))
            keep = max(min(keep, stop - self._segment.lead_least_samples), 0)
        self._carried = len(rows) - keep
        self._known = stop - keep if known else -1
        self._buffer.drop(keep)


def _under_way(samples: Samples, peak_kpa: float, options: SegmentOptions) -> bool:
    """The log begins inside a cycle: the supply is on already, or vacuum is there."""
    if not len(samples.time) or not samples.has_supply:
        return False
    vacuum = samples.smooth[0] > options.open_share * peak_kpa
    return bool(samples.supply[0] or vacuum)


def grain(pressure: Floats, flat: float | None) -> tuple[float, float]:
    """Step and noise of the readings [kPa], shape (n,), at least eight of them, or what they have in common.

    Readings that are flat at the end of the range (`flat`) would hide the noise.
    """
    vacuum = -pressure
    quantisation = find_quantisation(_inside(vacuum))
    return quantisation, second_difference_noise(vacuum if flat is None else vacuum[pressure != flat], quantisation)


def _inside(vacuum: Floats) -> Floats:
    """First readings inside the range that all cover, if there are any: what a sensor's end cuts lies off its grid."""
    if not len(vacuum):
        return vacuum
    low, high = np.fmin.reduce(vacuum), np.fmax.reduce(vacuum)
    inside = vacuum[:0]
    for count in (2 * GRID_SAMPLES, len(vacuum)):
        part = vacuum[:count]
        if len(inside) < GRID_SAMPLES:
            inside = part[(part > low) & (part < high)]
    return inside if len(inside) else vacuum


def _apart(result: ChunkResult) -> ChunkResult:
    """The results in memory of their own; each column of the averaged trace by itself, since they go one by one."""
    return ChunkResult(
        cycles=apart(result.cycles),
        levels=apart(result.levels),
        periods=apart(result.periods),
        edges=apart(result.edges),
        bins={name: apart({name: values})[name] for name, values in result.bins.items()},
    )


def _interval(time: Floats) -> float:
    """Usual time between samples [s]."""
    step = np.diff(time)
    return median(step) if len(step) else 0.01


def _clipped(pressure: Floats, end: float) -> float:
    """Share of samples that sit exactly at an end of the range in runs of three and more."""
    at = pressure == end
    if len(at) < 3:
        return 0.0
    run = at[2:] & at[1:-1] & at[:-2]
    return float(run.mean())
