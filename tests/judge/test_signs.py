"""Signs that a judgement takes from single cycles."""

from dataclasses import replace

import numpy as np
import pytest
from segment.made_traces import (
    KNOWN,
    PLAIN,
    blow_off,
    coast,
    evacuate,
    hold,
    idle,
    measured,
    recharge,
    table_of,
    trace_of,
)

from tests.judge.test_verdict import case_of
from tracekit.judge.effects import Comparison, Effect
from tracekit.judge.features import Bands, Features
from tracekit.judge.ripple import line_chance, pulsation_sign
from tracekit.judge.signs import far_slow_sign, scatter_sign, spared_sign
from tracekit.judge.slow import tight_scatter_sign
from tracekit.judge.verdict import judge
from tracekit.options.judge import JudgeOptions
from tracekit.pipeline import measure

CYCLE = (idle(), evacuate(0.3, to=72.0), coast(0.5, 69.5), recharge(), coast(0.5, 69.0), recharge(), blow_off())


def test_pressure_that_never_bends_is_no_pulsation():
    """A recording whose averaged pressure moves in straight lines, or not at all, shows no ripple."""
    data = measure(table_of(trace_of(CYCLE * 6, noise=0.03))).stations[0]
    still = replace(data, bins=replace(data.bins, pressure_kpa=np.zeros_like(data.bins.pressure_kpa)))
    assert len(data.bins.time_s) >= 50
    assert pulsation_sign(still, JudgeOptions()).present <= 0.01


BANDS = Bands(rise_low=25.0, rise_high=55.0, top_low=55.0, top_high=65.0, fall_high=45.0, fall_low=20.0)


def cycles_with(rate, rise, ultimate=np.nan):
    """Features of cycles of which only the leak [kPa/s], the logarithm of the evacuation and its end are known."""
    held = np.ones(len(rate), np.bool_)
    values = {"decay": np.asarray(rate), "rise": np.asarray(rise), "ultimate": np.broadcast_to(ultimate, len(rate))}
    return Features(
        values=values, floor={"decay": 0.05, "rise": 0.004}, held=held,
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


def test_a_leak_that_slows_an_evacuation_ends_it_sooner():
    """Without coasts: twice as slow at 40 kPa, a leak takes half of the suction there, and 22 of the 44 kPa above it."""
    slow = np.arange(20) % 4 == 0
    rise = np.log(np.where(slow, 0.2, 0.1))
    none, scatter = np.full(20, np.nan), 0.1 * np.sin(np.arange(20))
    tight = tight_scatter_sign(cycles_with(none, rise, 84.0 + scatter), slow, BANDS)
    between = tight_scatter_sign(cycles_with(none, rise, 84.0 - 11.0 * slow + scatter), slow, BANDS)
    leaky = tight_scatter_sign(cycles_with(none, rise, 84.0 - 22.0 * slow + scatter), slow, BANDS)
    assert tight.present > 0.95
    assert between.present == pytest.approx(0.5, abs=0.05)
    assert leaky.present < 0.05
    assert tight.text == "5 slow evacuations whose holds reach as deep as the rest"


def test_evacuations_far_slower_here_and_there():
    """Two of forty that take half as long again and more are no chance; one, two in a row, or as many as before are."""
    usual = np.log(0.1) + 0.002 * np.sin(np.arange(40.0))

    def with_slow(*cycles, by=0.6):
        rise = usual.copy()
        rise[list(cycles)] += by
        return cycles_with(np.full(40, np.nan), rise)

    none = np.zeros(40, np.bool_)
    assert far_slow_sign(with_slow(5, 20), none).present > 0.9
    assert far_slow_sign(with_slow(5, 20, by=0.4), none).present < 0.1
    assert far_slow_sign(with_slow(5), none).present < 0.1
    assert far_slow_sign(with_slow(5, 6), none).present < 0.1
    assert far_slow_sign(with_slow(5, 20), none, with_slow(8)).present < 0.1
    assert far_slow_sign(with_slow(5, 20), np.isin(np.arange(40), (5, 20))).present < 0.1
    few = scatter_sign(with_slow(5, 20), none, none)[0]
    assert few.present > 0.9
    assert scatter_sign(with_slow(5, 20, by=0.05), none, none)[1].sum() == 0  # within what a regulator holds


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


def holds_with(hz: float, amplitude_kpa: float, *, steady_phase: bool = False):
    """Twelve picks of 2.5 s held at 75 kPa with the supply on, whose vacuum swings at `hz` beside noise of 0.03 kPa."""
    columns = trace_of((idle(), evacuate(), hold(2.5), blow_off()) * 12, noise=0.03)
    time = columns["time_s"]
    since = np.mod(time, 4.0) if steady_phase else time * (1.0 + 0.013 * np.floor(time / 4.0))
    swing = amplitude_kpa * np.sin(2.0 * np.pi * hz * since) * columns["supply"]
    return measure(table_of({**columns, "pressure_kpa": np.round(columns["pressure_kpa"] + swing, 2)})).stations[0]


def test_a_line_while_the_supply_is_on_is_a_pulsation():
    """0.2 kPa at 6 Hz stands out of the spectrum of the holds; noise, a fainter line and the machine's motion do not."""
    options = JudgeOptions()
    assert line_chance(holds_with(6.0, 0.2), options) > 0.9
    assert pulsation_sign(holds_with(6.0, 0.2), options).present > 0.9
    assert line_chance(holds_with(6.0, 0.0), options) < 0.01
    assert line_chance(holds_with(6.0, 0.01), options) < 0.01
    # what comes at the same time in every hold
    assert line_chance(holds_with(6.0, 0.2, steady_phase=True), options) < 0.01


def test_a_line_with_the_supply_off_as_well_is_no_pulsation():
    """Vacuum that swings in long coasts as it does with the supply on: hum or a shaken line, not the supply."""
    pieces = (idle(1.4), evacuate(0.5), coast(0.4, 72.0), recharge(1.5, 75.0), coast(1.4, 73.0), blow_off())
    columns = trace_of(pieces * 12, noise=0.03)
    time = columns["time_s"]
    swing = 0.2 * np.sin(2.0 * np.pi * 6.0 * time * (1.0 + 0.013 * np.floor(time / 5.5)))
    chances = [
        line_chance(measured({**columns, "pressure_kpa": columns["pressure_kpa"] + swing * where}), JudgeOptions())
        for where in (columns["supply"], 1)
    ]
    assert chances[0] > 0.9
    assert chances[1] < 0.1


def test_noise_with_the_valves_off_excludes_a_pulsation():
    """Noise that is as strong at rest as in the hold is the sensor's; one with the supply on alone is not."""
    usual = case_of(PLAIN * 12)

    def judged(rest: float):
        columns = trace_of(PLAIN * 12, noise=0.0)
        draw = np.random.default_rng(5).normal(0.0, 1.0, len(columns["time_s"]))
        size = np.where(columns["supply"] + columns["release"] > 0, 0.3, rest)
        noisy = measured({**columns, "pressure_kpa": np.round(columns["pressure_kpa"] + size * draw, 2)}, settings=KNOWN)
        against = replace(usual, data=noisy, baseline=usual.data, baseline_leak=usual.leak)
        return noisy, {c.code: c.chance for c in judge(against, JudgeOptions()).causes}

    noisy, everywhere = judged(0.3)
    _, with_supply = judged(0.03)
    assert np.nanmedian(noisy.timing["idle_noise_kpa"]) == pytest.approx(0.3, rel=0.15)
    assert everywhere["sensor_noisy"] > 20 * everywhere["supply_pulsation"]
    assert with_supply["supply_pulsation"] > 3 * with_supply["sensor_noisy"]
