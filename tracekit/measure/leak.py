"""The leak of a station: isothermal dp/dt with the supply off at the reference vacuum, per cycle and per log."""

from dataclasses import dataclass, replace

import numpy as np

from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Floats, History, Timeline, break_at_falls, cut_delay_s, gather, timeline
from tracekit.measure.leak_budget import CycleRates, LogRate, Models, cycle_rates, log_rate
from tracekit.measure.leak_groups import assign, limits, masks
from tracekit.measure.leak_pieces import Pieces, Windows, cut_pieces, usable
from tracekit.measure.leak_posterior import Posterior, posterior
from tracekit.measure.leak_rating import Rates, Shared, nodes_of, rate_cycles
from tracekit.measure.leak_residuals import inflation, residuals
from tracekit.measure.leak_rules import given, mechanism, without_coasts
from tracekit.measure.leak_search import enough, flow_of, inflow, middle_of, scan, sound, stratified
from tracekit.measure.leak_sums import (
    Scales,
    Wall,
    bin_noise,
    cycle_sums,
    fit_all,
    gas_of,
    regressors,
    sensor_noise,
    stack,
    weights,
)  # fmt: skip
from tracekit.measure.leak_walls import Located, first_wall, locate_walls, with_boost
from tracekit.measure.leak_windows import locate_windows
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Quantity, Withheld
from tracekit.model.result import LeakResult
from tracekit.options.leak import LeakOptions

DEFAULTS = LeakOptions()


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """What the cycles share, as found from at most some hundred coasts."""

    windows: Windows
    found: Posterior
    parted: tuple[float, ...]
    line_ratio: float
    scales: Scales
    boost_wall: Wall


def estimate_leak(data: StationData, *, options: LeakOptions = DEFAULTS) -> LeakResult:
    """Leak rate of every cycle and of the log, with 95 % intervals, mechanism, groups and budget.

    Needs coasts: stretches of a hold with the supply cut. Where there are none the rates are NaN and the log's value
    is withheld with the reason and how to get a decay on purpose.
    """
    line = timeline(data, options)
    search = _search(data, line, options) if line.rated.any() else None
    if search is None:
        return _nothing(data, without_coasts(data), options)
    nodes = nodes_of(search.found.walls, search.found.weight)
    weight = nodes.weight(search.found.weight)
    amplitude = nodes.mean(search.found.amplitude, search.found.weight)
    sd = nodes.mean(search.found.amplitude_sd, search.found.weight)
    main = int(np.argmax([w.sum() for w in weight]))
    shared = Shared(
        nodes=nodes, amplitude=amplitude[main], line_ratio=search.line_ratio, best=int(np.argmax(weight[main])),
        boost_wall=search.boost_wall,
    )  # fmt: skip
    rates = rate_cycles(data, line, search.windows, search.scales, shared, options)
    flat = (len(weight), -1)
    mean_alpha = np.sum(weight * amplitude, axis=(1, 2))
    off = np.abs(mean_alpha - search.scales.memory_mean) / search.scales.memory_sd
    models = Models(
        strain=np.maximum(off - 1.0, 0.0),
        weight=weight.reshape(flat), amplitude=amplitude.reshape(flat), amplitude_sd=sd.reshape(flat),
        inflation=search.found.inflation, common_kpa=float(np.hypot(data.ambient_u_kpa, options.zero_u_kpa)),
        step_kpa=search.scales.noise.step_kpa, quantisation_kpa=data.sensor.quantisation_kpa,
    )  # fmt: skip
    middle = rates.rate[shared.best] + models.amplitude[main][shared.best] * rates.slope[shared.best]
    cycles = cycle_rates(rates, assign(middle, search.parted), models, options)
    return _result(line, search, rates, cycles, models, options)


def _search(data: StationData, line: Timeline, options: LeakOptions) -> Search | None:
    """Windows, wall exchange, forms and groups from a stratified set of cycles."""
    interval = data.sensor.sample_interval_s
    history = gather(data, line, stratified(line, options.fit_coasts))
    scales = Scales(
        memory_mean=options.memory_mean,
        noise=sensor_noise(data.sensor.noise_kpa, data.sensor.quantisation_kpa), variance=1.0,
        memory_sd=float(np.hypot(options.memory_sd, options.memory_sd_slow_1_s * interval)), scatter_sd=0.01,
        temper=options.temper,
    )  # fmt: skip
    cut = cut_delay_s(history, interval, options)
    history = break_at_falls(history, cut, bin_noise(history, scales.noise))
    first = _first(history, cut, scales, options)
    if first is None:
        return None
    rho = inflow(history, first.rate)
    history = with_boost(history, first.best, rho)
    few = stratified(line, options.window_coasts)[history.rows]
    windows = locate_windows(history, few, cut, first, options)
    if windows is None:
        return None
    pieces = cut_pieces(history, usable(history, windows), options)
    located = locate_walls(history, pieces, first, rho, options)
    return None if located is None else _posterior_of(history, pieces, located, windows, first.best, options)


def _first(history: History, cut_s: float, scales: Scales, options: LeakOptions) -> Located | None:
    """Wall exchange with wide windows, or with the widest that leave anything."""
    for width in (0.3, 0.2, 0.1, 0.0):
        windows = Windows(cut_s=cut_s, present_from_s=0.0, present_s=width, end_s=width)
        pieces = cut_pieces(history, usable(history, windows), options)
        if not len(pieces.start):
            continue
        found = first_wall(history, pieces, scales, inflow(history, np.zeros(len(history.rows))), options)
        if found is not None and int(np.isfinite(found.rate).sum()) >= options.fewest_cycles:
            return found
    return None


def _posterior_of(
    history: History, pieces: Pieces, located: Located, windows: Windows, boost_wall: Wall, options: LeakOptions
) -> Search:
    """Groups and the probability of every model."""
    rho, flow = inflow(history, located.rate), flow_of(history, options)
    slow = _inflation(history, pieces, located, rho, flow)
    scales = replace(located.scales, temper=located.scales.temper * slow)
    sums = scan(history, pieces, located.walls, scales, rho, flow)
    chosen = enough(sums, options)
    fits = fit_all(sums, chosen, scales)
    chosen = sound(fits, chosen, options)
    at = np.unravel_index(int(np.argmin(fits.total)), fits.total.shape)
    rate = np.where(chosen, fits.rate[at], np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        se = np.sqrt(scales.variance * slow / sums.gg[at])
    parted = limits(rate, se, options)
    found = posterior(
        located, sums, masks(assign(rate, parted), len(parted) + 1), scales, slow, options.negative_soft_kpa_s
    )
    return Search(windows=windows, found=found, parted=parted, line_ratio=0.9, scales=scales, boost_wall=boost_wall)


def _inflation(history: History, pieces: Pieces, located: Located, rho: Floats, flow: Floats) -> float:
    """By how much the slow part of the residuals exceeds that of white noise, at the best wall and the middle form."""
    scales, weight = located.scales, weights(history, pieces, located.scales.noise)
    columns = regressors(history, pieces, gas_of(history, located.best, rho), middle_of(flow))
    sums = stack([cycle_sums(history, pieces, columns, weight, scales.ridge)])
    fits = fit_all(sums, np.isfinite(located.rate), scales)
    amplitude = float(fits.amplitude[0, 0])
    return inflation(pieces, residuals(pieces, columns, weight, fits.rate[0, 0], amplitude, scales.ridge))


def _nothing(data: StationData, reason: str, options: LeakOptions) -> LeakResult:
    """The result of a log that shows no decay."""
    empty = np.full(len(data.cycles), np.nan)
    return LeakResult(
        rate=empty, rate_lower=empty, rate_upper=empty, local_rate=empty, local_vacuum=empty,
        decay_rate=Withheld(reason), mechanism="undecided", evidence=reason, ref_vacuum_kpa=options.ref_vacuum_kpa,
    )  # fmt: skip


def _result(
    line: Timeline, search: Search, rates: Rates, cycles: CycleRates, models: Models, options: LeakOptions
) -> LeakResult:
    """The record handed on."""
    rated = np.isfinite(cycles.value) & line.held
    held = int(line.held.sum())
    log: LogRate | None = None
    decay: Quantity = Withheld("No held cycle has a usable coast.")
    said: tuple[str, ...] = ()
    if rated.any():
        lacking = 1.0 - rated.sum() / held
        log = log_rate(rates, cycles, models, rated, lacking, options)
        decay, said = given(log, held, int(rated.sum()), options)
    top = len(search.parted)
    shares = leak_forms.shares(search.found.forms(top))
    size = float(np.nanmedian(cycles.value[cycles.group == top])) if np.any(cycles.group == top) else 0.0
    kind, evidence = mechanism(shares, size, options)
    return LeakResult(
        rate=cycles.value, rate_lower=cycles.lower, rate_upper=cycles.upper,
        local_rate=rates.line, local_vacuum=rates.vacuum, decay_rate=decay, mechanism=kind, evidence=evidence,
        ref_vacuum_kpa=options.ref_vacuum_kpa, form_probability=shares,
        wall_time_constant_s=search.found.tau_s, groups=(),
        budget=log.budget if log else (), warnings=said,
    )  # fmt: skip
