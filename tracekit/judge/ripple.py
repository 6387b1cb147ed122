"""A line in the spectrum of the hold that is there only while the supply is on: the supply pulsates.

Lines are looked for in the averaged trace of the whole log, the slowest as swings (`swing`), and fast ones in cycles
that are kept sample by sample.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.judge.evidence import Sign
from tracekit.judge.signs import logistic
from tracekit.judge.swing import (
    BEFORE_END_S,
    LEAST_S,
    LEAST_STRETCHES,
    SETTLED_S,
    course_of,
    settled_stretches,
    swing_chance,
)
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions
from tracekit.signal.pieces import whole_runs

Floats = NDArray[np.float64]

_LEAST_TONES = 12
_LEAST_KEPT = 5
LEAST_SAMPLES = 16
_MOST_SAMPLES = 4096
_LEAST_REST_S = 0.15
_RESTS_ALIKE = 4.0
"""A line whose power at rest is less than so many times smaller is there at rest as well."""
_REST_UNKNOWN = 0.9
"""Chance at most of a line of which nobody knows whether it is there at rest: it may be hum (no source)."""
_STEADY_SHARE = 0.25
"""Of the mean power, which the median over stretches has where a line is in all of them."""
_BESIDE, _FIRST = 7, 6
"""Places of a spectrum of half a place per period: how far beside a line its window ends, and the slowest line."""
_TURNED = 0.55
"""Share of neighbouring bends that turn opposite ways, from where on the trace goes back and forth and is no curve."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectrum:
    """Mean power by frequency over stretches of one kind [Hz, kPa²]; `width_hz` is how wide a pure line looks."""

    tone_hz: Floats
    power: Floats
    width_hz: float


def spectrum(data: StationData, kinds: Sequence[str]) -> Spectrum | None:
    """Of the averaged trace in settled stretches, without their slow course and what all stretches share.

    What comes at the same time in every stretch, as motion does, is no line of the supply, whose phase nobody keeps.
    None where there are too few stretches, or too short ones.
    """
    stretches = _stretches(data, kinds)
    if len(stretches) < LEAST_STRETCHES:
        return None
    step_s = float(np.median([np.median(np.diff(time)) for time, _ in stretches]))
    length_s = float(np.median([time[-1] - time[0] for time, _ in stretches]))
    tones = np.arange(3.0 / length_s, 0.45 / step_s, 0.25 / length_s)
    if len(tones) < _LEAST_TONES:
        return None
    waves = np.array([_amplitudes(time, rest, tones) for time, rest in stretches])
    power = np.mean(np.abs(waves - waves.mean(axis=0)) ** 2, axis=0) * len(waves) / (len(waves) - 1)
    return Spectrum(tone_hz=tones, power=power, width_hz=2.0 / length_s)


def _stretches(data: StationData, kinds: Sequence[str]) -> list[tuple[Floats, Floats]]:
    """Times and readings less their slow course of long stretches, spread over the log [s, kPa]."""
    return [_less_course(time, pressure) for time, pressure in settled_stretches(data, kinds)]


def _less_course(time: Floats, pressure: Floats) -> tuple[Floats, Floats]:
    """Without a parabola and the end of an exponential."""
    course = course_of(time)
    return time, pressure - course @ np.linalg.lstsq(course, pressure, rcond=None)[0]


def _amplitudes(time: Floats, rest: Floats, tones: Floats) -> NDArray[np.complex128]:
    """Complex amplitude at each frequency, through a window that keeps a line narrow [kPa]."""
    window = np.hanning(len(time) + 2)[1:-1]
    return np.asarray(2.0 * (np.exp(-2j * np.pi * tones[:, None] * time) @ (window * rest)) / window.sum())


def line_chance(data: StationData, options: JudgeOptions) -> float:
    """Probability of a line with the supply on, well over the rest of the spectrum and over the same with it off."""
    on = spectrum(data, ("steady", "recharge"))
    if on is None:
        return 0.0
    at = int(np.argmax(on.power))
    tone = float(on.tone_hz[at])
    below = tone - 1.5 * on.width_hz
    if below < on.tone_hz[0]:
        return 0.0  # what only rises towards slow is no line
    floor = max(float(np.median(on.power)), float(np.interp(below, on.tone_hz, on.power)))
    off = spectrum(data, ("coast", "idle"))
    if off is not None:
        floor = max(floor, float(np.interp(tone, off.tone_hz, off.power)))
    stands_out = logistic(3.0 * float(np.log(on.power[at] / (options.line_ratio * max(floor, 1e-12)))))
    height = float(np.sqrt(on.power[at]))
    return stands_out * logistic(6.0 * float(np.log(max(height, 1e-9) / options.line_kpa)))


def fast_line_chance(data: StationData, options: JudgeOptions) -> float:
    """The same from single samples, at frequencies that the averaged trace does not show."""
    on = _kept_spectrum(data, ("steady", "recharge"), LEAST_S)
    if on is None:
        return 0.0
    tones, power, usual = on
    beside, first = _BESIDE, _FIRST
    if len(tones) < first + 4 * beside:
        return 0.0
    at = first + int(np.argmax(power[first:]))
    low, high = max(at - 4 * beside, first), at + 4 * beside + 1
    around = np.concatenate([power[low : max(at - beside, low)], power[at + beside : high]])
    if at - beside < first or not len(around):
        return 0.0  # what only rises towards slow is no line
    floor = max(float(np.median(around)), float(power[at - beside]), float(power[min(at + beside, len(power) - 1)]))
    chance = logistic(3.0 * float(np.log(power[at] / (options.line_ratio * max(floor, 1e-12)))))
    chance *= logistic(6.0 * float(np.log(max(float(np.sqrt(power[at])), 1e-9) / options.line_kpa)))
    chance *= logistic(8.0 * float(np.log(max(float(usual[at] / power[at]), 1e-9) / _STEADY_SHARE)))
    rest = _kept_spectrum(data, ("idle",), _LEAST_REST_S)
    if rest is None:
        chance = min(chance, _REST_UNKNOWN)
    else:
        there = float(np.interp(tones[at], rest[0], rest[1]))
        chance *= logistic(4.0 * float(np.log(power[at] / (_RESTS_ALIKE * max(there, 1e-12)))))
    return chance


def _kept_spectrum(data: StationData, kinds: Sequence[str], least_s: float) -> tuple[Floats, Floats, Floats] | None:
    """Frequencies [Hz], mean power less what all stretches share, and median power [kPa²]; None for too few stretches.

    Of the longest stretch of these kinds in each held cycle that is kept sample by sample.
    """
    step = data.sensor.sample_interval_s
    found = [
        (time, vacuum) for time, vacuum in _kept_stretches(data, kinds)
        if time[-1] - time[0] >= least_s and len(time) >= LEAST_SAMPLES
    ]  # fmt: skip
    if len(found) < _LEAST_KEPT:
        return None
    length = min(float(np.median([time[-1] - time[0] for time, _ in found])), _MOST_SAMPLES * step)
    found = [(time, vacuum) for time, vacuum in found if time[-1] - time[0] >= 0.98 * length]
    if len(found) < _LEAST_KEPT:
        return None
    even = np.arange(0.0, 0.98 * length, step)
    window = np.hanning(len(even) + 2)[1:-1]
    traces = np.array([_less_course(even, np.interp(even, time - time[0], vacuum))[1] for time, vacuum in found])
    waves = 2.0 * np.fft.rfft(window * traces, n=2 * len(even), axis=1) / window.sum()
    own = np.abs(waves - waves.mean(axis=0)) ** 2
    power = np.asarray(own.sum(axis=0) / (len(found) - 1), np.float64)
    tones = np.asarray(np.fft.rfftfreq(2 * len(even), step), np.float64)
    return tones, power, np.asarray(np.median(own, axis=0), np.float64)


def _kept_stretches(data: StationData, kinds: Sequence[str]) -> list[tuple[Floats, Floats]]:
    """Samples of the longest period of these kinds in each kept cycle that was held, without its ends [s, kPa]."""
    names = data.periods.categories["kind"]
    start, end, cycle = data.periods.floats("start_s"), data.periods.floats("end_s"), data.periods.codes("cycle")
    wanted = np.isin(data.periods.codes("kind"), [names.index(kind) for kind in kinds])
    held = data.cycles.where("outcome", "held")
    found = []
    for excerpt in data.excerpts:
        rows = np.flatnonzero(wanted & (cycle == excerpt.cycle))
        if not held[excerpt.cycle] or not len(rows):
            continue
        row = rows[np.argmax(end[rows] - start[rows])]
        time = excerpt.time_s
        inside = (time > start[row] + SETTLED_S) & (time < end[row] - BEFORE_END_S)
        if np.count_nonzero(inside) > 2:
            found.append((time[inside], excerpt.pressure_kpa[inside]))
    return found


def pulsation_sign(data: StationData, options: JudgeOptions) -> Sign:
    """Does the vacuum ripple while the supply is on, at one frequency or from bin to bin, and not while it is off?"""
    line = max(line_chance(data, options), fast_line_chance(data, options), swing_chance(data, options))
    return Sign(
        name="pulsation", present=max(_from_bin_to_bin(data), min(line, 0.9998)),
        text="the vacuum ripples while the supply is on",
    )  # fmt: skip


def _from_bin_to_bin(data: StationData) -> float:
    """A ripple of the averaged trace while the supply is on that is absent while it is off."""
    if len(data.bins.time_s) < 50:
        return 0.003
    on, off = _bends(data, ("steady", "recharge")), _bends(data, ("coast",))
    expected = data.sensor.noise_kpa / np.sqrt(max(float(np.median(data.bins.samples)), 1.0))
    if len(on.size_kpa) < 40:
        return 0.003
    ripple = float(np.median(on.size_kpa)) / 0.6745
    calm = max(
        float(np.median(off.size_kpa)) / 0.6745 if len(off.size_kpa) >= 40 else expected,
        expected,
        0.3 * data.sensor.quantisation_kpa,
    )
    if ripple <= 0.0:  # no sample moves: nothing ripples
        return 0.003
    present = logistic(4.0 * np.log(ripple / max(2.2 * calm, 1e-6))) * _back_and_forth(on)
    return min(max(present, 0.003), 0.99)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bends:
    """How the averaged trace bends from bin to bin in settled periods of some kinds.

    size_kpa  of each bend, as a standard deviation of single bins, shape (n_bends,) [kPa]
    pairs     neighbouring bends, neither of them none;  turned  those of them that turn opposite ways
    """

    size_kpa: Floats
    pairs: int
    turned: int


def _bends(data: StationData, kinds: Sequence[str]) -> _Bends:
    """The bends of the trace in periods of these kinds, some bins at a time."""
    names, bins, start_s = data.periods.categories["kind"], data.bins, data.periods.floats("start_s")
    wanted = np.isin(data.periods.codes("kind"), [names.index(kind) for kind in kinds])
    found, pairs, turned = [np.zeros(0)], 0, 0
    for some in whole_runs(bins.period):
        period, pressure, middle = bins.period[some], bins.pressure_kpa[some], bins.period[some][1:-1]
        curve = pressure[2:] - 2.0 * pressure[1:-1] + pressure[:-2]
        inside = (period[2:] == period[:-2]) & (bins.samples[some][1:-1] >= 1) & wanted[middle]
        inside &= bins.time_s[some][1:-1] - start_s[middle] > 0.15
        both = inside[1:] & inside[:-1] & (curve[1:] != 0.0) & (curve[:-1] != 0.0)
        found.append(np.abs(curve[inside]) / np.sqrt(6.0))
        pairs += int(np.count_nonzero(both))
        turned += int(np.count_nonzero(curve[1:][both] * curve[:-1][both] < 0.0))
    return _Bends(size_kpa=np.concatenate(found), pairs=pairs, turned=turned)


def _back_and_forth(bends: _Bends) -> float:
    """Whether neighbouring bends turn opposite ways, as noise does three times in four; a slow dip bends one way."""
    if bends.pairs < 20:
        return 1.0
    return logistic((bends.turned / bends.pairs - _TURNED) / 0.02)
