"""What the head of a log teaches about all of it: usual peak, thresholds, whether air is saved."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import SettingInForce
from tracekit.model.station import Settings
from tracekit.options.segment import SegmentOptions
from tracekit.segment.cycles import Reference, Spans, cycle_starts, find_spans
from tracekit.segment.samples import Samples
from tracekit.segment.thresholds import SwitchEdges, explained, in_force, switch_edges
from tracekit.signal.segments import range_max
from tracekit.signal.select import quantile

Ints = NDArray[np.int64]

_UNKNOWN = float("nan")


def _usual_peak(samples: Samples, filed: Settings, options: SegmentOptions) -> tuple[float, Spans]:
    """Vacuum that a usual cycle reaches at its best, from two passes over the head."""
    rough = quantile(samples.smooth, 0.99) if np.isfinite(samples.smooth).all() and len(samples.smooth) else 0.0
    reference = Reference(
        set_point=filed.set_point_kpa or _UNKNOWN,
        reset_point=_UNKNOWN,
        supply_off=_UNKNOWN,
        supply_on=_UNKNOWN,
        peak=max(rough, 1e-3),
        air_saving=False,
    )
    spans = _spans(samples, reference, options)
    if len(spans.start):
        peaks = range_max(samples.smooth, spans.start, spans.end)
        reference = replace(reference, peak=max(float(np.quantile(peaks, 0.85)), 1e-3))
        spans = _spans(samples, reference, options)
    return reference.peak, spans


def _spans(samples: Samples, reference: Reference, options: SegmentOptions) -> Spans:
    starts = cycle_starts(samples, reference, -1, options)
    return find_spans(samples, starts, len(samples.time), reference, options)


def _saves_air(samples: Samples, spans: Spans, edges: SwitchEdges, peak: float, filed: Settings) -> bool:
    """Air is saved where holds contain recharges, or where suction is cut long before the release at one vacuum."""
    gripped = range_max(samples.smooth, spans.start, spans.end) > 0.5 * peak
    holds = max(int(gripped.sum()), 1)
    if len(edges.supply_on) >= 0.05 * holds and len(edges.supply_on) >= 2:
        return True
    if filed.supply_off_kpa is not None and not samples.has_release:
        cuts = samples.supply_fall
        level = np.full(len(cuts), filed.supply_off_kpa)
        return bool(len(cuts)) and bool(explained(samples, cuts, level, upward=True).mean() > 0.5)
    owner = np.searchsorted(spans.start, edges.supply_off, side="right") - 1
    cycles_cut = len(np.unique(owner))
    if cycles_cut < (1 if filed.supply_off_kpa is not None else 0.3 * holds):
        return False
    if filed.supply_off_kpa is not None:
        return True
    level = samples.vacuum[edges.supply_off]
    return len(level) >= 2 and float(np.quantile(level, 0.9) - np.quantile(level, 0.1)) < 3.0 + 4.0 * samples.noise


def _after_cuts(samples: Samples, resumed: Ints, cut: SettingInForce) -> Ints:
    """The supply-ons that follow a cut at the station file's supply_off, where that is in force.

    One after a try that was given up under it tells no supply_on.
    """
    if cut.value_kpa is None or cut.value_kpa != cut.station_file_kpa or not len(resumed):
        return resumed
    falls = samples.supply_fall
    before = np.searchsorted(falls, resumed) - 1
    level = np.full(len(resumed), cut.value_kpa)
    known = (before >= 0) & explained(samples, falls[np.maximum(before, 0)], level, upward=True)
    return resumed[known]


def learn(samples: Samples, filed: Settings, options: SegmentOptions) -> tuple[Reference, Mapping[str, SettingInForce]]:
    """Reference and settings in force from the head of a log; values of the station file are checked by the edges."""
    peak, spans = _usual_peak(samples, filed, options)
    edges = switch_edges(samples, spans, peak, options)
    saves = _saves_air(samples, spans, edges, peak, filed)

    none = np.zeros(0, np.int64)
    cut = in_force(samples, edges.supply_off if saves else none, filed.supply_off_kpa, upward=True)
    resumed = _after_cuts(samples, edges.supply_on, cut) if saves else none
    settings = {
        "set_point": in_force(samples, edges.set_point, filed.set_point_kpa, upward=True),
        "reset_point": in_force(samples, edges.reset_point, filed.reset_point_kpa, upward=False),
        "supply_off": cut,
        "supply_on": in_force(samples, resumed, filed.supply_on_kpa, upward=False),
    }
    value = {k: _UNKNOWN if s.value_kpa is None else s.value_kpa for k, s in settings.items()}
    reference = Reference(
        set_point=value["set_point"],
        reset_point=value["reset_point"],
        supply_off=value["supply_off"],
        supply_on=value["supply_on"],
        peak=peak,
        air_saving=saves,
    )
    return reference, settings
