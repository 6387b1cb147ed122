"""The rate of every cycle under the models found, in blocks of cycles."""

from dataclasses import dataclass

import numpy as np

from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Bools, Floats, History, Timeline, break_at_falls, gather
from tracekit.measure.leak_pieces import Pieces, Windows, cut_pieces, cycle_sum, piece_sum, usable
from tracekit.measure.leak_search import enough, flow_of, inflow, scan
from tracekit.measure.leak_sums import CycleSums, Scales, bin_noise
from tracekit.model.cycle import StationData
from tracekit.options.leak import LeakOptions

NODES = 5
BLOCK_COASTS = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """Rates of all cycles of the log; NaN where a cycle has none. Models are pairs of node and form.

    rate      per model at α = 1, shape (n_models, n_cycles) [kPa/s]
    slope     change per unit of α − 1, the same shape [kPa/s]
    noise     standard deviation by noise, at the middle model, shape (n_cycles,) [kPa/s]
    misfit    residual sum of squares over its degrees of freedom at the best model, shape (n_cycles,)
    line      slope of a straight line through the same bins [kPa/s]
    vacuum    mean vacuum of these bins [kPa]
    """

    rate: Floats
    slope: Floats
    noise: Floats
    misfit: Floats
    line: Floats
    vacuum: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """What the rating takes from the search: nodes, amplitude at them, ratio of rate to line, best model."""

    node_s: Floats
    amplitude: Floats
    line_ratio: float
    best: int


def nodes(grid_s: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """A few wall exchanges that stand for the grid, and the weights carried to them by linear interpolation in ln τ.

    weight has shape (n_groups, n_tau, n_forms); the result (n_nodes,) and (n_groups, n_nodes, n_forms).
    """
    x = np.log(grid_s)
    marginal = weight.sum(axis=(0, 2))
    mass = np.flatnonzero(marginal > 1e-4 * marginal.max())
    low, high = x[max(mass[0] - 1, 0)], x[min(mass[-1] + 1, len(x) - 1)]
    at = np.linspace(low, high, NODES)
    place = np.clip((x - low) / (high - low) * (NODES - 1), 0, NODES - 1)
    tent = np.maximum(0.0, 1.0 - np.abs(place[:, None] - np.arange(NODES)))
    return np.exp(at), np.einsum("gtf,tk->gkf", weight, tent)


def at_nodes(grid_s: Floats, node_s: Floats, values: Floats) -> Floats:
    """Values over (group, τ, form) interpolated to the nodes, shape (n_groups, n_nodes, n_forms)."""
    x, at = np.log(grid_s), np.log(node_s)
    flat = np.moveaxis(values, 1, -1)
    out = np.apply_along_axis(lambda row: np.interp(at, x, row), -1, flat)
    return np.moveaxis(out, -1, 1)


def rate_cycles(
    data: StationData, line: Timeline, windows: Windows, scales: Scales, found: Shared, options: LeakOptions
) -> Rates:
    """Every rated cycle of the log under every node and form, in blocks of some thousand coasts."""
    n, models = len(line.rated), NODES * len(leak_forms.NAMES)
    out = Rates(
        rate=np.full((models, n), np.nan), slope=np.full((models, n), np.nan),
        **{k: np.full(n, np.nan) for k in ("noise", "misfit", "line", "vacuum")},
    )  # fmt: skip
    rows = np.flatnonzero(line.rated)
    block = np.cumsum(line.coasts[rows]) // BLOCK_COASTS
    for number in np.unique(block):
        chosen = np.zeros(n, bool)
        chosen[rows[block == number]] = True
        _rate_block(gather(data, line, chosen), windows, scales, found, options, out)
    return out


def _rate_block(
    history: History, windows: Windows, scales: Scales, found: Shared, options: LeakOptions, out: Rates
) -> None:
    """Rates of the cycles of one block, written into `out`."""
    history = break_at_falls(history, windows.cut_s, bin_noise(history, scales.noise))
    pieces = cut_pieces(history, usable(history, windows), options)
    if not len(pieces.start):
        return
    slope, vacuum, rough = _straight(history, pieces)
    rho = inflow(history, rough * found.line_ratio)
    sums = scan(history, pieces, found.node_s, scales, rho, flow_of(history, options))
    chosen = enough(sums, options)
    at = history.rows[chosen]
    gg, gh, gu = (a.reshape(-1, len(history.rows))[:, chosen] for a in (sums.gg, sums.gh, sums.gu))
    out.rate[:, at], out.slope[:, at] = (gu - gh) / gg, -gh / gg
    free = np.maximum(sums.bins - sums.pieces - 1, 1)[chosen]
    out.misfit[at] = _misfit(sums, found.amplitude, found.best, chosen) / free / scales.variance
    far = at[out.misfit[at] > options.rating_ratio]
    out.rate[:, far] = np.nan
    out.noise[at] = np.sqrt(scales.variance / gg[found.best])
    out.line[at], out.vacuum[at] = slope[chosen], vacuum[chosen]


def _misfit(sums: CycleSums, amplitude: Floats, best: int, chosen: Bools) -> Floats:
    """Residual sum of squares of each chosen cycle at the best model and its α."""
    forms = sums.gg.shape[1]
    node, form = divmod(best, forms)
    d = float(amplitude[node, form])
    gg, gh, gu = (a[node, form, chosen] for a in (sums.gg, sums.gh, sums.gu))
    uu, uh, hh = (a[node, chosen] for a in (sums.uu, sums.uh, sums.hh))
    c = 1.0 + d
    return np.asarray(uu - 2.0 * c * uh + c * c * hh - (gu - c * gh) ** 2 / gg)


def _straight(history: History, pieces: Pieces) -> tuple[Floats, Floats, Floats]:
    """Slope of straight lines through each cycle's pieces, their mean vacuum, and the slope where it rises, else 0."""
    n, t = history.samples[pieces.index], history.time_s[pieces.index]
    p = history.pressure_kpa[pieces.index] - history.ambient_kpa
    t = t - t[pieces.start][pieces.owner]
    total, rows = piece_sum(pieces, n), len(history.rows)
    t0, p0 = piece_sum(pieces, n * t), piece_sum(pieces, n * p)
    tt = cycle_sum(pieces, piece_sum(pieces, n * t * t) - t0 * t0 / total, rows)
    tp = cycle_sum(pieces, piece_sum(pieces, n * t * p) - t0 * p0 / total, rows)
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = tp / tt
        vacuum = -cycle_sum(pieces, p0, rows) / cycle_sum(pieces, total, rows)
    return slope, vacuum, np.maximum(np.nan_to_num(slope), 0.0)
