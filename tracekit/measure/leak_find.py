"""The search over some hundred coasts: windows, wall exchange, forms and groups of a station."""

from dataclasses import replace

import numpy as np

from tracekit.frozen import dataclass
from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Floats, History, Ints, Timeline, cut_delay_s, gather
from tracekit.measure.leak_groups import assign, limits, masks
from tracekit.measure.leak_motion import unmodelled_rate
from tracekit.measure.leak_pieces import Pieces, Windows, cut_pieces, usable
from tracekit.measure.leak_posterior import Posterior, posterior
from tracekit.measure.leak_search import Coasts, enough, flow_of, inflow, scan, sound, stratified, tried_flow_of
from tracekit.measure.leak_steps import calm
from tracekit.measure.leak_sums import (
    Scales,
    Wall,
    fit_all,
    gas_of,
    regressors,
    sensor_noise,
    weights,
)  # fmt: skip
from tracekit.measure.leak_walls import Located, first_wall, locate_walls, with_boost
from tracekit.measure.leak_windows import locate_windows
from tracekit.model.cycle import StationData
from tracekit.options.leak import LeakOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """What the cycles share, as found from at most some hundred coasts.

    parted      rates that part the groups [kPa/s]
    line_ratio  rate over slope of a straight line, for a first guess of the inflow
    unmodelled  what the coasts lose beyond the model at one place, as an error of the rate [kPa/s]
    history, pieces, group   what was fitted, with the group of each cycle of the history (-1: set aside)
    """

    windows: Windows
    found: Posterior
    parted: tuple[float, ...]
    line_ratio: float
    scales: Scales
    boost_wall: Wall
    located: Located
    unmodelled: float
    history: History
    pieces: Pieces
    group: Ints


def find(data: StationData, line: Timeline, options: LeakOptions) -> Search | None:
    """Windows, wall exchange, forms and groups from a stratified set of cycles."""
    interval = data.sensor.sample_interval_s
    scales = Scales(
        memory_mean=options.memory_mean,
        noise=sensor_noise(data.sensor.noise_kpa, data.sensor.quantisation_kpa), variance=1.0,
        memory_sd=float(np.hypot(options.memory_sd, options.memory_sd_slow_1_s * interval)), scatter_sd=0.01,
        temper=options.temper * (1.0 + (interval / options.temper_slow_s) ** 2),
    )  # fmt: skip
    few = gather(data, line, stratified(line, options.window_coasts))
    cut = cut_delay_s(few, interval, options)
    few = calm(few, cut, scales, options)
    first = _first(few, cut, scales, options)
    if first is None:
        return None
    few = with_boost(few, first.best, inflow(few, first.rate))
    windows = locate_windows(few, cut, first, options)
    if windows is None:
        return None
    rough = _coasts(few, windows, inflow(few, first.rate), options)
    fine = rough
    if (chosen := stratified(line, options.fit_coasts)).sum() > len(few.rows):
        history = calm(gather(data, line, chosen), cut, scales, options)
        fine = _more_coasts(history, windows, first, options)
    located = locate_walls(rough, fine, first, options)
    return None if located is None else _posterior_of(fine, located, windows, first.best, options)


def _coasts(history: History, windows: Windows, rho: Floats, options: LeakOptions) -> Coasts:
    """What a fit may use of a history."""
    return Coasts(history=history, pieces=cut_pieces(history, usable(history, windows), options), rho=rho)


def _more_coasts(history: History, windows: Windows, first: Located, options: LeakOptions) -> Coasts:
    """A longer history with the inflow that a fit at the first wall exchange gives."""
    some = _coasts(history, windows, inflow(history, np.zeros(len(history.rows))), options)
    flow = flow_of(history, options)[first.form : first.form + 1]
    sums = scan(history, some.pieces, [first.best], first.scales, some.rho, flow)
    fits = fit_all(sums, enough(sums, options), first.scales)
    rho = inflow(history, fits.rate[0, 0])
    return replace(some, history=with_boost(history, first.best, rho), rho=rho)


def _first(history: History, cut_s: float, scales: Scales, options: LeakOptions) -> Located | None:
    """Wall exchange with wide windows, or with the widest that leave anything."""
    for width in (0.3, 0.2, 0.1, 0.0):
        windows = Windows(cut_s=cut_s, present_from_s=0.0, present_s=width, end_s=width)
        some = _coasts(history, windows, inflow(history, np.zeros(len(history.rows))), options)
        if not len(some.pieces.start):
            continue
        found = first_wall(some, scales, options)
        if found is not None and int(np.isfinite(found.rate).sum()) >= options.fewest_cycles:
            return found
    return None


def _posterior_of(coasts: Coasts, located: Located, windows: Windows, boost_wall: Wall, options: LeakOptions) -> Search:
    """Groups and the probability of every model."""
    history, pieces = coasts.history, coasts.pieces
    rho, flow = inflow(history, located.rate), tried_flow_of(history, options)
    scales, slow = located.scales, located.slow
    sums = scan(history, pieces, located.nodes, scales, rho, flow)
    chosen = enough(sums, options)
    fits = fit_all(sums, chosen, scales)
    chosen = sound(fits, chosen, options)
    at = fits.best
    rate = np.where(chosen, fits.rate[at], np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        se = np.sqrt(scales.variance * slow / sums.gg[at])
    parted = limits(rate, se, options)
    group = assign(rate, parted)
    found = posterior(located, sums, masks(group, len(parted) + 1), scales, slow, options.negative_soft_kpa_s)
    found = replace(found, common=located.common, tail=located.tail)
    form = leak_forms.first_best(-found.weight.sum(axis=(0, 1)))
    columns = regressors(history, pieces, gas_of(history, located.best, rho), flow[form : form + 1])
    weight = weights(history, pieces, scales.noise)
    return Search(
        windows=windows, found=found, parted=parted, line_ratio=0.9, scales=scales, boost_wall=boost_wall,
        located=located, history=history, pieces=pieces, group=group,
        unmodelled=unmodelled_rate(history, pieces, columns, weight, group >= 0, scales, windows.cut_s, options),
    )  # fmt: skip
