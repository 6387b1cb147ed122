"""Likelihood of measured effects and signs under each cause.

Every measure adds the logarithm of how well a cause's range explains it, against how well "unchanged" does at best.
One measure alone never decides by more than a stated bound, and the sum is tempered because measures are not
independent.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from itertools import combinations

import numpy as np

from tracekit.frozen import dataclass
from tracekit.judge.effects import Effect
from tracekit.judge.fingerprints import (
    AT_CUP,
    FINGERPRINTS,
    LEAKS,
    SAME,
    SIGN_BACKGROUND,
    SIGNS,
    UNRATED,
    Change,
    fingerprint_of,
    seldom_row,
)
from tracekit.options.judge import JudgeOptions

_POINTS = 14
OWN = ("unevenness", "idle_real", "late_alike", "stretch", "starved")
"""Measures of leaks, of what moves the idle reading, or of late answers only: a second cause says nothing of them."""
_SHARE_OF: Mapping[str, str] = {
    "idle_real": "open", "late_alike": "blow_start", "stretch": "rise", "starved": "open",
}  # fmt: skip
"""What four of them are the share of: a second cause that moves it leaves the share anywhere."""
_ANYWHERE = Change(-10.0, 10.0)
"""What a cause that says nothing of such a share lets it be; more says no more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """Something seen or not seen in the cycles, with the probability that it is really there."""

    name: str
    present: float
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What the evidence is read against.

    since_before   the reference is earlier cycles of the same log: a cause may have been there all along and have
                   changed nothing
    sensor_at_cup  the sensor sits at the cup side of the filter
    absent         causes that this station cannot have
    rated          False where the leak's rate was known once and is no more: what a leak slows is not taken off
    seldom         causes of which the signs tell that they touch too few cycles to move a median
    """

    since_before: bool = False
    sensor_at_cup: bool = False
    absent: tuple[str, ...] = ()
    rated: bool = True
    seldom: tuple[str, ...] = ()


USUAL = Circumstances()


@lru_cache(maxsize=4096)
def _grid(change: Change) -> tuple[np.ndarray, np.ndarray]:
    """Points of a range and half the distance between neighbours."""
    if change.least * change.most > 0:
        points = np.sign(change.least) * np.geomspace(abs(change.least), abs(change.most), _POINTS)
    else:
        points = np.linspace(change.least, change.most, _POINTS)
    gap = np.abs(np.gradient(points)) / 2.0
    return (np.concatenate([points, -points]), np.concatenate([gap, gap])) if change.either else (points, gap)


def log_fit(change: Change, effect: Effect, worst: float) -> float:
    """Logarithm of how well a range explains an effect; 0 is the best that "unchanged" can reach."""
    return _log_fit(change, effect.shift, effect.error, worst)


@lru_cache(maxsize=65536)
def _log_fit(change: Change, shift: float, error: float, worst: float) -> float:
    """The same by shift and error; hypotheses share rows and measures, so most are asked for again and again."""
    z = shift / error
    if change == SAME:
        return max(-0.5 * z**2, worst)
    same = float(np.exp(-0.5 * min(z**2, 80.0)))
    other = change.against
    if other is None:
        likelihood = change.chance * _inside(change, shift, error) + (1.0 - change.chance) * same
    else:
        ends = (change.least, change.most, other.least, other.most)
        first, second = change.chance, other.chance
        likelihood = (
            first * (1.0 - second) * _inside(change, shift, error)
            + second * (1.0 - first) * _inside(other, shift, error)
            + first * second * _inside(Change(min(ends), max(ends)), shift, error)
            + (1.0 - first) * (1.0 - second) * same
        )
    return max(float(np.log(max(likelihood, 1e-300))), worst)


def _inside(change: Change, shift: float, error: float) -> float:
    """Mean over a range of how well its points explain a shift, 1 for a point that hits it."""
    points, gap = _grid(change)
    wide = np.hypot(error, gap)
    return float(np.mean(error / wide * np.exp(-0.5 * ((shift - points) / wide) ** 2)))


def _spanning(name: str, first: Mapping[str, Change], second: Mapping[str, Change]) -> Change:
    """Either cause may be the one that the measure tells about; one that moves what it is a share of, frees it."""
    rows = [row[name] for row in (first, second) if name in row]
    part = _SHARE_OF.get(name)
    if len(rows) == 1 and part and any(name not in row and _moves(row, part) for row in (first, second)):
        return _ANYWHERE
    return Change(min(c.least for c in rows), max(c.most for c in rows)) if len(rows) > 1 else rows[0]


def _moves(row: Mapping[str, Change], measure: str) -> bool:
    """Whether a cause moves a measure one way or far."""
    return row.get(measure, SAME) != SAME and not (measure == "rise" and _same_drive(row))


def _same_drive(row: Mapping[str, Change]) -> bool:
    """Whether a cause leaves the generator as it is: an evacuation is the same, or begins sooner or later alike."""
    rise = row.get("rise", SAME)
    return rise.least == -rise.most


def _one_way(change: Change) -> bool:
    """Whether a range holds no change of the other direction, nor none."""
    return change.least * change.most > 0 and not change.either


def combined(first: Mapping[str, Change], second: Mapping[str, Change]) -> dict[str, Change]:
    """The fingerprint of two causes at once; a measure about which either says nothing says nothing."""
    both = {name: _spanning(name, first, second) for name in OWN if name in first or name in second}
    for row, other in ((first, second), (second, first)):
        if "balance" in row and "balance" not in other and _same_drive(other):
            both["balance"] = row["balance"]  # what leaves the evacuation alone leaves its balance alone
    for name, a in first.items():
        b = second.get(name)
        if b is None or name in OWN:
            continue
        if SAME in (a, b):
            both[name] = b if a == SAME else a
        elif a.least * b.least > 0 and _one_way(a) and _one_way(b):
            either = 1.0 - (1.0 - a.chance) * (1.0 - b.chance)
            both[name] = Change(min(a.least, b.least, key=abs), a.most + b.most, either)
        else:
            both[name] = replace(a, against=b)
    return both


def evidence_for(
    fingerprint: Mapping[str, Change], effects: Mapping[str, Effect], options: JudgeOptions
) -> dict[str, float]:
    """Log-likelihood of every measured effect under one fingerprint, by measure."""
    return {
        name: log_fit(change, effects[name], _worst(name, options))
        for name, change in fingerprint.items()
        if name in effects
    }


def _worst(name: str, options: JudgeOptions) -> float:
    """The most that one measure may say against a cause."""
    worst = {
        "balance": options.worst_balance, "starved": options.worst_balance, "command": options.worst_command,
    }  # fmt: skip
    return worst.get(name, options.worst_logp)


def sign_evidence(codes: tuple[str, ...], signs: tuple[Sign, ...]) -> float:
    """Log-likelihood of the signs under one or two causes: a sign appears if either cause brings it."""
    total = 0.0
    for sign in signs:
        missing = 1.0
        for code in codes:
            missing *= 1.0 - SIGNS[sign.name].get(code, SIGN_BACKGROUND[sign.name])
        chance = 1.0 - missing
        total += float(np.log(sign.present * chance + (1.0 - sign.present) * (1.0 - chance)))
    return total


def log_likelihood(
    codes: tuple[str, ...],
    effects: Mapping[str, Effect],
    signs: tuple[Sign, ...],
    options: JudgeOptions,
    circumstances: Circumstances = USUAL,
) -> float:
    """Tempered log-likelihood of all evidence under a set of one or two causes, or ("none",)."""
    if not circumstances.since_before or codes == ("none",):
        return _measured(codes, effects, options, circumstances) + sign_evidence(codes, signs)
    old, new = float(np.log(options.since_before)), float(np.log(1.0 - options.since_before))
    began = [part for n in range(len(codes) + 1) for part in combinations(codes, n)]
    ways = [
        len(part) * new + (len(codes) - len(part)) * old + _measured(part or ("none",), effects, options, circumstances)
        for part in began
    ]
    return float(np.logaddexp.reduce(ways)) + sign_evidence(codes, signs)


def _measured(
    codes: tuple[str, ...], effects: Mapping[str, Effect], options: JudgeOptions, circumstances: Circumstances
) -> float:
    """Tempered log-likelihood of the measured effects under one or two causes."""
    if circumstances.sensor_at_cup or not any(code in AT_CUP for code in codes):
        return _measured_at(codes, effects, options, circumstances)
    # the usual place unless the station file says otherwise, but files are not always complete
    at_cup = options.at_cup
    return float(
        np.logaddexp(
            np.log(1.0 - at_cup) + _measured_at(codes, effects, options, circumstances),
            np.log(at_cup) + _measured_at(codes, effects, options, replace(circumstances, sensor_at_cup=True)),
        )
    )


def _measured_at(
    codes: tuple[str, ...], effects: Mapping[str, Effect], options: JudgeOptions, circumstances: Circumstances
) -> float:
    """The same for one place of the sensor."""
    slowed_most = 0.0 if circumstances.rated else _slowed_most(effects)
    fingerprint = _row(codes, circumstances.sensor_at_cup, circumstances.seldom, slowed_most)
    measured = sum(evidence_for(fingerprint, effects, options).values())
    # a measure about which a cause says nothing is taken as middling evidence, not as a free pass
    silent = sum(_silent(effects[n]) for n in FINGERPRINTS["none"] if n in effects and n not in fingerprint)
    if "unevenness" in effects and "unevenness" not in fingerprint:
        # only leaks have it: it tells leaks apart, not a leak from no leak
        silent += log_fit(FINGERPRINTS["leak_steady"]["unevenness"], effects["unevenness"], options.worst_logp)
    silent += sum(
        _log_fit(_ANYWHERE, effects[n].shift, effects[n].error, options.worst_logp)
        for n in _SHARE_OF
        if n in effects and n not in fingerprint
    )
    return options.temper * (measured + silent)


def _slowed_most(effects: Mapping[str, Effect]) -> float:
    """How much slower a leak can make the evacuation, by how far it lowers where that ends [log].

    What it takes of the suction halfway up is the share of that half by which the end falls: suction that falls with
    vacuum in a straight line; one that bends is more at first, and slowed less.
    """
    most, ends = UNRATED["rise"].most, effects.get("ultimate")
    if ends is None or ends.reference <= 0.0:
        return most
    share = (2.0 * ends.error - min(ends.shift, 0.0)) / (0.5 * ends.reference)
    return round(min(-float(np.log1p(-min(share, 0.9))), most), 2) or 0.01


@lru_cache(maxsize=1024)
def _row(
    codes: tuple[str, ...], sensor_at_cup: bool, seldom: tuple[str, ...] = (), slowed_most: float = 0.0
) -> Mapping[str, Change]:
    """The fingerprint of the causes together; leaks without a rate slow evacuations by at most `slowed_most` [log]."""
    rows = [seldom_row(code) if code in seldom else fingerprint_of(code, sensor_at_cup) for code in codes]
    if slowed_most > 0.0:
        unrated = {**UNRATED, "rise": replace(UNRATED["rise"], most=slowed_most)}
        rows = [{**row, **unrated} if code in LEAKS else row for code, row in zip(codes, rows, strict=True)]
    fingerprint = rows[0]
    for row in rows[1:]:
        fingerprint = combined(fingerprint, row)
    return fingerprint


def _silent(effect: Effect) -> float:
    return max(-0.5 * effect.z**2, -5.0)
