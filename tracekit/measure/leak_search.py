"""The search for what all cycles share: wall exchange, amplitude of the gas's history, motion windows."""

from dataclasses import dataclass, replace

import numpy as np

from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Bools, Floats, History, Timeline
from tracekit.measure.leak_pieces import Pieces
from tracekit.measure.leak_sums import (
    CycleSums,
    Fits,
    Gas,
    Scales,
    cycle_sums,
    fit_all,
    gas_of,
    regressors,
    stack,
    weights,
)  # fmt: skip
from tracekit.options.leak import LeakOptions

SCATTERS = (0.003, 0.01, 0.03, 0.1, 0.3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tau:
    """Where the wall exchange lies: grid, best, width in ln τ, sizes of what is random, rate per cycle at the best."""

    grid_s: Floats
    best_s: float
    sd_ln: float
    scales: Scales
    rate: Floats


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


def scan(history: History, pieces: Pieces, tau_s: Floats, scales: Scales, rho: Floats, flow: Floats) -> CycleSums:
    """Sums for every wall exchange in `tau_s` and every form of `flow` (n_forms, n_bins), leading axis (n_tau,)."""
    weight = weights(history, pieces, scales.noise)
    return stack([_one(history, pieces, gas_of(history, tau, rho), scales, flow, weight) for tau in tau_s.tolist()])


def _one(history: History, pieces: Pieces, gas: Gas, scales: Scales, flow: Floats, weight: Floats) -> CycleSums:
    """Sums under one wall exchange."""
    return cycle_sums(history, pieces, regressors(history, pieces, gas, flow), weight, scales.ridge)


def flow_of(history: History, options: LeakOptions) -> Floats:
    """φ of every form in every bin of the history, shape (n_forms, n_bins)."""
    return leak_forms.relative_flow(history.pressure_kpa, history.ambient_kpa, options.ref_vacuum_kpa)


def middle_of(flow: Floats) -> Floats:
    """The row of the middle form, shape (1, n_bins)."""
    return flow[leak_forms.MIDDLE : leak_forms.MIDDLE + 1]


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


def tau_prior(tau_s: Floats, options: LeakOptions) -> Floats:
    """Twice the negative log-prior of the wall exchange, up to a constant."""
    return np.asarray(((np.log(tau_s) - np.log(options.tau_prior_s)) / options.tau_prior_sd) ** 2)


def locate_tau(history: History, pieces: Pieces, scales: Scales, rho: Floats, options: LeakOptions) -> Tau | None:
    """Best wall exchange and its width in ln τ, from grids that grow finer, with the middle form.

    The valley of the misfit is narrow, so that the second grid still spans the neighbours of the coarse one's lowest.
    """
    flow = middle_of(flow_of(history, options))
    low, high = np.log(options.tau_least_s), np.log(options.tau_most_s)
    grid = np.exp(np.linspace(low, high, 10))
    best, sd, rate = 0.0, 1.0, np.array([])
    for turn in range(3):
        sums = scan(history, pieces, grid, scales, rho, flow)
        chosen = enough(sums, options)
        if not chosen.any():
            return None
        chosen = sound(fit_all(sums, chosen, scales), chosen, options)
        fits = fit_all(sums, chosen, scales)
        scales = replace(scales, variance=fits.variance(chosen))
        cost = fits.total[:, 0] / (scales.variance * options.temper) + tau_prior(grid, options)
        best, sd = _parabola(np.log(grid), cost)
        rate = fits.rate[int(np.argmin(cost)), 0]
        if turn == 0:
            scales = scattered(history, pieces, gas_of(history, float(np.exp(best)), rho), scales, flow, options)
        width = 0.6 if turn == 0 else np.clip(3.5 * sd, 0.1, 1.6)
        grid = np.exp(np.linspace(max(best - width, low), min(best + width, high), 9))
    return Tau(grid_s=grid, best_s=float(np.exp(best)), sd_ln=sd, scales=scales, rate=rate)


def _parabola(x: Floats, cost: Floats) -> tuple[float, float]:
    """Lowest point of a parabola through the three lowest neighbours, and the sd that its curvature gives."""
    k = int(np.clip(np.argmin(cost), 1, len(x) - 2))
    step = x[1] - x[0]
    bend = cost[k - 1] - 2.0 * cost[k] + cost[k + 1]
    shift = 0.0 if bend <= 0.0 else 0.5 * (cost[k - 1] - cost[k + 1]) / bend
    sd = step if bend <= 0.0 else float(np.sqrt(2.0 / bend)) * step
    return float(x[k] + np.clip(shift, -1.0, 1.0) * step), sd


def scattered(history: History, pieces: Pieces, gas: Gas, scales: Scales, flow: Floats, options: LeakOptions) -> Scales:
    """The scatter of the pieces' own amplitudes that makes the data most likely, and the variance with it."""
    weight = weights(history, pieces, scales.noise)
    columns = regressors(history, pieces, gas, flow)
    found, least = scales, np.inf
    for scatter in SCATTERS:
        trial = replace(scales, scatter_sd=scatter)
        sums = stack([cycle_sums(history, pieces, columns, weight, trial.ridge)])
        chosen = enough(sums, options)
        chosen = sound(fit_all(sums, chosen, trial), chosen, options)
        fits = fit_all(sums, chosen, trial)
        variance = fits.variance(chosen)
        cost = float(np.sum(fits.free[chosen]) * np.log(variance) + np.sum(sums.spread[0, chosen]))
        if cost < least:
            found, least = replace(trial, variance=variance), cost
    return found
