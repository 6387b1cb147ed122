"""How often noise alone crosses a threshold, and how often a comparator with hysteresis toggles on it.

Sources
[1] S. O. Rice, Mathematical Analysis of Random Noise, 1944/45: up-crossings of band-limited Gaussian noise.
[2] Mean first-passage times of the Ornstein-Uhlenbeck process: Siegert 1951; Ricciardi and Sato 1988.
[3] D. Siegmund, Sequential Analysis, 1985: a sampled path overshoots a boundary by 0.5826 steps.
[4] Two-state Markov chain of a comparator on independent samples (derived).
[5] Arcsine law of sign changes of a sampled Gaussian process (Rice; Kedem).
First-order-filtered noise has no finite rate [1]: use [2] for it.
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_OVERSHOOT = 0.5826
_ROOT2 = math.sqrt(2.0)
_FAR = 5.0  # exp(25) correlation times: never within a recording


def rice_up_crossings_1_s(high_hz: float, level_sigma: ArrayLike = 0.0, low_hz: float = 0.0) -> Floats:
    """Up-crossings of a level per second by Gaussian noise that is white from `low_hz` to `high_hz` [1/s] [1].

    level_sigma  distance of the level from the mean, in standard deviations
    """
    spread = (high_hz**3 - low_hz**3) / (3.0 * (high_hz - low_hz))
    return np.asarray(math.sqrt(spread) * np.exp(-0.5 * np.square(np.asarray(level_sigma, np.float64))))


def above(level_sigma: ArrayLike) -> Floats:
    """Share of Gaussian readings above a level in standard deviations."""
    level = np.asarray(level_sigma, np.float64)
    flat = [0.5 * math.erfc(z / _ROOT2) for z in level.ravel().tolist()]
    return np.asarray(flat, np.float64).reshape(level.shape)


def independent_up_crossings(level_sigma: ArrayLike) -> Floats:
    """Up-crossings of a level per sample by independent samples."""
    high = above(level_sigma)
    return np.asarray(high * (1.0 - high))


def sign_changes(correlation: ArrayLike) -> Floats:
    """Sign changes per sample of a Gaussian sequence whose neighbours have that correlation [5]."""
    return np.asarray(np.arccos(np.clip(np.asarray(correlation, np.float64), -1.0, 1.0)) / np.pi)


def independent_toggles(on_sigma: ArrayLike, off_sigma: ArrayLike) -> Floats:
    """On-events per sample of a comparator on independent samples, on above `on_sigma`, off below `off_sigma` [4]."""
    on, off = above(on_sigma), above(-np.asarray(off_sigma, np.float64))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(on + off > 0.0, on * off / (on + off), 0.0))


def erfi(x: ArrayLike) -> Floats:
    """Imaginary error function by its power series, for |x| up to 5; beyond that infinite with the sign of x."""
    value = np.asarray(x, np.float64)
    inner = np.clip(value, -_FAR, _FAR)
    term, total = inner.copy(), inner.copy()
    for k in range(1, 90):
        term = term * np.square(inner) / k
        total = total + term / (2 * k + 1)
    out = total * (2.0 / math.sqrt(math.pi))
    return np.asarray(np.where(np.abs(value) > _FAR, np.copysign(np.inf, value), out))


def filtered_cycle_s(on_sigma: ArrayLike, off_sigma: ArrayLike, time_constant_s: float) -> Floats:
    """Mean time of an on-off cycle of a comparator on first-order-filtered Gaussian noise [s] [2].

    The mean times up and down add up to π·τ·(erfi(on/√2) − erfi(off/√2)); levels are measured from the mean of the
    noise in its standard deviations. Infinite where a level is out of reach.
    """
    high, low = np.asarray(on_sigma, np.float64) / _ROOT2, np.asarray(off_sigma, np.float64) / _ROOT2
    with np.errstate(invalid="ignore"):
        return np.asarray(math.pi * time_constant_s * (erfi(high) - erfi(low)))


def sampled_distance(distance_sigma: ArrayLike, interval_s: float, time_constant_s: float) -> Floats:
    """Distance of a boundary as a path sampled every `interval_s` meets it, in standard deviations [3]."""
    more = _OVERSHOOT * math.sqrt(2.0 * interval_s / time_constant_s)
    return np.asarray(np.asarray(distance_sigma, np.float64) + more)


def quiet_hysteresis_sigma(chance: float) -> float:
    """Hysteresis in standard deviations at which a slow ramp toggles again with that chance per reading: 2·z."""
    low, high = 0.0, 40.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if math.erfc(middle / _ROOT2) > chance:
            low = middle
        else:
            high = middle
    return 2.0 * low
