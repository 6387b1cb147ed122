"""One line for or against a cause, from the measure or sign that weighs most."""

import math
from collections.abc import Mapping

import numpy as np

from tracekit.judge.effects import Effect
from tracekit.judge.effects_of import LOGARITHMIC
from tracekit.judge.evidence import Sign, log_fit
from tracekit.judge.fingerprints import FINGERPRINTS, SAME, SIGN_BACKGROUND, SIGNS

_WORDS: Mapping[str, str] = {
    "decay": "the leak with the supply off",
    "balance": "the slowing of the evacuation by the leak",
    "rise": "the evacuation between two levels",
    "open": "the open-cup vacuum",
    "response": "the answer to the supply command",
    "ultimate": "the ultimate vacuum",
    "blow": "the blow-off time",
    "blow_start": "the start of the blow-off",
    "residual": "the vacuum left after the release",
    "over": "the over-pressure of the release",
    "idle": "the idle reading",
    "early": "the vacuum made before the supply command",
    "starved": "the weakening of the open cup by what slows the evacuation",
    "noise": "the noise",
    "noise_off": "the noise with the valves off",
    "fast_fall": "the fall just after the cut",
    "dip": "the deepest dip of the hold",
    "command": "the length of the release command",
}
_SIGN_WORDS: Mapping[str, str] = {
    "rate_groups": "groups of cycles that leak differently",
    "late_response": "late answers to the supply command",
    "scattered_evacuation": "scattered evacuations",
    "tight_scatter": "slow evacuations without a leak",
    "spared_cycles": "cycles that leak as little as before",
    "far_slow": "evacuations far slower than usual here and there",
    "weak_open": "a weaker open cup before slow evacuations",
    "sudden_losses": "sudden losses of the part",
    "gradual_losses": "slow losses of the part",
    "empty_picks": "picks at open-cup vacuum",
    "deep_dips": "dips in the hold",
    "travel_dips": "dips at the same times of every hold",
    "own_dips": "dips in the hold at times of their own",
    "pulsation": "a ripple while the supply is on",
    "tight_on_plate": "tightness on the plate",
    "leaks_on_plate": "a leak on the plate",
    "leaky": "a leak larger than sound stations have",
}


_TELLING: Mapping[str, tuple[str, ...]] = {
    "leak_steady": ("decay",), "leak_part_dependent": ("rate_groups",),
    "flow_restricted": ("over", "open", "rise"), "exhaust_restricted": ("rise",),
    "supply_pressure_low": ("rise", "blow"), "supply_valve_slow": ("response", "late_response"),
    "sensor_zero_shift": ("idle",),
}  # fmt: skip
"""By what a practitioner knows a cause: told first where it speaks for it, the headline tells the same."""
_TELLING_GAIN = 1.0
_ABOVE_ZERO = ("over", "residual", "open", "ultimate")
"""Effects that are counted from the idle reading, which a picture of the trace is not."""
_FROM_NOTHING = ("residual", "idle")
"""Effects that count from nothing where there is no baseline: their change is their value."""


def _figure(value: float, sign: str = "-") -> str:
    """Two digits of a value, or all that it has before the point; never an exponent."""
    decimals = 1 - math.floor(math.log10(abs(value))) if value else 0
    return f"{value:{sign}.{max(decimals, 0)}f}"


def _change_words(name: str, effect: Effect, source: str) -> str:
    word = _WORDS[name]
    if source == "none" and abs(effect.z) < 2.0:
        return f"{word} is not unusual"
    if abs(effect.z) < 2.0:
        return f"{word} is {'unchanged' if abs(effect.z) < 1.0 else 'not clearly changed'}"
    when = "" if source == "baseline" else f"in the last {effect.n_now} cycles "
    against = " against the baseline" if source == "baseline" else ""
    percent = 100.0 * (np.exp(effect.shift) - 1.0) if name in LOGARITHMIC else 0.0
    if source == "none" and name == "blow":
        return f"{word} is {percent:.0f} % longer than usual beside the evacuation"
    if source == "none" and name == "ultimate":
        return f"{word} is {_figure(-effect.shift)} kPa less than at most stations"
    if name in LOGARITHMIC:
        return f"{when}{word} changed by {percent:+.0f} %{against}"
    if name == "balance":
        return f"the evacuation slowed by {100.0 * effect.shift:.0f} % of what the leak rose"
    unit = {"response": "ms", "blow_start": "ms", "decay": "kPa/s"}.get(name, "kPa")
    value = effect.shift * 1e3 if unit == "ms" else effect.shift
    if source == "none" and name in _FROM_NOTHING:
        return f"{word} is {_figure(value)} {unit}"
    return f"{when}{word} changed by {_figure(value, '+')} {unit}{against}"


def _counted_from(name: str, effects: Mapping[str, Effect]) -> str:
    """What a measure is counted from, where the zero has moved and the trace with it."""
    idle = effects.get("idle")
    moved = idle is not None and abs(idle.z) >= 2.0
    return ", counted from the idle reading" if moved and name in _ABOVE_ZERO else ""


def reason_for(code: str, effects: Mapping[str, Effect], signs: tuple[Sign, ...], source: str, present: float) -> str:
    """The strongest point for a cause that is likely, against one that is not; says so where nothing speaks."""
    if code == "none of these":
        return "no known cause explains it better" if effects else "nothing in this log points to a fault"
    points: list[tuple[float, str]] = []
    named: dict[str, tuple[float, str]] = {}
    nothing = FINGERPRINTS["none"]
    for name, change in FINGERPRINTS.get(code, {}).items():
        effect = effects.get(name)
        if effect is not None and name in _WORDS:
            gain = log_fit(change, effect, -18.0) - log_fit(nothing.get(name, SAME), effect, -18.0)
            words = _change_words(name, effect, source) + _counted_from(name, effects)
            points.append((gain, words))
            named[name] = (gain, words)
    for sign in signs:
        chance = SIGNS[sign.name].get(code)
        if chance is not None:
            background = SIGN_BACKGROUND[sign.name]
            gain = np.log(sign.present * chance + (1 - sign.present) * (1 - chance)) - np.log(
                sign.present * background + (1 - sign.present) * (1 - background)
            )
            words = _SIGN_WORDS[sign.name]
            seen = f"{words} seen" if sign.present > 0.5 else f"no {words.removeprefix('a ')}"
            points.append((float(gain), seen))
            named[sign.name] = (float(gain), seen)
    if not points:
        return "not in this log" if source != "none" else "needs a baseline to be seen"
    telling = [named[name] for name in _TELLING.get(code, ()) if name in named and named[name][0] > _TELLING_GAIN]
    best = (telling or [max(points)])[0] if present >= 0.3 else min(points)
    if present < 0.3 and best[0] > -0.7:
        gain, words = max(points)
        if gain > 1.0:
            return f"not excluded: it would show so too ({words})"
        return (
            "not excluded, but nothing speaks for it"
            if source != "none"
            else "not excluded: needs a baseline to be seen"
        )
    return best[1]
