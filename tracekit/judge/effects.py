"""How the cycles now differ from a reference, measure by measure, with the uncertainty of the difference.

The reference is a baseline log, or the log's own cycles before an onset. What is compared are medians; a spread says
how far a healthy station differs between two recordings.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.judge.features import Features
from tracekit.judge.onset import find_onset
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """A measure now against its reference.

    shift    difference of the medians and its standard error, spread between recordings included
    spread   robust standard deviation of the reference's cycles
    jumps    scatter of the reference from one cycle to the next, which `scatter` is the factor of
    tail_up, tail_down  share of cycles now that lie outside what the reference shows, above and below
    """

    now: float
    reference: float
    shift: float
    error: float
    n_now: int
    n_reference: int
    tail_up: float
    tail_down: float
    scatter: float
    spread: float = 0.0
    jumps: float = 0.0

    @property
    def z(self) -> float:
        """Shift in standard errors."""
        return self.shift / self.error


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """All effects of a log, and where its reference comes from: baseline, earlier cycles, or none."""

    effects: Mapping[str, Effect]
    source: str
    onset: int | None
    now: Bools
    reference: Bools


def robust_spread(values: Floats) -> float:
    """Standard deviation from the median absolute deviation."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values)))) if len(values) else float("nan")


def _spread(name: str, value: float, options: JudgeOptions) -> float:
    fixed = {
        "rise": options.spread_rise,
        "open": options.spread_open,
        "response": options.spread_response,
        "ultimate": options.spread_ultimate,
        "ultimate_fit": 1.5 * options.spread_ultimate,
        "ultimate_any": 1.5 * options.spread_ultimate,
        "extrapolated": 0.0,
        "start": 0.5,
        "peak": options.spread_ultimate,
        "blow": options.spread_blow,
        "blow_start": 1.5 * options.spread_response,
        "release": 2.0 * options.spread_response,
        "residual": options.spread_residual,
        "idle": options.spread_idle,
        "early": options.spread_idle,
        "noise": options.spread_noise,
        "noise_off": options.spread_noise,
        "fast_fall": options.spread_fast_fall,
        "overshoot": 0.4,
        "run_on": options.spread_run_on_day_s,
        "cut": options.spread_cut,
        "dip": 0.4,
        "command": options.spread_command,
        "overlap": options.spread_overlap_s,
    }
    if name == "decay":
        return float(np.hypot(options.spread_decay, options.spread_decay_share * value))
    if name == "top":
        return options.spread_top_share * abs(value)
    if name == "over":
        return float(np.hypot(options.spread_over, 0.03 * value))
    return fixed[name]


def _within(name: str, options: JudgeOptions) -> float:
    """Share of a spread between two recordings that is left within one: no weather lies between its cycles."""
    return options.same_log_ultimate if name in ("ultimate", "ultimate_fit", "ultimate_any") else options.same_log


def _jumps(values: Floats) -> float:
    """Scatter from one cycle to the next, which a slow drift does not make."""
    return float(robust_spread(np.diff(values)) / np.sqrt(2.0))


def compare_feature(
    name: str, now: Floats, reference: Floats, floor: float, same_log: bool, options: JudgeOptions
) -> Effect | None:
    """The effect of one measure; None where either side has fewer than four values."""
    a, b = now[np.isfinite(now)], reference[np.isfinite(reference)]
    if len(a) < 4 or len(b) < 4:
        return None
    middle_a, middle_b = float(np.median(a)), float(np.median(b))
    spread_a, spread_b = (max(robust_spread(x), floor) for x in (a, b))
    # a fault that grows through the log scatters little about its growth
    spread_a = max(min(spread_a, 1.5 * _jumps(a)), floor)
    # neighbouring cycles are alike: a third of them counts
    sampling = 1.25 * float(np.sqrt(spread_a**2 / max(len(a) / 3, 1) + spread_b**2 / max(len(b) / 3, 1)))
    between = _spread(name, middle_b, options) * (_within(name, options) if same_log else 1.0)
    reach = max(float(np.quantile(b, 0.95)) - middle_b, 2.5 * spread_b, 3.0 * floor) + between
    depth = max(middle_b - float(np.quantile(b, 0.05)), 2.5 * spread_b, 3.0 * floor) + between
    return Effect(
        now=middle_a,
        reference=middle_b,
        shift=middle_a - middle_b,
        error=float(np.sqrt(sampling**2 + floor**2 + between**2)),
        n_now=len(a),
        n_reference=len(b),
        tail_up=float(np.mean(a > middle_b + 1.6 * reach)),
        tail_down=float(np.mean(a < middle_b - 1.6 * depth)),
        scatter=max(_jumps(a), floor) / max(_jumps(b), floor),
        spread=spread_b,
        jumps=max(_jumps(b), floor),
    )


_IN_BURSTS = ("noise", "noise_off")
"""What a fault that comes and goes raises in a part of the cycles, far and alike."""


def _of_upper_part(effect: Effect, now: Floats, reference: Floats, options: JudgeOptions) -> Effect:
    """The upper part of the cycles against the same part of the reference, where it has risen and the median has not.

    Interference that comes and goes leaves most cycles as they were.
    """
    a, b = now[np.isfinite(now)], reference[np.isfinite(reference)]
    part = 1.0 - options.burst_share
    high_a, high_b = float(np.quantile(a, part)), float(np.quantile(b, part))
    if high_a - high_b < max(effect.shift, 0.0) + options.burst_ln:
        return effect
    return replace(
        effect, now=high_a, reference=high_b, shift=high_a - high_b, error=float(np.hypot(effect.error, 0.2))
    )


def _allow_for_start(effects: dict[str, Effect], options: JudgeOptions) -> None:
    """A blow-off that starts from another vacuum takes another time: widen what depends on it.

    One that starts late and then ends faster was ended by the part that came off, not by the air blown in.
    """
    late, falls = effects.get("blow_start"), effects.get("blow")
    if late is not None and falls is not None and late.z > 6.0 and falls.shift < 0:
        effects.pop("blow")
    start, blow = effects.get("start"), effects.get("blow")
    left = effects.get("residual")
    if start is not None and left is not None and min(left.now, left.reference) > options.cut_off_kpa:
        # cut off on its way in both: a little faster or slower, it ends elsewhere
        slack = options.cut_off_share * max(start.reference, 1.0)
        effects["residual"] = replace(left, error=float(np.hypot(left.error, slack)))
        if min(left.now, left.reference) > options.cut_off_high * start.reference:
            effects.pop("blow", None)  # its lower level is passed after the command, if at all
            blow = None
    if start is None:  # it lies beyond the range: how soon, and to what, the blow-off has fallen from there is unknown
        for name in ("blow_start", "residual", "over"):
            effects.pop(name, None)
        return
    if abs(start.shift) < 0.5:
        return
    speed = max(start.reference, 1.0) / max(float(np.exp(blow.reference)), 1e-3) if blow is not None else 500.0
    for name, slack in (
        ("blow", options.blow_per_start * abs(start.shift) / max(start.reference, 1.0)),
        ("blow_start", 1.5 * abs(start.shift) / speed),
        (
            "residual",
            0.05 * abs(start.shift) + 0.3 * abs(effects["residual"].reference) if "residual" in effects else 0.0,
        ),
        ("over", 0.05 * abs(start.shift)),
    ):
        if name in effects:
            effects[name] = replace(effects[name], error=float(np.hypot(effects[name].error, slack)))


def _allow_for_cut(effects: dict[str, Effect], options: JudgeOptions) -> None:
    """Where the supply is cut at another vacuum than in the reference, leave out what depends on where it is cut.

    The suction curve bends, so that a fit of its lower part ends elsewhere than one of more of it; the gas still moves
    as fast as the evacuation did at the cut, which is what passes supply_off and falls back after it. The contact, and
    with it the level of the open cup, is found by carrying the same fit back.
    """
    cut = effects.pop("cut", None)
    if cut is None or abs(cut.shift) < options.other_cut_kpa or abs(cut.z) < 4.0:
        return
    for name in ("ultimate_fit", "ultimate_any", "overshoot", "run_on", "fast_fall", "dip"):
        effects.pop(name, None)
    level = effects.get("open")
    if level is not None:
        effects["open"] = replace(level, error=float(np.hypot(level.error, options.open_per_cut * abs(cut.shift))))


def _allow_for_run_on(effects: dict[str, Effect], options: JudgeOptions) -> None:
    """What vacuum rises on after the cut is told by time, which a slower evacuation leaves alone, where it is more.

    A lag of the reading goes on over the cut for as long as it delays everything else.
    """
    run_on = effects.get("run_on")
    if run_on is None:
        return
    if run_on.z < options.onset_least_z:
        effects.pop("run_on")
    else:
        effects.pop("overshoot", None)


def _allow_for_overlap(effects: dict[str, Effect], options: JudgeOptions) -> None:
    """Where the release now begins while the supply still draws, it begins later and takes longer: no valve is weak.

    Where the supply draws to the end of the command, what is left then and the over-pressure are of both valves.
    """
    overlap = effects.pop("overlap", None)
    if overlap is None or abs(overlap.shift) < options.overlap_s:
        return
    command = effects.get("command")
    if command is None or float(np.exp(command.now)) - overlap.now < options.free_blow_s:
        for name in ("residual", "over"):
            effects.pop(name, None)
    for name, slack in (("blow", options.blow_per_overlap), ("blow_start", abs(overlap.shift))):
        if name in effects:
            effects[name] = replace(effects[name], error=float(np.hypot(effects[name].error, slack)))


_NEARER = 2.5
"""A slower evacuation comes nearer to where it ends, and scatters more for that alone."""


def _scatter(effect: Effect, now: Floats, slower: float, options: JudgeOptions) -> Effect:
    """Scatter of a time from cycle to cycle against its reference, as a logarithm; less scatter is no news.

    now     all cycles after an onset: what comes and goes is no growth, and few cycles tell a scatter badly
    slower  error of the scatter for what all of them take longer

    Healthy stations scatter by so much on another day, and what slows all cycles does so by a little more or less in
    each: a reference that happens to be finer than both is none.
    """
    usual = float(np.hypot(max(effect.jumps, options.usual_scatter), options.scatter_per_shift * effect.shift))
    shift = max(float(np.log(max(_jumps(now), 1e-9) / usual)), 0.0)
    wide = slower * max(effect.shift, 0.0)
    error = float(np.hypot(np.hypot(0.3, wide), 1.2 / np.sqrt(min(len(now), effect.n_reference))))
    return Effect(
        now=shift, reference=0.0, shift=shift, error=error, n_now=len(now), n_reference=effect.n_reference,
        tail_up=0.0, tail_down=0.0, scatter=effect.scatter,
    )  # fmt: skip


def _scatters(
    effects: Mapping[str, Effect], features: Features, now: Bools, options: JudgeOptions
) -> dict[str, Effect]:
    """The scatter of evacuation and blow-off among the cycles `now`."""
    found = {}
    for name, slower in (("rise", _NEARER), ("blow", 0.0)):
        values = features.values[name][now]
        if name in effects:
            found[f"{name}_scatter"] = _scatter(effects[name], values[np.isfinite(values)], slower, options)
    return found


def _long_enough(now: Floats, at_least: Bools, reference: Floats) -> Floats:
    """Without what was cut short before the usual time was over: it says nothing about how long it would have taken."""
    usual = float(np.nanmedian(reference)) if np.isfinite(reference).any() else np.inf
    return np.where(at_least & ~(now > usual), np.nan, now)


def nothing_to_compare(n_cycles: int) -> Comparison:
    """No reference: all cycles are now."""
    every = np.ones(n_cycles, np.bool_)
    return Comparison(effects={}, source="none", onset=None, now=every, reference=~every)


def _surer(between_logs: Effect | None, within: Effect | None) -> Effect | None:
    """The ultimate vacuum against a baseline, or where it stands out more and as far, against the log's own cycles.

    The weather of another day moves it, but does not step from one cycle to the next.
    """
    if between_logs is None or within is None or abs(within.z) <= abs(between_logs.z):
        return between_logs
    if within.shift * between_logs.shift <= 0 or abs(between_logs.shift) < 0.7 * abs(within.shift):
        return between_logs  # it has come back to what the baseline shows
    return replace(between_logs, shift=within.shift, error=within.error)


def _one_ultimate(effects: dict[str, Effect], options: JudgeOptions) -> None:
    """The ultimate vacuum as both sides reached it, else as both were extrapolated, else one against the other.

    The suction curve bends, so that an extrapolation may be off by a share of how far it reaches past the peak. One
    that ended short of what is reached now is no news.
    """
    measured, fitted, either = (effects.get(name) for name in ("ultimate", "ultimate_fit", "ultimate_any"))
    past = effects.get("extrapolated")
    if measured is not None:
        return
    if fitted is not None:
        effects["ultimate"] = fitted
    elif either is not None and past is not None:
        doubt = options.bent_share * float(np.hypot(past.now, past.reference))
        shift = min(either.shift, 0.0) if past.now <= past.reference else either.shift
        effects["ultimate"] = replace(either, shift=shift, error=float(np.hypot(either.error, doubt)))


def compare(features: Features, baseline: Features | None, options: JudgeOptions) -> Comparison:
    """Effects of a log against its baseline, else against its own cycles before an onset, else none."""
    n = len(features.held)
    onset = find_onset(features, options)
    cycle = np.arange(n)
    after = cycle >= (onset or 0)
    last = max(int(np.ceil(options.last_share * after.sum())), min(12, int(after.sum())))
    late = after & (np.cumsum(after[::-1])[::-1] <= last)
    if baseline is None and onset is None:
        return nothing_to_compare(n)
    effects = {}
    for name, values in features.values.items():
        now = values[late & features.held]
        if baseline is not None:
            others = baseline.values[name].copy()
            others[0:1] = np.nan  # the first cycle after a standstill differs
            reference = others[baseline.held]
            floor = max(features.floor[name], baseline.floor[name])
        else:
            reference = values[~after & features.held]
            floor = features.floor[name]
        if name == "blow":
            now = _long_enough(now, features.at_least[late & features.held], reference)
        effect = compare_feature(name, now, reference, floor, baseline is None, options)
        if name == "ultimate" and baseline is not None and onset is not None:
            before = values[~after & features.held]
            effect = _surer(effect, compare_feature(name, now, before, features.floor[name], True, options))
        if effect is not None and name in _IN_BURSTS:
            effect = _of_upper_part(effect, values[after & features.held], reference, options)
        if effect is not None:
            effects[name] = effect
    if baseline is None and all(abs(effect.z) < options.onset_least_z for effect in effects.values()):
        # a step that no median confirms: earlier cycles are then only more of the same
        return nothing_to_compare(n)
    decay = effects.get("decay")
    if decay is not None and baseline is not None:
        shared = options.leak_doubt * float(np.hypot(features.decay_doubt, baseline.decay_doubt))
        effects["decay"] = replace(decay, error=float(np.hypot(decay.error, shared)))
    effects |= _scatters(effects, features, after & features.held, options)
    command, dip = effects.get("command"), effects.get("dip")
    if command is not None:  # a release that is given longer is no fault
        effects["command"] = replace(command, shift=min(command.shift, 0.0))
    if dip is not None:  # a hold that dips less is none
        effects["dip"] = replace(dip, shift=max(dip.shift, 0.0))
    _allow_for_run_on(effects, options)
    _allow_for_cut(effects, options)
    _allow_for_overlap(effects, options)
    _one_ultimate(effects, options)
    _allow_for_start(effects, options)
    source = "baseline" if baseline is not None else "earlier cycles"
    return Comparison(effects=effects, source=source, onset=onset, now=late, reference=~after)
