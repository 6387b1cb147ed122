"""The linear model of a coast's log-pressure, and its sums per cycle.

With y the gas's memory (see `physics.heat`), Ψ = ∫φ/z dt, s = ∫[1/(τ√x) + 1.4ρ] dt, E = e^(−s) and F = Ψ low-passed
with rate s′ from zero, all from a piece's first bin a, the log-pressure of a coast is

    u = L₀ (1 + 0.4 E) + r (1.4 Ψ − 0.4 F) − 0.4 y₀ E,    y₀ = u_a + α (y_a − u_a)

linear in the level L₀ of the piece, the rate r of the cycle and the amplitude α of the gas's history. Noise is white
in pressure, so that a bin weighs P² over its variance. L₀ is projected out per piece; what is left are nine
sums per cycle.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from tracekit.frozen import dataclass
from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Bools, Floats, History, Ints
from tracekit.measure.leak_pieces import Pieces, cycle_sum, piece_sum
from tracekit.physics.heat import MEMORY_SHARE, Parts, exchange_rate_1_s, follow, recursion, wall_parts


@dataclass(frozen=True, slots=True, kw_only=True)
class Regressors:
    """Columns of the model in every used bin, shape (..., m) and, of the leak, (..., n_forms, m)."""

    level: Floats
    seen: Floats
    memory: Floats
    leak: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleSums:
    """Sums per cycle after the levels are projected out; u: what is seen, h: memory, g: leak.

    uu, uh, hh  shape (..., n_cycles);  gg, gu, gh  shape (..., n_forms, n_cycles)
    spread      log-determinant of the pieces' own amplitudes, the price of their freedom, shape (..., n_cycles)
    bins, pieces  shape (n_cycles,)
    """

    uu: Floats
    uh: Floats
    hh: Floats
    gg: Floats
    gu: Floats
    gh: Floats
    spread: Floats
    bins: Ints
    pieces: Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """Noise of single samples, and the part of a bin's mean that does not shrink with its samples [kPa]."""

    sample_kpa: float
    step_kpa: float


def steps_left(noise_kpa: Floats, quantisation_kpa: float) -> Floats:
    """What is left of a recorder's steps after averaging over noise, quantisation included in it [kPa].

    Averaging noise σ over steps q leaves q/(π√2)·exp(−2π²σ²/q²) (first term of the Fourier series of a quantiser).
    """
    q = max(quantisation_kpa, 1e-4)
    return np.asarray(q / (np.pi * np.sqrt(2.0)) * np.exp(-2.0 * (np.pi * _inner(noise_kpa, q) / q) ** 2))


def _inner(noise_kpa: Floats, q: float) -> Floats:
    """Noise without the recorder's steps, at least a tenth of what the steps add [kPa]."""
    uniform = q / np.sqrt(12.0)
    return np.asarray(np.sqrt(np.maximum(noise_kpa**2 - uniform**2, (0.1 * uniform) ** 2)))


def sensor_noise(noise_kpa: float, quantisation_kpa: float) -> Noise:
    """Noise of the samples (quantisation included) and what is left of the steps after averaging."""
    q, noise = max(quantisation_kpa, 1e-4), np.array(noise_kpa)
    left = float(steps_left(noise, quantisation_kpa))
    return Noise(sample_kpa=float(np.hypot(_inner(noise, q), q / np.sqrt(12.0))), step_kpa=max(left, 1e-4))


@dataclass(frozen=True, slots=True, kw_only=True)
class Scales:
    """Sizes of what is random: noise, misfit, amplitudes.

    variance     residual variance in units of the expected noise [unitless]
    memory_mean, memory_sd    of the prior of the common α − 1
    scatter_sd   standard deviation of a piece's own α about the common one
    temper       divides log-likelihoods: the model is simpler than the station, and its residuals not white
    """

    noise: Noise
    variance: float
    memory_mean: float
    memory_sd: float
    scatter_sd: float
    temper: float

    @property
    def divisor(self) -> float:
        """A weighted sum of squares over twice this is a negative log-likelihood."""
        return self.variance * self.temper

    @property
    def prior_weight(self) -> float:
        """Weight of the prior of α in a weighted sum of squares."""
        return self.divisor / self.memory_sd**2

    @property
    def ridge(self) -> float:
        """The same for a piece's own amplitude."""
        return self.variance / self.scatter_sd**2


def bin_noise(history: History, noise: Noise) -> Floats:
    """Standard deviation of each bin's mean, shape (n_bins,) [kPa]."""
    return np.asarray(np.sqrt(noise.sample_kpa**2 / history.samples + noise.step_kpa**2))


def weights(history: History, pieces: Pieces, noise: Noise) -> Floats:
    """Weight of each used bin: P² over the variance of its mean, in units of ln P."""
    return bin_weights(history, noise)[pieces.index]


def bin_weights(history: History, noise: Noise) -> Floats:
    """The same of every bin of a history, shape (n_bins,)."""
    return np.asarray((history.pressure_kpa / bin_noise(history, noise)) ** 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """A model of the exchange of heat: time constant and its spread over the parts of the volume."""

    tau_s: float
    spread_ln: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Gas:
    """Rate g of the gas in every bin of a history, shape (..., n_bins); memory of each part, (n_parts, ..., n_bins)."""

    rate: Floats
    memory: Floats
    parts: Parts


def gas_of(history: History, wall: Wall, inflow_1_s: Floats) -> Gas:
    """The gas's memory under a wall exchange and an inflow ρ per bin [1/s]."""
    gas = gases_of(history, [wall], inflow_1_s)
    return Gas(rate=gas.rate[0], memory=gas.memory[:, 0], parts=gas.parts)


def gases_of(history: History, walls: Sequence[Wall], inflow_1_s: Floats) -> Gas:
    """Under several wall exchanges of one spread: rate (n_walls, n_bins), memory (n_parts, n_walls, n_bins)."""
    tau_s, parts = np.array([[wall.tau_s] for wall in walls]), wall_parts(walls[0].spread_ln)
    rate = exchange_rate_1_s(1.0, history.pressure_kpa / history.ambient_kpa) * history.boost / tau_s
    rate += inflow_1_s / history.boost
    turns = parts.kappa[:, None, None] * (rate * history.step_s)
    memory = follow(history.log_pressure, turns, history.free)
    return Gas(rate=rate, memory=memory, parts=parts)


def regressors(history: History, pieces: Pieces, gas: Gas, flow: Floats) -> Regressors:
    """Columns of the model; `flow` is φ in every bin of the history, shape (n_forms, n_bins)."""
    # take and repeat cost a fraction of what an index in brackets does
    index, start, parts = pieces.index, pieces.start, gas.parts
    half_s = 0.5 * pieces.step_s
    turns = _between(gas.rate.take(index, axis=-1), half_s)
    run = _summed(turns, pieces)
    modes = parts.lam.reshape(-1, *(1,) * run.ndim)
    faded = np.exp(-modes * run)
    u, y = history.log_pressure[index], gas.memory.take(index, axis=-1)
    content = MEMORY_SHARE * (u - y.mean(axis=0))
    content -= u
    entered = flow.take(index, axis=-1) * (np.exp(content, out=content) / history.ambient_kpa)[..., None, :]
    path = _summed(_between(entered, half_s), pieces)
    lagging = follow(path, modes[..., None] * turns[..., None, :], pieces.first)
    u_a = u[start]
    above = y.take(start, axis=-1) - u_a
    colder = np.repeat(np.stack([sum_over(row, above) for row in parts.take]), pieces.count, axis=-1)
    gone = sum_over(parts.gain, faded)
    path *= 1.4
    path -= sum_over(0.4 * parts.gain, lagging)
    return Regressors(
        level=1.0 + 0.4 * gone,
        seen=u + 0.4 * np.repeat(u_a, pieces.count) * gone,
        memory=-0.4 * np.sum(colder * faded, axis=0),
        leak=path,
    )


def sum_over(weight: Floats, values: Floats) -> Floats:
    """Weighted sum over the first axis, of length one or two; a call to BLAS would cost more than it does."""
    total = float(weight[0]) * values[0]
    for w, row in zip(weight[1:].tolist(), values[1:], strict=True):
        total = total + w * row
    return np.asarray(total)


def _between(values: Floats, half_s: Floats) -> Floats:
    """Mean of each value and the one before it times the step between them, `half_s` half of that, on the last axis."""
    out = np.empty_like(values)
    np.add(values[..., 1:], values[..., :-1], out=out[..., 1:])
    out[..., :1] = 0.0
    out *= half_s
    return out


def _summed(steps: Floats, pieces: Pieces) -> Floats:
    """A running sum over the steps of each piece, along the last axis; a cumulated sum, one by one, takes longer."""
    return recursion(np.where(pieces.first, 0.0, 1.0), steps, int(pieces.count.max(initial=0)))


def cycle_sums(
    pieces: Pieces, columns: Regressors, weight: Floats, ridge: float, share: Floats | None = None
) -> CycleSums:
    """Weighted sums of products per cycle, with the level of each piece projected out, and its own amplitude in part.

    The amplitude of the gas's history scatters from piece to piece by some s about the common α, because a slow log
    sees the evacuation in a few samples only; `ridge` is residual variance over s². `share` (n_forms, n_few) says what
    of each of the columns' few forms makes up every form; without it the forms are those of the columns.
    """
    rows, few = pieces.cycles, columns.leak.shape[-2]
    one, other = (np.arange(few), np.arange(few)) if share is None else np.triu_indices(few)
    ee, eu, eh, uu, uh, hh = piece_sum(pieces, _products(weight, columns))
    sums = piece_sum(pieces, _leak_products(weight, columns, one, other))
    eg, ug, hg, gg = (sums[..., k * few : (k + 1) * few if k < 3 else None, :] for k in range(4))
    hu, hh = uh - eh * eu / ee, hh - eh * eh / ee
    free = 1.0 / (hh + ridge)
    plain = (uu - eu * eu / ee - hu * hu * free, hu - hu * hh * free, hh - hh * hh * free)
    spread = np.log1p(np.maximum(hh, 0.0) / ridge)
    ee, eu, eh, hu, hh, free = (each[..., None, :] for each in (ee, eu, eh, hu, hh, free))
    hg = hg - eh * eg / ee
    gg = gg - eg[..., one, :] * eg[..., other, :] / ee - hg[..., one, :] * hg[..., other, :] * free
    leak = np.concatenate([gg, ug - eg * eu / ee - hg * hu * free, hg - hg * hh * free], axis=-2)
    of_uu, of_uh, of_hh, of_spread = cycle_sum(pieces, np.stack([*plain, spread]))
    of_leak = cycle_sum(pieces, leak)
    of_gg, of_gu, of_gh = (of_leak[..., first:last, :] for first, last in pairwise((0, len(one), len(one) + few, None)))
    if share is not None:
        of_gg = (share[:, one] * share[:, other] * np.where(one == other, 1.0, 2.0)) @ of_gg
        of_gu, of_gh = share @ of_gu, share @ of_gh
    return CycleSums(
        uu=of_uu, uh=of_uh, hh=of_hh, gg=of_gg, gu=of_gu, gh=of_gh, spread=of_spread,
        bins=np.bincount(pieces.cycle, weights=pieces.count, minlength=rows).astype(np.int64),
        pieces=np.bincount(pieces.cycle, minlength=rows),
    )  # fmt: skip


def _products(weight: Floats, columns: Regressors) -> Floats:
    """Weighted products ee, eu, eh, uu, uh, hh of level, what is seen and memory, shape (6, ..., m)."""
    e, u, h = columns.level, columns.seen, columns.memory
    we, wu, wh = weight * e, weight * u, weight * h
    out = np.empty((6, *e.shape))
    for place, (one, other) in zip(out, ((we, e), (we, u), (we, h), (wu, u), (wu, h), (wh, h)), strict=True):
        np.multiply(one, other, out=place)
    return out


def _leak_products(weight: Floats, columns: Regressors, one: Ints, other: Ints) -> Floats:
    """Weighted products eg, ug, hg with every form's leak, and gg of the forms `one` and `other`, one after the other.

    Shape (..., 3·n_forms + n_pairs, m).
    """
    g = columns.leak
    few, wg = g.shape[-2], weight * g
    out = np.empty((*g.shape[:-2], 3 * few + len(one), g.shape[-1]))
    for k, with_all in enumerate((columns.level, columns.seen, columns.memory)):
        np.multiply(wg, with_all[..., None, :], out=out[..., k * few : (k + 1) * few, :])
    for k, (i, j) in enumerate(zip(one.tolist(), other.tolist(), strict=True), start=3 * few):
        np.multiply(wg[..., i, :], g[..., j, :], out=out[..., k, :])
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Fits:
    """Every wall exchange and form fitted to a set of cycles, α marginalised; leading axes (n_tau, n_forms).

    rate        r per cycle, NaN where not fitted, shape (n_tau, n_forms, n_cycles) [kPa/s]
    slope       change of r per unit of α, the same shape [kPa/s]
    misfit      weighted residual sum of squares per cycle at its r and the common α, the same shape
    total       sum over the fitted cycles, with what the amplitudes cost, shape (n_tau, n_forms)
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

    def middle(self, chosen: Bools) -> Floats:
        """Median rate of the chosen cycles under every model, shape (n_tau, n_forms) [kPa/s]."""
        return np.asarray(np.median(self.rate[..., chosen], axis=-1))

    @property
    def best(self) -> tuple[int, ...]:
        """Place of the best model, (node, form)."""
        return tuple(int(k) for k in np.unravel_index(leak_forms.first_best(self.total), self.total.shape))

    def variance(self, chosen: Bools) -> float:
        """Residual variance of the best model."""
        return max(float(np.sum(self.misfit[self.best][chosen])) / max(int(np.sum(self.free[chosen])), 1), 1e-6)


OF_CYCLES, OF_FORMS = ("uu", "uh", "hh", "spread"), ("gg", "gu", "gh")
"""Sums of a cycle, and of a cycle under each form."""
_SUMS = (*OF_CYCLES, *OF_FORMS)


def stack(sums: Sequence[CycleSums]) -> CycleSums:
    """Sums of several wall exchanges with a leading axis (n_tau, …)."""
    stacked = {name: np.stack([getattr(one, name) for one in sums]) for name in _SUMS}
    return CycleSums(**stacked, bins=sums[0].bins, pieces=sums[0].pieces)


def joined(sums: Sequence[CycleSums]) -> CycleSums:
    """Sums of several groups of wall exchanges along their first axis."""
    parts = {name: np.concatenate([getattr(one, name) for one in sums]) for name in _SUMS}
    return CycleSums(**parts, bins=sums[0].bins, pieces=sums[0].pieces)


def fit_all(sums: CycleSums, chosen: Bools, scales: Scales) -> Fits:
    """Fit every wall exchange and form to the chosen cycles, with the prior of α."""
    prior_weight = scales.prior_weight
    at = np.flatnonzero(chosen)
    gg, gh, gu = (a.take(at, axis=-1) for a in (sums.gg, sums.gh, sums.gu))
    uu, uh, hh = (a.take(at, axis=-1)[..., None, :] for a in (sums.uu, sums.uh, sums.hh))
    gu, uh, uu = gu - gh, uh - hh, uu - 2.0 * uh + hh
    precision = np.sum(hh - gh**2 / gg, axis=-1) + prior_weight
    d = (np.sum(uh - gu * gh / gg, axis=-1) + prior_weight * scales.memory_mean) / precision
    by_cycle = d[..., None]
    misfit = uu - 2.0 * by_cycle * uh + by_cycle**2 * hh - (gu - by_cycle * gh) ** 2 / gg
    spread = scales.variance * np.sum(sums.spread.take(at, axis=-1), axis=-1)[..., None]
    total = np.sum(misfit, axis=-1) + (d - scales.memory_mean) ** 2 * prior_weight + spread

    def placed(values: Floats) -> Floats:
        if len(at) == len(chosen):
            return values
        out = np.full(sums.gg.shape, np.nan)
        out[..., at] = values
        return out

    return Fits(
        rate=placed((gu - by_cycle * gh) / gg),
        slope=placed(-gh / gg),
        misfit=placed(misfit),
        total=total,
        amplitude=d,
        amplitude_var=1.0 / precision,
        free=sums.bins - sums.pieces - 1,
    )
