"""The smallest change per cause that this log would have shown, by injecting changes into its own evidence."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from tracekit.judge.effects import Effect
from tracekit.judge.effects_of import LOGARITHMIC, measure_name
from tracekit.judge.evidence import Circumstances, Sign
from tracekit.judge.fingerprints import PARTING, fingerprint_of
from tracekit.judge.rank import posterior
from tracekit.model.finding import Detectable
from tracekit.options.judge import JudgeOptions

_MAIN: Mapping[str, tuple[str, ...]] = {
    "leak_steady": ("decay", "ultimate"),
    "check_valve_leak": ("decay",),
    "flow_restricted": ("over", "open"),
    "exhaust_restricted": ("rise",),
    "supply_pressure_low": ("rise", "blow"),
    "supply_valve_slow": ("response",),
    "release_weak": ("blow",),
    "sensor_zero_shift": ("idle",),
    "sensor_noisy": ("noise",),
    "supply_valve_passing": ("idle",),
}
_NINE_IN_TEN = 1.645
"""Errors below the true change that nine in ten measured changes surpass, with a margin.

Without one, at 1.28, 14 of 19 simulated leaks of the printed size were listed; with it 28 of 30, and 1 of 30 thirds.
"""

_MOVED_Z = 6.0
"""Standard errors from which on a measure has moved so far that a second cause of it is lost in the first."""


def _quiet(effects: Mapping[str, Effect]) -> dict[str, Effect]:
    """The same measures with no change: what the log would be if nothing were wrong."""
    return {k: replace(e, shift=0.0) for k, e in effects.items() if k != "balance"}


def _with_change(
    quiet: Mapping[str, Effect], code: str, size: float, circumstances: Circumstances
) -> dict[str, Effect]:
    """The change injected into the main measures of a cause, each moved in its own direction by as many errors."""
    out = dict(quiet)
    for name in _MAIN[code]:
        change = fingerprint_of(code, circumstances.sensor_at_cup).get(name)
        if name in out and change is not None:
            sign = 1.0 if change.most > 0 else -1.0
            # with a probability of 0.9 the measured change is at least the true one less so many errors
            out[name] = replace(out[name], shift=sign * (size - _NINE_IN_TEN) * out[name].error)
    if code in ("leak_steady", "check_valve_leak") and "decay" in out and "top" in quiet:
        share = 0.7 if code == "leak_steady" else 0.0
        wide = quiet["top"].error / max(out["decay"].shift, 1e-9)
        if out["decay"].shift > 4.0 * out["decay"].error:
            out["balance"] = replace(out["decay"], now=share, reference=0.0, shift=share, error=max(wide, 0.08))
    return out


def detectable(
    effects: Mapping[str, Effect],
    signs: tuple[Sign, ...],
    words: tuple[str, ...],
    circumstances: Circumstances,
    has_reference: bool,
    options: JudgeOptions,
    found: tuple[str, ...] = (),
) -> tuple[Detectable, ...]:
    """Per cause the smallest change of its main measure that would have been listed with a probability of 0.9.

    A cause whose main measure one of the causes that were `found` moves the same way may stand beside it unseen.
    """
    if not has_reference:
        why = "needs a baseline, or a change inside the log, to be seen"
        return tuple(_nothing(code, main[0], why) for code, main in _MAIN.items())
    quiet = _quiet(effects)
    calm = tuple(
        replace(s, present=min(s.present, 0.02)) if s.name != "leaky" else s for s in signs if s.name not in PARTING
    )
    hidden = {code: name for code in _MAIN if (name := _hidden_by(code, found, effects, circumstances)) is not None}
    return tuple(
        _nothing(code, hidden[code], "what was found moves it too: one beside it may not be seen")
        if code in hidden
        else _smallest(quiet, calm, words, circumstances, code, options)
        for code in _MAIN
    )


def _hidden_by(
    code: str, found: tuple[str, ...], effects: Mapping[str, Effect], circumstances: Circumstances
) -> str | None:
    """The main measure of a cause that was not found and that one that was found has moved its way, None else."""
    name = next((m for m in _MAIN[code] if m in effects), None)
    if name is None or code in found:
        return None
    effect = effects[name]
    own, *others = (fingerprint_of(c, circumstances.sensor_at_cup).get(name) for c in (code, *found))
    moved = own is not None and abs(effect.z) > _MOVED_Z and own.most * effect.shift > 0
    return name if moved and any(o is not None and o.most * effect.shift > 0 for o in others) else None


def _nothing(code: str, feature: str, why: str) -> Detectable:
    measure, unit = measure_name(feature)
    return Detectable(code=code, measure=measure, smallest=None, unit=unit, why=why)


def _smallest(
    quiet: Mapping[str, Effect],
    calm: tuple[Sign, ...],
    words: tuple[str, ...],
    circumstances: Circumstances,
    code: str,
    options: JudgeOptions,
) -> Detectable:
    """The smallest change for one cause, by trying larger and larger ones on its first measure that the log shows."""
    main = _MAIN[code]
    name = next((m for m in main if m in quiet), None)
    if name is None:
        return _nothing(code, main[0], "the log does not show this measure")
    # no search by halves: a larger change can come to look like another cause
    sizes = (float(s) for s in np.geomspace(2.5, 60.0, 22))
    size = next((s for s in sizes if _listed(quiet, calm, words, circumstances, code, s, options)), None)
    if size is None:
        return _nothing(code, name, "other causes would look the same")
    measure, unit = measure_name(name)
    change = size * quiet[name].error
    if name in LOGARITHMIC:
        change, unit = 100.0 * (float(np.exp(change)) - 1.0), "%"
    why = f"{quiet[name].n_now} cycles now against {quiet[name].n_reference}"
    return Detectable(code=code, measure=measure, smallest=change, unit=unit, why=why)


def _listed(
    quiet: Mapping[str, Effect],
    signs: tuple[Sign, ...],
    words: tuple[str, ...],
    circumstances: Circumstances,
    code: str,
    size: float,
    options: JudgeOptions,
) -> bool:
    post = posterior(_with_change(quiet, code, size, circumstances), signs, words, False, options, circumstances)
    near = [p for c, p in post.present.items() if c != code and p >= post.present[code] / options.rival]
    return post.present[code] >= 0.25 and post.present[code] + sum(near) >= options.listed
