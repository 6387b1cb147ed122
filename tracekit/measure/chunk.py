"""All measures of the cycles in one stretch of samples."""

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.measure.evacuation import Evacuation, Rise, fall_times, find_rise, measure_evacuation
from tracekit.measure.hold import cycle_noise, hold_vacua, idle_noise, switching
from tracekit.measure.release import Idle, idle_vacuum, measure_release
from tracekit.options.measure import MeasureOptions
from tracekit.options.segment import SegmentOptions
from tracekit.segment.cycles import Reference, Spans, find_spans
from tracekit.segment.hold import Hold, find_hold
from tracekit.segment.periods import COAST, Periods, TraceBins, find_periods, make_bins
from tracekit.segment.samples import Samples, samples_in, time_steps
from tracekit.signal.segments import Ranges, first_in, range_line, range_sum
from tracekit.signal.threads import together

Arrays = dict[str, NDArray[Any]]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Record = TypeVar("Record", Spans, Hold, Idle, Rise)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChunkResult:
    """Results of one stretch; cycle numbers in `periods`, `edges` and `bins` are local to it.

    cycles   columns of the cycles table, and more by plain names
    levels   rise_s and fall_s, shape (n_cycles, n_levels)
    """

    cycles: Arrays
    levels: dict[str, Floats]
    periods: Arrays
    edges: Arrays
    bins: Arrays


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """Cycles of a stretch of samples that begin at `starts` and end at `stop`, before it is known what is usual.

    closed  (n_cycles,) a cup that closed on a part, by the vacuum reached
    """

    samples: Samples
    starts: Ints
    stop: int
    spans: Spans
    hold: Hold
    idle: Idle
    closed: NDArray[np.bool_]
    rise: Rise

    def of(self, samples: Samples, starts: Ints, stop: int) -> "Outline | None":
        """That of the first cycles alone; None where these, of these samples, are others."""
        count = len(starts)
        ends = np.append(self.starts, self.stop)
        if samples is not self.samples or not np.array_equal(ends[: count + 1], np.append(starts, stop)):
            return None
        return replace(
            self,
            starts=starts,
            stop=stop,
            spans=_first_of(self.spans, count),
            hold=_first_of(self.hold, count),
            idle=_first_of(self.idle, count),
            closed=self.closed[:count],
            rise=_first_of(self.rise, count),
        )


def _first_of(record: Record, count: int) -> Record:
    """The same record of arrays for the first cycles."""
    return replace(record, **{field.name: getattr(record, field.name)[:count] for field in fields(record)})


def outline(
    samples: Samples,
    starts: Ints,
    stop: int,
    reference: Reference,
    last_open: bool,
    segment: SegmentOptions,
    measure: MeasureOptions,
) -> Outline:
    """Cut the cycles that begin at `starts` and end at `stop`; `last_open`: the samples may end inside the last one."""
    spans = find_spans(samples, starts, stop, reference, segment)
    hold = find_hold(samples, spans, reference, last_open, segment)
    idle = idle_vacuum(samples, spans, segment, measure)
    closed = np.asarray(hold.peak >= segment.open_share * reference.peak, np.bool_)
    rise = find_rise(samples, spans, hold, idle.level, closed, measure)
    return Outline(
        samples=samples, starts=starts, stop=stop, spans=spans, hold=hold, idle=idle, closed=closed, rise=rise
    )


def measure_chunk(
    cycles_of: Outline,
    context: Mapping[str, NDArray[np.int32]],
    usual_open: float,
    segment: SegmentOptions,
    measure: MeasureOptions,
) -> ChunkResult:
    """Measure the cycles of an outline; `usual_open`: open-cup vacuum of usual cycles [kPa]."""
    samples, starts, spans, hold = cycles_of.samples, cycles_of.starts, cycles_of.spans, cycles_of.hold
    idle, zero = cycles_of.idle, cycles_of.idle.level
    evacuation = measure_evacuation(samples, spans, hold, cycles_of.rise, cycles_of.closed, usual_open, measure)
    periods = find_periods(samples, spans, hold, evacuation.contact, measure.coast_least_samples)

    def of_cycles() -> tuple[Arrays, Floats, Arrays]:
        cycles = {
            **_span_columns(samples, spans, hold),
            **_evacuation_columns(evacuation),
            **hold_vacua(samples, hold),
            **switching(samples, spans, hold),
            **measure_release(samples, spans, hold, zero),
            "idle_vacuum_kpa": zero,
            "idle_rise_kpa": idle.rise,
            "noise_kpa": cycle_noise(samples, hold, 0.0, measure),
            "idle_noise_kpa": idle_noise(samples, spans, measure),
            **_threshold_columns(samples, spans, hold, evacuation),
            **{f"context_{name}": codes[np.minimum(starts + 1, len(codes) - 1)] for name, codes in context.items()},
        }
        fall_s = fall_times(samples, spans.release, np.minimum(spans.release_end + 1, spans.end), measure)
        return cycles, fall_s, _edge_columns(samples, spans)

    def of_periods() -> tuple[Arrays, Arrays]:
        bins = make_bins(samples, spans, hold, periods, segment)
        return _period_columns(samples, periods, measure), _bin_columns(bins)

    # what takes most memory stays in this thread: the C library keeps a store of freed memory for each
    (period_columns, bins), (cycles, fall_s, edges) = together(of_periods, of_cycles)
    return ChunkResult(
        cycles=cycles,
        levels={"rise_s": evacuation.rise_s, "fall_s": fall_s},
        periods=period_columns,
        edges=edges,
        bins=bins,
    )


def _bin_columns(bins: TraceBins) -> Arrays:
    """The averaged trace in as few bytes as its numbers need: there are far more bins than cycles."""
    return {
        "cycle": bins.cycle.astype(np.int32),
        "period": bins.period.astype(np.int32),
        "time_s": bins.time,
        "pressure_kpa": -bins.vacuum,
        "samples": bins.samples.astype(np.min_scalar_type(bins.samples.max(initial=0))),
    }


def usual_open_level(head: Outline) -> float:
    """Median rise from idle to the open-cup vacuum, NaN where fewer than half of the closed cycles show it [kPa]."""
    rise = (head.rise.open_level - np.nan_to_num(head.idle.level))[head.closed]
    shown = rise[np.isfinite(rise)]
    return float(np.median(shown)) if len(shown) >= 0.5 * max(int(head.closed.sum()), 1) else float("nan")


def _time_at(samples: Samples, index: Ints) -> Floats:
    inside = (index >= 0) & (index < len(samples.time))
    return np.where(inside, samples.time[np.clip(index, 0, len(samples.time) - 1)], np.nan)


def _span_columns(samples: Samples, spans: Spans, hold: Hold) -> Arrays:
    after = np.minimum(spans.end, len(samples.time) - 1)
    end_time = np.where(spans.end < len(samples.time), samples.time[after], samples.time[-1] + samples.interval)
    both = samples.supply & samples.release
    overlap = np.zeros(len(spans.start))
    own = Ranges(spans.start, spans.end)
    if both.any():
        overlap = range_sum(np.where(both, time_steps(samples.time), 0.0), spans.start, spans.end)
    return {
        "start_s": samples.time[spans.start],
        "end_s": end_time,
        "outcome": hold.outcome,
        "set_point_reached": np.isfinite(hold.grip_time).astype(np.int8),
        "attempts": spans.attempts,
        "drop_s": _time_at(samples, hold.drop),
        "drop_kind": hold.drop_kind,
        "try_s": samples.time[spans.last_try],
        "release_s": _time_at(samples, spans.release),
        "release_end_s": _time_at(samples, spans.release_end),
        "quit_s": _time_at(samples, hold.quit),
        "overlap_s": overlap,
        "reading_range_kpa": own.max(samples.vacuum) - own.min(samples.vacuum),
        "has_output_on": (hold.output_on >= 0).astype(np.int8),
    }


def _evacuation_columns(e: Evacuation) -> Arrays:
    return {
        "response_delay_s": e.response_delay_s,
        "contact_s": e.contact_s,
        "open_cup_vacuum_kpa": e.open_cup_vacuum_kpa,
        "evacuation_time_s": e.evacuation_time_s,
        "seal_time_s": e.seal_time_s,
        "pump_time_constant_s": e.pump_time_constant_s,
        "ultimate_vacuum_kpa": e.ultimate_vacuum_kpa,
        "ultimate_extrapolated": e.ultimate_extrapolated,
        "tends_to_kpa": e.tends_to_kpa,
    }


def _threshold_columns(samples: Samples, spans: Spans, hold: Hold, evacuation: Evacuation) -> Arrays:
    """Vacuum at the edges that tell thresholds, one value per cycle, NaN where a cycle has no such edge [kPa]."""
    n = len(spans.start)
    inside = hold.grip >= 0
    start, stop = np.where(inside, hold.grip, 0), np.where(inside, hold.quit, 0)

    def level(edges: Ints, begin: Ints, end: Ints) -> Floats:
        at = first_in(edges, begin, end)
        here = np.maximum(at, 1)
        return np.where(at >= 1, 0.5 * (samples.vacuum[here] + samples.vacuum[here - 1]), np.nan)

    safe = np.where(inside, np.maximum(stop - 1, start), 0)
    return {
        "set_point": hold.set_point if n else np.zeros(0),
        "reset_point": level(samples.present_fall, start, safe),
        "supply_off": level(samples.supply_fall, np.maximum(start, 1), stop),
        "supply_on": level(samples.supply_rise, np.maximum(start, 1), stop),
        "first_cut_s": np.where(
            first_in(samples.supply_fall, np.maximum(start, 1), stop) >= 0,
            _time_at(samples, evacuation.first_cut),
            np.nan,
        ),
    }


def _period_columns(samples: Samples, periods: Periods, options: MeasureOptions) -> Arrays:
    settle = samples_in(options.coast_settle_s, samples.interval)
    length = periods.stop - periods.start
    skip = np.where(periods.kind == COAST, np.minimum(settle, length // 3), 0)
    slope, error, _ = range_line(samples.time, samples.vacuum, periods.start + skip, periods.stop)
    # samples far apart: the moving mean rounds off what a few of them show
    level = samples.vacuum if samples.interval > options.noise_corner_s else samples.smooth
    after = np.minimum(periods.stop, len(samples.time) - 1)
    end_time = np.where(periods.stop < len(samples.time), samples.time[after], samples.time[-1] + samples.interval)
    return {
        "cycle": periods.cycle.astype(np.int32),
        "kind": periods.kind.astype(np.int8),
        "start_s": samples.time[periods.start] if len(length) else np.zeros(0),
        "end_s": end_time if len(length) else np.zeros(0),
        "samples": length.astype(np.int32),
        "vacuum_start_kpa": level[periods.start],
        "vacuum_end_kpa": level[np.maximum(periods.stop - 1, 0)],
        "slope_kpa_s": 0.0 - slope,
        "slope_se_kpa_s": error,
        "used": (periods.reason < 0).astype(np.int8),
        "reason": periods.reason.astype(np.int8),
    }


def _edge_columns(samples: Samples, spans: Spans) -> Arrays:
    """Every change of a digital from the first cycle on, in order of time."""
    index, signal, value, extra = [], [], [], []
    first, last = int(spans.start[0]), int(spans.end[-1])
    both = (
        (samples.supply_rise, samples.supply_fall),
        (samples.release_rise, samples.release_fall),
        (samples.present_rise, samples.present_fall),
    )
    for code, (up, down) in enumerate(both):
        at = np.concatenate([up, down])
        order = np.argsort(at)
        order = order[(at[order] >= first) & (at[order] < last)]
        at = at[order]
        index.append(at)
        signal.append(np.full(len(at), code))
        value.append((order < len(up)).astype(np.int64))
        extra.append(_chatter(at, spans) if code == 2 else np.zeros(len(at), np.bool_))
    order = np.argsort(np.concatenate(index), kind="stable")
    where = np.concatenate(index)[order]
    return {
        "cycle": (np.searchsorted(spans.start, where, side="right") - 1).astype(np.int32),
        "time_s": samples.time[where] if len(where) else np.zeros(0),
        "signal": np.concatenate(signal)[order].astype(np.int8),
        "value": np.concatenate(value)[order].astype(np.int8),
        "chatter": np.concatenate(extra)[order].astype(np.int8),
    }


def _chatter(at: Ints, spans: Spans) -> NDArray[np.bool_]:
    """Edges between the first on and the last off of their cycle."""
    if not len(at):
        return np.zeros(0, np.bool_)
    owner = np.searchsorted(spans.start, at, side="right") - 1
    change = np.flatnonzero(np.diff(owner)) + 1
    first = np.concatenate([[0], change])
    last = np.concatenate([change - 1, [len(at) - 1]])
    extra = np.ones(len(at), np.bool_)
    extra[first] = False
    extra[last] = False
    return extra
