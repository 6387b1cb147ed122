"""Motion: acceleration lifts cup lips for 0.1–0.4 s when the part is lifted and before the end of the hold."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tracekit.measure.leak_bins import Floats, History
from tracekit.measure.leak_pieces import Windows, cut_pieces, usable
from tracekit.measure.leak_search import enough, flow_of, inflow
from tracekit.measure.leak_sums import Gas, Scales, cycle_sums, fit_all, gas_of, regressors, stack, weights
from tracekit.measure.leak_walls import Located
from tracekit.options.leak import LeakOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class _Trials:
    """Windows tried, with misfit, degrees of freedom and rated cycles of each, shape (n_trials,)."""

    windows: tuple[Windows, ...]
    misfit: Floats
    free: Floats
    cycles: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bench:
    """What every trial shares: the history with its gas under one wall exchange."""

    history: History
    gas: Gas
    flow: Floats
    scales: Scales
    options: LeakOptions


def locate_windows(history: History, cut_s: float, first: Located, options: LeakOptions) -> Windows | None:
    """The shortest windows about the lift and before the end of the hold outside which nothing moves.

    Pairs of windows, from part present on and up to the end, are fitted at one wall exchange. The reference is the
    pair with the least misfit per degree of freedom, allowing for few of them, among the pairs that leave most cycles
    a rate. Taken is the pair inside the reference that keeps most bins while the bins it adds fit no worse than the
    reference's own. A station that lifts at a fixed time has its window later: such windows replace the first where
    the bins that they take out fit far worse than the rest.
    """
    gas = gas_of(history, first.best, inflow(history, first.rate))
    flow = flow_of(history, options)[first.form : first.form + 1]
    bench = _Bench(history=history, gas=gas, flow=flow, scales=first.scales, options=options)
    steps = np.arange(0.0, options.window_most_s + 1e-9, options.window_step_s).tolist()
    pairs = [Windows(cut_s=cut_s, present_from_s=0.0, present_s=p, end_s=e) for p in steps for e in steps]
    tried = _try(bench, pairs)
    most = float(tried.cycles.max(initial=0.0))
    least = options.window_keep * most
    found = _shortest(tried, least, options) if most >= 1.0 else None
    if found is None:
        return None
    late = _late(bench, found, least)
    if late is not None:
        again = _try(bench, [replace(late, end_s=e) for e in steps])
        found = _shortest(again, least, options) or late
    return _with_margin(bench, found, least)


def _shortest(tried: _Trials, least: float, options: LeakOptions) -> Windows | None:
    """The pair that keeps most bins among those inside the reference that fit as well; None where none is feasible."""
    fits = (tried.free >= 20.0) & (tried.cycles >= least)
    if not fits.any():
        return None
    free = np.maximum(tried.free, 1.0)
    level = np.maximum(tried.misfit / free, options.variance_least) * (1.0 + 2.5 * np.sqrt(2.0 / free))
    ref = int(np.argmin(np.where(fits, level, np.inf)))
    variance = max(tried.misfit[ref] / free[ref], options.variance_least)
    more = np.maximum(free - free[ref], 0.0)
    allowed = more + options.window_z * np.sqrt(2.0 * np.maximum(more, 1.0))
    inside = np.array(
        [w.present_s <= tried.windows[ref].present_s and w.end_s <= tried.windows[ref].end_s for w in tried.windows]
    )
    nested = fits & inside & ((tried.misfit - tried.misfit[ref]) / variance <= allowed)
    return tried.windows[int(np.argmax(np.where(nested, free, -1.0)))]


def _late(bench: _Bench, found: Windows, least: float) -> Windows | None:
    """A window that starts some time after part present, where its bins fit far worse than all others.

    Either in the place of the first, for a lift at a fixed time, or beside it, for a machine that moves on later.
    """
    options = bench.options
    length = options.window_most_s + options.window_margin_s
    starts = np.arange(options.window_step_s, options.window_late_s + 1e-9, 1.5 * options.window_step_s).tolist()
    trials = [replace(found, present_from_s=a, present_s=a + length) for a in starts]
    trials += [
        replace(found, again_from_s=a, again_s=a + options.window_again_s) for a in starts if a >= found.present_s
    ]
    tried = _try(bench, [found, *trials])
    free = np.maximum(tried.free, 1.0)
    level = np.maximum(tried.misfit / free, options.variance_least)
    taken = np.maximum(free[0] - free, 1.0)
    excess = ((tried.misfit[0] - tried.misfit) / level - taken) / np.sqrt(2.0 * taken)
    good = (tried.free >= 20.0) & (tried.cycles >= least) & (excess > options.window_late_z)
    good &= level < options.window_late_gain * level[0]
    return tried.windows[int(np.argmin(np.where(good, level, np.inf)))] if good.any() else None


def _with_margin(bench: _Bench, found: Windows, least: float) -> Windows:
    """The windows made longer by a margin, where that leaves at least as many cycles a rate."""
    more, options = bench.options.window_margin_s, bench.options
    for present, end in ((more, more), (0.0, more), (more, 0.0)):
        longer = replace(found, present_s=found.present_s + present, end_s=found.end_s + end)
        pieces = cut_pieces(bench.history, usable(bench.history, longer), options)
        bins = np.bincount(pieces.cycle, weights=pieces.count, minlength=1)
        if np.count_nonzero(bins >= options.bins_per_cycle) >= least:
            return longer
    return found


def _try(bench: _Bench, windows: Sequence[Windows]) -> _Trials:
    """Misfit of every trial, with the middle form."""
    columns = np.array([_misfit(bench, one) for one in windows]).T
    return _Trials(windows=tuple(windows), misfit=columns[0], free=columns[1], cycles=columns[2])


def _misfit(bench: _Bench, windows: Windows) -> tuple[float, float, float]:
    """Misfit, degrees of freedom and rated cycles of one trial."""
    history, scales = bench.history, bench.scales
    pieces = cut_pieces(history, usable(history, windows), bench.options)
    if not len(pieces.start):
        return 0.0, 0.0, 0.0
    columns = regressors(history, pieces, bench.gas, bench.flow)
    sums = stack([cycle_sums(history, pieces, columns, weights(history, pieces, scales.noise), scales.ridge)])
    chosen = enough(sums, bench.options)
    if not chosen.any():
        return 0.0, 0.0, 0.0
    fits = fit_all(sums, chosen, scales)
    return float(np.nansum(fits.misfit)), float(np.sum(fits.free[chosen])), float(chosen.sum())
