"""Where the exchange of heat between gas and wall lies: time constant, its spread over the volume, sizes of scatter."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracekit.frozen import dataclass
from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Bools, Floats, History
from tracekit.measure.leak_mixture import log_share_positive
from tracekit.measure.leak_pieces import Pieces
from tracekit.measure.leak_residuals import beyond_noise, shape_doubt, shared_divisor, tail_doubt
from tracekit.measure.leak_search import Coasts, enough, flow_of, scan, sound, thinned
from tracekit.measure.leak_sums import (
    CycleSums,
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
WHOLE_POINTS = 31
NODE_POINTS = 6
"""Fits over a valley: its misfit is so close to a parabola that a polynomial of fifth degree holds it."""
DENSE_POINTS = 81
"""Points of that polynomial among which the lowest is looked for: a low noise makes valleys narrow and deep."""
SCATTERS = (0.003, 0.01, 0.03, 0.1, 0.3)
SPREADS = ((0.0, 0.4), (0.5, 0.35), (1.0, 0.25))
"""Spreads of ln τ over the volume that are tried, with their prior probability: hoses and cups differ."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Located:
    """Walls that are worth a closer look, with what goes with the best of them.

    walls      grid over time constant and spread;  log_prior  (n_walls,) with the width of the grid's steps
    nodes      the few walls that are fitted;  between  (n_walls, n_nodes) polynomials that lead from them to the grid
    best, scales, rate   best wall, sizes of what is random, rate per cycle of the history (NaN where not fitted)
    form                 place of the form that goes with a first wall
    slow, common         by how much the residuals' slow part, and their mean over the cycles, exceed noise; at least 1
    tail                 by how much less the warming's tail lets the coasts tell the path, at least 1
    """

    walls: tuple[Wall, ...]
    log_prior: Floats
    nodes: tuple[Wall, ...]
    between: Floats
    best: Wall
    scales: Scales
    rate: Floats
    slow: float = 1.0
    common: float = 1.0
    tail: float = 1.0
    form: int = leak_forms.MIDDLE


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

    @property
    def wall(self) -> Wall:
        """The wall exchange at the deepest place."""
        return Wall(tau_s=float(np.exp(self.ln_tau[self.deepest])), spread_ln=self.spread_ln)

    def span(self, widths: float, least: float) -> tuple[float, float]:
        """From the lowest to the highest place, and some widths beyond; every form has its own place."""
        beyond = np.maximum(widths * self.sd_ln, least)
        return float(np.min(self.ln_tau - beyond)), float(np.max(self.ln_tau + beyond))


def _ln_prior(ln_tau: Floats, options: LeakOptions) -> Floats:
    """Logarithm of the prior of the wall exchange, up to a constant."""
    return np.asarray(-0.5 * ((ln_tau - np.log(options.tau_prior_s)) / options.tau_prior_sd) ** 2)


def first_wall(coasts: Coasts, scales: Scales, options: LeakOptions) -> Located | None:
    """A rough wall exchange without spread, with the form that goes with it, and the sizes of scatter.

    Pores look like a hole beside walls that exchange slowly: each form has valleys of its own.
    """
    history, rho = coasts.history, coasts.rho
    fewest = thinned(coasts, options.whole_coasts, options)
    flow = flow_of(fewest.history, options)[list(EXTREMES)]
    valley, scales, chosen = _valley(fewest, scales, flow, 0.0, _whole(options), options)
    if not chosen.any():
        return None
    at, place = float(valley.ln_tau[valley.deepest]), valley.deepest
    flow = flow_of(history, options)[EXTREMES[place] : EXTREMES[place] + 1]
    gas = gas_of(history, Wall(tau_s=float(np.exp(at)), spread_ln=0.0), rho)
    scales = scattered(history, coasts.pieces, gas, scales, flow, options)
    valley, scales, _ = _valley(coasts, scales, flow, 0.0, _grid(at - 0.6, at + 0.6, 9, options), options)
    best = Wall(tau_s=float(np.exp(valley.ln_tau[0])), spread_ln=0.0)
    return Located(
        walls=(best,), log_prior=np.zeros(1), nodes=(best,), between=np.ones((1, 1)), best=best, scales=scales,
        rate=valley.rate, form=EXTREMES[place],
    )  # fmt: skip


def with_boost(history: History, wall: Wall, rho: Floats) -> History:
    """The history with the exchange made exact in the temperature that a first wall gives."""
    gas = gas_of(history, wall, rho)
    return replace(history, boost=exchange_boost(history.log_pressure, gas.memory.mean(axis=0)))


def locate_walls(few: Coasts, coasts: Coasts, first: Located, options: LeakOptions) -> Located | None:
    """A fine grid over the valleys of each spread that the data do not rule out, wide enough for every form's own.

    The valleys are looked for in `few` coasts and made out in all.
    """
    fewest = thinned(few, options.whole_coasts, options)
    flows = [flow_of(c.history, options)[list(EXTREMES)] for c in (few, coasts, fewest)]
    whole, scales, chosen = _valley(fewest, first.scales, flows[2], SPREADS[1][0], _whole(options), options)
    if not chosen.any():
        return None
    centre = float(whole.ln_tau[whole.deepest])
    grids, seen = [], []
    for spread, _ in SPREADS:
        wide = _grid(centre - 0.65, centre + 0.65, 7, options)
        rough, _, _ = _valley(few, scales, flows[0], spread, wide, options)
        rough, _, _ = _valley(few, scales, flows[0], spread, _grid(*rough.span(1.0, 0.12), 7, options), options)
        grids.append(_fitted(_grid(*rough.span(2.0, 0.05), NODE_POINTS, options)))
        seen.append(scan(coasts.history, coasts.pieces, _walls(grids[-1], spread), scales, coasts.rho, flows[1]))
    # one variance for all: each valley's own would forgive a wall exchange that does not fit
    scales = min((_fitted_to(sums, scales, options)[1] for sums in seen), key=lambda s: s.variance)
    best = _deepest(_valleys(seen, grids, scales, options))
    form, fitted = EXTREMES[best.deepest], np.isfinite(best.rate)
    flow = flow_of(coasts.history, options)[form : form + 1]
    slow, common = beyond_noise(coasts, best.wall, flow, fitted, scales)
    doubt = shape_doubt(coasts, fitted, slow, scales, options.shape_kpa)
    divisor = shared_divisor(common, doubt, options)
    doubt += tail_doubt(coasts, best.wall, flow, fitted, scales, options.tail_share) / slow
    tail = shared_divisor(common, doubt, options) / divisor
    scales = replace(scales, temper=slow * divisor * scales.temper)
    found = _gridded(_valleys(seen, grids, scales, options), scales, options)
    return replace(found, slow=slow, common=common, tail=tail)


def _valleys(seen: Sequence[CycleSums], grids: Sequence[Floats], scales: Scales, options: LeakOptions) -> list[_Valley]:
    """The valley of every spread, with the spread's prior in its depth."""
    out = []
    for (spread, prior), grid, sums in zip(SPREADS, grids, seen, strict=True):
        fitted, _ = _fitted_to(sums, scales, options)
        found = _lowest(fitted, scales, spread, grid, options, DENSE_POINTS)
        out.append(replace(found, cost=found.cost - np.log(prior)))
    return out


def _deepest(valleys: Sequence[_Valley]) -> _Valley:
    """The deepest of some valleys."""
    return min(valleys, key=lambda v: float(v.cost.min()))


def _gridded(valleys: list[_Valley], scales: Scales, options: LeakOptions) -> Located:
    """A grid over each valley that is deep enough, and the few nodes that carry it."""
    best = _deepest(valleys)
    walls: list[Wall] = []
    nodes: list[Wall] = []
    priors: list[Floats] = []
    between = np.zeros((0, 0))
    for valley in valleys:
        if float(valley.cost.min()) > float(best.cost.min()) + options.walls_ruled_out:
            continue
        low, high = valley.span(3.0, 0.02)
        points = int(np.clip(np.ceil((high - low) / float(valley.sd_ln.min())) + 1, 7, options.walls_most))
        grid = _grid(low, high, points, options)
        fitted = _fitted(grid)
        walls += _walls(grid, valley.spread_ln)
        nodes += _walls(fitted, valley.spread_ln)
        between = _beside(between, lagrange(fitted, grid))
        share = np.log(dict(SPREADS)[valley.spread_ln])
        priors.append(_ln_prior(grid, options) + share + np.log(grid[1] - grid[0]))
    return Located(
        walls=tuple(walls), log_prior=np.concatenate(priors), nodes=tuple(nodes), between=between, best=best.wall,
        scales=scales, rate=best.rate,
    )  # fmt: skip


def _walls(ln_tau: Floats, spread_ln: float) -> list[Wall]:
    """One wall exchange per time constant."""
    return [Wall(tau_s=float(t), spread_ln=spread_ln) for t in np.exp(ln_tau)]


def _fitted(grid: Floats) -> Floats:
    """Points between the ends of a grid at which polynomials over it are known best (extremes of Chebyshev's)."""
    turn = np.cos(np.linspace(np.pi, 0.0, NODE_POINTS))
    return np.asarray(0.5 * (grid[0] + grid[-1]) + 0.5 * (grid[-1] - grid[0]) * turn)


def lagrange(nodes: Floats, x: Floats) -> Floats:
    """Matrix (n_x, n_nodes) that leads from values at nodes to the polynomial through them (Lagrange)."""
    apart = x[:, None, None] - nodes[None, None, :]
    own = nodes[:, None] - nodes[None, :]
    same = np.eye(len(nodes), dtype=bool)
    return np.asarray(np.prod(np.where(same, 1.0, apart / np.where(same, 1.0, own)), axis=-1))


def _beside(one: Floats, other: Floats) -> Floats:
    """Two matrices as the blocks of one, zeros elsewhere."""
    out = np.zeros((one.shape[0] + other.shape[0], one.shape[1] + other.shape[1]))
    out[: one.shape[0], : one.shape[1]] = one
    out[one.shape[0] :, one.shape[1] :] = other
    return out


def _whole(options: LeakOptions) -> Floats:
    """A grid over all time constants, so close that no valley falls between, which few coasts make wide."""
    return np.linspace(np.log(options.tau_least_s), np.log(options.tau_most_s), WHOLE_POINTS)


def _grid(low: float, high: float, points: int, options: LeakOptions) -> Floats:
    """A grid in ln τ, kept inside the limits."""
    least, most = np.log(options.tau_least_s), np.log(options.tau_most_s)
    start = float(np.clip(low, least, most - 0.04))
    return np.linspace(start, float(np.clip(high, start + 0.04, most)), points)


def _valley(
    coasts: Coasts, scales: Scales, flow: Floats, spread: float, ln_tau: Floats, options: LeakOptions
) -> tuple[_Valley, Scales, Bools]:  # fmt: skip
    """Lowest point over a grid of time constants at one spread for every row of `flow`, and the variance with it."""
    sums = scan(coasts.history, coasts.pieces, _walls(ln_tau, spread), scales, coasts.rho, flow)
    (fits, chosen), scales = _fitted_to(sums, scales, options)
    return _lowest((fits, chosen), scales, spread, ln_tau, options), scales, chosen


def _fitted_to(sums: CycleSums, scales: Scales, options: LeakOptions) -> tuple[tuple[Fits, Bools], Scales]:
    """Fits to the cycles that are sound, these cycles, and the variance that the best fit leaves."""
    chosen = enough(sums, options)
    if not chosen.any():
        return (fit_all(sums, chosen, scales), chosen), scales
    chosen = sound(fit_all(sums, chosen, scales), chosen, options)
    fits = fit_all(sums, chosen, scales)
    return (fits, chosen), replace(scales, variance=max(fits.variance(chosen), options.variance_least))


def _lowest(
    fitted: tuple[Fits, Bools], scales: Scales, spread: float, ln_tau: Floats, options: LeakOptions, dense: int = 0
) -> _Valley:
    """The lowest point of the misfit over a grid of time constants, for every form.

    With `dense` points of the polynomial through the grid's, which are to be those of `_fitted`, else among them.
    """
    (fits, chosen), nothing = fitted, np.array([np.inf])
    if not chosen.any():
        return _Valley(spread_ln=spread, ln_tau=nothing, sd_ln=nothing, cost=nothing, rate=nothing)
    physical = log_share_positive(fits.middle(chosen), options.negative_soft_kpa_s)
    cost = 0.5 * fits.total / scales.divisor - _ln_prior(ln_tau, options)[:, None] - physical
    at, form = np.unravel_index(int(np.argmin(cost)), cost.shape)
    if dense:
        nodes, ln_tau = ln_tau, np.linspace(ln_tau[0], ln_tau[-1], dense)
        cost = lagrange(nodes, ln_tau) @ cost
    places = np.array([_parabola(ln_tau, column) for column in cost.T])
    return _Valley(
        spread_ln=spread, ln_tau=places[:, 0], sd_ln=places[:, 1], cost=places[:, 2] - np.log(places[:, 1]),
        rate=fits.rate[at, form],
    )  # fmt: skip


def _parabola(x: Floats, cost: Floats) -> tuple[float, float, float]:
    """Lowest point of a parabola through the three lowest neighbours, the sd that its curvature gives, its cost."""
    lowest = int(np.argmin(cost))
    k = int(np.clip(lowest, 1, len(x) - 2))
    step = float(x[1] - x[0])
    bend = float(cost[k - 1] - 2.0 * cost[k] + cost[k + 1])
    if bend <= 0.0:
        return float(x[lowest]), step, float(cost[lowest])
    lean = 0.5 * float(cost[k - 1] - cost[k + 1])
    shift = float(np.clip(lean / bend, -1.0, 1.0))
    return float(x[k]) + shift * step, step / float(np.sqrt(bend)), float(cost[k]) + shift * (0.5 * bend * shift - lean)


def scattered(history: History, pieces: Pieces, gas: Gas, scales: Scales, flow: Floats, options: LeakOptions) -> Scales:
    """The scatter of the pieces' own amplitudes that makes the data most likely, and the variance with it."""
    weight = weights(history, pieces, scales.noise)
    columns = regressors(history, pieces, gas, flow)
    found, least = scales, np.inf
    for scatter in SCATTERS:
        trial = replace(scales, scatter_sd=scatter)
        sums = stack([cycle_sums(pieces, columns, weight, trial.ridge)])
        chosen = enough(sums, options)
        chosen = sound(fit_all(sums, chosen, trial), chosen, options)
        fits: Fits = fit_all(sums, chosen, trial)
        variance = max(fits.variance(chosen), options.variance_least)
        cost = float(np.sum(fits.free[chosen]) * np.log(variance) + np.sum(sums.spread[0, chosen]))
        if cost < least:
            found, least = replace(trial, variance=variance), cost
    return found
