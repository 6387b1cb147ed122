"""The sensor and the recording, judged before anything else."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.facts import Fact, middle, rows
from tracekit.judge.frozen import silent_cycles, usual_open_kpa, usual_over_kpa
from tracekit.judge.signs import logistic
from tracekit.model.cycle import StationData
from tracekit.model.finding import Evidence
from tracekit.model.trace import Layout, LogFacts
from tracekit.options.judge import JudgeOptions
from tracekit.signal.range_end import end_of_range_kpa, unexplained_share
from tracekit.signal.standing import standing

Bools = NDArray[np.bool_]
_ENOUGH = 12
_LEAST_RESTS = 6
_REST_MOST = 2.0
"""A sensor's noise is the same at rest, within this factor (common practice)."""
_MANY_PEAKS = 20
_LEAST_NOISE_KPA = 1e-3
"""Readings that scatter by less are smoothed or made up: their peaks may be alike (common practice)."""
_STILLER = 2.0
"""Times its own noise that a baseline's is where what is missing was cut off (common practice, no source)."""
_BURST_TIMES = 3.0
"""Noise of a burst over the usual one of the same log, from where on it is no scatter of an estimate (no source)."""


def sensor_facts(
    data: StationData, has_reference: bool, options: JudgeOptions, baseline: StationData | None = None
) -> tuple[Fact, ...]:
    """Stuck, clipped and noisy sensors; a zero shift without a reference. `baseline` shows what the reading answers."""
    found = [_stuck(data) or _silent(data, baseline, options), _clipped(data)]
    if not has_reference:
        noisy = [fact for fact in (_noisy(data, options), _noisy_in_bursts(data, options)) if fact is not None]
        found += [max(noisy, key=lambda fact: fact.probability, default=None), _zero(data, options)]
    return tuple(f for f in found if f is not None)


def _stuck(data: StationData) -> Fact | None:
    count = data.sensor.stuck_cycles
    if count < 3:
        return None
    still = standing(data.reading_range_kpa, data.sensor.quantisation_kpa)
    evidence = Evidence(
        measure="reading_range_kpa", value=float(np.median(data.reading_range_kpa[still])), unit="kPa", cycles=count,
        text=f"the reading does not move for {count} cycles",
    )  # fmt: skip
    return Fact(
        code="sensor_stuck",
        probability=0.97,
        evidence=(evidence,),
        cycles=rows(still),
        reason="the reading does not move",
    )


def _silent(data: StationData, baseline: StationData | None, options: JudgeOptions) -> Fact | None:
    """A reading that still carries noise and answers nothing; at nothing it may be right, without compressed air."""
    silent = silent_cycles(data, baseline, options)
    if not silent.any():
        return None
    count = int(silent.sum())
    level = middle(data.cycles.floats("idle_vacuum_kpa")[silent])
    open_kpa, over_kpa = usual_open_kpa(data, baseline), usual_over_kpa(data, baseline)
    text = (
        f"for {count} cycles the reading answers neither the supply nor the blow-off; "
        f"usual are {open_kpa:.1f} kPa with the cup open and {over_kpa:.1f} kPa of over-pressure"
    )
    evidence = Evidence(measure="idle_vacuum_kpa", value=level, unit="kPa", cycles=count, text=text)
    no_air = 0.0 if abs(level) > options.zero_kpa else options.no_air
    return Fact(
        code="sensor_stuck", probability=0.97 - no_air, evidence=(evidence,), cycles=rows(silent),
        reason="the reading answers neither the supply nor the blow-off",
        alternatives=("supply_pressure_low",) if no_air else (), instead=no_air,
    )  # fmt: skip


def _clipped(data: StationData) -> Fact | None:
    """Flat at the deep end of the range while it should move; the end at 0 is a choice of range, not a fault."""
    low = data.sensor.range_low_kpa
    alike = _all_peaks_alike(data)
    if (data.sensor.clipped_low_share < 0.02 and not alike) or low > -20.0:
        return None
    beyond = unexplained_share(data.sensor)
    text = f"{100 * data.sensor.clipped_low_share:.0f} % of the samples sit exactly at {-low:.1f} kPa"
    if alike:
        text = f"vacuum peaks at exactly {-low:.1f} kPa in every cycle, although the reading scatters"
    return Fact(
        code="sensor_clipped", probability=0.95 if alike else 0.95 * logistic(beyond / 0.015),
        evidence=(Evidence(measure="range_low_kpa", value=-low, unit="kPa", text=text),),
        reason="the reading is flat at the end of its range",
    )  # fmt: skip


def _all_peaks_alike(data: StationData) -> bool:
    """Whether the deepest readings of all cycles are one, of a reading that scatters by more than its step.

    The deepest of many readings lies a third of their scatter higher or lower from cycle to cycle.
    """
    peak, step_kpa = data.cycles.floats("peak_vacuum_kpa"), data.sensor.quantisation_kpa
    peak = peak[np.isfinite(peak)]
    if len(peak) < _MANY_PEAKS or data.sensor.noise_kpa < max(step_kpa, _LEAST_NOISE_KPA):
        return False
    return bool((np.abs(peak + data.sensor.range_low_kpa) < 0.5 * step_kpa + 1e-9).all())


def with_usual_noise(data: StationData, baseline: StationData | None) -> StationData:
    """The log with the noise of its baseline's holds, where its own peaks are all one and without that noise.

    Vacuum that is lower scatters no less: a reading that stands still at its deepest is cut off by its range, and noise
    that is cut off as well tells nothing about what it cuts.
    """
    peak = data.cycles.floats("peak_vacuum_kpa")
    peak = peak[np.isfinite(peak)]
    if baseline is None or len(peak) < _MANY_PEAKS or np.ptp(peak) > 0.5 * data.sensor.quantisation_kpa:
        return data
    own, usual = (np.nan_to_num(one.cycles.floats("noise_kpa")) for one in (data, baseline))
    usual_kpa = float(np.median(usual)) if len(usual) else 0.0
    if usual_kpa < _STILLER * max(float(np.median(own)), _LEAST_NOISE_KPA):
        return data
    return replace(data, sensor=replace(data.sensor, noise_kpa=max(usual_kpa, data.sensor.noise_kpa)))


def hidden_by_range(fact: Fact, data: StationData) -> bool:
    """Whether a rule speaks of a vacuum that a range which ends too soon does not show."""
    end = end_of_range_kpa(data.sensor)
    levels = [v for e in fact.evidence if e.unit == "kPa" for v in (e.value, e.reference) if v is not None]
    return any(level >= end for level in levels)


def _noisy(data: StationData, options: JudgeOptions) -> Fact | None:
    noise = data.cycles.floats("noise_kpa")
    level = float(np.nanmedian(noise)) if np.isfinite(noise).any() else data.sensor.noise_kpa
    if not np.isfinite(level):
        return None
    step = data.sensor.quantisation_kpa / np.sqrt(12.0)
    rest = data.timing.get("idle_noise_kpa", np.full(1, np.nan))
    if np.isfinite(rest).sum() >= _LEAST_RESTS:  # what halves at rest is of the process
        level = min(level, _REST_MOST * max(float(np.nanmedian(rest)), step))
    own = float(np.sqrt(max(level**2 - step**2, 0.0)))
    evidence = Evidence(
        measure="noise_kpa", value=level, unit="kPa", reference=options.noisy_kpa, reference_source="common practice",
        text=f"single readings scatter by {level:.2f} kPa",
    )  # fmt: skip
    return Fact(
        code="sensor_noisy", probability=0.95 * logistic((own - options.noisy_kpa) / 0.03), evidence=(evidence,),
        reason=f"single readings scatter by {level:.2f} kPa",
    )  # fmt: skip


def _noisy_in_bursts(data: StationData, options: JudgeOptions) -> Fact | None:
    """Noise that comes and goes, in the hold and at rest alike: interference, which no medians show.

    None where most cycles are noisy, or where it is not known whether the reading scatters at rest too.
    """
    noise = data.cycles.floats("noise_kpa")
    rest = data.timing.get("idle_noise_kpa", np.full(len(noise), np.nan))
    seen = np.isfinite(noise) & np.isfinite(rest)
    if np.count_nonzero(seen) < _ENOUGH:
        return None
    least = max(data.sensor.quantisation_kpa / np.sqrt(12.0), 1e-3)
    over = np.minimum(noise / max(middle(noise[seen]), least), rest / max(middle(rest[seen]), least))
    loud = seen & (over > _BURST_TIMES) & (np.minimum(noise, rest) > options.burst_kpa)
    share = float(np.count_nonzero(loud) / np.count_nonzero(seen))
    if not loud.any():
        return None
    level = middle(noise[loud])
    text = f"single readings of {int(loud.sum())} cycles scatter by {level:.2f} kPa, of the others by far less"
    evidence = Evidence(
        measure="noise_kpa", value=level, unit="kPa", reference=middle(noise[seen & ~loud]),
        reference_source="the other cycles", cycles=int(loud.sum()), text=text,
    )  # fmt: skip
    often = logistic((share - 0.5 * options.burst_share) / 0.02)
    return Fact(
        code="sensor_noisy", probability=0.9 * often, evidence=(evidence,), cycles=rows(loud), reason=text
    )  # fmt: skip


def _zero(data: StationData, options: JudgeOptions) -> Fact | None:
    idle = data.cycles.floats("idle_vacuum_kpa")
    if np.isfinite(idle).sum() < 3:
        return None
    level = middle(idle)
    quick = middle(data.cycles.floats("residual_vacuum_kpa")) < level + 1.5
    evidence = Evidence(
        measure="idle_vacuum_kpa", value=level, unit="kPa", reference=0.0, reference_source="open to air",
        text=f"the idle reading is {level:+.1f} kPa",
    )  # fmt: skip
    stuck_part = level > 6.0 and not quick
    probability = 0.9 * logistic((abs(level) - options.zero_kpa) / 0.2) * (0.2 if stuck_part else 1.0)
    # vacuum that a passing supply valve makes reads the same; nothing makes it read below nothing
    passing = options.passing_share * probability if level > 0.0 else 0.0
    return Fact(
        code="sensor_zero_shift", probability=probability - passing, evidence=(evidence,),
        explained_by=("supply_valve_passing", "release_weak"), reason=f"the idle reading is {level:+.1f} kPa",
        alternatives=("supply_valve_passing",) if passing else (), instead=passing,
    )  # fmt: skip


def recording_facts(data: StationData, layout: Layout, facts: LogFacts) -> tuple[Fact, ...]:
    """What is wrong with the recording itself."""
    found = [_channels(data, layout), _inverted(data), _gaps(facts), _steps(facts), _undersampled(data), _request(data)]
    return tuple(f for f in found if f is not None)


def _recorded(code: str, measure: str, value: float, reason: str, detail: str = "") -> Fact:
    evidence = Evidence(measure=measure, value=value, unit="", text=reason + detail)
    return Fact(code=code, probability=0.99, evidence=(evidence,), reason=reason)


def _channels(data: StationData, layout: Layout) -> Fact | None:
    """Digitals that are absent or never move."""
    has = {"supply": layout.has_supply, "release": layout.has_release, "part present": layout.has_present}
    level = {"supply": data.wiring.supply_on_level, "part present": data.wiring.present_on_level}
    missing = [f"{name} is not in the log" for name, there in has.items() if not there]
    said = data.wiring.evidence
    still = [
        f"{name} {said.get(name.replace(' ', '_'), 'never changes')}"
        for name, on in level.items() if has[name] and on is None
    ]  # fmt: skip
    if not missing and not still:
        return None
    return _recorded("channel_missing", "channels", float(len(missing) + len(still)), "; ".join([*missing, *still]))


def _inverted(data: StationData) -> Fact | None:
    """Digitals that are 0 while on."""
    level = {"supply": data.wiring.supply_on_level, "part present": data.wiring.present_on_level}
    names = [name for name, on in level.items() if on == 0]
    if not names:
        return None
    verb = "is" if len(names) == 1 else "are"
    return _recorded("channel_inverted", "on_level", 0.0, f"{' and '.join(names)} {verb} logged with 0 for on")


def _gaps(facts: LogFacts) -> Fact | None:
    if not facts.gaps:
        return None
    total = float(sum(length for _, length in facts.gaps))
    count = len(facts.gaps)
    return _recorded("log_gaps", "gaps", float(count), f"{count} pauses without samples", f", {total:.1f} s in all")


def _steps(facts: LogFacts) -> Fact | None:
    count = len(facts.clock_steps)
    return _recorded("clock_step", "clock_steps", float(count), f"the clock steps {count} times") if count else None


def _request(data: StationData) -> Fact | None:
    """A saw-tooth while the logged supply stays on: the log holds a request, and the device saves air by itself.

    Inside steady stretches vacuum falls and recovers again and again: the way that it travels is far longer than the
    distance it covers, by more than noise makes.
    """
    if data.from_request:
        text = "the log holds a request; cuts and recharges of the supply were found in the saw-tooth of the pressure"
        share = float(np.mean(data.cycles.codes("coasts") > 0)) if len(data.cycles) else 0.0
        evidence = Evidence(measure="supply", value=share, unit="share of cycles with a coast", text=text)
        return Fact(code="supply_is_request", probability=0.95, evidence=(evidence,), reason=text)
    names = data.periods.categories["kind"]
    bins = data.bins
    if len(bins.period) < 50:
        return None
    keep = np.flatnonzero(data.periods.codes("kind")[bins.period] == names.index("steady"))
    if len(keep) < 50:
        return None
    period, vacuum = bins.period[keep], -bins.pressure_kpa[keep]
    first = np.concatenate([[0], np.flatnonzero(np.diff(period)) + 1])
    last = np.append(first[1:], len(keep)) - 1
    noise = 3.0 * data.sensor.noise_kpa / np.sqrt(max(float(np.median(bins.samples[keep])), 1.0))
    step = np.abs(np.diff(vacuum, append=vacuum[-1:]))
    step[last] = 0.0
    way = np.add.reduceat(np.where(step > noise, step, 0.0), first)
    covered = np.abs(vacuum[last] - vacuum[first])
    band = np.maximum.reduceat(vacuum, first) - np.minimum.reduceat(vacuum, first)
    teeth = (way - covered) / np.maximum(2.0 * band, 1.0)
    share = float(np.mean((teeth > 1.5) & (band > 2.5)))
    if share < 0.5:
        return None
    text = f"vacuum rises and falls by {float(np.median(band)):.1f} kPa in the hold while the logged supply stays on"
    return Fact(
        code="supply_is_request",
        probability=0.95 * logistic((share - 0.6) / 0.05),
        evidence=(Evidence(measure="supply", value=share, unit="share of holds", text=text),),
        reason=text,
    )


def _undersampled(data: StationData) -> Fact | None:
    evacuation = data.cycles.floats("evacuation_time_s")
    if np.isfinite(evacuation).sum() < 3:
        return None
    samples = float(np.nanmedian(evacuation)) / data.sensor.sample_interval_s
    if samples >= 10.0:
        return None
    text = f"an evacuation has only {samples:.0f} samples; 10 or more tell its shape"
    evidence = Evidence(measure="sample_interval_s", value=data.sensor.sample_interval_s, unit="s", text=text)
    return Fact(code="log_undersampled", probability=0.95, evidence=(evidence,), reason=text)
