"""Probability of every wall exchange and form, for each group of cycles."""

import numpy as np

from tracekit.frozen import dataclass
from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Bools, Floats
from tracekit.measure.leak_mixture import log_share_positive
from tracekit.measure.leak_sums import CycleSums, Scales, Wall, fit_all
from tracekit.measure.leak_walls import Located


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """What a set of cycles says about wall exchange, amplitude and the forms of its groups.

    walls      wall exchanges, n_walls of them
    weight     per group, joint probability of wall exchange and form tried, shape (n_groups, n_walls, n_tried)
    amplitude, amplitude_sd   α − 1 and its standard deviation, shape (n_groups, n_walls, n_tried)
    inflation  by how much the variance of block means exceeds that of white residuals
    common     by how much the mean square of the residuals' mean over cycles exceeds what their scatter allows
    tail       by how much less the tail of the gas's warming lets the coasts tell the path
    """

    walls: tuple[Wall, ...]
    weight: Floats
    amplitude: Floats
    amplitude_sd: Floats
    inflation: float
    common: float = 1.0
    tail: float = 1.0

    @property
    def tau_s(self) -> float:
        """Mean of the wall exchange over the first group's weights, in ln τ [s]."""
        marginal = self.weight[0].sum(axis=-1)
        return float(np.exp(np.sum(marginal * np.log([w.tau_s for w in self.walls]))))

    def forms(self, group: int) -> Floats:
        """Probability of each form that was tried in a group, shape (n_tried,)."""
        return np.asarray(self.weight[group].sum(axis=0))


def posterior(
    located: Located, sums: CycleSums, groups: tuple[Bools, ...], scales: Scales, inflation: float, soft_kpa_s: float
) -> Posterior:
    """Weights of all models: each group has its own form and amplitude, the wall exchange is the station's.

    sums are those at the nodes of `located`; groups are masks over their cycles; a leak is not negative, but for
    errors of size `soft_kpa_s`.
    """
    fits, to_walls = [fit_all(sums, g, scales) for g in groups], located.between
    each = [
        np.log(leak_forms.prior_of_tried())
        - 0.5 * (to_walls @ f.total) / scales.divisor
        + log_share_positive(to_walls @ f.middle(g), soft_kpa_s)
        for f, g in zip(fits, groups, strict=True)
    ]
    evidence = [_log_sum(e) for e in each]
    wall = np.sum(evidence, axis=0) + located.log_prior
    wall = np.exp(wall - wall.max())
    wall /= wall.sum()
    return Posterior(
        walls=located.walls,
        weight=np.stack([wall[:, None] * np.exp(e - v[:, None]) for e, v in zip(each, evidence, strict=True)]),
        amplitude=np.stack([to_walls @ f.amplitude for f in fits]),
        amplitude_sd=np.sqrt(np.stack([within(to_walls, f.amplitude_var) for f in fits]) * scales.divisor),
        inflation=inflation,
    )


def within(between: Floats, values: Floats) -> Floats:
    """Values (n_nodes, n_forms) led from nodes to walls, never beyond the nodes' own.

    A polynomial through variances that rise steeply dips below zero.
    """
    return np.asarray(np.clip(between @ values, values.min(axis=0), values.max(axis=0)))


def _log_sum(values: Floats) -> Floats:
    """Log Σ exp over the last axis."""
    top = values.max(axis=-1)
    return np.asarray(top + np.log(np.sum(np.exp(values - top[..., None]), axis=-1)))
