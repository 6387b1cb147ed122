"""From the supply command to the set point: response, open cup, contact, time constant, ultimate vacuum."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.measure.plateau import deep_plateaus
from tracekit.options.measure import MeasureOptions
from tracekit.segment.cycles import Spans
from tracekit.segment.hold import Hold
from tracekit.segment.samples import Samples
from tracekit.signal.segments import (
    Ranges,
    crossing_time,
    first_falls,
    first_in,
    first_reach,
    first_reaches,
    range_quantile,
    range_samples,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Evacuation:
    """Measures of the evacuation of each cycle, shape (n_cycles,), NaN where they do not show; in s and kPa.

    rise_s (n_cycles, n_levels) is the time from the supply command of the last try to the first reading at each level
    of the grid; `first_cut` the first supply-off after the grip, as a sample index, or the end of suction.
    tends_to_kpa is where the fit ends, however far past the recorded vacuum: off by up to that way, alike in all cycles
    of a station, so it serves to compare them and is no vacuum that is reached.
    """

    response_delay_s: Floats
    contact_s: Floats
    contact: Ints
    open_cup_vacuum_kpa: Floats
    evacuation_time_s: Floats
    seal_time_s: Floats
    pump_time_constant_s: Floats
    ultimate_vacuum_kpa: Floats
    ultimate_extrapolated: Ints
    tends_to_kpa: Floats
    rise_s: Floats
    first_cut: Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class Rise:
    """The rise of each cycle, arrays of shape (n_cycles,); sample indices are -1 where an event is absent.

    half, top  samples at half of the peak and near it       until      first sample that no longer belongs to the rise
    zero       vacuum that it starts from [kPa]              first_cut  first supply-off after the grip, or its end
    tau, end_level  of the fit [s, kPa]                      contact    sample at contact
    contact_s  time of the contact [s]                       open_level  open-cup vacuum [kPa]
    """

    half: Ints
    top: Ints
    until: Ints
    first_cut: Ints
    zero: Floats
    tau: Floats
    end_level: Floats
    contact: Ints
    contact_s: Floats
    open_level: Floats


def level_grid(options: MeasureOptions) -> Floats:
    """Vacuum levels whose crossing times are kept [kPa], shape (n_levels,)."""
    return np.arange(options.level_step_kpa, options.level_most_kpa + 1e-9, options.level_step_kpa)


def curve_of(samples: Samples, options: MeasureOptions) -> Floats:
    """The vacuum in which crossings are looked for: raw where samples are far apart, else the moving mean."""
    return samples.vacuum if samples.interval >= options.coarse_interval_s else samples.smooth


def _cross(samples: Samples, curve: Floats, level: Floats, start: Ints, stop: Ints) -> Floats:
    """Interpolated time at which each cycle first reaches its level, NaN where never or where it began above [s]."""
    at = first_reach(curve, level, start, stop)
    rose = (at >= 0) & (curve[np.maximum(start - 1, 0)] < level)
    return np.where(rose, crossing_time(samples.time, curve, level, at), np.nan)


def command_time(samples: Samples, spans: Spans) -> Floats:
    """When the supply of the last try was commanded, NaN where that was not recorded, shape (n_cycles,) [s]."""
    unseen = spans.cut & (spans.last_try == spans.start)
    return np.where(unseen, np.nan, samples.time[spans.last_try] - 0.5 * samples.interval)


def rise_times(samples: Samples, spans: Spans, top: Ints, options: MeasureOptions) -> Floats:
    """Times from the supply command to the first reading at each level, shape (n_cycles, n_levels) [s].

    NaN for a level that is never reached, or above which the last try began: it tells nothing of the suction.
    """
    curve = curve_of(samples, options)
    base = command_time(samples, spans)
    stop = np.where(top >= 0, top + 1, spans.last_try)
    levels = level_grid(options)
    at = first_reaches(curve, levels, spans.last_try, stop)
    rose = (at >= 0) & (curve[np.maximum(spans.last_try - 1, 0)][:, None] < levels)
    time = np.where(rose, crossing_time(samples.time, curve, levels, at), np.nan)
    return np.asarray(time - base[:, None])


def fit_exponential(samples: Samples, start: Ints, stop: Ints, least: int) -> tuple[Floats, Floats]:
    """Time constant [s] and end level [kPa] of v' = (v_end - v) / tau on each range, by the integral equation.

    v(t) = c + (v_end / tau) t - (1 / tau) ∫ v dt is linear in its three unknowns, so one batched solve serves all
    cycles and noise is averaged, not differentiated.
    """
    n = len(start)
    count = np.maximum(stop - start, 0)
    ok = count >= least
    begin, end = np.where(ok, start, 0), np.where(ok, stop, 0)
    index = range_samples(begin, end)
    tau, level = np.full(n, np.nan), np.full(n, np.nan)
    if not len(index):
        return tau, level
    first = np.concatenate([[0], np.cumsum(end - begin)[:-1]]).astype(np.int64)
    last = first + (end - begin)
    time = samples.time[index]
    time -= np.repeat(samples.time[begin], end - begin)
    value = samples.vacuum[index]
    area = np.empty_like(value)
    np.add(value[1:], value[:-1], out=area[1:])
    area[1:] *= 0.5
    area[1:] *= time[1:] - time[:-1]
    area[first[ok]] = 0.0
    total = _sums_so_far(area, first[ok], last[ok])
    normal, right = _normal_equations((time, np.negative(total, out=total)), value, first, last)
    scale = np.sqrt(np.maximum(np.einsum("nii->ni", normal), 1e-12))
    normal = normal / (scale[:, :, None] * scale[:, None, :])
    normal += 1e-10 * np.eye(3)
    answer = np.linalg.solve(normal, (right / scale)[:, :, None])[:, :, 0] / scale
    with np.errstate(divide="ignore", invalid="ignore"):
        fitted = 1.0 / answer[:, 2]
        fine = ok & (fitted > 0.0) & (fitted < 20.0)
        tau[fine] = fitted[fine]
        level[fine] = (answer[:, 1] * fitted)[fine]
    return tau, level


def _normal_equations(design: Sequence[Floats], value: Floats, first: Ints, last: Ints) -> tuple[Floats, Floats]:
    """Left and right sides of the least squares of `value` on one and two more columns, (n, 3, 3) and (n, 3)."""
    normal, right = np.empty((len(first), 3, 3)), np.empty((len(first), 3))
    own = Ranges(first, last)
    normal[:, 0, 0] = last - first
    right[:, 0] = own.sum(value)
    product = np.empty_like(value)
    for i, column in enumerate(design, 1):
        normal[:, 0, i] = normal[:, i, 0] = own.sum(column)
        right[:, i] = own.sum(np.multiply(column, value, out=product))
        for j, other in enumerate(design[:i], 1):
            normal[:, j, i] = normal[:, i, j] = own.sum(np.multiply(other, column, out=product))
    return normal, right


def _sums_so_far(values: Floats, first: Ints, last: Ints) -> Floats:
    """Running sums that start anew in each range, so that a cycle's sums do not depend on the cycles before it."""
    total = np.empty_like(values)
    for begin, end in zip(first.tolist(), last.tolist(), strict=True):
        values[begin:end].cumsum(out=total[begin:end])
    return total


def _open_level(samples: Samples, start: Ints, stop: Ints) -> Floats:
    """Median vacuum of the second half of the stretch before contact, where the generator has come up [kPa]."""
    middle = start + (stop - start) // 2
    return range_quantile(samples.vacuum, middle, stop, 0.5)


def _response(samples: Samples, spans: Spans, zero: Floats, amplitude: Floats, top: Ints, curve: Floats) -> Floats:
    """Supply command to the onset of the change, extrapolated from two levels of the first rise [s].

    A level crossing alone would rise falsely with every fault that makes the rise slower.
    """
    stop = np.where(top >= 0, top + 1, spans.last_try)
    low = _cross(samples, curve, zero + 0.25 * amplitude, spans.last_try, stop)
    high = _cross(samples, curve, zero + 0.6 * amplitude, spans.last_try, stop)
    onset = low - (high - low) * 0.25 / 0.35
    delay = onset - command_time(samples, spans)
    sure = amplitude > 5.0 * samples.noise
    return np.where(sure, np.maximum(delay, 0.0), np.nan)


def _onset_amplitude(
    usual_open: float, own_open: Floats, height: Floats, noise: float, options: MeasureOptions
) -> Floats:
    """The rise whose first part tells the onset of each cycle [kPa], NaN where it tells nothing.

    One amplitude for all cycles, so that the onset is found alike in each; none for one whose open cup stays far
    below it, since it would pass the levels only after the contact.
    """
    if not usual_open > options.onset_least_kpa:  # NaN too: no open cup shows
        return 0.2 * height
    if usual_open < options.onset_least_noise * noise:
        return np.full(len(height), np.nan)
    return np.where(own_open < 0.7 * usual_open, np.nan, usual_open)


def find_rise(
    samples: Samples, spans: Spans, hold: Hold, zero: Floats, closed: NDArray[np.bool_], options: MeasureOptions
) -> Rise:
    """The rise of each cycle, as far as it can be told without knowing what is usual.

    `closed`: a cup that closed on a part, by the vacuum reached.
    """
    after = np.where(hold.grip >= 0, hold.grip, spans.last_try + 1)
    cut = first_in(samples.supply_fall, after, np.maximum(hold.quit + 1, after))
    first_cut = np.where(cut >= 0, np.minimum(cut, hold.quit), hold.quit)
    curve = curve_of(samples, options)
    lost = (hold.drop >= 0) & (first_cut > hold.drop)  # before suction ended: the rise is whole
    until = np.where(lost, hold.drop + 1, first_cut)
    # suction may be cut before the peak, which the valve's delay adds
    last = np.clip(first_cut - 1, 0, len(samples.time) - 1)
    summit = np.fmin(options.fit_to * hold.peak, np.where(lost, np.inf, samples.smooth[last]))
    top = first_reach(samples.smooth, summit, spans.last_try, np.maximum(first_cut, after + 1))
    empty = np.where(np.isfinite(zero), zero, 0.0)
    half = first_reach(curve, empty + 0.5 * (hold.peak - empty), spans.last_try, np.where(top >= 0, top + 1, 0))
    begin = first_reach(curve, empty + options.fit_from * (hold.peak - empty), spans.last_try, half + 1)
    deep, flat = deep_plateaus(samples, begin, half, top, options)
    above = deep + options.fit_from * (hold.peak - deep)
    begin = np.where(flat >= 0, first_reach(curve, above, flat, np.where(flat >= 0, top + 1, 0)), begin)
    base = np.where(flat >= 0, deep, empty)
    tau, end_level = fit_exponential(samples, begin, np.where(top >= 0, top + 1, begin), options.fit_least_samples)
    contact, contact_s, open_level = _contact(samples, spans, hold, begin, tau, end_level, empty, base, closed, options)
    return Rise(
        half=half,
        top=top,
        until=until,
        first_cut=first_cut,
        zero=empty,
        tau=tau,
        end_level=end_level,
        contact=contact,
        contact_s=contact_s,
        open_level=open_level,
    )


def measure_evacuation(
    samples: Samples,
    spans: Spans,
    hold: Hold,
    rise: Rise,
    closed: NDArray[np.bool_],
    usual_open: float,
    options: MeasureOptions,
) -> Evacuation:
    """All measures of the evacuation of each cycle; `usual_open`: open-cup vacuum of usual cycles [kPa]."""
    height = hold.peak - rise.zero
    amplitude = _onset_amplitude(usual_open, rise.open_level - rise.zero, height, samples.noise, options)
    tends_to, seen = _tends_to(samples, hold, rise.top, rise.until, rise.tau, rise.end_level, options)
    ultimate = np.where(seen, tends_to, _bounded(samples, hold, rise.until, rise.tau, tends_to, options))
    held = hold.grip >= 0
    command = command_time(samples, spans)
    seal = np.where(held & (hold.grip_time > rise.contact_s), hold.grip_time - rise.contact_s, np.nan)
    return Evacuation(
        response_delay_s=_response(samples, spans, rise.zero, amplitude, rise.half, curve_of(samples, options)),
        contact_s=rise.contact_s,
        contact=rise.contact,
        open_cup_vacuum_kpa=rise.open_level,
        evacuation_time_s=np.where(held, hold.grip_time - command, np.nan),
        seal_time_s=seal,
        pump_time_constant_s=np.where(closed, rise.tau, np.nan),
        ultimate_vacuum_kpa=np.where(closed, ultimate, np.nan),
        ultimate_extrapolated=np.where(closed & np.isfinite(ultimate), np.where(seen, 0, 1), -1),
        tends_to_kpa=np.where(closed, tends_to, np.nan),
        rise_s=rise_times(samples, spans, rise.top, options),
        first_cut=rise.first_cut,
    )


def _contact(
    samples: Samples,
    spans: Spans,
    hold: Hold,
    begin: Ints,
    tau: Floats,
    end_level: Floats,
    zero: Floats,
    base: Floats,
    closed: NDArray[np.bool_],
    options: MeasureOptions,
) -> tuple[Ints, Floats, Floats]:
    """Contact as sample index (-1) and time, and the open-cup level before it, by carrying the fit back to that level.

    `zero` is the idle vacuum, `base` that from which the fitted rise starts, where it is known already [kPa].
    It shows only where at least three samples of a stretch much flatter than the evacuation come before it. A missed
    pick has no contact, and its open-cup level is the median over the second half of its suction.
    """
    here = np.maximum(begin, 1)
    rise = samples.vacuum[here]
    time = samples.time[here]
    level = base.copy()
    at = begin
    for _ in range(2):
        with np.errstate(invalid="ignore", divide="ignore"):
            back = tau * np.log((end_level - level) / (end_level - rise))
        when = time - np.where(np.isfinite(back), back, np.nan)
        at = np.where(np.isfinite(when), np.searchsorted(samples.time, np.nan_to_num(when, nan=0.0)), -1)
        stop = np.clip(at - 1, spans.last_try, spans.end)
        found = _open_level(samples, spans.last_try, stop)
        level = np.where(np.isfinite(found), found, level)
    late = samples.vacuum[np.clip(at - 1, 0, len(samples.time) - 1)]
    early = samples.vacuum[np.clip((at + spans.last_try) // 2, 0, len(samples.time) - 1)]
    with np.errstate(invalid="ignore", divide="ignore"):
        span = 0.5 * (at - spans.last_try) * samples.interval
        flat = (late - early) / span < options.open_flat * (end_level - level) / tau + 3.0 * samples.noise / span
    risen = level - zero > np.maximum(5.0 * samples.noise / np.sqrt(np.maximum(at - spans.last_try, 1) / 2), 0.8)
    shows = (begin >= 0) & np.isfinite(when) & (at - spans.last_try >= 4) & flat & (level < 0.6 * hold.peak) & risen
    when = np.where(shows, when, np.nan)
    never = ~closed
    suction = _open_level(samples, spans.last_try, np.where(never, np.maximum(hold.quit, spans.last_try), 0))
    open_level = np.where(never, suction, np.where(shows, level, np.nan))
    contact = np.where(shows & ~never, np.clip(at, spans.last_try, spans.end - 1), -1)
    return contact, np.where(never, np.nan, when), open_level


def _tends_to(
    samples: Samples, hold: Hold, top: Ints, until: Ints, tau: Floats, end_level: Floats, options: MeasureOptions
) -> tuple[Floats, NDArray[np.bool_]]:
    """Vacuum at the end: read off where suction went on long enough (true), else where the fit ends [kPa]."""
    grip = np.where(hold.grip >= 0, hold.grip, top)
    stretch = samples.time[np.clip(until - 1, 0, len(samples.time) - 1)] - samples.time[np.maximum(grip, 0)]
    seen = (grip >= 0) & (stretch > options.settled_tau * np.where(np.isfinite(tau), tau, np.inf))
    start = grip + (np.maximum(until - grip, 0)) * 3 // 4
    level = range_quantile(samples.vacuum, np.where(seen, start, 0), np.where(seen, until, 0), 0.5)
    sane = (end_level > 0.9 * hold.peak) & (end_level < 106.0)
    return np.where(seen, level, np.where(sane, end_level, np.nan)), seen


def _bounded(
    samples: Samples, hold: Hold, until: Ints, tau: Floats, end_level: Floats, options: MeasureOptions
) -> Floats:
    """The extrapolated end where what the rise still gained before the cut bounds it, NaN elsewhere [kPa].

    A suction curve bends in its own way, so that a fit ends short of the true end or past it by as much as the way
    there. The end lies no lower than what was reached, and no further past it than the last time constant added.
    """
    last = np.clip(until - 1, 0, len(samples.time) - 1)
    before = np.searchsorted(samples.time, samples.time[last] - np.nan_to_num(tau))
    gained = samples.smooth[last] - samples.smooth[np.minimum(before, last)]
    # where the vacuum has been lost by then, it gained nothing that tells
    near = np.isfinite(tau) & (gained <= options.end_gain_kpa) & (samples.smooth[last] >= options.fit_to * hold.peak)
    return np.where(near, np.clip(end_level, hold.peak, hold.peak + np.maximum(gained, 0.0)), np.nan)


def fall_times(samples: Samples, start: Ints, stop: Ints, options: MeasureOptions) -> Floats:
    """Times from a release command to the first reading under each level, shape (n_cycles, n_levels) [s]."""
    curve = curve_of(samples, options)
    base = samples.time[np.maximum(start, 0)] - 0.5 * samples.interval
    levels = level_grid(options)
    at = first_falls(curve, levels, np.where(start >= 1, start, 0), np.where(start >= 1, stop, 0))
    above = (at >= 1) & (curve[np.maximum(at - 1, 0)] > levels)
    return crossing_time(samples.time, curve, levels, np.where(above, at, -1)) - base[:, None]
