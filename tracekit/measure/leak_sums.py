"""The linear model of a coast's log-pressure, and its sums per cycle.

With y the gas's memory (see `physics.heat`), Ψ = ∫φ/z dt, s = ∫[1/(τ√x) + 1.4ρ] dt, E = e^(−s) and F = Ψ low-passed
with rate s′ from zero, all from a piece's first bin a, the log-pressure of a coast is

    u = L₀ (1 + 0.4 E) + r (1.4 Ψ − 0.4 F) − 0.4 y₀ E,    y₀ = u_a + α (y_a − u_a)

linear in the level L₀ of the piece, the rate r of the cycle and the amplitude α of the gas's history. Noise is white
in pressure, so that a bin weighs P² over its variance. L₀ is projected out per piece; what is left are nine
sums per cycle.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tracekit.measure.leak_bins import Bools, Floats, History, Ints
from tracekit.measure.leak_pieces import Pieces, cycle_sum, piece_sum
from tracekit.physics.heat import HEAT_RATIO, MEMORY_SHARE, exchange_rate_1_s, follow


@dataclass(frozen=True, slots=True, kw_only=True)
class Regressors:
    """Columns of the model in every used bin, shape (m,) or (n_forms, m)."""

    level: Floats
    seen: Floats
    memory: Floats
    leak: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleSums:
    """Sums per cycle after the levels are projected out; u: what is seen, h: memory, g: leak.

    uu, uh, hh  shape (..., n_cycles);  gg, gu, gh  shape (..., n_forms, n_cycles)
    bins, pieces  shape (n_cycles,)
    """

    uu: Floats
    uh: Floats
    hh: Floats
    gg: Floats
    gu: Floats
    gh: Floats
    bins: Ints
    pieces: Ints


def weights(history: History, pieces: Pieces, noise: "Noise") -> Floats:
    """Weight of each used bin: P² over the variance of its mean, in units of ln P."""
    n = history.samples[pieces.index]
    variance = noise.sample_kpa**2 / n + noise.step_kpa**2
    return np.asarray(history.pressure_kpa[pieces.index] ** 2 / variance)


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """Noise of single samples, and the part of a bin's mean that does not shrink with its samples [kPa]."""

    sample_kpa: float
    step_kpa: float


def sensor_noise(noise_kpa: float, quantisation_kpa: float) -> Noise:
    """Noise of the samples (quantisation included) and what is left of the steps after averaging.

    Averaging noise σ over steps q leaves q/(π√2)·exp(−2π²σ²/q²) (first term of the Fourier series of a quantiser).
    """
    q = max(quantisation_kpa, 1e-4)
    uniform = q / np.sqrt(12.0)
    inner = np.sqrt(max(noise_kpa**2 - uniform**2, (0.1 * uniform) ** 2))
    left = q / (np.pi * np.sqrt(2.0)) * np.exp(-2.0 * (np.pi * inner / q) ** 2)
    return Noise(sample_kpa=float(np.hypot(inner, uniform)), step_kpa=float(max(left, 1e-4)))


def regressors(history: History, pieces: Pieces, tau_s: float, flow: Floats, inflow_1_s: Floats) -> Regressors:
    """Columns of the model for one wall exchange.

    tau_s       wall exchange [s]
    flow        φ in every used bin, shape (n_forms, m)
    inflow_1_s  ρ in every bin of the history, shape (n_bins,)
    """
    rate = exchange_rate_1_s(tau_s, np.exp(history.log_pressure)) + inflow_1_s
    memory = follow(history.log_pressure, rate * history.step_s, history.free)
    index, start, owner = pieces.index, pieces.start, pieces.owner
    step = np.where(pieces.first, 0.0, np.diff(history.time_s[index], prepend=0.0))
    turns = HEAT_RATIO * _mean_of_pairs(rate[index]) * step
    faded = np.exp(-_since(np.cumsum(turns), start, owner))
    u = history.log_pressure[index]
    content = u - MEMORY_SHARE * (u - memory[index])
    grown = _mean_of_pairs(flow * np.exp(-content) / history.ambient_kpa) * step
    path = _since(np.cumsum(grown, axis=-1), start, owner)
    lagging = follow(path, np.broadcast_to(turns, path.shape), pieces.first)
    u_a, y_a = u[start][owner], memory[index][start][owner]
    return Regressors(
        level=1.0 + 0.4 * faded,
        seen=u + 0.4 * u_a * faded,
        memory=-0.4 * (y_a - u_a) * faded,
        leak=1.4 * path - 0.4 * lagging,
    )


def _mean_of_pairs(values: Floats) -> Floats:
    """Mean of each value and the one before it, along the last axis."""
    return np.asarray(0.5 * (values + np.concatenate([values[..., :1], values[..., :-1]], axis=-1)))


def _since(cumulated: Floats, start: Ints, owner: Ints) -> Floats:
    """A running sum counted from the first bin of each piece."""
    return np.asarray(cumulated - cumulated[..., start][..., owner])


def cycle_sums(history: History, pieces: Pieces, columns: Regressors, weight: Floats) -> CycleSums:
    """Weighted sums of products per cycle, with the level of each piece projected out."""
    e, u, h, g = columns.level, columns.seen, columns.memory, columns.leak
    we, wu, wh, wg = weight * e, weight * u, weight * h, weight * g
    ee = piece_sum(pieces, we * e)
    eu, eh, eg = (piece_sum(pieces, we * other) for other in (u, h, g))
    rows = len(history.rows)

    def left(product: Floats, one: Floats, other: Floats) -> Floats:
        return cycle_sum(pieces, piece_sum(pieces, product) - one * other / ee, rows)

    return CycleSums(
        uu=left(wu * u, eu, eu),
        uh=left(wu * h, eu, eh),
        hh=left(wh * h, eh, eh),
        gg=left(wg * g, eg, eg),
        gu=left(wg * u, eg, eu),
        gh=left(wg * h, eg, eh),
        bins=np.bincount(pieces.cycle, weights=pieces.count, minlength=rows).astype(np.int64),
        pieces=np.bincount(pieces.cycle, minlength=rows),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Fits:
    """Every wall exchange and form fitted to a set of cycles, α marginalised; leading axes (n_tau, n_forms).

    rate        r per cycle, NaN where not fitted, shape (n_tau, n_forms, n_cycles) [kPa/s]
    slope       change of r per unit of α, the same shape [kPa/s]
    misfit      weighted residual sum of squares per cycle at its r and the common α, the same shape
    total       sum over the fitted cycles, with the prior's share of α, shape (n_tau, n_forms)
    amplitude, amplitude_var   α − 1 and its variance per unit of residual variance, shape (n_tau, n_forms)
    free        degrees of freedom per cycle, shape (n_cycles,)
    """

    rate: Floats
    slope: Floats
    misfit: Floats
    total: Floats
    amplitude: Floats
    amplitude_var: Floats
    free: Ints


def stack(sums: Sequence[CycleSums]) -> CycleSums:
    """Sums of several wall exchanges with a leading axis (n_tau, …)."""
    names = ("uu", "uh", "hh", "gg", "gu", "gh")
    stacked = {name: np.stack([getattr(one, name) for one in sums]) for name in names}
    return CycleSums(**stacked, bins=sums[0].bins, pieces=sums[0].pieces)


def fit_all(sums: CycleSums, chosen: Bools, prior_weight: float) -> Fits:
    """Fit every wall exchange and form to the chosen cycles, α ~ N(1, 1/prior_weight) per unit of residual variance."""
    gg, gh, gu = (a[..., chosen] for a in (sums.gg, sums.gh, sums.gu))
    uu, uh, hh = (a[..., None, chosen] for a in (sums.uu, sums.uh, sums.hh))
    gu, uh, uu = gu - gh, uh - hh, uu - 2.0 * uh + hh
    precision = np.sum(hh - gh**2 / gg, axis=-1) + prior_weight
    d = np.sum(uh - gu * gh / gg, axis=-1) / precision
    by_cycle = d[..., None]
    misfit = uu - 2.0 * by_cycle * uh + by_cycle**2 * hh - (gu - by_cycle * gh) ** 2 / gg
    total = np.sum(misfit, axis=-1) + d * d * prior_weight

    def spread(values: Floats) -> Floats:
        out = np.full(sums.gg.shape, np.nan)
        out[..., chosen] = values
        return out

    return Fits(
        rate=spread((gu - by_cycle * gh) / gg),
        slope=spread(-gh / gg),
        misfit=spread(misfit),
        total=total,
        amplitude=d,
        amplitude_var=1.0 / precision,
        free=sums.bins - sums.pieces - 1,
    )
