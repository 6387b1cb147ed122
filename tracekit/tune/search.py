"""The constrained search: all allowed combinations on a grid of the device's steps, then a finer one about the best."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.options.tune import TuneOptions
from tracekit.tune.cost import Levels, drop_cost, loop_cost, point_cost, reset_cost
from tracekit.tune.order import LOWERING, Rules
from tracekit.tune.station_model import FittedStation

Floats = NDArray[np.float64]
Values = Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """What the search works on. `fall` is how far vacuum goes below supply_on, with the deepest healthy dip [kPa]."""

    model: FittedStation
    levels: Levels
    rules: Rules
    weights: Mapping[str, float]
    adjustable: tuple[str, ...]
    options: TuneOptions
    saving: bool
    fall: float

    @property
    def now(self) -> Values:
        """Settings in force."""
        return {name: known.value for name, known in self.rules.known.items()}


def cost_of(problem: Problem, values: Values) -> float:
    """Cost of one set of settings per cycle."""
    grid = {name: np.array([value]) for name, value in values.items()}
    return float(_costs(problem, grid, allow_all=True).ravel()[0])


def best(problem: Problem) -> tuple[Values, float] | None:
    """The cheapest allowed set and its cost, or None where no set keeps every rule."""
    grid = {name: _candidates(problem, name, None, 0.0) for name in problem.now}
    found = _cheapest(problem, grid)
    if found is None:
        return None
    for _ in range(2):
        width = {n: _spacing(grid[n]) for n in grid}
        grid = {n: _candidates(problem, n, found[0][n], width[n]) for n in grid}
        found = _cheapest(problem, grid) or found
    return found


def _cheapest(problem: Problem, grid: Mapping[str, Floats]) -> tuple[Values, float] | None:
    costs = _costs(problem, grid, allow_all=False)
    at = np.unravel_index(int(np.argmin(costs)), costs.shape)
    if not np.isfinite(costs[at]):
        return None
    names = _axes(grid)
    return {name: float(grid[name][i]) for name, i in zip(names, at, strict=True)}, float(costs[at])


def _axes(grid: Mapping[str, Floats]) -> tuple[str, ...]:
    return tuple(n for n in ("supply_off", "supply_on", "set_point", "reset_point") if n in grid)


def _spacing(values: Floats) -> float:
    gaps = np.diff(np.unique(values))
    return float(np.median(gaps)) if len(gaps) else 0.0


def _candidates(problem: Problem, name: str, about: float | None, width: float) -> Floats:
    """Values to try for one setting: multiples of the device's step, and the setting in force."""
    now, step, o = problem.now[name], problem.rules.step, problem.options
    if name not in problem.adjustable:
        return np.array([now])
    low, high = now - o.most_move_kpa, problem.model.facts.reach_low
    if problem.rules.needed is not None:
        low = max(low, problem.rules.needed if name in LOWERING else low)
    elif name in LOWERING:
        low = problem.rules.known[name].high
    if about is not None:
        low, high = max(low, about - width), min(high, about + width)
    count = o.grid if about is None else o.grid_fine
    raw = np.linspace(max(low, 0.0), max(high, low, 0.0), count)
    return np.unique(np.append(np.round(np.ceil(raw / step - 1e-6) * step, 9), now))


def _costs(problem: Problem, grid: Mapping[str, Floats], *, allow_all: bool) -> Floats:
    """Cost over the grid, axes as in `_axes`; infinite where a rule is broken."""
    names, o, w = _axes(grid), problem.options, problem.weights
    shape = {n: tuple(len(grid[n]) if m == n else 1 for m in names) for n in names}
    total = np.zeros(tuple(len(grid[n]) for n in names))
    if "set_point" in grid:
        total = total + point_cost(grid["set_point"], problem.levels, problem.model, w, o).reshape(shape["set_point"])
    if problem.saving and {"supply_off", "supply_on"} <= set(grid):
        total = total + _loop_part(problem, grid)
    if "reset_point" in grid and problem.saving and "supply_on" in grid:
        gap = (
            grid["supply_on"].reshape(shape["supply_on"])
            - problem.fall
            - grid["reset_point"].reshape(shape["reset_point"])
        )
        total = total + drop_cost(gap, problem.levels, w, o)
    elif "reset_point" in grid:
        total = total + reset_cost(grid["reset_point"], problem.levels, w, o).reshape(shape["reset_point"])
    if {"set_point", "reset_point"} <= set(grid):
        point, reset = (grid[n].reshape(shape[n]) for n in ("set_point", "reset_point"))
        slack = np.maximum(point - 2.0 * problem.rules.hysteresis - reset, 0.0)
        total = total + o.grip_of_reset * w["grip"] * slack
    return total if allow_all else np.where(_allowed(problem, grid, names), total, np.inf)


def _loop_part(problem: Problem, grid: Mapping[str, Floats]) -> Floats:
    """Cost of the loop on the plane of supply_off and supply_on, with two axes of length one behind it."""
    off, on = np.meshgrid(grid["supply_off"], grid["supply_on"], indexing="ij")
    use = off.ravel() > on.ravel()
    cost = np.full(off.size, np.inf)
    if use.any():
        cost[use] = loop_cost(problem.model, off.ravel()[use], on.ravel()[use], problem.weights, problem.options)[0]
    extra = (1,) * (len(_axes(grid)) - 2)
    return cost.reshape(off.shape + extra)


def _allowed(problem: Problem, grid: Mapping[str, Floats], names: Sequence[str]) -> NDArray[np.bool_]:
    """Which combinations keep every rule, on the whole grid at once."""
    rules, axis = problem.rules, {n: k for k, n in enumerate(names)}

    def along(name: str, values: Floats) -> Floats:
        return values.reshape([-1 if k == axis[name] else 1 for k in range(len(names))])

    low = {n: along(n, np.array([rules.low({n: float(v)}, n) for v in grid[n]])) for n in names}
    high = {n: along(n, np.array([rules.high({n: float(v)}, n) for v in grid[n]])) for n in names}
    moved = {n: along(n, np.array([float(rules.moved({n: float(v)}, n)) for v in grid[n]])) > 0.0 for n in names}
    value = {n: along(n, grid[n]) for n in names}
    ok = np.ones(tuple(len(grid[n]) for n in names), np.bool_)
    for below, above, distance in _distances(rules):
        if below in axis and above in axis:
            ok &= low[above] - high[below] - distance >= -1e-9
    if {"set_point", "reset_point"} <= set(names):
        either = moved["set_point"] | moved["reset_point"]
        ok &= ~either | (value["set_point"] - value["reset_point"] >= rules.hysteresis - 1e-9)
    if {"supply_off", "supply_on"} <= set(names):
        either = moved["supply_off"] | moved["supply_on"]
        band = value["supply_off"] - value["supply_on"]
        ok &= ~either | (band >= rules.band - 1e-9) & (band <= rules.band_most + 1e-9)
    for name, least, most in _ranges(problem):
        if name in axis:
            inside = (value[name] >= least - 1e-9) & (value[name] <= most + 1e-9)
            ok &= ~moved[name] | inside
    if rules.needed is not None:
        for name in set(names) & set(LOWERING):
            ok &= low[name] >= rules.needed - 1e-9
    return ok


def _distances(rules: Rules) -> tuple[tuple[str, str, float], ...]:
    return (
        ("reset_point", "supply_on", rules.guard),
        ("supply_on", "supply_off", rules.step),
        ("set_point", "supply_off", rules.step),
        ("reset_point", "set_point", rules.step),
    )


def _ranges(problem: Problem) -> tuple[tuple[str, float, float], ...]:
    """Lowest and highest value of a setting that is moved."""
    rules, o, inf = problem.rules, problem.options, float("inf")
    reach = problem.model.facts.reach_low
    least = o.set_least_share * reach if np.isfinite(reach) else 0.0
    return (
        ("set_point", max(least, rules.open_level or 0.0), inf if rules.point_most is None else rules.point_most),
        ("supply_off", 0.0, inf if rules.off_most is None else rules.off_most),
        ("reset_point", 0.0, inf if rules.dip_level is None else rules.dip_level),
    )
