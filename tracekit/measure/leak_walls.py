"""Where the exchange of heat between gas and wall lies: time constant, its spread over the volume, sizes of scatter."""

from dataclasses import dataclass, replace

import numpy as np

from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Bools, Floats, History
from tracekit.measure.leak_mixture import log_share_positive
from tracekit.measure.leak_pieces import Pieces
from tracekit.measure.leak_search import enough, flow_of, middle_of, scan, sound
from tracekit.measure.leak_sums import (
    Fits,
    Gas,
    Scales,
    Wall,
    cycle_sums,
    fit_all,
    gas_of,
    regressors,
    stack,
    weights,
)  # fmt: skip
from tracekit.options.leak import LeakOptions
from tracekit.physics.heat import exchange_boost

EXTREMES = (0, leak_forms.MIDDLE, len(leak_forms.NAMES) - 1)
"""Forms whose valleys bound those of all: the hole that bends most, the middle one, pores."""
WHOLE_POINTS = 16
SCATTERS = (0.003, 0.01, 0.03, 0.1, 0.3)
SPREADS = ((0.0, 0.4), (0.5, 0.35), (1.0, 0.25))
"""Spreads of ln τ over the volume that are tried, with their prior probability: hoses and cups differ."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Located:
    """Walls that are worth a closer look, with what goes with the best of them.

    walls      grid over time constant and spread;  log_prior  (n_walls,) with the width of the grid's steps
    best, scales, rate   best wall, sizes of what is random, rate per cycle of the history (NaN where not fitted)
    """

    walls: tuple[Wall, ...]
    log_prior: Floats
    best: Wall
    scales: Scales
    rate: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class _Valley:
    """The valleys of the misfit at one spread, one per form tried, with the rates at the deepest.

    ln_tau, sd_ln, cost   place, width in ln τ and depth (tempered, prior included), shape (n_forms,)
    """

    spread_ln: float
    ln_tau: Floats
    sd_ln: Floats
    cost: Floats
    rate: Floats

    @property
    def deepest(self) -> int:
        """The form whose valley is deepest."""
        return int(np.argmin(self.cost))

    def span(self, widths: float, least: float) -> tuple[float, float]:
        """From the lowest to the highest place, and some widths beyond; every form has its own place."""
        beyond = np.maximum(widths * self.sd_ln, least)
        return float(np.min(self.ln_tau - beyond)), float(np.max(self.ln_tau + beyond))


def _ln_prior(ln_tau: Floats, options: LeakOptions) -> Floats:
    """Logarithm of the prior of the wall exchange, up to a constant."""
    return np.asarray(-0.5 * ((ln_tau - np.log(options.tau_prior_s)) / options.tau_prior_sd) ** 2)


def first_wall(history: History, pieces: Pieces, scales: Scales, rho: Floats, options: LeakOptions) -> Located | None:
    """A rough wall exchange without spread, with the middle form, and the sizes of scatter that go with it."""
    flow = middle_of(flow_of(history, options))
    grid = _whole(options)
    valley, scales, chosen = _valley(history, pieces, scales, rho, flow, 0.0, grid, options)
    if not chosen.any():
        return None
    at = float(valley.ln_tau[0])
    gas = gas_of(history, Wall(tau_s=float(np.exp(at)), spread_ln=0.0), rho)
    scales = scattered(history, pieces, gas, scales, flow, options)
    valley, scales, _ = _valley(history, pieces, scales, rho, flow, 0.0, _grid(at - 0.6, at + 0.6, 9, options), options)
    best = Wall(tau_s=float(np.exp(valley.ln_tau[0])), spread_ln=0.0)
    return Located(walls=(best,), log_prior=np.zeros(1), best=best, scales=scales, rate=valley.rate)


def with_boost(history: History, wall: Wall, rho: Floats) -> History:
    """The history with the exchange made exact in the temperature that a first wall gives."""
    gas = gas_of(history, wall, rho)
    return replace(history, boost=exchange_boost(history.log_pressure, gas.memory.mean(axis=0)))


def locate_walls(history: History, pieces: Pieces, first: Located, rho: Floats, options: LeakOptions) -> Located | None:
    """A fine grid over the valleys of each spread that the data do not rule out, wide enough for every form's own."""
    flow, valleys = flow_of(history, options), []
    whole, scales, chosen = _valley(
        history, pieces, first.scales, rho, middle_of(flow), SPREADS[1][0], _whole(options), options
    )
    if not chosen.any():
        return None
    centre, flow = float(whole.ln_tau[0]), flow[list(EXTREMES)]
    for spread, prior in SPREADS:
        wide = _grid(centre - 0.65, centre + 0.65, 7, options)
        rough, scales, _ = _valley(history, pieces, scales, rho, flow, spread, wide, options)
        fine = _grid(*rough.span(1.0, 0.12), 9, options)
        found, scales, _ = _valley(history, pieces, scales, rho, flow, spread, fine, options)
        valleys.append(replace(found, cost=found.cost - np.log(prior)))
    best = min(valleys, key=lambda v: float(v.cost.min()))
    walls: list[Wall] = []
    priors: list[Floats] = []
    for valley in valleys:
        if float(valley.cost.min()) > float(best.cost.min()) + options.walls_ruled_out:
            continue
        low, high = valley.span(3.0, 0.02)
        points = int(np.clip(np.ceil((high - low) / float(valley.sd_ln.min())) + 1, 7, options.walls_most))
        grid = _grid(low, high, points, options)
        walls += [Wall(tau_s=float(t), spread_ln=valley.spread_ln) for t in np.exp(grid)]
        share = np.log(dict(SPREADS)[valley.spread_ln])
        priors.append(_ln_prior(grid, options) + share + np.log(grid[1] - grid[0]))
    wall = Wall(tau_s=float(np.exp(best.ln_tau[best.deepest])), spread_ln=best.spread_ln)
    return Located(walls=tuple(walls), log_prior=np.concatenate(priors), best=wall, scales=scales, rate=best.rate)


def _whole(options: LeakOptions) -> Floats:
    """A grid over all time constants, so close that no valley falls between: far ones may be shallow, but wide."""
    return np.linspace(np.log(options.tau_least_s), np.log(options.tau_most_s), WHOLE_POINTS)


def _grid(low: float, high: float, points: int, options: LeakOptions) -> Floats:
    """A grid in ln τ, kept inside the limits."""
    least, most = np.log(options.tau_least_s), np.log(options.tau_most_s)
    start = float(np.clip(low, least, most - 0.04))
    return np.linspace(start, float(np.clip(high, start + 0.04, most)), points)


def _valley(
    history: History, pieces: Pieces, scales: Scales, rho: Floats, flow: Floats, spread: float, ln_tau: Floats,
    options: LeakOptions,
) -> tuple[_Valley, Scales, Bools]:  # fmt: skip
    """Lowest point over a grid of time constants at one spread for every row of `flow`, and the variance with it."""
    walls = [Wall(tau_s=float(t), spread_ln=spread) for t in np.exp(ln_tau)]
    sums = scan(history, pieces, walls, scales, rho, flow)
    chosen, nothing = enough(sums, options), np.array([np.inf])
    if not chosen.any():
        return _Valley(spread_ln=spread, ln_tau=nothing, sd_ln=nothing, cost=nothing, rate=nothing), scales, chosen
    chosen = sound(fit_all(sums, chosen, scales), chosen, options)
    fits = fit_all(sums, chosen, scales)
    scales = replace(scales, variance=max(fits.variance(chosen), options.variance_least))
    physical = log_share_positive(fits.middle(chosen), options.negative_soft_kpa_s)
    cost = 0.5 * fits.total / scales.divisor - _ln_prior(ln_tau, options)[:, None] - physical
    places = np.array([_parabola(ln_tau, column) for column in cost.T])
    at, form = np.unravel_index(int(np.argmin(cost)), cost.shape)
    found = _Valley(
        spread_ln=spread, ln_tau=places[:, 0], sd_ln=places[:, 1], cost=cost.min(axis=0) - np.log(places[:, 1]),
        rate=fits.rate[at, form],
    )  # fmt: skip
    return found, scales, chosen


def _parabola(x: Floats, cost: Floats) -> tuple[float, float]:
    """Lowest point of a parabola through the three lowest neighbours, and the sd that its curvature gives."""
    k = int(np.clip(np.argmin(cost), 1, len(x) - 2))
    step = float(x[1] - x[0])
    bend = float(cost[k - 1] - 2.0 * cost[k] + cost[k + 1])
    if bend <= 0.0:
        return float(x[int(np.argmin(cost))]), step
    shift = 0.5 * float(cost[k - 1] - cost[k + 1]) / bend
    return float(x[k] + np.clip(shift, -1.0, 1.0) * step), float(np.sqrt(1.0 / bend)) * step


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
        fits: Fits = fit_all(sums, chosen, trial)
        variance = max(fits.variance(chosen), options.variance_least)
        cost = float(np.sum(fits.free[chosen]) * np.log(variance) + np.sum(sums.spread[0, chosen]))
        if cost < least:
            found, least = replace(trial, variance=variance), cost
    return found
