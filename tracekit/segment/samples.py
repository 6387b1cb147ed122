"""A stretch of one station's samples, cleaned and with its digitals in logical sense."""

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import Wiring
from tracekit.model.trace import PRESENT_BIT, RELEASE_BIT, SUPPLY_BIT
from tracekit.options.segment import SegmentOptions
from tracekit.signal.segments import moving_mean, range_samples
from tracekit.signal.select import median

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

GRID_SAMPLES = 50_000
"""Readings that tell the step of a recorder."""
_UNIFORM = 12.0**-0.5
"""Standard deviation of a uniform distribution of width one (JCGM 100, 4.3.7)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Samples:
    """Samples ready for segmentation, all arrays of shape (n_samples,).

    vacuum is spike-free, `smooth` its moving mean over `width` samples; the digitals are 1 while logically on. Their
    edges may come `late` samples after what they command or report.

    Ascending indices: `*_rise` of the samples at which a digital is on after being off, `*_fall` at which it is off
    after being on, `gap` of the first samples after a pause, `spike` of the samples that were replaced.
    """

    time: NDArray[np.float64]
    vacuum: NDArray[np.float64]
    smooth: NDArray[np.float64]
    supply: NDArray[np.bool_]
    release: NDArray[np.bool_]
    present: NDArray[np.bool_]
    supply_rise: Ints
    supply_fall: Ints
    release_rise: Ints
    release_fall: Ints
    present_rise: Ints
    present_fall: Ints
    gap: Ints
    spike: Ints
    has_supply: bool
    has_release: bool
    has_present: bool
    interval: float
    noise: float
    width: int
    late: int = 0


def samples_in(seconds: float, interval: float) -> int:
    """Samples that cover a time, the same for intervals that differ by rounding alone."""
    return int(np.ceil(seconds / max(interval, 1e-9) - 1e-6))


def second_difference_noise(vacuum: NDArray[np.float64], quantisation: float) -> float:
    """Robust standard deviation of single samples about a smooth curve, from second differences [kPa].

    Never under the deviation of a uniform step of the recorder, step / sqrt(12).
    """
    if len(vacuum) < 8:
        return max(quantisation * _UNIFORM, 1e-4)
    bend = 2.0 * vacuum[1:-1]
    np.subtract(vacuum[2:], bend, out=bend)
    bend += vacuum[:-2]
    finite = np.isfinite(bend)
    bend = bend if finite.all() else bend[finite]
    if not len(bend):
        return max(quantisation * _UNIFORM, 1e-4)
    return _noise_of(bend, quantisation)


def _noise_of(bend: NDArray[np.float64], quantisation: float) -> float:
    """Robust standard deviation of single samples from second differences, which it changes in place [kPa]."""
    bend -= median(bend)
    # the lower half of the deviations: steep stretches must not pass for noise
    spread = median(np.abs(bend, out=bend)) / 0.6745 / 6.0**0.5
    return float(max(spread, quantisation * _UNIFORM, 1e-4))


_REST_LEAST = 30
"""Second differences that tell a noise."""


def noise_at_rest(
    vacuum: Floats, digital: NDArray[np.uint8], wiring: Wiring, quantisation: float, settle: int = 3
) -> float:
    """Robust standard deviation of single samples with supply and release off for `settle` of them, NaN if few [kPa].

    Where samples are far apart their second differences are steps of evacuations and falls elsewhere.
    """
    on = _logical(digital, SUPPLY_BIT, wiring.supply_on_level) | _logical(digital, RELEASE_BIT, wiring.release_on_level)
    before = np.cumsum(on)
    index = np.arange(settle, len(on) - 1)
    index = index[before[index + 1] - before[index - settle] == 0]
    bend = vacuum[index + 1] - 2.0 * vacuum[index] + vacuum[index - 1]
    bend = bend[np.isfinite(bend)]
    return _noise_of(bend, quantisation) if len(bend) >= _REST_LEAST else float("nan")


def find_quantisation(vacuum: NDArray[np.float64]) -> float:
    """Step of the recorder [kPa], 0 where the readings do not lie on a grid, by the first `GRID_SAMPLES` readings.

    The grid's step comes from a line through the distinct readings over their whole range, so that readings
    printed with few decimals still show it.
    """
    first = vacuum[:GRID_SAMPLES]
    if not np.isfinite(first).all():
        first = vacuum[np.isfinite(vacuum)][:GRID_SAMPLES]
    values = np.unique(np.round(first, 6))
    if len(values) < 3:
        return 0.0
    steps = np.diff(values)
    least = float(np.quantile(steps, 0.2))
    if least < 2e-3:
        return 0.0
    if np.round(steps / least).min() < 1:
        return 0.0
    place = np.cumsum(np.concatenate([[0.0], np.round(steps / least)]))
    centred = place - place.mean()
    step = float((centred * values).sum() / (centred * centred).sum())
    off = values - values.mean() - step * centred
    off -= np.median(off)
    return step if float(np.quantile(np.abs(off), 0.9)) < 0.15 * step else 0.0


_BLOCK = 32_768  # samples that stay near the processor while spikes are looked for


def time_steps(time: Floats) -> Floats:
    """Time from each sample to the next one, 0 at the last, shape (n_samples,) [s]."""
    step = np.empty(len(time))
    np.subtract(time[1:], time[:-1], out=step[:-1])
    step[-1:] = 0.0
    return step


def _gaps(time: Floats, limit: float, interval: float) -> Ints:
    """First samples after pauses longer than the limit, ascending indices.

    Time rises, so a pause shows between samples some way apart too: only between such is every step looked at.
    """
    if len(time) < 2:
        return np.zeros(0, np.int64)
    apart = int(min(max(0.5 * limit / max(interval, 1e-9), 1.0), len(time) - 1))
    coarse = np.append(time[:-1:apart], time[-1])
    begin = np.flatnonzero(coarse[1:] - coarse[:-1] > limit) * apart
    index = range_samples(begin + 1, np.minimum(begin + apart, len(time) - 1) + 1)
    return index[time[index] - time[index - 1] > limit]


def _spikes(vacuum: Floats, noise: float, options: SegmentOptions) -> Ints:
    """Single samples far from neighbours that agree, ascending indices.

    A sample is no farther from the mean of its neighbours than from one of them: only where a step from one sample to
    the next is large enough is more looked at.
    """
    limit = max(options.spike_sigmas * noise, options.spike_least_kpa)
    if len(vacuum) < 5:
        return np.zeros(0, np.int64)
    steep = _steep(vacuum, (1.0 - 1e-6) * limit)
    near = np.concatenate([steep, steep + 1])
    near = np.unique(near[(near >= 1) & (near <= len(vacuum) - 2)])
    before, here, after = vacuum[near - 1], vacuum[near], vacuum[near + 1]
    off = np.abs(here - 0.5 * (before + after))
    return np.asarray(near[(off > limit) & (np.abs(before - after) < 0.3 * off)], np.int64)


def _steep(vacuum: Floats, limit: float) -> Ints:
    """Samples from which the vacuum steps by more than the limit to the next one, ascending indices."""
    room = np.empty(_BLOCK)
    found = []
    for begin in range(0, len(vacuum) - 1, _BLOCK):
        after = vacuum[begin + 1 : begin + 1 + _BLOCK]
        step = np.subtract(after, vacuum[begin : begin + len(after)], out=room[: len(after)])
        np.abs(step, out=step)
        found.append(np.flatnonzero(step > limit) + begin)
    return np.concatenate(found)


def _logical(digital: NDArray[np.uint8], bit: int, level: int | None) -> NDArray[np.bool_]:
    """True where a digital is logically on, shape (n,); nowhere where its wiring is unknown."""
    if level is None:
        return np.zeros(len(digital), np.bool_)
    return np.asarray(np.equal(digital & bit, bit if level else 0), np.bool_)


def _edges(change: Ints, level: NDArray[np.bool_]) -> tuple[Ints, Ints]:
    """Rises and falls of a digital among the samples at which any digital changes."""
    on = level[change]
    moved = on != level[change - 1]
    return change[moved & on], change[moved & ~on]


def _bridged(time: Floats, vacuum: Floats) -> Floats:
    """The vacuum with straight lines over missing readings; changed in place."""
    with np.errstate(invalid="ignore", over="ignore"):
        if np.isfinite(vacuum.sum()):
            return vacuum
    bad = ~np.isfinite(vacuum)
    if bad.any() and not bad.all():
        vacuum[bad] = np.interp(time[bad], time[~bad], vacuum[~bad])
    return vacuum


def make_samples(
    time: Floats, pressure: Floats, digital: NDArray[np.uint8], wiring: Wiring, *,
    interval: float, noise: float, options: SegmentOptions, late_s: float = 0.0,
) -> Samples:  # fmt: skip
    """Clean a stretch of samples: missing readings bridged, spikes replaced, digitals in logical sense."""
    vacuum = _bridged(time, -pressure)
    spike = _spikes(vacuum, noise, options)
    vacuum[spike] = 0.5 * (vacuum[spike - 1] + vacuum[spike + 1])
    width = max(3, 2 * round(options.filter_s / max(interval, 1e-9) / 2 - 1e-6) + 1)

    supply, release, present = (
        _logical(digital, bit, level)
        for bit, level in (
            (SUPPLY_BIT, wiring.supply_on_level),
            (RELEASE_BIT, wiring.release_on_level),
            (PRESENT_BIT, wiring.present_on_level),
        )
    )
    change = np.flatnonzero(digital[1:] != digital[:-1]) + 1
    edges = [_edges(change, level) for level in (supply, release, present)]
    return Samples(
        time=time,
        vacuum=vacuum,
        smooth=moving_mean(vacuum, width),
        supply=supply,
        release=release,
        present=present,
        supply_rise=edges[0][0],
        supply_fall=edges[0][1],
        release_rise=edges[1][0],
        release_fall=edges[1][1],
        present_rise=edges[2][0],
        present_fall=edges[2][1],
        gap=_gaps(time, max(options.gap_intervals * interval, options.gap_least_s), interval),
        spike=spike,
        has_supply=wiring.supply_on_level is not None,
        has_release=wiring.release_on_level is not None,
        has_present=wiring.present_on_level is not None,
        interval=interval,
        noise=noise,
        width=width,
        late=samples_in(late_s, interval),
    )
