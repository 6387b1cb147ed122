"""The leak of a station: isothermal dp/dt with the supply off at the reference vacuum, per cycle and per log."""

from dataclasses import replace

import numpy as np

from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Bools, Floats, Timeline, timeline
from tracekit.measure.leak_budget import CycleRates, LogRate, Models, cycle_rates, log_rate
from tracekit.measure.leak_falls import least_leak
from tracekit.measure.leak_find import Search, find
from tracekit.measure.leak_groups import assign, masks, names
from tracekit.measure.leak_rating import Nodes, Rates, Shared, nodes_of, rate_cycles
from tracekit.measure.leak_residuals import coast_rise, narrow_share
from tracekit.measure.leak_rules import given, mechanism, no_such_vacuum, without_coasts
from tracekit.measure.leak_shape import coast_shape
from tracekit.measure.leak_sums import steps_left
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Quantity, Withheld
from tracekit.model.result import LeakGroup, LeakResult
from tracekit.options.leak import LeakOptions

DEFAULTS = LeakOptions()


def estimate_leak(
    data: StationData, *, ref_vacuum_kpa: float | None = None, options: LeakOptions = DEFAULTS
) -> LeakResult:
    """Leak rate of every cycle and of the log, with 95 % intervals, mechanism, groups and budget.

    `ref_vacuum_kpa` [kPa below ambient] is the station file's reference vacuum, else that of `options`. Needs coasts:
    stretches of a hold with the supply cut. Where there are none the rates are NaN and the log's value is withheld
    with the reason and how to get a decay on purpose.
    """
    if ref_vacuum_kpa is not None:
        options = replace(options, ref_vacuum_kpa=ref_vacuum_kpa)
    if options.ref_vacuum_kpa > data.ambient_kpa - options.ref_least_kpa:
        return _nothing(data, no_such_vacuum(options.ref_vacuum_kpa, data.ambient_kpa), options)
    line = timeline(data, options)
    search = find(data, line, options) if line.rated.any() else None
    if search is None:
        return _unrated(data, options)
    nodes = nodes_of(search.found.walls, search.found.weight)
    models = _models(data, search, nodes, options)
    size = [float(np.sum(search.group == k)) for k in range(len(models.weight))]
    main = int(np.argmax(size))
    shared = _shared(search, nodes, models, main)
    rates = rate_cycles(data, line, search.windows, search.scales, shared, options)
    middle = rates.rate[shared.best] + shared.amplitude.flat[shared.best] * rates.slope[shared.best]
    cycles = cycle_rates(rates, assign(middle, search.parted), models, options)
    return _result(data, line, search, rates, cycles, models, options)


def _shared(search: Search, nodes: Nodes, models: Models, main: int) -> Shared:
    """What the rating takes from the search; cycles are rated with volumes that do not give way."""
    shape = (len(nodes.walls), -1, len(leak_forms.NAMES))
    weight = models.weight[main].reshape(shape).sum(axis=1).ravel()
    return Shared(
        nodes=nodes, amplitude=models.amplitude[main].reshape(shape)[:, 0], line_ratio=search.line_ratio,
        best=leak_forms.first_best(-np.log(np.maximum(weight, 1e-300))), boost_wall=search.boost_wall,
    )  # fmt: skip


def _models(data: StationData, search: Search, nodes: Nodes, options: LeakOptions) -> Models:
    """Weights of the models that the cycles are rated with."""
    found, scales = search.found, search.scales
    weight = nodes.weight(found.weight)
    amplitude, sd = (nodes.mean(v, found.weight) for v in (found.amplitude, found.amplitude_sd))
    off = np.abs(np.sum(weight * amplitude, axis=(1, 2)) - scales.memory_mean) / scales.memory_sd
    flat = (len(weight), -1)
    noise = np.nan_to_num(data.cycles.floats("noise_kpa"), nan=data.sensor.noise_kpa)
    return Models(
        weight=weight.reshape(flat), amplitude=amplitude.reshape(flat), amplitude_sd=sd.reshape(flat),
        strain=np.maximum(off - 1.0, 0.0) + np.sqrt(found.common) - 1.0,
        narrow=narrow_share(search.history, search.pieces, options.narrow_kpa),
        inflation=found.inflation, misfit=found.common, unmodelled=search.unmodelled,
        common_kpa=float(np.hypot(data.ambient_u_kpa, options.zero_u_kpa)),
        motion_kpa=options.motion_kpa if search.windows.quiet else options.motion_unseen_kpa,
        windows_u=search.windows.doubt_kpa_s,
        volume_u=float(np.linalg.norm([
            options.model_u, options.model_u_slow_1_s * data.sensor.sample_interval_s,
            options.model_u_deep * coast_rise(search.history, search.pieces, search.history.log_pressure),
        ])),
        reach_kpa=0.5 * coast_rise(search.history, search.pieces, search.history.pressure_kpa),
        step_kpa=steps_left(noise, data.sensor.quantisation_kpa), quantisation_kpa=data.sensor.quantisation_kpa,
    )  # fmt: skip


def _unrated(data: StationData, options: LeakOptions) -> LeakResult:
    """The result of a log whose coasts are none, or too short to rate: their fall may tell a bound."""
    reason, bound = without_coasts(data, options), least_leak(data, options)
    result = _nothing(data, reason, options)
    return result if bound is None else replace(result, decay_rate=bound, warnings=(reason,))


def _nothing(data: StationData, reason: str, options: LeakOptions) -> LeakResult:
    """The result of a log that shows no decay."""
    empty = np.full(len(data.cycles), np.nan)
    return LeakResult(
        rate=empty, rate_lower=empty, rate_upper=empty, local_rate=empty, local_vacuum=empty,
        decay_rate=Withheld(reason), mechanism="undecided", evidence=reason, ref_vacuum_kpa=options.ref_vacuum_kpa,
    )  # fmt: skip


def _result(
    data: StationData, line: Timeline, search: Search, rates: Rates, cycles: CycleRates, models: Models,
    options: LeakOptions,
) -> LeakResult:  # fmt: skip
    """The record handed on."""
    rated: Bools = np.isfinite(cycles.value) & line.held
    held = int(line.held.sum())
    log: LogRate | None = None
    decay: Quantity = Withheld("No held cycle has a usable coast.")
    said: tuple[str, ...] = ()
    if rated.any():
        log = log_rate(rates, cycles, models, rated, 1.0 - rated.sum() / held, options)
        decay, said = given(log, held, int(rated.sum()), options)
    top = len(search.parted)
    shares = leak_forms.shares(search.found.forms(top), search.found.tail)
    some = np.isfinite(cycles.value) & (cycles.group == top)
    size = float(np.median(cycles.value[some])) if some.any() else 0.0
    kind, evidence = mechanism(shares, size, options)
    return LeakResult(
        rate=cycles.value, rate_lower=cycles.lower, rate_upper=cycles.upper,
        local_rate=rates.line, local_vacuum=rates.vacuum, decay_rate=decay, mechanism=kind, evidence=evidence,
        ref_vacuum_kpa=options.ref_vacuum_kpa, form_probability=shares,
        wall_time_constant_s=search.found.tau_s, groups=_groups(data, search, rates, cycles, models, rated, options),
        budget=log.budget if log else (), shape=coast_shape(search, options),
        warnings=(*said, *_warnings(search, models, options), *_far(rates.vacuum[rated], models, options)),
        rate_noise=rates.noise * np.sqrt(models.inflation * np.maximum(rates.misfit, 1.0)),
    )  # fmt: skip


def _groups(
    data: StationData, search: Search, rates: Rates, cycles: CycleRates, models: Models, rated: Bools,
    options: LeakOptions,
) -> tuple[LeakGroup, ...]:  # fmt: skip
    """Held cycles that share a rate, where the data show more than one such group."""
    found = [g & rated for g in masks(cycles.group, len(search.parted) + 1)]
    if len(found) < 2 or any(not g.any() for g in found):
        return ()
    by, labels = names(data.cycles, tuple(found), options)
    out = []
    for number, (mask, label) in enumerate(zip(found, labels, strict=True)):
        estimate = log_rate(rates, cycles, models, mask, 0.0, options).estimate
        shares = leak_forms.shares(search.found.forms(number), search.found.tail)
        kind, _ = mechanism(shares, estimate.value, options)
        rows = tuple(np.flatnonzero(mask).tolist())
        share = len(rows) / int(rated.sum())
        out.append(LeakGroup(by=by, label=label, share=share, cycles=rows, decay_rate_kpa_s=estimate, mechanism=kind))
    return tuple(out)


def _far(vacuum: Floats, models: Models, options: LeakOptions) -> tuple[str, ...]:
    """What to do where the reference lies far beyond the vacuum of the coasts [kPa]."""
    middle = float(np.median(vacuum)) if len(vacuum) else options.ref_vacuum_kpa
    if abs(middle - options.ref_vacuum_kpa) - models.reach_kpa <= options.far_kpa:
        return ()
    ref = options.ref_vacuum_kpa
    said = (
        f"The coasts lie about {middle:.0f} kPa, far from the reference of {ref:.0f} kPa: how the leak's path and the "
        f"cups change in between widens the interval. With ref_vacuum_kpa = {middle:.0f} in the station file the rate "
        "is that of the vacuum at which this station works."
    )
    return (said,)


def _warnings(search: Search, models: Models, options: LeakOptions) -> tuple[str, ...]:
    """What of the fit a reader should know."""
    said = []
    if float(models.strain.max()) > 1.0:
        said.append("The gas warms otherwise than one volume at one pressure would; the intervals are widened for it.")
    if search.found.inflation > options.slow_residuals:
        said.append(
            "The pressure wanders in the coasts beyond noise, as motion does; the intervals are widened for it."
        )
    if not search.windows.quiet:
        said.append(
            "The holds are too short to see where motion ends, so that it may go on in the coasts; the intervals are "
            "widened for it. Longer holds, 0.2 s and more with nothing moving, would narrow them."
        )
    return tuple(said)
