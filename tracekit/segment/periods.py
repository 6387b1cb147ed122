"""Stretches in which nothing changes that acts on the pressure, and the averaged trace inside them."""

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.tables import PERIOD_KINDS
from tracekit.options.segment import SegmentOptions
from tracekit.segment.cycles import Spans
from tracekit.segment.hold import DROPPED, Hold
from tracekit.segment.samples import Samples
from tracekit.signal.segments import Ranges, count_in

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

IDLE, OPEN, EVACUATE, COAST, RECHARGE, STEADY, RELEASE = range(len(PERIOD_KINDS))

REASONS = ("too short", "part lost", "gap inside", "not a hold")


@dataclass(frozen=True, slots=True, kw_only=True)
class Periods:
    """Periods of a stretch of samples, arrays of shape (n_periods,); `cycle` is local to the stretch."""

    cycle: Ints
    start: Ints
    stop: Ints
    kind: Ints
    reason: Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceBins:
    """Averages over short bins, arrays of shape (n_bins,); `period` is local to the stretch."""

    cycle: Ints
    period: Ints
    time: Floats
    vacuum: Floats
    samples: Ints


def find_periods(samples: Samples, spans: Spans, hold: Hold, contact: Ints, least: int) -> Periods:
    """Periods of all cycles, cut at every valve command, at contact and at the set point."""
    none = np.zeros(0, np.int64)
    if not len(spans.start):
        return Periods(cycle=none, start=none, stop=none, kind=none, reason=none)
    commands = (samples.supply_rise, samples.supply_fall, samples.release_rise, samples.release_fall)
    events = (spans.start, *commands, contact[contact >= 0], hold.grip[hold.grip >= 0])
    start = np.unique(np.concatenate(events)).astype(np.int64)
    start = start[(start >= spans.start[0]) & (start < spans.end[-1])]
    stop = np.append(start[1:], spans.end[-1])
    cycle = np.searchsorted(spans.start, start, side="right") - 1
    kind = _kinds(samples, spans, hold, contact, start, cycle)
    reason = _reasons(samples, hold, start, stop, cycle, kind, least)
    return Periods(cycle=cycle, start=start, stop=stop, kind=kind, reason=reason)


def _kinds(samples: Samples, spans: Spans, hold: Hold, contact: Ints, start: Ints, cycle: Ints) -> Ints:
    supply, release = samples.supply[start], samples.release[start]
    grip = np.where(hold.grip >= 0, hold.grip, np.iinfo(np.int64).max)[cycle]
    closed = np.where(contact >= 0, contact, np.where(hold.grip >= 0, spans.start, np.iinfo(np.int64).max))[cycle]
    in_hold = (start >= grip) & (start < hold.quit[cycle])
    off = samples.supply_fall
    first = np.minimum(grip, hold.quit[cycle])
    cuts_before = count_in(off, first, np.maximum(start + 1, first))
    cuts_all = count_in(off, first, hold.quit[cycle])
    holding = np.where(cuts_before > 0, RECHARGE, np.where(cuts_all > 0, EVACUATE, STEADY))
    pulling = np.where(in_hold, holding, np.where(start >= np.minimum(closed, grip), EVACUATE, OPEN))
    resting = np.where(in_hold, COAST, IDLE)
    return np.asarray(np.where(release, RELEASE, np.where(supply, pulling, resting)), np.int64)


def _reasons(samples: Samples, hold: Hold, start: Ints, stop: Ints, cycle: Ints, kind: Ints, least: int) -> Ints:
    """Why a coast is left out of fits, -1 where it is not."""
    reason = np.full(len(start), -1, np.int64)
    coast = kind == COAST
    lost = (hold.outcome[cycle] == DROPPED) & (stop > hold.drop[cycle]) & (hold.drop[cycle] >= 0)
    gap = count_in(samples.gap, start + 1, stop + 1) > 0
    reason[coast & (stop - start < least)] = REASONS.index("too short")
    reason[coast & lost] = REASONS.index("part lost")
    reason[gap] = REASONS.index("gap inside")
    return reason


def make_bins(samples: Samples, spans: Spans, hold: Hold, periods: Periods, options: SegmentOptions) -> TraceBins:
    """The trace from the supply command to the end of the release, averaged over bins inside each period.

    Bins are `bin_s` wide; a period that would need more than `bins_most` has bins that grow towards its end, since
    what settles does so at the start.
    """
    until = np.where(spans.release_end >= 0, spans.release_end, np.maximum(hold.quit, spans.start))[periods.cycle]
    begin, stop = periods.start, np.minimum(periods.stop, until)
    count = np.maximum(stop - begin, 0)
    length = samples.time[np.maximum(stop - 1, 0)] - samples.time[begin] + samples.interval
    wanted = np.minimum(np.ceil(length / options.bin_s - 1e-6), options.bins_most)
    number = np.minimum(np.maximum(wanted, 1), count).astype(np.int64)
    number[count == 0] = 0
    with np.errstate(divide="ignore", invalid="ignore"):
        growth = np.log(length / options.bin_s) / np.log(np.maximum(number, 2))
    growth = np.where(number >= options.bins_most, np.clip(growth, 1.0, 3.0), 1.0)
    owner = np.repeat(np.arange(len(begin)), number)
    first = np.cumsum(number) - number
    place = np.arange(int(number.sum())) - np.repeat(first, number)
    share = (place / np.repeat(np.maximum(number, 1), number)) ** np.repeat(growth, number)
    within = np.floor(np.repeat(count, number) * share + 1e-6).astype(np.int64)
    low = np.repeat(begin, number) + np.maximum(within, place)
    high = np.append(low[1:], 0)
    filled = number > 0
    high[(first + number - 1)[filled]] = stop[filled]
    size = np.maximum(high - low, 1)
    own = Ranges(low, low + size)
    return TraceBins(
        cycle=np.repeat(periods.cycle, number),
        period=owner,
        time=own.sum(samples.time) / size,
        vacuum=own.sum(samples.vacuum) / size,
        samples=size,
    )
