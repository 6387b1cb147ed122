"""A line in the spectrum of the hold that is there only while the supply is on: the supply pulsates."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.evidence import Sign
from tracekit.judge.signs import logistic
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]

_SETTLED_S = 0.2
_BEFORE_END_S = 0.1
_LEAST_S = 0.7
"""A stretch shorter than this holds too few periods of a slow line."""
_LEAST_STRETCHES = 6
_MOST_STRETCHES = 200
_LEAST_BINS = 16
_LEAST_TONES = 12
_APPROACH_S = 0.15
"""Time constant of the end of an evacuation that a stretch may still hold (common practice, no source)."""


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
    if len(stretches) < _LEAST_STRETCHES:
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
    """Times and readings less their slow course of at most so many long stretches, spread over the log [s, kPa]."""
    names, bins = data.periods.categories["kind"], data.bins
    start, end = data.periods.floats("start_s"), data.periods.floats("end_s")
    wanted = np.isin(data.periods.codes("kind"), [names.index(kind) for kind in kinds])
    rows = np.flatnonzero(wanted & (end - start > _LEAST_S + _SETTLED_S + _BEFORE_END_S))
    if len(rows) > _MOST_STRETCHES:
        rows = rows[np.linspace(0, len(rows) - 1, _MOST_STRETCHES).astype(np.int64)]
    first, last = (np.searchsorted(bins.period, rows, side=side) for side in ("left", "right"))
    found = []
    for row, low, high in zip(rows, first, last, strict=True):
        time = bins.time_s[low:high] - start[row]
        inside = (time > _SETTLED_S) & (time < end[row] - start[row] - _BEFORE_END_S)
        if np.count_nonzero(inside) >= _LEAST_BINS:
            found.append(_less_course(time[inside], bins.pressure_kpa[low:high][inside]))
    return found


def _less_course(time: Floats, pressure: Floats) -> tuple[Floats, Floats]:
    """Without a parabola and the end of an exponential."""
    course = np.stack([np.ones_like(time), time, time**2, np.exp(-time / _APPROACH_S)], axis=1)
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


def pulsation_sign(data: StationData, options: JudgeOptions) -> Sign:
    """Does the vacuum ripple while the supply is on, at one frequency or from bin to bin, and not while it is off?"""
    return Sign(
        name="pulsation", present=max(_from_bin_to_bin(data), min(line_chance(data, options), 0.99)),
        text="the vacuum ripples while the supply is on",
    )  # fmt: skip


def _from_bin_to_bin(data: StationData) -> float:
    """A ripple of the averaged trace while the supply is on that is absent while it is off."""
    kind = data.periods.codes("kind")
    names = data.periods.categories["kind"]
    bins = data.bins
    if len(bins.time_s) < 50:
        return 0.003
    bend = np.abs(bins.pressure_kpa[2:] - 2.0 * bins.pressure_kpa[1:-1] + bins.pressure_kpa[:-2]) / np.sqrt(6.0)
    middle = bins.period[1:-1]
    inside = (bins.period[2:] == bins.period[:-2]) & (bins.samples[1:-1] >= 1)
    start = data.periods.floats("start_s")[middle]
    settled = bins.time_s[1:-1] - start > 0.15
    on = inside & settled & np.isin(kind[middle], [names.index("steady"), names.index("recharge")])
    off = inside & settled & (kind[middle] == names.index("coast"))
    expected = data.sensor.noise_kpa / np.sqrt(max(float(np.median(bins.samples)), 1.0))
    if on.sum() < 40:
        return 0.003
    ripple = float(np.median(bend[on])) / 0.6745
    calm = max(
        float(np.median(bend[off])) / 0.6745 if off.sum() >= 40 else expected,
        expected,
        0.3 * data.sensor.quantisation_kpa,
    )
    if ripple <= 0.0:  # no sample moves: nothing ripples
        return 0.003
    present = logistic(4.0 * np.log(ripple / max(2.2 * calm, 1e-6)))
    return min(max(present, 0.003), 0.99)
