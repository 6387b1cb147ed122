"""What a fitted model leaves of the coasts: residuals, how slow their noise is, and what that does to a rate."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracekit.frozen import dataclass
from tracekit.measure.leak_bins import Bools, Floats, History, Ints
from tracekit.measure.leak_pieces import Pieces, piece_sum
from tracekit.measure.leak_search import Coasts
from tracekit.measure.leak_sums import (
    Regressors,
    Scales,
    Wall,
    bin_noise,
    cycle_sums,
    fit_all,
    gas_of,
    regressors,
    stack,
    weights,
)
from tracekit.options.leak import LeakOptions
from tracekit.physics.heat import recursion

BLOCK = 6
"""Bins of a block: long against the sensor's lag, short against a coast."""
PLACES = 14
"""Places along the mean coast at which its residual is looked at."""
FEWEST = 6
"""Fewest cycles that tell the scatter of a mean."""
UNTOLD = 0.18
"""Relative uncertainty of the slowness from which blocks, some 60 of them, are too few to tell it."""
SURE = 2.0
"""Standard uncertainties by which residuals must be slower than white noise."""
LASTING_S = (0.0, 0.004, 0.01, 0.02, 0.04, 0.08, 0.16)
"""Times that noise lasts which are tried; longer ones look like motion, and cost as much."""


def beyond_noise(coasts: Coasts, wall: Wall, flow: Floats, chosen: Bools, scales: Scales) -> tuple[float, float]:
    """How far residuals exceed white noise in their slow part, and in their mean over the cycles, under one model.

    flow   φ of its form, shape (1, n_bins);  chosen   cycles that are fitted
    """
    history, pieces = coasts.history, coasts.pieces
    weight = weights(history, pieces, scales.noise)
    columns = regressors(history, pieces, gas_of(history, wall, coasts.rho), flow)
    seen = _fitted(coasts, columns, weight, chosen, scales)
    tried = [_noise_alone(coasts, columns, weight, chosen, scales, lasting_s) for lasting_s in LASTING_S]
    return inflation(seen, tried), common_misfit(history, pieces, seen.residual)


def shared_divisor(common: float, doubt: float, options: LeakOptions) -> float:
    """What log-likelihoods are divided by for what all coasts share beyond the model; at least 1.

    common  by how much the mean coast's residual exceeds what scatter allows;  doubt  as from `shape_doubt`. What is
    left is smooth, so that its bins do not count each: where it is large no form fits, and none may win for that.
    """
    strange = max(1.0, common / options.misfit_usual) ** options.misfit_power
    return float(max(common * strange, doubt))


def shape_doubt(coasts: Coasts, chosen: Bools, slow: float, scales: Scales, shape_kpa: float) -> float:
    """Variance of a bin of the mean coast over that by noise alone, where its shape is known to `shape_kpa` at best.

    What all coasts have in common beyond the model, visible or not, bounds what they can say about its forms.
    """
    noise = bin_noise(coasts.history, scales.noise)[coasts.pieces.index]
    mean = float(np.median(noise)) ** 2 * scales.variance * slow / max(int(np.sum(chosen)), 1)
    return 1.0 + shape_kpa**2 / max(mean, 1e-12)


def tail_doubt(coasts: Coasts, wall: Wall, flow: Floats, chosen: Bools, scales: Scales, tail_share: float) -> float:
    """The same excess where the gas's warming has a shape that is known to `tail_share` of itself.

    flow   φ of one form, shape (1, n_bins);  chosen   cycles that are fitted. What is not known of the tail runs
    smoothly through all bins of all coasts, so that they count together: it is the share's square times what the
    tail's bend, beyond a level and a rate, weighs against noise.
    """
    history, pieces = coasts.history, coasts.pieces
    columns = regressors(history, pieces, gas_of(history, wall, coasts.rho), flow)
    sums = cycle_sums(pieces, columns, weights(history, pieces, scales.noise), np.inf)
    bend = sums.hh[chosen] - sums.gh[0][chosen] ** 2 / sums.gg[0][chosen]
    return tail_share**2 * max(float(np.sum(bend)), 0.0) / scales.variance


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """Residuals of every used bin in units of their noise, how slow they are, and the rates' scatter.

    slowness  mean square of sums over blocks of bins, over that of independent residuals of the same size, NaN where
              there are too few blocks;  slowness_u  its relative standard uncertainty
    scatter   mean square of the rates' errors over what independent noise of the residuals' size makes
    variance  of the residuals in units of what the samples' own noise makes
    """

    residual: Floats
    slowness: float
    slowness_u: float
    scatter: float
    variance: float = 1.0


def _fitted(coasts: Coasts, columns: Regressors, weight: Floats, chosen: Bools, scales: Scales) -> Fitted:
    """What one model leaves of what is seen; the scatter supposes that the true rate is nothing."""
    pieces = coasts.pieces
    sums = stack([cycle_sums(pieces, columns, weight, scales.ridge)])
    fits = fit_all(sums, chosen, scales)
    rate = fits.rate[0, 0]
    left = residuals(pieces, columns, weight, rate, float(fits.amplitude[0, 0]), scales.ridge)
    expected = fits.variance(chosen) / sums.gg[0, 0][chosen]
    slowness, blocks = _slowness(pieces, left)
    return Fitted(
        residual=left, slowness=slowness, slowness_u=float(np.sqrt(2.0 / max(blocks, 1))),
        scatter=float(np.mean(rate[chosen] ** 2 / expected)), variance=fits.variance(chosen),
    )  # fmt: skip


def _noise_alone(
    coasts: Coasts, columns: Regressors, weight: Floats, chosen: Bools, scales: Scales, lasting_s: float
) -> Fitted:
    """The same of coasts without a leak, with noise that is drawn: exponentially correlated, averaged over each bin.

    Means over bins w of noise that lasts θ have a variance that goes with A = 2(x − 1 + e^(−x))/x², x = w/θ, and a
    correlation with their neighbours of (1 − e^(−x))²/(x²A); bins are weighted as if A were 1/samples.
    """
    pieces = coasts.pieces
    drawn = np.random.default_rng(7).standard_normal(len(weight))
    if lasting_s:
        x = np.maximum(coasts.history.step_s[pieces.index] / lasting_s, 1e-3)
        share = 2.0 * (x - 1.0 + np.exp(-x)) / x**2
        keep = np.where(pieces.first, 0.0, np.minimum((1.0 - np.exp(-x)) ** 2 / x**2 / share, 0.999))
        drawn = recursion(keep, np.sqrt(1.0 - keep**2) * drawn)
        drawn = drawn * np.sqrt(share * coasts.history.samples[pieces.index])
    seen = (1.0 + scales.memory_mean) * columns.memory + drawn / np.sqrt(weight)
    return _fitted(coasts, replace(columns, seen=seen), weight, chosen, scales)


def residuals(
    pieces: Pieces, columns: Regressors, weight: Floats, rate: Floats, amplitude: float, ridge: float
) -> Floats:
    """Residual of every used bin in units of its expected noise, shape (m,); NaN in cycles without a rate.

    columns of one form; rate per cycle of the history [kPa/s]; amplitude is the common α − 1.
    """
    own = rate[pieces.cycle][pieces.owner]
    left = columns.seen - (1.0 + amplitude) * columns.memory - own * columns.leak[0]
    e, owner = columns.level, pieces.owner
    ee = piece_sum(pieces, weight * e * e)
    left = left - e * (piece_sum(pieces, weight * e * left) / ee)[owner]
    h = columns.memory - e * (piece_sum(pieces, weight * e * columns.memory) / ee)[owner]
    free = piece_sum(pieces, weight * h * left) / (piece_sum(pieces, weight * h * h) + ridge)
    return np.asarray((left - h * free[owner]) * np.sqrt(weight))


def inflation(seen: Fitted, tried: Sequence[Fitted]) -> float:
    """By how much noise as slow as that seen makes rates scatter beyond what independent noise does; at least 1.

    Levels, rates and amplitudes that are fitted take the slow part of the noise along, so that residuals look quicker
    than the noise is: how slow it is follows from noise of known slowness, drawn and fitted in the same way. An excess
    over white noise is shrunk by its own uncertainty (positive-part shrinkage of James and Stein). What residuals have
    beyond the samples' noise is slow, since differences of samples do not show it: where blocks are too few to say how
    slow, rates may be off by all of it.
    """
    least = max(1.0, seen.variance) if seen.slowness_u > UNTOLD else 1.0
    if not np.isfinite(seen.slowness):
        return least
    slowness, scatter = (np.maximum.accumulate([getattr(t, name) for t in tried]) for name in ("slowness", "scatter"))
    excess, doubt = seen.slowness - slowness[0], SURE * seen.slowness_u * slowness[0]
    if excess <= doubt:
        return least
    found = slowness[0] + excess * (1.0 - (doubt / excess) ** 2)
    return max(least, float(np.interp(found, slowness, scatter / scatter[0])))


def _slowness(pieces: Pieces, residual: Floats) -> tuple[float, int]:
    """Mean square of sums over blocks of bins, over that of independent residuals of the same size; and the blocks.

    Only whole blocks inside pieces count. With fewer than ten it cannot be told: NaN.
    """
    place = np.arange(len(residual)) - pieces.start[pieces.owner]
    whole = place < BLOCK * (pieces.count[pieces.owner] // BLOCK)
    known = whole & np.isfinite(residual)
    if np.count_nonzero(known) < 10 * BLOCK:
        return float("nan"), 0
    block = np.cumsum(place[known] % BLOCK == 0) - 1
    sums = np.bincount(block, weights=residual[known])
    return float(np.mean(sums**2) / (BLOCK * np.mean(residual[known] ** 2))), len(sums)


def common_misfit(history: History, pieces: Pieces, residual: Floats) -> float:
    """Mean square of the residuals' mean over the cycles, over what their scatter allows; at least 1.

    What all coasts have in common beyond the model does not shrink with their number. Looked at by the time since the
    supply's cut, apart for the first coast of a hold and the later ones; each of them has fitted a level and a rate.
    """
    coast, cycle = history.coast[pieces.index], pieces.cycle[pieces.owner]
    later = ~_first_of_hold(history)[coast]
    time, known = history.since_cut_s[pieces.index], np.isfinite(residual)
    excess, places = 0.0, 0
    for part in (known & ~later, known & later):
        found = _places(time[part], cycle[part], residual[part])
        excess, places = excess + float(np.sum(found)), places + max(len(found) - 2, 0)
    return max(1.0, excess / (places - 1)) if places > 3 else 1.0


def _first_of_hold(history: History) -> Bools:
    """True for coasts that are the first of their cycle, shape (n_coasts,)."""
    inside = history.coast >= 0
    _, at = np.unique(history.cycle[inside], return_index=True)
    first = np.zeros(history.coasts, bool)
    first[history.coast[inside][at]] = True
    return first


def narrow_share(history: History, pieces: Pieces, narrow_kpa: float) -> float:
    """Share of the pieces' time in later coasts of a hold, each counting by how far its rise falls short, 0 to 1."""
    last = np.append(pieces.start[1:], len(pieces.index)) - 1
    first, last = pieces.index[pieces.start], pieces.index[last]
    length = history.time_s[last] - history.time_s[first]
    rise = history.pressure_kpa[last] - history.pressure_kpa[first]
    short = np.clip(1.0 - rise / narrow_kpa, 0.0, 1.0) * ~_first_of_hold(history)[history.coast[first]]
    return float(np.sum(length * short) / np.sum(length)) if len(length) else 0.0


def coast_rise(history: History, pieces: Pieces, of_bins: Floats) -> float:
    """Rise over a coast's used bins of what is given per bin, shape (n_bins,): the median over coasts, at least 0."""
    coast, u = history.coast[pieces.index], of_bins[pieces.index]
    first = np.flatnonzero(np.diff(coast, prepend=-1))
    rise = u[np.append(first[1:], len(u)) - 1] - u[first]
    return max(float(np.median(rise)), 0.0) if len(rise) else 0.0


def _places(time: Floats, cycle: Ints, residual: Floats) -> Floats:
    """Squared mean residual over its variance at places along the coast that enough cycles reach."""
    if len(time) < 4 * PLACES:
        return np.zeros(0)
    place = np.searchsorted(np.quantile(time, np.linspace(0.0, 1.0, PLACES + 1)[1:-1]), time, side="right")
    rows = int(cycle.max()) + 1
    flat = place * rows + cycle
    total, count = (
        np.bincount(flat, weights=w, minlength=PLACES * rows).reshape(PLACES, rows) for w in (residual, None)
    )
    cycles, bins = np.count_nonzero(count, axis=1), np.maximum(count.sum(axis=1), 1)
    mean = total.sum(axis=1) / bins
    spread = np.sum((total - mean[:, None] * count) ** 2, axis=1) / bins**2
    enough = (cycles >= FEWEST) & (spread > 0.0)
    n = cycles[enough]
    return np.asarray(mean[enough] ** 2 / spread[enough] * (n - 3.0) / n)
