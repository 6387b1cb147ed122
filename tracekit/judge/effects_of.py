"""Effects as the ranking sees them: measured differences, derived ones, and physics where there is no reference."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.balance import QUICKEST, group_balance, joined, within_balance
from tracekit.judge.effects import Comparison, Effect, robust_spread
from tracekit.judge.features import Bands, Features
from tracekit.judge.practice import physical_effects
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions

_NAMES: Mapping[str, tuple[str, str]] = {
    "decay": ("decay_rate_kpa_s", "kPa/s"),
    "balance": ("evacuation slowed by the leak", "share"),
    "rise": ("evacuation between two levels", "s"),
    "open": ("open_cup_vacuum_kpa", "kPa"),
    "response": ("response_delay_s", "s"),
    "ultimate": ("ultimate_vacuum_kpa", "kPa"),
    "blow": ("blow-off between two levels", "s"),
    "blow_start": ("start of the blow-off", "s"),
    "residual": ("residual_vacuum_kpa", "kPa"),
    "over": ("release_peak_kpa", "kPa"),
    "idle": ("idle_vacuum_kpa", "kPa"),
    "early": ("vacuum made before the supply command", "kPa"),
    "idle_real": ("idle reading that the open cup does not share", "share"),
    "late_alike": ("delay of the blow-off over that of the response", "share"),
    "stretch": ("stretch of the evacuation over the delay of the response", "share"),
    "starved": ("open cup weaker over the slowing of the evacuation", "share"),
    "noise": ("noise_kpa", "kPa"),
    "noise_off": ("noise with the valves off", "kPa"),
    "rise_scatter": ("scatter of the evacuation", "log of ratio"),
    "blow_scatter": ("scatter of the blow-off", "log of ratio"),
    "unevenness": ("scatter of the leak", "log of share"),
    "overshoot": ("vacuum past supply_off", "kPa"),
    "run_on": ("rise after the cut over the speed before it", "s"),
    "fast_fall": ("fall just after the cut", "kPa"),
    "dip": ("deepest dip of the hold", "kPa"),
    "command": ("length of the release command", "s"),
}
LOGARITHMIC = ("rise", "blow", "noise", "noise_off", "command")
Floats = NDArray[np.float64]


def measure_name(feature: str) -> tuple[str, str]:
    """The name and unit under which a feature is shown."""
    return _NAMES[feature]


def _fall_share(fallen: Effect, risen: Effect, *, counted: Effect, least_error: float) -> Effect:
    """The fall of one measure as a share of the rise of another; `counted` tells how many cycles stand behind it."""
    value = -fallen.shift / risen.shift
    error = float(np.hypot(fallen.error / risen.shift, value * risen.error / risen.shift))
    return Effect(
        now=value, reference=0.0, shift=value, error=max(error, least_error), n_now=counted.n_now,
        n_reference=counted.n_reference, tail_up=0.0, tail_down=0.0, scatter=1.0,
    )  # fmt: skip


def with_balance(effects: Mapping[str, Effect]) -> dict[str, Effect]:
    """Add the share of the leak's rise by which the evacuation near its top became slower.

    0.37 to 1.01 for a leak that the generator also sees, −0.30 to 0.27 for one behind the check valve.
    """
    decay, top = effects.get("decay"), effects.get("top")
    if decay is None or top is None or decay.shift < 4.0 * decay.error:
        return dict(effects)
    return {**effects, "balance": _fall_share(top, decay, counted=decay, least_error=0.08)}


def with_idle_real(effects: Mapping[str, Effect]) -> dict[str, Effect]:
    """Add the share of a risen idle reading that the open-cup reading does not share.

    0 for a zero, which moves both alike; 1 for vacuum that is really there, since the generator's flow alone sets how
    deep an open cup reads.
    """
    idle, level = effects.get("idle"), effects.get("open")
    if idle is None or level is None or idle.shift < 4.0 * idle.error:
        return dict(effects)
    return {**effects, "idle_real": _fall_share(level, idle, counted=level, least_error=0.1)}


def with_late_alike(effects: Mapping[str, Effect]) -> dict[str, Effect]:
    """Add how much later the blow-off starts, as a share of how much later the supply is answered.

    About 0 for a supply valve, which takes no part in the release. A lag of the sensor delays both: the onset of the
    response is seen early on its way, a blow-off only well down it, so the share is 1 or more.
    """
    out = dict(effects)
    answer, release = effects.get("response"), effects.get("blow_start")
    if answer is None or release is None or answer.shift < 4.0 * answer.error:
        return out
    value = release.shift / answer.shift
    error = float(np.hypot(release.error / answer.shift, value * answer.error / answer.shift))
    out["late_alike"] = Effect(
        now=value, reference=0.0, shift=value, error=max(error, 0.1), n_now=release.n_now,
        n_reference=release.n_reference, tail_up=0.0, tail_down=0.0, scatter=1.0,
    )  # fmt: skip
    return out


def with_stretch(effects: Mapping[str, Effect]) -> dict[str, Effect]:
    """Add how much longer the evacuation takes between its levels, as a share of how much later the supply is answered.

    0 for a supply valve, which opens late and then lets everything run as before. A lag rounds what it delays, and an
    onset is seen early on its way: some twice the delay and more.
    """
    answer, rise = effects.get("response"), effects.get("rise")
    if answer is None or rise is None or answer.shift < 4.0 * answer.error:
        return dict(effects)
    before = float(np.exp(rise.reference))
    longer = before * float(np.expm1(rise.shift))
    in_time = replace(rise, shift=-longer, error=(before + max(longer, 0.0)) * rise.error)
    return {**effects, "stretch": _fall_share(in_time, answer, counted=rise, least_error=0.1)}


def with_starved(effects: Mapping[str, Effect], options: JudgeOptions) -> dict[str, Effect]:
    """Add how much weaker the open cup is, as a share of how much slower the evacuation, both as logarithms.

    A generator that gives less flow weakens an open cup about as much as it slows: 0.3 to 1.5. A leak at a cup takes no
    part while the cup is open: 0.
    """
    level, rise = effects.get("open"), effects.get("rise")
    if level is None or rise is None or rise.z < 4.0 or level.reference < options.starved_open_kpa:
        return dict(effects)
    weaker = float(np.log(level.reference / max(level.now, 0.1 * level.reference)))
    less = replace(level, shift=-weaker, error=level.error / level.reference)
    return {**effects, "starved": _fall_share(less, rise, counted=level, least_error=0.12)}


def evacuation_without_leak(effects: Mapping[str, Effect], band_kpa: float) -> dict[str, Effect]:
    """Take the slowing that a measured rise of the leak predicts off the evacuation: what is left tests the drive."""
    out = dict(effects)
    decay, rise = effects.get("decay"), effects.get("rise")
    if decay is None or rise is None or decay.shift <= 0:
        return out
    speed = band_kpa / float(np.exp(rise.reference))
    predicted = 0.85 * decay.shift / max(speed, 1e-6)
    kept = max(rise.shift - predicted, min(rise.shift, 0.0))
    out["rise"] = Effect(
        now=rise.now, reference=rise.reference, shift=kept, error=float(np.hypot(rise.error, 0.4 * predicted)),
        n_now=rise.n_now, n_reference=rise.n_reference, tail_up=rise.tail_up, tail_down=rise.tail_down,
        scatter=rise.scatter,
    )  # fmt: skip
    return out


def allow_for_weather(effects: Mapping[str, Effect], bands: Bands, options: JudgeOptions) -> dict[str, Effect]:
    """Widen the evacuation between two levels, and its speed near the top, by what the weather of another day does.

    Its time is proportional to ln((U - low) / (U - high)), and the ultimate vacuum U moves with the weather.
    """
    out = dict(effects)
    rise, ends_at = effects.get("rise"), _usual_end_kpa(effects)
    if rise is None or ends_at is None or ends_at < bands.rise_high + 3.0:
        return out
    left, right = ends_at - bands.rise_low, ends_at - bands.rise_high
    per_kpa = (1.0 / right - 1.0 / left) / float(np.log(left / right))
    out["rise"] = replace(rise, error=float(np.hypot(rise.error, per_kpa * options.spread_ultimate)))
    top = out.get("top")
    if top is not None and ends_at > bands.top_high + 2.0:
        middle = 0.5 * (bands.top_low + bands.top_high)
        steep = top.reference / (ends_at - middle)  # speed lost per kPa that the end comes nearer
        out["top"] = replace(top, error=float(np.hypot(top.error, steep * options.spread_top_kpa)))
    return out


def _usual_end_kpa(effects: Mapping[str, Effect]) -> float | None:
    """Where the reference's evacuations end [kPa], also where the ends themselves cannot be compared."""
    ultimate, peak, past = (effects.get(name) for name in ("ultimate", "peak", "extrapolated"))
    if ultimate is not None:
        return ultimate.reference
    return None if peak is None or past is None else peak.reference + past.reference


def _excess(rate: Floats, noise: Floats) -> tuple[float, float]:
    """Variance from one cycle to the next beyond noise, and its standard error [kPa²/s²]."""
    variance = (robust_spread(np.diff(rate)) / np.sqrt(2.0)) ** 2
    by_noise = float(np.nan_to_num(np.nanmedian(noise) ** 2)) if np.isfinite(noise).any() else 0.0
    # a median absolute deviation is worth 37 % of as many normal values; differences share their cycles
    error = float(np.sqrt(2.0 / (0.37 * len(rate) / 1.5))) * variance
    return variance - by_noise, float(np.hypot(error, 0.3 * by_noise))


def unevenness(now: NDArray[np.bool_], features: Features, reference: Features | None) -> Effect | None:
    """Logarithm of the relative scatter of the leak from cycle to cycle, beyond noise and what a healthy log has.

    A leak at the cup changes with every part and lip position; one behind the check valve does not.
    """
    rate = features.values["decay"]
    seen = now & features.held & np.isfinite(rate) & (rate > 0)
    if seen.sum() < 10:
        return None
    middle = float(np.median(rate[seen]))
    excess, error = _excess(rate[seen], features.decay_noise[seen])
    if reference is not None:
        usual = reference.held & np.isfinite(reference.values["decay"])
        if usual.sum() >= 10:
            there, doubt = _excess(reference.values["decay"][usual], reference.decay_noise[usual])
            excess, error = excess - max(there, 0.0), float(np.hypot(error, doubt))
            middle = max(middle - float(np.median(reference.values["decay"][usual])), 0.3 * middle)
    # scatter lost in noise has an upper bound alone: a value well under it, and an error that reaches up to it
    kept = max(excess, 0.25 * error, (0.002 * middle) ** 2)
    value = 0.5 * float(np.log(kept / middle**2))
    doubt_ln = float(np.clip(0.5 * error / max(excess, 0.5 * error), 0.3, 0.7))
    return Effect(
        now=value, reference=0.0, shift=value, error=doubt_ln,
        n_now=int(seen.sum()), n_reference=0, tail_up=0.0, tail_down=0.0, scatter=1.0,
    )  # fmt: skip


def _usable(balance: Effect, options: JudgeOptions) -> bool:
    """Whether the balance of a leak is known well enough, and is one that a leak alone has."""
    beyond = max(balance.shift - 1.0, -balance.shift, 0.0)
    return balance.error <= options.balance_unusable and beyond <= options.balance_unusable + 2.0 * balance.error


def effects_of(
    data: StationData,
    features: Features,
    comparison: Comparison,
    reference: Features | None,
    upper: NDArray[np.bool_],
    grouped: bool,
    bands: Bands,
    options: JudgeOptions,
) -> dict[str, Effect]:
    """All effects for the ranking; `reference` is a baseline; `upper` marks leaking cycles where they are `grouped`."""
    if comparison.source == "none":
        out = physical_effects(data, features, options)
    else:
        measured = comparison.effects
        if comparison.source == "baseline":
            measured = allow_for_weather(measured, bands, options)
        band_kpa = bands.rise_high - bands.rise_low
        out = with_idle_real(with_balance(evacuation_without_leak(measured, band_kpa)))
        out = with_starved(with_stretch(with_late_alike(out)), options)
    uneven = unevenness(comparison.now, features, reference)
    decay = out.get("decay")
    if grouped:  # the scatter is that of the groups, and they tell the balance better
        between = group_balance(features, upper)
        return {**out, **({} if between is None else {"balance": between})}
    quickest = (bands.top_high - bands.top_low) / (QUICKEST * max(data.sensor.sample_interval_s, 1e-6))
    whole = joined(out.get("balance"), within_balance(features, comparison, reference, quickest))
    if whole is not None:
        out["balance"] = whole
    leaks = decay is not None and decay.shift > 3.0 * decay.error
    if uneven is not None and (comparison.source == "none" or leaks):
        balance = out.get("balance")
        alone = comparison.source != "none" and (balance is None or not _usable(balance, options))
        out["unevenness"] = replace(uneven, error=uneven.error * (options.uneven_alone if alone else 1.0))
    return out
