"""Crossings of noise and toggling of a comparator, against worked figures; the source stands beside each."""

import math

import numpy as np
import pytest

from tracekit.physics.decay import air_saving_period_s
from tracekit.tune.noise import (
    erfi,
    filtered_cycle_s,
    independent_toggles,
    independent_up_crossings,
    quiet_hysteresis_sigma,
    rice_up_crossings_1_s,
    sampled_distance,
    sign_changes,
)
from tracekit.tune.replay import changes, switch


@pytest.mark.parametrize(("level", "expected"), [
    (0.0, 5.773502691896258),  # T01, Rice 1944/45: B/sqrt(3), B = 10 Hz
    (1.0, 3.5018063965685022),  # T02.1, Rice
    (2.0, 0.781358622075126),  # T02.2, Rice
    (3.0, 0.06413782141780817),  # T02.3, Rice
])  # fmt: skip
def test_low_pass_noise_crosses_at_rices_rate(level, expected):
    """Up-crossings per second of ideal low-pass noise fall as exp(-u²/2) from B/√3."""
    assert float(rice_up_crossings_1_s(10.0, level)) == pytest.approx(expected, rel=1e-9)


def test_band_pass_noise():
    """Band-pass noise from 5 to 8 Hz crosses zero upwards 6.557 times a second (T03, Rice: spectral moments)."""
    assert float(rice_up_crossings_1_s(8.0, 0.0, low_hz=5.0)) == pytest.approx(6.557438524302, rel=1e-9)


@pytest.mark.parametrize("level", [0.0, 1.0, 2.0])
def test_simulated_noise_crosses_at_rices_rate(level):
    """Low-pass noise made from random phases crosses levels as often as Rice says, within 5 % (T04, simulation)."""
    rate, seconds, cutoff = 1000.0, 2097.152, 10.0
    n = int(rate * seconds)
    rng = np.random.default_rng(7)
    spectrum = np.zeros(n // 2 + 1, complex)
    inside = (np.fft.rfftfreq(n, 1.0 / rate) <= cutoff) & (np.arange(n // 2 + 1) > 0)
    spectrum[inside] = rng.standard_normal(inside.sum()) + 1j * rng.standard_normal(inside.sum())
    wave = np.fft.irfft(spectrum, n)
    wave /= wave.std()
    up = np.count_nonzero((wave[:-1] < level) & (wave[1:] >= level)) / seconds
    assert up == pytest.approx(float(rice_up_crossings_1_s(cutoff, level)), rel=0.05)


def test_independent_samples_cross():
    """Independent samples cross one sigma upwards with Φ(1)(1 − Φ(1)) per sample (T05, probability; simulated 0.1334)."""
    assert float(independent_up_crossings(1.0)) == pytest.approx(0.13348376433140194, rel=1e-9)
    x = np.random.default_rng(5).standard_normal(400_000)
    assert np.mean((x[:-1] < 1.0) & (x[1:] >= 1.0)) == pytest.approx(0.13348, rel=0.02)


def test_sign_changes_of_filtered_noise():
    """Filtered noise with a correlation of 0.9 changes sign in arccos(0.9)/π of the samples (T06, arcsine law)."""
    assert float(sign_changes(0.9)) == pytest.approx(0.14356629312870625, rel=1e-9)


@pytest.mark.parametrize(("on", "off", "expected"), [
    (1.0, -1.0, 0.07932762696572854),  # T07.1, two-state Markov chain (derived)
    (2.0, -2.0, 0.011375065974089597),  # T07.2
    (1.5, 0.5, 0.06092116578326277),  # T07.3
    (2.0, 0.0, 0.021760044194914178),  # T07.4
])  # fmt: skip
def test_comparator_on_independent_samples(on, off, expected):
    """On-events per sample are p_on·p_off/(p_on + p_off), and the software switch toggles as often."""
    assert float(independent_toggles(on, off)) == pytest.approx(expected, rel=1e-9)
    x = np.random.default_rng(11).standard_normal(400_000)
    ups, _ = changes(switch(x, on, off))
    assert len(ups) / len(x) == pytest.approx(expected, rel=0.04)


@pytest.mark.parametrize(("half", "expected"), [
    (0.5, 2.6151071839441644),  # T08.0.5, mean first passage (Siegert 1951; Ricciardi & Sato 1988)
    (1.0, 5.990629324662256),  # T08.1
    (2.0, 23.70722792706749),  # T08.2
])  # fmt: skip
def test_comparator_on_filtered_noise(half, expected):
    """The mean cycle of a comparator at ±h on first-order-filtered noise is 2π·erfi(h/√2) time constants."""
    assert float(filtered_cycle_s(half, -half, 1.0)) == pytest.approx(expected, rel=1e-8)


def test_sampling_lengthens_the_cycle():
    """Sampled at τ/200 the ±1 sigma cycle grows from 5.99 to 6.487 τ (T09; Siegmund 1985 correction 0.5826)."""
    seen = float(sampled_distance(1.0, 1.0 / 200.0, 1.0))
    assert float(filtered_cycle_s(seen, -seen, 1.0)) == pytest.approx(6.4867637832, rel=1e-6)


def test_simulated_filtered_noise_toggles_as_often():
    """A simulated first-order filter sampled at τ/200 toggles the software switch every 6.49 τ (T09, within 3 %)."""
    steps, keep = 200, math.exp(-1.0 / 200.0)
    n = 30_000 * steps // 8
    rng = np.random.default_rng(5)
    lanes = 8
    noise = rng.standard_normal((n, lanes)) * math.sqrt(1.0 - keep * keep)
    x = np.empty((n, lanes))
    state = rng.standard_normal(lanes)
    for i in range(n):
        state = keep * state + noise[i]
        x[i] = state
    ups = sum(len(changes(switch(x[:, k], 1.0, -1.0))[0]) for k in range(lanes))
    assert n * lanes / steps / ups == pytest.approx(6.4867637832, rel=0.03)


def test_quiet_hysteresis():
    """A hysteresis of 6.58 sigma keeps re-toggling under one in a thousand (T10, derived)."""
    assert quiet_hysteresis_sigma(1e-3) == pytest.approx(6.581053462983789, rel=1e-9)


@pytest.mark.parametrize(("band", "on_delay", "off_delay", "expected", "tolerance"), [
    (10.0, 0.0, 0.0, 1.0 / 0.19047619047619047, 1e-9),  # T11, saw-tooth
    (10.0, 0.020, 0.030, 5.901, 1e-9),  # T12, derived; time-step simulation
    (1.0, 0.020, 0.030, 1.0 / 0.8503401360544216, 1e-9),  # T14, derived; simulation
])  # fmt: skip
def test_saw_tooth_period(band, on_delay, off_delay, expected, tolerance):
    """Decay 2 kPa/s and recharge 40 kPa/s give the worked periods, with and without delays."""
    assert air_saving_period_s(band, 2.0, 40.0, on_delay, off_delay) == pytest.approx(expected, rel=tolerance)


def test_saw_tooth_swing():
    """Delays of 20 and 30 ms widen a band of 10 kPa to a swing of 11.24 kPa (T13, derived)."""
    period = air_saving_period_s(10.0, 2.0, 40.0, 0.020, 0.030)
    assert period / (1.0 / 2.0 + 1.0 / 40.0) == pytest.approx(11.24, rel=1e-6)


def test_erfi_against_its_integral():
    """The imaginary error function is 2/√π times the integral of exp(t²) (definition), here by a fine trapezoid."""
    t = np.linspace(0.0, 3.0, 200_001)
    height = np.exp(t * t)
    area = (height.sum() - 0.5 * (height[0] + height[-1])) * t[1] * 2.0 / math.sqrt(math.pi)
    assert float(erfi(3.0)) == pytest.approx(area, rel=1e-8)
    assert float(erfi(-3.0)) == pytest.approx(-area, rel=1e-8)
