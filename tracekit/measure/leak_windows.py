"""Motion: acceleration lifts cup lips for 0.1–0.4 s after part present and before the end of the hold."""

from dataclasses import dataclass, replace

import numpy as np

from tracekit.measure.leak_bins import Bools, Floats, History
from tracekit.measure.leak_pieces import Windows, cut_pieces, usable
from tracekit.measure.leak_search import Tau, enough, flow_of, inflow, middle_of
from tracekit.measure.leak_sums import Gas, Scales, cycle_sums, fit_all, gas_of, regressors, stack, weights
from tracekit.options.leak import LeakOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class Trials:
    """Every pair of windows tried: lengths, misfit, degrees of freedom and rated cycles, shape (n_pairs,)."""

    present_s: Floats
    end_s: Floats
    misfit: Floats
    free: Floats
    cycles: Floats


def locate_windows(history: History, few: Bools, cut_s: float, tau: Tau, options: LeakOptions) -> Windows | None:
    """The shortest windows after part present and before the end of the hold outside which nothing moves.

    Every pair of a grid is fitted at one wall exchange. The reference is the pair with the least misfit per degree of
    freedom, allowing for few of them, among the pairs that leave most cycles a rate. Taken is the pair inside the
    reference that keeps most bins while the bins it adds fit no worse than the reference's own. `few` masks the
    cycles of the history that take part.
    """
    tried = _try_all(history, few, cut_s, tau, options)
    most = float(tried.cycles.max(initial=0.0))
    fits: Bools = (tried.free >= 20.0) & (tried.cycles >= options.window_keep * most)
    if most < 1.0 or not fits.any():
        return None
    scarce = 1.0 + 2.5 * np.sqrt(2.0 / np.maximum(tried.free, 1.0))
    ref = int(np.argmin(np.where(fits, tried.misfit / np.maximum(tried.free, 1.0) * scarce, np.inf)))
    variance = max(tried.misfit[ref] / tried.free[ref], 1e-9)
    more = np.maximum(tried.free - tried.free[ref], 0.0)
    allowed = more + options.window_z * np.sqrt(2.0 * np.maximum(more, 1.0)) + options.window_slack * tried.free[ref]
    nested = fits & (tried.present_s <= tried.present_s[ref]) & (tried.end_s <= tried.end_s[ref])
    nested = np.asarray(nested & ((tried.misfit - tried.misfit[ref]) / variance <= allowed))
    best = int(np.argmax(np.where(nested, tried.free, -1.0)))
    found = Windows(cut_s=cut_s, present_s=float(tried.present_s[best]), end_s=float(tried.end_s[best]))
    return _with_margin(history, few, found, options.window_keep * most, options)


def _with_margin(history: History, few: Bools, found: Windows, least: float, options: LeakOptions) -> Windows:
    """The windows made longer by a margin, where that leaves at least as many cycles a rate."""
    more = options.window_margin_s
    for present, end in ((more, more), (0.0, more), (more, 0.0)):
        longer = replace(found, present_s=found.present_s + present, end_s=found.end_s + end)
        pieces = cut_pieces(history, usable(history, longer) & few[history.cycle], options)
        bins = np.bincount(pieces.cycle, weights=pieces.count, minlength=1)
        if np.count_nonzero(bins >= options.bins_per_cycle) >= least:
            return longer
    return found


def _try_all(history: History, few: Bools, cut_s: float, tau: Tau, options: LeakOptions) -> Trials:
    """Misfit of every pair of windows, with the middle form."""
    step, most = options.window_step_s, options.window_most_s
    ends = np.arange(0.0, most + 1e-9, step)
    presents = np.append(ends, np.arange(most + 2.0 * step, options.window_late_s + 1e-9, 2.0 * step))
    pairs = [(float(p), float(e)) for p in presents for e in ends]
    gas, flow = gas_of(history, tau.best_s, inflow(history, tau.rate)), middle_of(flow_of(history, options))
    allowed = few[history.cycle]
    found = [
        _misfit(history, allowed, Windows(cut_s=cut_s, present_s=p, end_s=e), gas, flow, tau.scales, options)
        for p, e in pairs
    ]
    columns = np.array([(*pair, *one) for pair, one in zip(pairs, found, strict=True)]).T
    return Trials(present_s=columns[0], end_s=columns[1], misfit=columns[2], free=columns[3], cycles=columns[4])


def _misfit(
    history: History, allowed: Bools, windows: Windows, gas: Gas, flow: Floats, scales: Scales, options: LeakOptions
) -> tuple[float, float, float]:
    """Misfit, degrees of freedom and rated cycles of one pair of windows."""
    pieces = cut_pieces(history, usable(history, windows) & allowed, options)
    if not len(pieces.start):
        return 0.0, 0.0, 0.0
    weight = weights(history, pieces, scales.noise)
    sums = stack([cycle_sums(history, pieces, regressors(history, pieces, gas, flow), weight, scales.ridge)])
    chosen = enough(sums, options)
    if not chosen.any():
        return 0.0, 0.0, 0.0
    fits = fit_all(sums, chosen, scales)
    return float(np.nansum(fits.misfit)), float(np.sum(fits.free[chosen])), float(chosen.sum())
