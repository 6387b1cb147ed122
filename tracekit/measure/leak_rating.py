"""The rate of every cycle under the models found, in blocks of cycles."""

import numpy as np

from tracekit.frozen import dataclass
from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Bools, Floats, History, Timeline, gather
from tracekit.measure.leak_pieces import Pieces, Windows, cut_pieces, cycle_sum, usable
from tracekit.measure.leak_search import enough, flow_of, inflow, scan
from tracekit.measure.leak_steps import calm
from tracekit.measure.leak_sums import CycleSums, Scales, Wall
from tracekit.measure.leak_walls import with_boost
from tracekit.model.cycle import StationData
from tracekit.options.leak import LeakOptions
from tracekit.signal.pieces import whole_runs

NODE_SPACING = 1.6
NODES_FROM = (0.02, 0.2)
"""Probability of a spread from which it gets one node, and three."""
BLOCK_COASTS = 250
"""Coasts of a block: few enough that its arrays stay in the processor's cache, which saves a third of the time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """Rates of all cycles of the log; NaN where a cycle has none. Models are pairs of node and form.

    rate      per model at α = 1, shape (n_models, n_cycles) [kPa/s]
    slope     change per unit of α − 1, the same shape [kPa/s]
    noise     standard deviation by noise, at the middle model, shape (n_cycles,) [kPa/s]
    misfit    residual sum of squares over its degrees of freedom at the best model, shape (n_cycles,)
    line      slope of a straight line through the same bins [kPa/s]
    vacuum    mean vacuum of these bins [kPa]
    span      root of the sum of the squared lengths of its pieces [s]
    """

    rate: Floats
    slope: Floats
    noise: Floats
    misfit: Floats
    line: Floats
    vacuum: Floats
    span: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Nodes:
    """A few wall exchanges that stand for a grid of them.

    walls   n_nodes of them
    share   (n_walls, n_nodes) how much of each wall of the grid a node carries
    """

    walls: tuple[Wall, ...]
    share: Floats

    def weight(self, of_walls: Floats) -> Floats:
        """Weights over (group, wall, form) carried to the nodes, shape (n_groups, n_nodes, n_forms)."""
        return np.asarray(np.einsum("gwf,wk->gkf", of_walls, self.share))

    def mean(self, values: Floats, of_walls: Floats) -> Floats:
        """Values over (group, wall, form) as weighted means per node, shape (n_groups, n_nodes, n_forms)."""
        safe = of_walls + 1e-9
        carried = np.einsum("gwf,wk->gkf", values * safe, self.share)
        return np.asarray(carried / np.maximum(self.weight(safe), 1e-300))


def nodes_of(walls: tuple[Wall, ...], weight: Floats) -> Nodes:
    """Nodes of each spread: three at the mean and 1.6 standard deviations off it, with linear shares in ln τ.

    One at the mean where a spread is improbable; none where it hardly counts.
    """
    x, spread = np.log([w.tau_s for w in walls]), np.array([w.spread_ln for w in walls])
    mass = weight.sum(axis=(0, 2)) / weight.sum()
    chosen: list[Wall] = []
    columns: list[Floats] = []
    for value in np.unique(spread):
        here = spread == value
        own = float(mass[here].sum())
        if own < NODES_FROM[0]:
            continue
        mean = float(np.average(x[here], weights=mass[here] + 1e-12))
        sd = float(np.sqrt(np.average((x[here] - mean) ** 2, weights=mass[here] + 1e-12)))
        if own < NODES_FROM[1]:
            chosen.append(Wall(tau_s=float(np.exp(mean)), spread_ln=float(value)))
            columns.append(here.astype(np.float64))
            continue
        at = mean + NODE_SPACING * max(sd, 1e-3) * np.array([-1.0, 0.0, 1.0])
        place = np.clip((x - at[0]) / (at[1] - at[0]), 0.0, 2.0)
        chosen += [Wall(tau_s=float(t), spread_ln=float(value)) for t in np.exp(at)]
        columns += [np.where(here, np.maximum(0.0, 1.0 - np.abs(place - k)), 0.0) for k in range(3)]
    return Nodes(walls=tuple(chosen), share=np.stack(columns, axis=1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """What the rating takes from the search: nodes, amplitude at them, ratio of rate to line, best model."""

    nodes: Nodes
    amplitude: Floats
    line_ratio: float
    best: int
    boost_wall: Wall


def rate_cycles(
    data: StationData, line: Timeline, windows: Windows, scales: Scales, found: Shared, options: LeakOptions
) -> Rates:
    """Every rated cycle of the log under every node and form, in blocks of some hundred coasts."""
    n, models = len(line.rated), len(found.nodes.walls) * len(leak_forms.NAMES)
    out = Rates(
        rate=np.full((models, n), np.nan), slope=np.full((models, n), np.nan),
        **{k: np.full(n, np.nan) for k in ("noise", "misfit", "line", "vacuum", "span")},
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
    history = calm(history, windows.cut_s, scales, options)
    pieces = cut_pieces(history, usable(history, windows), options)
    if not len(pieces.start):
        return
    slope, vacuum, span = straight_lines(history, pieces)
    rough = np.maximum(np.nan_to_num(slope), 0.0)
    rho = inflow(history, rough * found.line_ratio)
    history = with_boost(history, found.boost_wall, rho)
    sums = scan(history, pieces, found.nodes.walls, scales, rho, flow_of(history, options))
    chosen = enough(sums, options)
    at = history.rows[chosen]
    gg, gh, gu = (a.reshape(-1, len(history.rows))[:, chosen] for a in (sums.gg, sums.gh, sums.gu))
    out.rate[:, at], out.slope[:, at] = (gu - gh) / gg, -gh / gg
    free = np.maximum(sums.bins - sums.pieces - 1, 1)[chosen]
    out.misfit[at] = _misfit(sums, found.amplitude, found.best, chosen) / free / scales.variance
    far = at[out.misfit[at] > options.rating_ratio]
    out.rate[:, far] = np.nan
    out.noise[at] = np.sqrt(scales.variance / gg[found.best])
    out.line[at], out.vacuum[at], out.span[at] = slope[chosen], vacuum[chosen], span[chosen]


def _misfit(sums: CycleSums, amplitude: Floats, best: int, chosen: Bools) -> Floats:
    """Residual sum of squares of each chosen cycle at the best model and its α."""
    forms = sums.gg.shape[1]
    node, form = divmod(best, forms)
    d = float(amplitude[node, form])
    gg, gh, gu = (a[node, form, chosen] for a in (sums.gg, sums.gh, sums.gu))
    uu, uh, hh = (a[node, chosen] for a in (sums.uu, sums.uh, sums.hh))
    c = 1.0 + d
    return np.asarray(uu - 2.0 * c * uh + c * c * hh - (gu - c * gh) ** 2 / gg)


def straight_lines(history: History, pieces: Pieces) -> tuple[Floats, Floats, Floats]:
    """Slope of straight lines through each cycle's pieces, their mean vacuum, and root of their squared lengths."""
    total, t0, p0, tt, tp, longest = np.empty((6, len(pieces.start)))
    for some in whole_runs(pieces.owner):
        index, run = pieces.index[some], slice(pieces.owner[some.start], pieces.owner[some.stop - 1] + 1)
        start = pieces.start[run] - some.start
        n, time = history.samples[index], history.time_s[index]
        t = time - np.repeat(time[start], pieces.count[run])
        p = history.pressure_kpa[index] - history.ambient_kpa
        nt = n * t
        for out, values in ((total, n), (t0, nt), (p0, n * p), (tt, nt * t), (tp, nt * p)):
            out[run] = np.add.reduceat(values, start)
        longest[run] = t[np.append(start[1:], len(t)) - 1]
    tt, tp = cycle_sum(pieces, tt - t0 * t0 / total), cycle_sum(pieces, tp - t0 * p0 / total)
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = tp / tt
        vacuum = -cycle_sum(pieces, p0) / cycle_sum(pieces, total)
    return slope, vacuum, np.sqrt(cycle_sum(pieces, longest**2))
