"""A swing of so few periods per hold that no spectrum parts it from the hold's own course: its shape tells it.

Where the supply pulsates, one frequency explains nearly all that is left of each hold beside its slow course, and
nobody keeps its phase. What creeps, dips or steps is no sine; what the machine does comes at the same time of each.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.judge.signs import logistic
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]

SETTLED_S = 0.2
BEFORE_END_S = 0.1
LEAST_S = 0.7
"""A stretch shorter than this holds too few periods of a slow line."""
LEAST_STRETCHES = 6
_MOST_STRETCHES = 200
_LEAST_BINS = 16
APPROACH_S = 0.15
"""Time constant of the end of an evacuation that a stretch may still hold (common practice, no source)."""
_FEWEST_PERIODS, _MOST_PERIODS = 1.5, 8.0
_INSIDE = 2.2
"""Periods per stretch from where on the best frequency is a peak of its own: what only creeps is best met by few."""
_SHARE_WIDTH, _COHERENT, _COHERENT_WIDTH = 0.02, 0.3, 0.03
_SUREST = 0.9998


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """The frequency that explains most of the usual stretch: periods in it, share explained, amplitude [kPa].

    coherent  share of its power that all stretches have at the same times
    """

    periods: float
    share: float
    amplitude_kpa: float
    coherent: float


def settled_stretches(data: StationData, kinds: Sequence[str]) -> list[tuple[Floats, Floats]]:
    """Times and readings of at most so many long stretches, without their ends, spread over the log [s, kPa]."""
    names, bins = data.periods.categories["kind"], data.bins
    start, end = data.periods.floats("start_s"), data.periods.floats("end_s")
    wanted = np.isin(data.periods.codes("kind"), [names.index(kind) for kind in kinds])
    rows = np.flatnonzero(wanted & (end - start > LEAST_S + SETTLED_S + BEFORE_END_S))
    if len(rows) > _MOST_STRETCHES:
        rows = rows[np.linspace(0, len(rows) - 1, _MOST_STRETCHES).astype(np.int64)]
    first, last = (np.searchsorted(bins.period, rows, side=side) for side in ("left", "right"))
    found = []
    for row, low, high in zip(rows, first, last, strict=True):
        time = bins.time_s[low:high] - start[row]
        inside = (time > SETTLED_S) & (time < end[row] - start[row] - BEFORE_END_S)
        if np.count_nonzero(inside) >= _LEAST_BINS:
            found.append((time[inside], bins.pressure_kpa[low:high][inside]))
    return found


def course_of(time: Floats) -> Floats:
    """A parabola and the end of an exponential, shape (n, 4)."""
    return np.stack([np.ones_like(time), time, time**2, np.exp(-time / APPROACH_S)], axis=1)


def swing_of(stretches: Sequence[tuple[Floats, Floats]]) -> Swing | None:
    """The swing that the stretches have in common, None where they are too few."""
    if len(stretches) < LEAST_STRETCHES:
        return None
    length_s = float(np.median([time[-1] - time[0] for time, _ in stretches]))
    tones = np.arange(_FEWEST_PERIODS, _MOST_PERIODS, 0.1) / length_s
    each = [_explained(time, pressure, tones) for time, pressure in stretches]
    share = np.median([explained for explained, _ in each], axis=0)
    at = int(np.argmax(share))
    wave = np.array([amplitude[at] for _, amplitude in each])
    return Swing(
        periods=float(tones[at] * length_s), share=float(share[at]), amplitude_kpa=float(np.median(np.abs(wave))),
        coherent=float(np.abs(wave.mean()) ** 2 / max(float(np.mean(np.abs(wave) ** 2)), 1e-12)),
    )  # fmt: skip


def _explained(time: Floats, pressure: Floats, tones: Floats) -> tuple[Floats, NDArray[np.complex128]]:
    """Share of a stretch beside its course that a sine of each frequency explains, and its complex amplitude [kPa]."""
    base, _ = np.linalg.qr(course_of(time))
    rest = pressure - base @ (base.T @ pressure)
    angle = 2.0 * np.pi * tones * time[:, None]
    cosine, sine = (wave - base @ (base.T @ wave) for wave in (np.cos(angle), np.sin(angle)))
    cc, ss, cs = (np.sum(a * b, axis=0) for a, b in ((cosine, cosine), (sine, sine), (cosine, sine)))
    by_cosine, by_sine = rest @ cosine, rest @ sine
    spread = np.maximum(cc * ss - cs * cs, 1e-12)
    real, imaginary = (ss * by_cosine - cs * by_sine) / spread, (cc * by_sine - cs * by_cosine) / spread
    explained = (real * by_cosine + imaginary * by_sine) / max(float(rest @ rest), 1e-12)
    return np.asarray(explained, np.float64), np.asarray(real - 1j * imaginary, np.complex128)


def swing_chance(data: StationData, options: JudgeOptions) -> float:
    """Probability that the vacuum swings with the supply on, as a pulsating supply makes it."""
    swing = swing_of(settled_stretches(data, ("steady", "recharge")))
    if swing is None or swing.periods < _INSIDE:
        return 0.0
    pure = logistic((swing.share - options.swing_share) / _SHARE_WIDTH)
    free = logistic((_COHERENT - swing.coherent) / _COHERENT_WIDTH)
    large = logistic(6.0 * float(np.log(max(swing.amplitude_kpa, 1e-9) / options.line_kpa)))
    return min(pure * free * large, _SUREST)
