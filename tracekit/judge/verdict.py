"""From evidence to the ranked findings of one station."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.judge.approach import met_early
from tracekit.judge.case import Case, Seen
from tracekit.judge.course import dip_sign, travel_sign
from tracekit.judge.cut_before import cut_before_facts
from tracekit.judge.detect import detectable
from tracekit.judge.effects import Comparison, compare, nothing_to_compare
from tracekit.judge.effects_of import effects_of
from tracekit.judge.evidence import Circumstances, Sign
from tracekit.judge.facts import Fact
from tracekit.judge.falls import fall_sign
from tracekit.judge.features import Bands, Features, choose_bands, make_features, response_from_open_cup
from tracekit.judge.findings import cause_chance, fact_finding
from tracekit.judge.late import late_sign, rested_picks, where_all_are_late
from tracekit.judge.leaky import leaky_sign, mixed_products
from tracekit.judge.listing import ranked
from tracekit.judge.misses import empty_picks, slow_misses
from tracekit.judge.moved import moved_sign, without_moved
from tracekit.judge.rank import Posterior, posterior
from tracekit.judge.reasons import reason_for
from tracekit.judge.rebound import rebound_sign
from tracekit.judge.ripple import pulsation_sign
from tracekit.judge.sensor_rules import hidden_by_range, recording_facts, sensor_facts, with_usual_noise
from tracekit.judge.setting_rules import setting_facts, without_reference
from tracekit.judge.signs import (
    far_slow_sign,
    group_sign,
    loss_signs,
    plate_signs,
    scatter_sign,
    spared_sign,
)
from tracekit.judge.slow import tight_scatter_sign, weak_open_sign
from tracekit.judge.symptoms import symptom_facts
from tracekit.model.cycle import StationData
from tracekit.model.finding import CauseChance, Detectable, Finding
from tracekit.options.judge import JudgeOptions

Bools = NDArray[np.bool_]
_COARSE_ANSWER_S = 0.012
"""How far an answer found on the way to an open cup and one found after the contact differ on a healthy station."""
_OF_CUTS = ("supply_off_unreachable", "set_point_too_high")
"""Settings that are judged by where the supply is cut, or by how deep it draws if it is not."""
_OF_SOME_CYCLES = (
    ("scattered_evacuation", "supply_pressure_dips"),
    ("rate_groups", "leak_part_dependent"),
    ("rate_groups", "check_valve_leak"),
)
"""Signs of single cycles, and what may show in those alone."""
_PUNCTUAL = 0.35
"""Answers that scatter by less than this share of what contacts scatter do not wait for them (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """The outcome: ranked findings, chances of the causes, and what this log could have shown."""

    findings: tuple[Finding, ...]
    causes: tuple[CauseChance, ...]
    detectable: tuple[Detectable, ...]
    comparison: Comparison


def _features(case: Case) -> tuple[Features, Features | None, Bands]:
    both = (case.data,) if case.baseline is None else (case.data, case.baseline)
    bands = choose_bands(both)
    own = make_features(case.data, case.leak, bands)
    if case.baseline is None or case.baseline_leak is None or len(case.baseline.cycles) < 4:
        return own, None, bands
    healthy = make_features(case.baseline, case.baseline_leak, bands)
    if response_from_open_cup(case.data) != response_from_open_cup(case.baseline):
        own, healthy = _alike_in_response(own, case.data, healthy, case.baseline)
    return own, healthy, bands


def _alike_in_response(
    own: Features, data: StationData, healthy: Features, baseline: StationData
) -> tuple[Features, Features]:
    """Make the response of two logs comparable, of which only one shows an open cup on the way.

    Without an open cup the onset is that of the rise after the contact: it is held against the contact of the other.
    Answers of which some come well before that contact, or that all come at one time while contacts scatter, did not
    wait for it: they are such as the other log shows.
    """
    sides = [(own, data), (healthy, baseline)]
    coarse = [replace(one, floor={**one.floor, "response": _COARSE_ANSWER_S}) for one, _ in sides]
    shown = next(k for k, (_, of) in enumerate(sides) if response_from_open_cup(of))
    contact = sides[shown][1].cycles.floats("contact_s") - sides[shown][1].timing["try_s"]
    answer = sides[1 - shown][0].values["response"]
    wide = _at(0.9, contact) - _at(0.1, contact)
    alike = wide > _COARSE_ANSWER_S and _at(0.9, answer) - _at(0.1, answer) < _PUNCTUAL * wide
    if _at(0.1, answer) > _at(0.5, contact) - 3.0 * _COARSE_ANSWER_S and not alike:
        coarse[shown] = replace(coarse[shown], values={**coarse[shown].values, "response": contact})
    return coarse[0], coarse[1]


def _at(share: float, values: NDArray[np.float64]) -> float:
    return float(np.nanquantile(values, share)) if np.isfinite(values).any() else float("nan")


def _seen(case: Case, options: JudgeOptions, *, own_past: bool = True) -> Seen:
    """What the log shows against its reference; its own earlier cycles are one unless it has no `own_past`."""
    volume_ml = case.station.station.volume_ml
    features, reference, bands = _features(case)
    features, group, grouped, moved = _grouped(case.data, features, options)
    comparison = compare(features, reference, options)
    if comparison.source == "earlier cycles" and not own_past:
        comparison = nothing_to_compare(len(features.held))
    alone = comparison.source == "none"
    if alone and mixed_products(features, grouped, volume_ml, options):
        group = replace(group, present=min(group.present, 0.3))
    effects = effects_of(case.data, features, comparison, reference, grouped, group.present > 0.5, bands, options)
    # without an open cup the answer is that of the part, which a robot back from a pause may meet at another time
    rested = rested_picks(case.data) if response_from_open_cup(case.data) else None
    late, late_cycles = late_sign(features, comparison.effects.get("response"), rested)
    empty = empty_picks(case.data, case.baseline, options)
    wider, blown = (comparison.effects.get(f"{name}_scatter") for name in ("rise", "blow"))
    scatter, scattered = scatter_sign(features, grouped, slow_misses(case.data, empty), wider, reference, blown)
    weak = weak_open_sign(features, scattered & ~grouped)
    if met_early(case.data, features, scattered):  # where the part was met may be all there is to it
        scatter, weak = (replace(sign, present=min(sign.present, 0.5)) for sign in (scatter, weak))
    # without slow evacuations there is nothing to part
    far = far_slow_sign(features, grouped, reference)
    why_slow = (tight_scatter_sign(features, scattered, bands), weak, far) if scatter.present > 0.5 else ()
    dips, dipped = dip_sign(features, comparison, steady=not case.data.air_saving, options=options)
    # a blower is leaky by design: its rate alone says nothing
    compared = comparison.source == "baseline" or case.station.station.source == "blower"
    leaky = leaky_sign(
        case.leak, volume_ml, _band_kpa(case.data), compared, options, _least_rate(case.data),
        effects.get("unevenness") if alone else None,
    )  # fmt: skip
    spared = spared_sign(features, comparison)
    travel = _travel(case, moved, options)
    if travel is not None:  # it tells what the deepest dip of each hold does, and when
        effects.pop("dip", None)
        dips = replace(dips, name="own_dips")
    asked = tuple(sign for sign in (spared, travel) if sign is not None)
    of_log = (leaky, *asked, *plate_signs(case.leak, case.blanked_leak))
    ripple = pulsation_sign(case.data, options)
    pairs = [
        (group, grouped),
        (ripple, np.zeros(len(grouped), np.bool_)),
        (where_all_are_late(late, effects.get("response") if alone else None, options), late_cycles),
        (scatter, scattered),
        *((sign, scattered) for sign in why_slow),
        *(((dips, dipped),) if travel is None or travel.present < 0.5 else ()),
        *loss_signs(case.data, features, empty, options.odd_pick_share),
    ]
    return Seen(
        effects=effects,
        signs=(*(s for s, _ in pairs), *of_log),
        cycles={s.name: flag for s, flag in pairs},
        comparison=comparison,
    )


def _grouped(
    data: StationData, features: Features, options: JudgeOptions
) -> tuple[Features, Sign, NDArray[np.bool_], Sign | None]:
    """Features, the sign and the cycles (n,) of a group that leaks, and the sign that it moves instead of leaking."""
    group, grouped = group_sign(data, features)
    moved = moved_sign(data, features, grouped, options) if group.present > options.listed else None
    if moved is not None:  # what falls for a moment is no group of leaks
        features = without_moved(features, grouped)
        group, grouped = group_sign(data, features)
    return features, group, grouped, moved


def _travel(case: Case, moved: Sign | None, options: JudgeOptions) -> Sign | None:
    """The sign of falls that come with motion, the strongest of three."""
    travel = travel_sign(case.data, case.baseline, options) or fall_sign(case.data, case.baseline, options)
    found = [sign for sign in (travel, moved, rebound_sign(case.data, case.baseline, options)) if sign is not None]
    return max(found, key=lambda sign: sign.present, default=None)


def _least_rate(data: StationData) -> float | None:
    """Median of the lower ends of the cycles' leak intervals [kPa/s], None where most held cycles have none."""
    lower = data.cycles.floats("decay_rate_lower_kpa_s")[data.cycles.where("outcome", "held")]
    rated = np.isfinite(lower)
    return float(np.median(lower[rated])) if rated.sum() >= max(4.0, 0.75 * len(lower)) else None


def _band_kpa(data: StationData) -> float | None:
    """Width of the band of air saving in force, None where there is none."""
    off, on = (data.settings[name].value_kpa for name in ("supply_off", "supply_on"))
    return off - on if data.air_saving and off is not None and on is not None else None


def _circumstances(case: Case, seen: Seen, options: JudgeOptions) -> Circumstances:
    facts = case.station.station
    return Circumstances(
        since_before=seen.comparison.source == "earlier cycles",
        sensor_at_cup=facts.sensor_at == "cup",
        # a pump or a blower has no ejector exhaust
        absent=() if facts.source == "ejector" else ("exhaust_restricted",),
        rated="decay" in seen.effects or not _was_rated(case, seen.comparison),
        seldom=_seldom(seen, options),
    )


def _was_rated(case: Case, comparison: Comparison) -> bool:
    """Whether the reference shows how much the station leaked: the largest leaks leave no coast to rate."""
    if case.baseline_leak is not None:
        return int(np.isfinite(case.baseline_leak.rate).sum()) >= 4
    return int(np.isfinite(case.leak.rate[comparison.reference]).sum()) >= 4


def _seldom(seen: Seen, options: JudgeOptions) -> tuple[str, ...]:
    """Causes that are seen in single cycles, and in too few of those that are compared to move a median."""
    now = seen.comparison.now
    shown = {sign.name for sign in seen.signs if sign.present > 0.5}
    # dirt lets a check valve seat well in most cycles; asked only where the evacuation clears the parts
    balance = seen.effects.get("balance")
    seated = balance is not None and balance.shift + balance.error < options.balance_seat
    return tuple(
        code
        for name, code in _OF_SOME_CYCLES
        if name in shown
        and (seated or code != "check_valve_leak")
        and np.mean(seen.cycles[name]) > options.seldom_least
        and np.mean(seen.cycles[name]) < options.seldom_share
        and np.mean(seen.cycles[name][now]) < options.seldom_now
    )


def judge(case: Case, options: JudgeOptions) -> Judgement:
    """Judge one station."""
    recording = recording_facts(case.data, case.layout, case.facts)
    if not len(case.data.cycles):
        return _without_cycles(case, recording)
    case = replace(case, data=with_usual_noise(case.data, case.baseline))
    cycles = case.data.cycles
    requested = _unread_teeth(case.data, recording)
    seen = _without_teeth(_seen(case, options), requested)
    after_onset, has_reference = _now(case, seen), seen.comparison.source != "none"
    never_cut, raised = cut_before_facts(case.data, case.baseline)
    symptoms = tuple(
        replace(f, probability=f.probability * (1.0 - requested)) if f.code == "supply_never_cuts" else f
        for f in (*symptom_facts(case.data, options), never_cut)
        if f is not None
    )
    complaint = bool((cycles.where("outcome", "dropped") | cycles.where("outcome", "missed")).any()) or any(
        fact.code == "supply_short_cycling" and (_band_kpa(case.data) or 0.0) >= options.band_kpa for fact in symptoms
    )
    words = tuple(case.station.station.surroundings)
    circumstances = _circumstances(case, seen, options)
    post = posterior(seen.effects, seen.signs, words, complaint, options, circumstances)
    sensors = sensor_facts(case.data, has_reference, options, case.baseline)
    settings = setting_facts(case.data, case.station, after_onset, options) + (() if raised is None else (raised,))
    told = any(fact.probability >= options.listed for fact in (*sensors, *settings))
    if seen.comparison.source == "earlier cycles" and post.none > 0.5 and not told:
        # a change that nothing explains parts nothing: the earlier cycles are as good or as bad as the later
        seen = _without_teeth(_seen(case, options, own_past=False), requested)
        circumstances = _circumstances(case, seen, options)
        post = posterior(seen.effects, seen.signs, words, complaint, options, circumstances)
    post = _stuck_first(post, sensors)
    stuck = max((f.probability for f in sensors if f.code == "sensor_stuck"), default=0.0)
    settings = tuple(
        replace(f, probability=f.probability * (1.0 - 0.9 * stuck) * (1.0 - requested * (f.code in _OF_CUTS)))
        for f in settings
        if not hidden_by_range(f, case.data)
    )
    if not has_reference:
        settings = tuple(without_reference(f, case.data) for f in settings)
    repairs = tuple(_discounted(f, post) for f in (*sensors, *settings))
    chances = _chances(post, repairs)
    findings = ranked(case, seen, post, repairs, symptoms, recording, chances, options)
    found = tuple(code for code, chance in post.present.items() if chance >= options.listed)
    return Judgement(
        findings=findings,
        causes=_causes(case, seen, post, repairs, chances),
        detectable=detectable(seen.effects, seen.signs, words, circumstances, has_reference, options, found),
        comparison=seen.comparison,
    )


def _without_cycles(case: Case, recording: tuple[Fact, ...]) -> Judgement:
    """What is to be said of a log that holds no cycle."""
    findings = tuple(fact_finding(case, f, (), False) for f in recording)
    causes = (CauseChance(code="none of these", chance=1.0, reason="no cycle in this log"),)
    return Judgement(findings=findings, causes=causes, detectable=(), comparison=nothing_to_compare(0))


def _unread_teeth(data: StationData, recording: tuple[Fact, ...]) -> float:
    """Probability that the device saves air by itself, behind a request, in cuts that were not found.

    Then nothing is known of where the supply is cut, nor how deep it would go on.
    """
    if data.from_request or bool(data.cycles.where("outcome", "missed").any()):
        return 0.0
    return max((f.probability for f in recording if f.code == "supply_is_request"), default=0.0)


def _without_teeth(seen: Seen, requested: float) -> Seen:
    return replace(seen, signs=tuple(_less_teeth(sign, requested) for sign in seen.signs))


def _less_teeth(sign: Sign, requested: float) -> Sign:
    """Falls at the same times of every hold are the device's own cuts, where those were not found."""
    if sign.name != "travel_dips" or requested < 0.5:
        return sign
    return replace(sign, present=min(sign.present, 0.001))


def _now(case: Case, seen: Seen) -> Bools:
    """Cycles in which a setting is judged: those after an onset, else all."""
    onset = seen.comparison.onset
    return np.asarray(np.arange(len(case.data.cycles)) >= (onset or 0), np.bool_)


def _stuck_first(post: Posterior, sensors: tuple[Fact, ...]) -> Posterior:
    """A reading that does not move says nothing about the station."""
    stuck = max((f.probability for f in sensors if f.code == "sensor_stuck"), default=0.0)
    if stuck < 0.5:
        return post
    keep = 1.0 - stuck
    return replace(
        post,
        none=post.none * keep,
        present={k: v * keep for k, v in post.present.items()},
        single={k: v * keep for k, v in post.single.items()},
    )


def _discounted(fact: Fact, post: Posterior) -> Fact:
    """A condition that a probable cause brings about is less probably a wrong setting: repair the cause first."""
    blame = min(sum(post.present.get(code, 0.0) for code in fact.explained_by), 1.0)
    kept = 1.0 - 0.75 * blame
    return replace(fact, probability=kept * fact.probability, instead=kept * fact.instead)


def _chances(post: Posterior, repairs: tuple[Fact, ...]) -> dict[str, float]:
    """Chance of each to be the first to repair, "none of these" included; sums to one."""
    weights = dict(post.present)
    clear = post.none
    for fact in repairs:
        weights[fact.code] = max(weights.get(fact.code, 0.0), fact.probability)
        clear *= 1.0 - fact.probability
    total = sum(weights.values()) + clear
    return {**{k: v / total for k, v in weights.items()}, "none of these": clear / total}


def _causes(
    case: Case, seen: Seen, post: Posterior, repairs: tuple[Fact, ...], chances: Mapping[str, float]
) -> tuple[CauseChance, ...]:
    """Every cause with its chance and one line for or against it, most likely first."""
    reasons = {f.code: f.reason for f in repairs}
    out = []
    for code, chance in sorted(chances.items(), key=lambda item: -item[1]):
        reason = reasons.get(code) or _reason(seen, code, post)
        out.append(cause_chance(case, code, chance, reason))
    return tuple(out)


def _reason(seen: Seen, code: str, post: Posterior) -> str:
    return reason_for(code, seen.effects, seen.signs, seen.comparison.source, post.present.get(code, 0.0))
