"""Motion: acceleration lifts cup lips for 0.1–0.4 s when the part is lifted and before the end of the hold."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracekit.frozen import dataclass
from tracekit.measure.leak_bins import NORMAL_MEDIAN, Bools, Floats, History
from tracekit.measure.leak_pieces import Windows, cut_pieces, usable
from tracekit.measure.leak_search import enough, flow_of, inflow
from tracekit.measure.leak_sums import (
    OF_CYCLES,
    OF_FORMS,
    Gas,
    Scales,
    bin_weights,
    cycle_sums,
    fit_all,
    gas_of,
    regressors,
)  # fmt: skip
from tracekit.measure.leak_walls import Located
from tracekit.options.leak import LeakOptions

FREE_LEAST = 20.0
"""Degrees of freedom that a trial needs: the misfit per degree of fewer scatters by a third and more."""

SAME = 1e-9
"""Relative difference of levels that is none."""
TOGETHER = 40_000
"""Bins of trials that are fitted at once."""
LONGER_S = (
    (0.1, 0.0, 0.0), (0.2, 0.0, 0.0), (0.0, 0.1, 0.0), (0.0, 0.2, 0.0), (0.1, 0.1, 0.0), (0.2, 0.2, 0.0),
    (0.0, 0.0, 0.1), (0.0, 0.0, 0.2),
)  # fmt: skip
"""By how much longer the windows are that test those found: of the lift, before the end, after the cut."""
FEWEST_MOVES = 5
"""Fewest cycles that tell by how much a rate moves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Trials:
    """Windows tried, with misfit, degrees of freedom and rated cycles of each, shape (n_trials,).

    rate   of every cycle, NaN where it has none, shape (n_trials, n_cycles);  loose  its common error by the amplitude
    of the gas's history, shape (n_trials,) [kPa/s]
    """

    windows: tuple[Windows, ...]
    misfit: Floats
    free: Floats
    cycles: Floats
    rate: Floats
    loose: Floats


OF_TRIALS = ("misfit", "free", "cycles", "rate", "loose")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bench:
    """What every trial shares: the history with its gas under one wall exchange, and the weight of every bin."""

    history: History
    gas: Gas
    flow: Floats
    weight: Floats
    scales: Scales
    options: LeakOptions


def locate_windows(history: History, cut_s: float, first: Located, options: LeakOptions) -> Windows | None:
    """The shortest windows about the lift and before the end of the hold outside which nothing moves.

    Pairs of windows, from part present on and up to the end, are fitted at one wall exchange. The reference is the
    pair with the least misfit per degree of freedom, allowing for few of them, among the pairs that leave most cycles
    a rate. Taken is the pair inside the reference that keeps most bins while the bins it adds fit no worse than the
    reference's own. A station that lifts at a fixed time has its window later: such windows replace the first where
    the bins that they take out fit far worse than the rest.
    """
    gas = gas_of(history, first.best, inflow(history, first.rate))
    flow = flow_of(history, options)[first.form : first.form + 1]
    weight = bin_weights(history, first.scales.noise)
    bench = _Bench(history=history, gas=gas, flow=flow, weight=weight, scales=first.scales, options=options)
    steps = np.arange(0.0, options.window_most_s + 1e-9, options.window_step_s).tolist()
    pairs = [Windows(cut_s=cut_s, present_from_s=0.0, present_s=p, end_s=e) for p in steps for e in steps]
    tried = _try(bench, pairs)
    most = float(tried.cycles.max(initial=0.0))
    least = options.window_keep * most
    found = _shortest(tried, least, options) if most >= 1.0 else None
    if found is None:
        return None
    seen = _longer_tried(tried, found, least, options)
    late = _late(bench, found, least)
    if late is not None:
        again = _try(bench, [replace(late, end_s=e) for e in steps])
        found = _shortest(again, least, options) or late
    longer = _with_margin(bench, found, least)
    whole = longer.present_s > found.present_s and longer.end_s > found.end_s
    return replace(longer, quiet=seen and whole, doubt_kpa_s=_doubt(bench, longer, least))


def _doubt(bench: _Bench, found: Windows, least: float) -> float:
    """By how much the median rate moves under windows longer than those found, beyond chance [kPa/s].

    Where all is quiet and the model is right it does not move. Chance follows from the scatter of the moves between
    cycles, which holds slow noise, and from the amplitude of the gas's history; the squares of moves are shrunk by two
    variances of chance (positive-part shrinkage of James and Stein) and weighted by how little chance they have.
    """
    longer = [
        replace(found, present_s=found.present_s + present, end_s=found.end_s + end, cut_s=found.cut_s + cut)
        for present, end, cut in LONGER_S
    ]
    tried = _try(bench, [found, *longer])
    square, weight = [0.0], [1e-12]
    for other, loose in zip(tried.rate[1:], tried.loose[1:].tolist(), strict=True):
        move = other - tried.rate[0]
        known = np.isfinite(move)
        if np.count_nonzero(known) < max(least, FEWEST_MOVES):
            continue
        scatter = float(np.median(np.abs(move[known] - np.median(move[known])))) / NORMAL_MEDIAN
        chance = np.pi / 2.0 * scatter**2 / np.count_nonzero(known) + loose**2
        square.append(max(float(np.median(move[known])) ** 2 - 2.0 * chance, 0.0))
        weight.append(1.0 / max(chance, 1e-12))
    return float(np.sqrt(np.average(square, weights=weight)))


def _longer_tried(tried: _Trials, found: Windows, least: float, options: LeakOptions) -> bool:
    """Whether windows a step longer than those found, about the lift as well as before the end, left cycles enough.

    Motion lasts no longer than the longest window, which therefore needs no longer one.
    """
    fits = (tried.free >= FREE_LEAST) & (tried.cycles >= least)
    step, most = options.window_step_s, options.window_most_s

    def could(present_s: float, end_s: float) -> bool:
        wide = [w.present_s > min(present_s, most) - 1e-9 and w.end_s > min(end_s, most) - 1e-9 for w in tried.windows]
        return bool(np.any(fits & wide))

    return could(found.present_s + step, found.end_s) and could(found.present_s, found.end_s + step)


def _shortest(tried: _Trials, least: float, options: LeakOptions) -> Windows | None:
    """The pair that keeps most bins among those inside the reference that fit as well; None where none is feasible."""
    fits = (tried.free >= FREE_LEAST) & (tried.cycles >= least)
    if not fits.any():
        return None
    free = np.maximum(tried.free, 1.0)
    level = np.maximum(tried.misfit / free, options.variance_least) * (1.0 + 2.5 * np.sqrt(2.0 / free))
    ref = _first_least(np.where(fits, level, np.inf))
    variance = max(tried.misfit[ref] / free[ref], options.variance_least)
    more = np.maximum(free - free[ref], 0.0)
    allowed = more + options.window_z * np.sqrt(2.0 * np.maximum(more, 1.0))
    inside = np.array(
        [w.present_s <= tried.windows[ref].present_s and w.end_s <= tried.windows[ref].end_s for w in tried.windows]
    )
    nested = fits & inside & ((tried.misfit - tried.misfit[ref]) / variance <= allowed)
    return tried.windows[int(np.argmax(np.where(nested, free, -1.0)))]


def _first_least(level: Floats) -> int:
    """Place of the least level, the first of those that differ by last bits: windows may leave the same bins."""
    return int(np.argmax(level <= np.min(level) * (1.0 + SAME)))


def _late(bench: _Bench, found: Windows, least: float) -> Windows | None:
    """A window that starts some time after part present, where its bins fit far worse than all others.

    Either in the place of the first, for a lift at a fixed time, or beside it, for a machine that moves on later.
    """
    options = bench.options
    length = options.window_most_s + options.window_margin_s
    starts = np.arange(options.window_step_s, options.window_late_s + 1e-9, 1.5 * options.window_step_s).tolist()
    trials = [replace(found, present_from_s=a, present_s=a + length) for a in starts]
    trials += [
        replace(found, again_from_s=a, again_s=a + options.window_again_s) for a in starts if a >= found.present_s
    ]
    tried = _try(bench, [found, *trials])
    free = np.maximum(tried.free, 1.0)
    level = np.maximum(tried.misfit / free, options.variance_least)
    taken = np.maximum(free[0] - free, 1.0)
    excess = ((tried.misfit[0] - tried.misfit) / level - taken) / np.sqrt(2.0 * taken)
    good = (tried.free >= FREE_LEAST) & (tried.cycles >= least) & (excess > options.window_late_z)
    good &= level < options.window_late_gain * level[0]
    return tried.windows[_first_least(np.where(good, level, np.inf))] if good.any() else None


def _with_margin(bench: _Bench, found: Windows, least: float) -> Windows:
    """The windows made longer by a margin, where that leaves at least as many cycles a rate."""
    more, options = bench.options.window_margin_s, bench.options
    for present, end in ((more, more), (0.0, more), (more, 0.0)):
        longer = replace(found, present_s=found.present_s + present, end_s=found.end_s + end)
        pieces = cut_pieces(bench.history, usable(bench.history, longer), options)
        bins = np.bincount(pieces.cycle, weights=pieces.count, minlength=1)
        if np.count_nonzero(bins >= options.bins_per_cycle) >= least:
            return longer
    return found


def _try(bench: _Bench, windows: Sequence[Windows]) -> _Trials:
    """Every trial fitted, with one form; as many at once as keep arrays of their bins near the processor."""
    history = bench.history
    use = np.stack([usable(history, one) for one in windows])
    together = max(1, TOGETHER // max(int(np.count_nonzero(use)) // len(windows), 1))
    some = [slice(first, first + together) for first in range(0, len(windows), together)]
    parts = [_fitted(bench, tuple(windows[k]), use[k]) for k in some]
    whole = {name: np.concatenate([getattr(part, name) for part in parts]) for name in OF_TRIALS}
    return _Trials(windows=tuple(windows), **whole)


def _fitted(bench: _Bench, windows: tuple[Windows, ...], use: Bools) -> _Trials:
    """The same of trials that are fitted at once, of their used bins, shape (n_trials, n_bins).

    All coasts of all trials are summed together; a cycle without a rate is one that says nothing.
    """
    history, scales = bench.history, bench.scales
    shape, none = (len(use), len(history.rows)), np.zeros(len(use))
    pieces = cut_pieces(history, use, bench.options)
    if not len(pieces.start):
        rate = np.full(shape, np.nan)
        return _Trials(windows=windows, misfit=none, free=none, cycles=none, rate=rate, loose=none)
    columns = regressors(history, pieces, bench.gas, bench.flow)
    sums = cycle_sums(pieces, columns, bench.weight[pieces.index], scales.ridge)
    chosen = enough(sums, bench.options)
    told = {name: np.where(chosen, getattr(sums, name), float(name == "gg")) for name in (*OF_CYCLES, *OF_FORMS)}
    told = {name: one.reshape((len(use), *one.shape[:-1], -1)) for name, one in told.items()}
    fits = fit_all(replace(sums, **told), np.ones(shape[1], bool), scales)
    chosen, free = chosen.reshape(shape), (sums.bins - sums.pieces - 1).reshape(shape)
    rate, slope = np.where(chosen, fits.rate[:, 0], np.nan), fits.slope[:, 0]
    middle = np.array([np.median(own[known]) if known.any() else 0.0 for own, known in zip(slope, chosen, strict=True)])
    return _Trials(
        windows=windows, misfit=np.sum(fits.misfit[:, 0], axis=1), free=np.sum(free * chosen, axis=1, dtype=np.float64),
        cycles=np.count_nonzero(chosen, axis=1).astype(np.float64), rate=rate,
        loose=np.abs(middle) * np.sqrt(fits.amplitude_var[:, 0] * scales.divisor),
    )  # fmt: skip
