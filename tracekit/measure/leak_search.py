"""The search for what all cycles share: wall exchange, amplitude of the gas's history, motion windows, form."""

from dataclasses import dataclass

import numpy as np

from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Bools, Floats, History, Timeline
from tracekit.measure.leak_pieces import Pieces, Windows, cut_pieces, usable
from tracekit.measure.leak_sums import CycleSums, Fits, Noise, cycle_sums, fit_all, regressors, stack, weights
from tracekit.options.leak import LeakOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """Sums over a grid of wall exchanges, for every form."""

    tau_s: Floats
    sums: CycleSums
    pieces: Pieces
    weight: Floats


def stratified(line: Timeline, most: int) -> Bools:
    """Mask of rated cycles, evenly spread over the log, that hold about `most` coasts in all."""
    rows = np.flatnonzero(line.rated)
    chosen = np.zeros(len(line.rated), bool)
    if not len(rows):
        return chosen
    keep = min(len(rows), max(1, int(most / max(float(np.mean(line.coasts[rows])), 1.0))))
    chosen[rows[np.unique(np.linspace(0, len(rows) - 1, keep).round().astype(int))]] = True
    return chosen


def inflow(history: History, rate: Floats) -> Floats:
    """ρ = r/P in every bin, from a rate per cycle of the history [1/s]; unknown and negative rates count as 0."""
    known = np.where(np.isfinite(rate), np.maximum(rate, 0.0), 0.0)
    return np.asarray(known[history.cycle] / history.pressure_kpa)


def scan(
    history: History, pieces: Pieces, tau_s: Floats, noise: Noise, rho: Floats, forms: tuple[int, ...], ref_kpa: float
) -> Scan:
    """Sums for every wall exchange in `tau_s` and every form of `forms`."""
    weight = weights(history, pieces, noise)
    flow = leak_forms.relative_flow(history.pressure_kpa[pieces.index], history.ambient_kpa, ref_kpa)[list(forms)]
    each = [cycle_sums(history, pieces, regressors(history, pieces, tau, flow, rho), weight) for tau in tau_s]
    return Scan(tau_s=tau_s, sums=stack(each), pieces=pieces, weight=weight)


def enough(sums: CycleSums, options: LeakOptions) -> Bools:
    """Cycles with bins enough for a rate, shape (n_cycles,)."""
    gg = sums.gg.reshape(-1, sums.gg.shape[-1])
    return np.asarray((sums.bins >= options.bins_per_cycle) & np.all(gg > 0.0, axis=0))


def sound(fits: Fits, chosen: Bools, options: LeakOptions) -> Bools:
    """Chosen cycles without those whose misfit at the best model is far above the others'."""
    best = np.unravel_index(int(np.argmin(fits.total)), fits.total.shape)
    ratio = fits.misfit[best] / np.maximum(fits.free, 1)
    middle = float(np.median(ratio[chosen])) if chosen.any() else 0.0
    return np.asarray(chosen & (np.nan_to_num(ratio, nan=np.inf) <= options.outlier_ratio * max(middle, 1e-12)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Tau:
    """Where the wall exchange lies: grid, weights, and the residual variance at the best of it."""

    grid_s: Floats
    best_s: float
    sd_ln: float
    variance: float
    rate: Floats


def prior_weight(variance: float, options: LeakOptions) -> float:
    """Weight of the prior of α against sums whose residual variance is `variance`."""
    return variance / options.memory_sd**2


def locate_tau(history: History, pieces: Pieces, noise: Noise, rho: Floats, options: LeakOptions) -> Tau | None:
    """Best wall exchange and its width in ln τ, from a coarse and a fine grid with the middle form."""
    low, high = np.log(options.tau_least_s), np.log(options.tau_most_s)
    grid = np.exp(np.linspace(low, high, 10))
    middle = (leak_forms.MIDDLE,)
    best, variance, sd = 0.0, 1.0, 1.0
    rate = np.array([])
    for _ in range(2):
        result = scan(history, pieces, grid, noise, rho, middle, options.ref_vacuum_kpa)
        chosen = enough(result.sums, options)
        if not chosen.any():
            return None
        chosen = sound(fit_all(result.sums, chosen, prior_weight(1.0, options)), chosen, options)
        fits = fit_all(result.sums, chosen, prior_weight(1.0, options))
        place = int(np.argmin(fits.total[:, 0]))
        free = max(int(np.sum(fits.free[chosen])), 1)
        variance = max(float(fits.total[place, 0]) / free, 1e-6)
        cost = fits.total[:, 0] / (variance * options.temper) + tau_prior(grid, options)
        best, sd = _parabola(np.log(grid), cost)
        rate = fits.rate[int(np.argmin(cost)), 0]
        width = np.clip(3.5 * sd, 0.12, 1.6)
        grid = np.exp(np.linspace(max(best - width, low), min(best + width, high), 9))
    return Tau(grid_s=grid, best_s=float(np.exp(best)), sd_ln=sd, variance=variance, rate=rate)


def tau_prior(tau_s: Floats, options: LeakOptions) -> Floats:
    """Twice the negative log-prior of the wall exchange, up to a constant."""
    return np.asarray(((np.log(tau_s) - np.log(options.tau_prior_s)) / options.tau_prior_sd) ** 2)


def _parabola(x: Floats, cost: Floats) -> tuple[float, float]:
    """Lowest point of a parabola through the three lowest neighbours, and the sd that its curvature gives."""
    k = int(np.clip(np.argmin(cost), 1, len(x) - 2))
    step = x[1] - x[0]
    bend = cost[k - 1] - 2.0 * cost[k] + cost[k + 1]
    shift = 0.0 if bend <= 0.0 else 0.5 * (cost[k - 1] - cost[k + 1]) / bend
    sd = step if bend <= 0.0 else float(np.sqrt(2.0 / bend)) * step
    return float(x[k] + np.clip(shift, -1.0, 1.0) * step), sd


def locate_windows(
    history: History, cut_s: float, tau_s: float, noise: Noise, rho: Floats, options: LeakOptions
) -> Windows | None:
    """The shortest windows after part present and before the end of the hold outside which nothing moves.

    Every pair of a grid is fitted at one wall exchange. The reference is the pair with the least misfit per degree of
    freedom, allowing for few of them; taken is the pair inside the reference that keeps most bins while the bins it
    adds fit no worse than the reference's own.
    """
    ends = np.arange(0.0, options.window_most_s + 1e-9, 2.0 * options.window_step_s)
    presents = np.append(ends, [0.6, 0.8])
    table = [(p, e, *_misfit(history, Windows(cut_s=cut_s, present_s=p, end_s=e), tau_s, noise, rho, options))
             for p in presents for e in ends]  # fmt: skip
    p, e, cost, free, bins = np.array(table).T
    fits = free >= 20
    if not fits.any():
        return None
    level = np.where(fits, cost / np.maximum(free, 1) * (1.0 + 2.5 * np.sqrt(2.0 / np.maximum(free, 1))), np.inf)
    ref = int(np.argmin(level))
    variance = cost[ref] / free[ref]
    more = np.maximum(free - free[ref], 0.0)
    rise = ((cost - cost[ref]) / variance - more) / np.sqrt(2.0 * np.maximum(more, 1.0))
    nested = fits & (p <= p[ref]) & (e <= e[ref]) & (rise < options.window_z)
    best = int(np.argmax(np.where(nested, bins, -1.0)))
    return Windows(cut_s=cut_s, present_s=float(p[best]), end_s=float(e[best]))


def _misfit(
    history: History, windows: Windows, tau_s: float, noise: Noise, rho: Floats, options: LeakOptions
) -> tuple[float, float, float]:
    """Misfit, degrees of freedom and bins of one pair of windows, with the middle form."""
    pieces = cut_pieces(history, usable(history, windows), options)
    if not len(pieces.start):
        return 0.0, 0.0, 0.0
    result = scan(history, pieces, np.array([tau_s]), noise, rho, (leak_forms.MIDDLE,), options.ref_vacuum_kpa)
    chosen = enough(result.sums, options)
    if not chosen.any():
        return 0.0, 0.0, 0.0
    fits = fit_all(result.sums, chosen, prior_weight(1.0, options))
    return float(fits.total[0, 0]), float(np.sum(fits.free[chosen])), float(np.sum(result.sums.bins[chosen]))
