"""Thresholds in force, found from where the digitals switch.

Each edge brackets its threshold between the reading before it and the reading at it. Thousands of brackets
pin a threshold far better than one sample does: the value that most brackets share is taken.
"""

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import SettingInForce
from tracekit.options.segment import SegmentOptions
from tracekit.segment.cycles import Spans
from tracekit.segment.samples import Samples, samples_in
from tracekit.signal.segments import first_fall, last_reach, range_max, range_min

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LAG_S = 0.012  # a switch and its recorder answer within some milliseconds (common practice, no source)
_HELD_SHARE = 0.4
"""Of the usual peak: a supply that comes back under it does not recharge a hold."""
_SLOW_SHARE = 0.1
"""Of all edges: fewer slow ones may be odd cycles."""
LAG_MOST_S = 0.06  # no healthy switch with its recorder answers later than this (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class Brackets:
    """Lowest and highest vacuum that a threshold may have had at each edge, shape (n_edges,) [kPa]."""

    edge: Ints
    low: Floats
    high: Floats


def bracket(samples: Samples, edge: Ints, *, upward: bool) -> Brackets:
    """Brackets of a threshold crossed upwards (or downwards) just before each `edge`."""
    edge = edge[edge >= 2]
    steep = max(samples.interval, 1e-9)
    here, before, earlier = samples.vacuum[edge], samples.vacuum[edge - 1], samples.vacuum[edge - 2]
    if upward:
        reach = np.maximum(before - earlier, 0.0) * min(LAG_S / steep, 1.0)
        low, high = before - reach, np.maximum(here, before)
    else:
        reach = np.maximum(earlier - before, 0.0) * min(LAG_S / steep, 1.0)
        low, high = np.minimum(here, before), before + reach
    return Brackets(edge=edge, low=np.minimum(low, high), high=high)


def agreed(brackets: Brackets, tolerance: float) -> tuple[float, float]:
    """The value shared by most brackets and half the width of the stretch that shares it [kPa], NaN where none."""
    if not len(brackets.edge):
        return float("nan"), float("nan")
    low, high = brackets.low - tolerance, brackets.high + tolerance
    ends = np.concatenate([low, high])
    change = np.concatenate([np.ones(len(low)), -np.ones(len(high))])
    order = np.lexsort((-change, ends))
    depth = np.cumsum(change[order])
    best = int(np.argmax(depth))
    top = float(depth[best])
    from_value = float(ends[order][best])
    to_value = float(ends[order][min(best + 1, len(ends) - 1)])
    if top < 0.5 * len(low):  # no common value: settings that changed, or noise; the middle one is named
        middle = 0.5 * (brackets.low + brackets.high)
        return float(np.median(middle)), float(np.quantile(middle, 0.9) - np.quantile(middle, 0.1)) / 2
    return 0.5 * (from_value + to_value), 0.5 * (to_value - from_value)


def explained(samples: Samples, edge: Ints, level: Floats, *, upward: bool) -> NDArray[np.bool_]:
    """True where a threshold at `level` explains an edge: crossed at most `LAG_MOST_S` before it and not after it.

    Noise and one sample of the recorder are allowed for. Shapes (n_edges,).
    """
    sign = 1.0 if upward else -1.0
    ahead = max(2, samples_in(LAG_MOST_S, samples.interval) + 1)
    here = np.minimum(edge, len(samples.time) - 1)
    now, before = (sign * samples.vacuum[np.maximum(here - back, 0)] for back in (0, 1))
    tolerance = 2.5 * samples.noise + 0.3
    slope = np.maximum(now - before, 0.0)  # the crossing may lie in the sample that shows the edge
    # where samples are far apart the pressure may have turned already by the sample that shows the edge
    reached = np.maximum(now, before) + slope >= sign * level - tolerance
    start = np.maximum(here - ahead, 0)  # of the stretch looked back at: ranges, since samples may be very close
    lowest = range_min(samples.vacuum, start, here + 1) if upward else -range_max(samples.vacuum, start, here + 1)
    not_before = lowest <= sign * level + tolerance
    return np.asarray(reached & not_before, np.bool_)


def in_force(samples: Samples, edge: Ints, filed: float | None, *, upward: bool) -> SettingInForce:
    """A threshold from its edges; the station file's value where it explains at least half of them.

    Slow crossings decide where there are enough: a fall as fast as a blow-off's passes any threshold, right or wrong.
    """
    edge = edge[edge >= 2]
    brackets = bracket(samples, edge, upward=upward)
    slow = brackets.high - brackets.low < 2.0 + 4.0 * samples.noise
    tells = slow.sum() >= max(3, _SLOW_SHARE * len(edge))
    if filed is not None:
        level = np.full(len(edge), filed)
        if not len(edge):
            return SettingInForce(value_kpa=filed, source="station file", station_file_kpa=filed)
        fits = explained(samples, edge, level, upward=upward)
        if fits.mean() >= 0.5 and (not tells or fits[slow].mean() >= 0.5):
            return SettingInForce(value_kpa=filed, source="edges", station_file_kpa=filed)
    if slow.sum() >= 3:
        brackets = Brackets(edge=edge[slow], low=brackets.low[slow], high=brackets.high[slow])
    value, spread = agreed(brackets, samples.noise)
    if not np.isfinite(value):
        return SettingInForce(value_kpa=None, source="absent", station_file_kpa=filed)
    spread = max(spread, float(np.median(brackets.high - brackets.low)) / 2)
    return SettingInForce(value_kpa=value, source="edges", station_file_kpa=filed, spread_kpa=spread)


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchEdges:
    """Edges that tell thresholds: set point, reset point, supply_off and supply_on, as sample indices."""

    set_point: Ints
    reset_point: Ints
    supply_off: Ints
    supply_on: Ints


def _owner(edge: Ints, spans: Spans) -> Ints:
    return np.asarray(np.searchsorted(spans.start, edge, side="right") - 1, np.int64)


def _of_holds(samples: Samples, spans: Spans, edges: Ints, gripped: Ints, margin: int) -> Ints:
    """The edges of the supply that belong to holds, not to tries that failed before the output came on.

    gripped  first output-on of each cycle that has one;  margin  samples by which a cut may come before it

    Where at least half of the cycles have an output, the others failed: they never came to a hold.
    """
    if not samples.has_present or not len(gripped):
        return edges
    first = np.full(len(spans.start), np.iinfo(np.int64).max)
    if 2 * len(gripped) < len(spans.start):
        first[:] = -1
    first[_owner(gripped, spans)] = gripped - margin
    return edges[edges >= first[_owner(edges, spans)]]


def _let_go_later(samples: Samples, cut: Ints, stop: Ints, options: SegmentOptions) -> NDArray[np.bool_]:
    """Supply-offs after which the part was held on and then let go at once, in a log without release commands.

    Suction that a supply-off ends is followed by its blow-off within a moment, or by a slow fall to nothing.
    """
    level = samples.smooth[cut]
    low = first_fall(samples.smooth, options.let_go_to * level, cut, stop)
    gone = low >= 0
    high = last_reach(samples.smooth, options.lost_share * level, cut, np.where(gone, low, cut))
    here = np.maximum(high, 0)
    coasted = samples.time[here] - samples.time[cut] > options.coast_alone_s
    at_once = samples.time[np.maximum(low, 0)] - samples.time[here] < options.gradual_s
    return np.asarray(gone & (high >= 0) & coasted & at_once, np.bool_)


def _rising(samples: Samples, edge: Ints, options: SegmentOptions) -> NDArray[np.bool_]:
    """Edges at which vacuum has just risen, as it has where it passes a threshold."""
    before = np.searchsorted(samples.time, samples.time[edge] - options.saw_kink_s)
    rise = samples.smooth[edge] - samples.smooth[np.minimum(before, np.maximum(edge - 1, 0))]
    return np.asarray(rise > options.passing_kpa + 3.0 * samples.noise / np.sqrt(samples.width), np.bool_)


def switch_edges(samples: Samples, spans: Spans, peak: float, options: SegmentOptions) -> SwitchEdges:
    """The edges from which thresholds are read.

    Set point: first output-on of each cycle. Reset point: every output-off before the release, and the one that the
    release causes. supply_off: supply-offs at a vacuum worth holding that are followed by a recharge (not by a new
    attempt out of little vacuum), or by nothing for longer than a gap before a release, which is logged or shows.
    supply_on: supply-ons inside a hold. Cuts and supply-ons of tries that failed before the output came on are none of
    these.
    """
    n = len(spans.start)
    on = samples.present_rise
    owner = _owner(on, spans)
    on, owner = on[owner >= 0], owner[owner >= 0]
    gripped = on[np.unique(owner, return_index=True)[1]] if len(on) else on
    margin = samples_in(options.cut_before_grip_s, samples.interval) + 1
    off = samples.present_fall
    stop = np.where(spans.release >= 0, spans.release, spans.end)
    cut = samples.supply_fall
    cut = _of_holds(samples, spans, cut[_owner(cut, spans) >= 0], gripped, margin)
    resume = samples.supply_rise
    resume = resume[(_owner(resume, spans) >= 0) & ~np.isin(resume, spans.start)]
    resume = _of_holds(samples, spans, resume, gripped, margin)
    if n and len(cut):
        mine = _owner(cut, spans)
        following = np.append(resume, np.iinfo(np.int64).max)[np.searchsorted(resume, cut)]
        follows = following < stop[mine]
        held_on = follows & (samples.smooth[np.where(follows, following, 0)] > _HELD_SHARE * peak)  # else a new attempt
        if samples.has_release:
            release_time = samples.time[np.minimum(stop[mine], len(samples.time) - 1)]
            alone = (release_time - samples.time[cut] > options.release_gap_s) & (spans.release[mine] >= 0)
        else:
            alone = _let_go_later(samples, cut, stop[mine], options)
        if samples.has_present:  # without an output, and at rest: given up, not cut by a threshold
            alone &= np.isin(mine, _owner(gripped, spans)) | _rising(samples, cut, options)
        worth = samples.smooth[cut] > 0.5 * peak
        cut = cut[(held_on | alone & ~follows) & worth & (cut < stop[mine])]
    if n and len(resume):
        mine = _owner(resume, spans)
        resume = resume[(samples.smooth[resume] > _HELD_SHARE * peak) & (resume < stop[mine])]
    return SwitchEdges(set_point=gripped, reset_point=off[_owner(off, spans) >= 0], supply_off=cut, supply_on=resume)
