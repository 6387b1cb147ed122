"""An output that toggles in the hold: how often, when, and why.

Causes told apart: the saw-tooth of the air saving crossing the switch (order), a loss too fast for the distance between
supply_on and reset point (leak), noise over too small a hysteresis (noise), a rhythm of the supply (pulsation), dips
that keep step with the transport (motion), and edges that the pressure does not explain (artefact).
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Estimate
from tracekit.model.tuning import Chatter, Known

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CAUSES = {
    "order": "the saw-tooth of the air saving crosses the switch's thresholds",
    "leak": "vacuum is lost faster than the supply resumes",
    "noise": "noise of the reading crosses both thresholds",
    "pulsation": "the pressure swings in a rhythm while the supply is on",
    "motion": "the vacuum dips in step with the transport",
    "artefact": "the output toggles at a vacuum that does not explain it: cable, contact or recorder",
}
_ANSWER_S = 0.12  # after supply-on the vacuum goes on falling no longer than this
_SHORT_SAMPLES = 2.5
_TONE_SHARE = 0.45
_TONE_PULSES = 3  # fewer pulses in a hold show no rhythm
_TONE_LEAST_HZ = 1.5
_AROUND_S = 0.35
_STEP_S = 0.08  # dips of the motion come at the same moment within this


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulses:
    """Times in which the output is off inside a hold, arrays of shape (n,)."""

    cycle: Ints
    off_s: Floats
    on_s: Floats
    vacuum: Floats


def chatter_of(data: StationData, settings: Mapping[str, Known]) -> Chatter | None:
    """The toggling of a station's output, None where there is none. `settings` are those in force."""
    pulses = _pulses(data)
    if not len(pulses.cycle) or "reset_point" not in settings:
        return None
    cause, support = _cause(data, pulses, settings)
    start, end = (data.cycles.floats(n)[pulses.cycle] for n in ("hold_start_s", "hold_end_s"))
    place = np.clip((pulses.off_s - start) / np.maximum(end - start, 1e-6), 0.0, 1.0)
    low, middle, high = (float(v) for v in np.quantile(place, (0.25, 0.5, 0.75)))
    frequency = _frequency(pulses, data.sensor.sample_interval_s)
    holds = len(np.unique(pulses.cycle))
    rate = "" if frequency is None else f", {frequency.value:.3g} times a second"
    return Chatter(
        holds=holds, edges=2 * len(pulses.cycle), frequency_hz=frequency, duty=_duty(pulses),
        at_share=(low, middle, high), cause=cause, support=support,
        text=f"The output toggles in {holds} holds{rate}: {CAUSES[cause]}.",
    )  # fmt: skip


def _pulses(data: StationData) -> Pulses:
    """Output-offs that are followed by an output-on before the end of the hold of a held cycle."""
    edges = data.edges
    held = data.cycles.where("outcome", "held")
    present = edges.where("signal", "part_present") & held[edges.codes("cycle")]
    cycle, time, value = edges.codes("cycle")[present], edges.floats("time_s")[present], edges.codes("value")[present]
    pair = (value[:-1] == 0) & (value[1:] == 1) & (cycle[:-1] == cycle[1:]) if len(value) else np.zeros(0, bool)
    end = data.cycles.floats("hold_end_s")
    pair &= time[1:] < end[cycle[1:]] if len(value) else True
    off, on = time[:-1][pair], time[1:][pair]
    bins = data.bins
    vacuum = np.interp(off, bins.time_s, -bins.pressure_kpa) if len(bins.time_s) else np.full(len(off), np.nan)
    return Pulses(cycle=cycle[:-1][pair], off_s=off, on_s=on, vacuum=vacuum)


def _frequency(pulses: Pulses, interval_s: float) -> Estimate | None:
    """Full cycles over the time between the first and the last output-off of each hold; one count either way."""
    first, count = np.unique(pulses.cycle, return_index=True, return_counts=True)[1:]
    last = first + count - 1
    span = pulses.off_s[last] - pulses.off_s[first]
    several = count >= 2
    whole, time = int((count[several] - 1).sum()), float(span[several].sum())
    if whole < 1 or time <= 0.0:
        return None
    value = whole / time
    share = float(np.hypot(1.0 / max(whole, 1), interval_s * np.sqrt(several.sum()) / time))
    return Estimate(
        value=value, lower=max(value * (1.0 - share), 0.0), upper=value * (1.0 + share), unit="Hz",
        n=int(several.sum()),
        method="output-offs over the time between the first and the last of a hold",
    )  # fmt: skip


def _duty(pulses: Pulses) -> float:
    """Share of the time from the first output-off to the last output-on of a hold in which the output is off."""
    first, count = np.unique(pulses.cycle, return_index=True, return_counts=True)[1:]
    span = float((pulses.on_s[first + count - 1] - pulses.off_s[first]).sum())
    return float((pulses.on_s - pulses.off_s).sum() / span) if span > 0.0 else 1.0


def _cause(data: StationData, pulses: Pulses, settings: Mapping[str, Known]) -> tuple[str, float]:
    """The cause that most pulses speak for, in the order in which one would mimic another."""
    sigma = float(np.nan_to_num(data.sensor.noise_kpa, nan=0.1))
    width = pulses.on_s - pulses.off_s
    odd = pulses.vacuum > settings["reset_point"].high + max(5.0 * sigma, 1.0)
    odd &= width <= _SHORT_SAMPLES * data.sensor.sample_interval_s
    if odd.mean() > 0.5:
        return "artefact", float(odd.mean())
    inside, before = _resumed(data, pulses)
    if inside.mean() > 0.5:
        return "order", float(inside.mean())
    if before.mean() > 0.5:
        return "leak", float(before.mean())
    step = _in_step(data, pulses, sigma)
    if step > 0.5:
        return "motion", step
    tone = _tone(data)
    if tone > _TONE_SHARE and len(pulses.cycle) >= _TONE_PULSES * len(np.unique(pulses.cycle)):
        return "pulsation", tone
    return "noise", 1.0 - max(float(inside.mean()), float(before.mean()), step)


def _resumed(data: StationData, pulses: Pulses) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Pulses in which the supply resumes while the output is off, and those that it resumed just before."""
    nothing = np.zeros(len(pulses.cycle), np.bool_)
    periods = data.periods
    start = np.sort(periods.floats("start_s")[periods.where("kind", "recharge")])
    if not len(start):
        return nothing, nothing
    after = np.searchsorted(start, pulses.off_s - 1e-9)
    following = np.append(start, np.inf)[after]
    previous = np.concatenate([[-np.inf], start])[after]
    inside = following < pulses.on_s
    return inside, ~inside & (pulses.off_s - previous < _ANSWER_S)


def _tone(data: StationData) -> float:
    """Share of the pressure's variance in a chattering hold that one frequency and its neighbours hold."""
    shares = [_tone_share(e.time_s, e.pressure_kpa, e.present) for e in data.excerpts if e.why == "chatter"]
    return max(shares, default=0.0)


def _tone_share(time: Floats, pressure: Floats, present: NDArray[np.int8]) -> float:
    """The same for one excerpt, from its first output-on to its last output-off, slow drift taken off."""
    on = np.flatnonzero(present > 0)
    if len(on) < 32:
        return 0.0
    part = slice(int(on[0]), int(on[-1]) + 1)
    t, p = time[part], pressure[part]
    step = float(np.median(np.diff(t)))
    even = np.arange(t[0], t[-1], step)
    if len(even) < 64:
        return 0.0
    wave = np.interp(even, t, p)
    wave = wave[len(wave) // 4 :]
    x = np.linspace(-1.0, 1.0, len(wave))
    wave = wave - np.polynomial.Polynomial.fit(x, wave, 3)(x)
    power = np.square(np.abs(np.fft.rfft(wave * np.hanning(len(wave)))))
    hertz = np.fft.rfftfreq(len(wave), step)
    use = hertz >= max(_TONE_LEAST_HZ, 3.0 / (len(wave) * step))
    if not use.any() or power[use].sum() <= 0.0:
        return 0.0
    top = int(np.argmax(np.where(use, power, 0.0)))
    power = np.where(use, power, 0.0)
    return float(power[max(top - 2, 0) : top + 3].sum() / power.sum())


def _in_step(data: StationData, pulses: Pulses, sigma: float) -> float:
    """Share of pulses that are true dips and come at the usual moment of the hold, from its start or before its end."""
    start, end = (data.cycles.floats(n)[pulses.cycle] for n in ("hold_start_s", "hold_end_s"))
    best = 0.0
    for since in (pulses.off_s - start, end - pulses.off_s):
        best = max(best, _bunched(since))
    deep = float(np.mean(_depth(data, pulses) > 4.0 * sigma))
    per_hold = len(pulses.cycle) / len(np.unique(pulses.cycle))
    return min(best, deep) if per_hold <= 3.0 else 0.0


def _depth(data: StationData, pulses: Pulses) -> Floats:
    """How far vacuum at an output-off lies under that shortly before and shortly after the pulse [kPa]: a true dip."""
    time, vacuum = data.bins.time_s, -data.bins.pressure_kpa
    around = np.linspace(0.0, _AROUND_S, 9)[:, None]
    before = np.interp(pulses.off_s - around, time, vacuum).max(axis=0)
    after = np.interp(pulses.on_s + around, time, vacuum).max(axis=0)
    return np.asarray(np.minimum(before, after) - pulses.vacuum)


def _bunched(since: Floats) -> float:
    """Share of values within the two narrow windows that hold the most."""
    left, held = np.sort(since), 0
    for _ in range(2):
        if not len(left):
            break
        count = np.searchsorted(left, left + _STEP_S, side="right") - np.arange(len(left))
        top = int(np.argmax(count))
        held += int(count[top])
        left = np.delete(left, np.s_[top : top + int(count[top])])
    return held / max(len(since), 1)
