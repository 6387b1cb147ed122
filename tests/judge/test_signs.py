"""Signs that a judgement takes from single cycles."""

from dataclasses import replace

import numpy as np
from segment.made_traces import blow_off, coast, evacuate, idle, recharge, table_of, trace_of

from tracekit.judge.effects import Comparison, Effect
from tracekit.judge.features import Bands, Features
from tracekit.judge.signs import pulsation_sign, spared_sign, tight_scatter_sign
from tracekit.pipeline import measure

CYCLE = (idle(), evacuate(0.3, to=72.0), coast(0.5, 69.5), recharge(), coast(0.5, 69.0), recharge(), blow_off())


def test_pressure_that_never_bends_is_no_pulsation():
    """A recording whose averaged pressure moves in straight lines, or not at all, shows no ripple."""
    data = measure(table_of(trace_of(CYCLE * 6, noise=0.03))).stations[0]
    still = replace(data, bins=replace(data.bins, pressure_kpa=np.zeros_like(data.bins.pressure_kpa)))
    assert len(data.bins.time_s) >= 50
    assert pulsation_sign(still).present <= 0.01


BANDS = Bands(rise_low=25.0, rise_high=55.0, top_low=55.0, top_high=65.0, fall_high=45.0, fall_low=20.0)


def cycles_with(rate, rise):
    """Features of cycles of which only the leak [kPa/s] and the logarithm of the evacuation are known."""
    held = np.ones(len(rate), np.bool_)
    return Features(
        values={"decay": np.asarray(rate), "rise": np.asarray(rise)}, floor={"decay": 0.05, "rise": 0.004}, held=held,
        at_least=~held, decay_noise=np.full(len(rate), np.nan),
    )  # fmt: skip


def test_a_leak_slows_an_evacuation_by_what_it_lets_in():
    """30 kPa in 0.1 s are 300 kPa/s; in 0.125 s 240: a leak that does it lets in 60 kPa/s more, a tight hold none."""
    slow = np.arange(20) % 4 == 0
    rise = np.log(np.where(slow, 0.125, 0.1))
    scatter = 0.1 * np.sin(np.arange(20))
    tight = tight_scatter_sign(cycles_with(2.0 + scatter, rise), slow, BANDS)
    leaky = tight_scatter_sign(cycles_with(2.0 + 60.0 * slow + scatter, rise), slow, BANDS)
    unknown = tight_scatter_sign(cycles_with(np.where(slow, np.nan, 2.0), rise), slow, BANDS)
    assert tight.present > 0.95
    assert leaky.present < 0.05
    assert unknown.present == 0.5


def risen(shift):
    """A leak that rose from 1 kPa/s by `shift`, with an error of 0.2 kPa/s, in twenty cycles."""
    decay = Effect(
        now=1.0 + shift, reference=1.0, shift=shift, error=0.2, n_now=20, n_reference=20, tail_up=1.0, tail_down=0.0,
        scatter=1.0,
    )  # fmt: skip
    every = np.ones(20, np.bool_)
    return Comparison(effects={"decay": decay}, source="baseline", onset=None, now=every, reference=~every)


def test_cycles_that_a_leak_spares():
    """Five of twenty cycles at the old rate are spared; a rise that single cycles cannot show tells nothing."""
    rate = np.where(np.arange(20) % 4 == 0, 1.1, 5.0)
    flat = np.zeros(20)
    some, none = (spared_sign(cycles_with(r, flat), risen(4.0)) for r in (rate, np.full(20, 5.0)))
    assert some is not None
    assert none is not None
    assert some.present > 0.95
    assert some.text == "5 of 20 cycles leak as little as the reference"
    assert none.present < 0.05
    assert spared_sign(cycles_with(rate, flat), risen(0.5)) is None
