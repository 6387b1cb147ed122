"""Probability of every wall exchange and form, for each group of cycles."""

from dataclasses import dataclass

import numpy as np

from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Bools, Floats
from tracekit.measure.leak_search import tau_prior
from tracekit.measure.leak_sums import CycleSums, Scales, fit_all
from tracekit.options.leak import LeakOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """What a set of cycles says about wall exchange, amplitude and the forms of its groups.

    grid_s     wall exchanges, shape (n_tau,) [s]
    weight     per group, joint probability of wall exchange and form, shape (n_groups, n_tau, n_forms)
    amplitude, amplitude_sd   α − 1 and its standard deviation, shape (n_groups, n_tau, n_forms)
    variance   residual variance in units of the expected noise
    inflation  by how much the variance of block means exceeds that of white residuals
    """

    grid_s: Floats
    weight: Floats
    amplitude: Floats
    amplitude_sd: Floats
    variance: float
    inflation: float

    @property
    def tau_s(self) -> float:
        """Mean of the wall exchange over the first group's weights, in ln τ [s]."""
        marginal = self.weight[0].sum(axis=-1)
        return float(np.exp(np.sum(marginal * np.log(self.grid_s))))

    def forms(self, group: int) -> Floats:
        """Probability of each form in a group, shape (n_forms,)."""
        return np.asarray(self.weight[group].sum(axis=0))


def posterior(
    grid_s: Floats, sums: CycleSums, groups: tuple[Bools, ...], scales: Scales, inflation: float, options: LeakOptions
) -> Posterior:
    """Weights of all models: each group has its own form and amplitude, the wall exchange is the station's.

    groups are masks over the cycles of `sums`. Log-likelihoods are divided by `options.temper` and by the inflation of
    the residuals' variance, because the model is simpler than the station.
    """
    fits = [fit_all(sums, g, scales) for g in groups]
    variance = scales.variance
    divisor = variance * options.temper * max(inflation, 1.0)
    each = [np.log(leak_forms.PRIOR) - 0.5 * f.total / divisor for f in fits]
    evidence = [_log_sum(e) for e in each]
    tau = np.sum(evidence, axis=0) - 0.5 * tau_prior(grid_s, options)
    tau = np.exp(tau - tau.max())
    tau /= tau.sum()
    return Posterior(
        grid_s=grid_s,
        weight=np.stack([tau[:, None] * np.exp(e - v[:, None]) for e, v in zip(each, evidence, strict=True)]),
        amplitude=np.stack([f.amplitude for f in fits]),
        amplitude_sd=np.sqrt(np.stack([f.amplitude_var for f in fits]) * variance * max(inflation, 1.0)),
        variance=variance,
        inflation=inflation,
    )


def _log_sum(values: Floats) -> Floats:
    """Log Σ exp over the last axis."""
    top = values.max(axis=-1)
    return np.asarray(top + np.log(np.sum(np.exp(values - top[..., None]), axis=-1)))
