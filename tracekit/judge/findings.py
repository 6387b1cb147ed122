"""Findings with severity, evidence, title and next steps."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.case import Case, Seen
from tracekit.judge.effects import Effect
from tracekit.judge.effects_of import LOGARITHMIC, measure_name
from tracekit.judge.evidence import log_fit
from tracekit.judge.facts import Fact, rows
from tracekit.judge.fingerprints import FINGERPRINTS, SAME, SIGNS
from tracekit.judge.handbook import title
from tracekit.judge.steps import next_steps, own_steps
from tracekit.model.estimate import Bound, Estimate
from tracekit.model.finding import CODES, CauseChance, Evidence, Finding, NextStep, Severity

_WEAR: Severity = "minor"
_FEWEST_EARLIER = 5  # rates before a fault that are a goal for its repair


def drop_severity(case: Case, explains: tuple[str, ...]) -> Severity:
    """Severity by what happened to the parts: critical over 1 % or three drops, major for any drop or miss."""
    cycles = case.data.cycles
    n = max(len(cycles), 1)
    drops = int(cycles.where("outcome", "dropped").sum())
    misses = int(cycles.where("outcome", "missed").sum())
    if "part_dropped" in explains and (drops >= 3 or drops > 0.01 * n):
        return "critical"
    if ("part_dropped" in explains and drops) or ("part_missed" in explains and misses):
        return "major"
    return _WEAR


def _limit_severity(case: Case, code: str) -> Severity:
    """Severity of a limit of the station file that the measure behind a cause reaches."""
    order: tuple[Severity, ...] = ("info", "minor", "major", "critical")
    worst: Severity = "minor"
    for name, limit in case.station.limits.items():
        if not name.startswith("decay_rate") or code not in ("leak_steady", "check_valve_leak", "release_valve_leak"):
            continue
        rate = case.leak.decay_rate
        if isinstance(rate, Estimate) and limit.max is not None and rate.value > limit.max:
            given: Severity = next((s for s in order if s == limit.severity), "major")
            worst = order[max(order.index(worst), order.index(given))]
    return worst


def _steps(
    case: Case, code: str, others: tuple[str, ...], now: NDArray[np.bool_] | None = None
) -> tuple[NextStep, ...]:
    facts = case.station.station
    return next_steps(
        code, others, air_saving=case.data.air_saving, has_baseline=case.baseline is not None,
        sensor_at=facts.sensor_at, source=facts.source, measures=_measures(case, now),
    )  # fmt: skip


def cause_chance(case: Case, code: str, chance: float, reason: str) -> CauseChance:
    """A cause with its chance, and with its test and repair where there is something to repair."""
    if CODES.get(code) not in ("cause", "setting", "sensor"):
        return CauseChance(code=code, chance=chance, reason=reason)
    facts = case.station.station
    test, repair = own_steps(
        code, air_saving=case.data.air_saving, has_baseline=case.baseline is not None, sensor_at=facts.sensor_at,
        source=facts.source,
    )  # fmt: skip
    return CauseChance(code=code, chance=chance, reason=reason, test=test, repair=repair)


def _measures(case: Case, now: NDArray[np.bool_] | None) -> dict[str, float]:
    """Medians by column for the wording of steps, those of the baseline with a prefix; of the cycles `now` if given."""
    out: dict[str, float] = {}
    for prefix, data, leak in (("", case.data, case.leak), ("baseline_", case.baseline, case.baseline_leak)):
        if data is None:
            continue
        chosen = np.ones(len(data.cycles), np.bool_) if now is None or prefix else now
        for column in data.cycles.columns:
            if (column.kind == "float" and not column.name.endswith("_s")) or column.name in (
                "response_delay_s", "evacuation_time_s", "release_time_s", "pump_time_constant_s",
            ):  # fmt: skip
                values = data.cycles.floats(column.name)[chosen]
                if np.isfinite(values).any():
                    out[prefix + column.name] = float(np.nanmedian(values))
        whole = None if leak is None else leak.decay_rate
        if leak is not None and isinstance(whole, Estimate):
            rates = leak.rate[chosen]
            partly = not chosen.all() and np.isfinite(rates).any()
            out[prefix + "decay_rate_kpa_s"] = float(np.nanmedian(rates)) if partly else whole.value
        elif prefix and isinstance(whole, Bound) and whole.status == "upper_bound":
            out[prefix + "decay_rate_kpa_s"] = whole.limit  # it leaked no more than this: a repair need not do better
    if case.baseline is None and now is not None and np.isfinite(case.leak.rate[~now]).sum() >= _FEWEST_EARLIER:
        # before the fault the station let in so much: a repair has to come back to it
        out["baseline_decay_rate_kpa_s"] = float(np.nanmedian(case.leak.rate[~now]))
    for name, setting in case.data.settings.items():
        if setting.value_kpa is not None:
            out[f"{name}_kpa"] = setting.value_kpa
    if case.station.station.volume_ml is not None:
        out["volume_ml"] = case.station.station.volume_ml
    out["guard_kpa"] = case.station.settings.guard_kpa
    return out


def _shown(name: str, effect: Effect, source: str, cycles: int) -> Evidence:
    measure, unit = measure_name(name)
    now, reference = effect.now, effect.reference
    half = 1.96 * effect.error
    lower, upper = now - half, now + half
    if name in LOGARITHMIC:
        now, reference, lower, upper = (float(np.exp(v)) for v in (now, reference, lower, upper))
    return Evidence(
        measure=measure, value=now, unit=unit, reference=reference, reference_source=source, lower=lower, upper=upper,
        cycles=cycles,
    )  # fmt: skip


def _effect_evidence(seen: Seen, code: str) -> tuple[Evidence, ...]:
    """The measures that speak most for a cause, the strongest first."""
    nothing = FINGERPRINTS["none"]
    points = []
    for name, change in FINGERPRINTS.get(code, {}).items():
        effect = seen.effects.get(name)
        if effect is None or change == SAME:
            continue
        gain = log_fit(change, effect, -18.0) - log_fit(nothing.get(name, SAME), effect, -18.0)
        if gain > 0.5:
            points.append((gain, _shown(name, effect, seen.comparison.source, effect.n_now)))
    return tuple(e for _, e in sorted(points, key=lambda p: -p[0])[:4])


def _sign_evidence(seen: Seen, code: str) -> tuple[tuple[Evidence, ...], NDArray[np.bool_]]:
    flag = np.zeros(0, np.bool_)
    out = []
    for sign in seen.signs:
        if SIGNS[sign.name].get(code, 0.0) >= 0.3 and sign.present > 0.5 and sign.name in seen.cycles:
            cycles = seen.cycles[sign.name]
            flag = cycles if not len(flag) else flag | cycles
            out.append(
                Evidence(
                    measure=sign.name,
                    value=float(cycles.sum()),
                    unit="cycles",
                    cycles=int(cycles.sum()),
                    text=sign.text,
                )
            )
        elif SIGNS[sign.name].get(code, 0.0) >= 0.3 and sign.present > 0.5 and sign.text:
            out.append(Evidence(measure=sign.name, value=sign.present, unit="", text=sign.text))
    return tuple(out), flag


def stated(own: float, unmodelled: float) -> float:
    """Confidence of a posterior, less what certainty the table cannot give: some stations are none that it describes.

    Nothing is taken off at one half, all of `unmodelled` at certainty: what is listed stays listed.
    """
    return own - unmodelled * max(2.0 * own - 1.0, 0.0)


def cause_finding(
    case: Case,
    seen: Seen,
    code: str,
    own: float,
    others: tuple[str, ...],
    explains: tuple[str, ...],
    listed: bool,
    unmodelled: float,
) -> Finding:
    """A cause (or sensor fault) that the ranking names."""
    signs, flag = _sign_evidence(seen, code)
    touched = flag if flag.any() else np.arange(len(case.data.cycles)) >= (seen.comparison.onset or 0)
    order: Mapping[Severity, int] = {"info": 0, "minor": 1, "major": 2, "critical": 3}
    severity = max(drop_severity(case, explains), _limit_severity(case, code), key=lambda s: order[s])
    return Finding(
        code=code,
        kind=CODES[code],
        severity=severity if listed else "info",
        confidence=stated(own, unmodelled),
        share=float(touched.mean()) if len(touched) else 0.0,
        title=title(code, case.station.station.source),
        onset_cycle=seen.comparison.onset,
        evidence=(*_effect_evidence(seen, code), *signs),
        alternatives=others,
        explains=explains,
        next_steps=_steps(case, code, others, seen.comparison.now),
        cycles=rows(touched),
    )


def fact_finding(case: Case, fact: Fact, explains: tuple[str, ...], listed: bool) -> Finding:
    """A finding from a rule: setting, sensor, symptom or recording."""
    kind = CODES[fact.code]
    n = max(len(case.data.cycles), 1)
    return Finding(
        code=fact.code,
        kind=kind,
        severity=_fact_severity(case, fact, explains, listed),
        confidence=min(fact.probability, 0.99),
        share=len(fact.cycles) / n,
        title=title(fact.code, case.station.station.source),
        evidence=fact.evidence,
        alternatives=fact.alternatives,
        explains=explains,
        next_steps=_steps(case, fact.code, fact.alternatives),
        cycles=fact.cycles,
    )


def _fact_severity(case: Case, fact: Fact, explains: tuple[str, ...], listed: bool) -> Severity:
    kind = CODES[fact.code]
    if kind == "recording" or not listed:
        return "info"
    if fact.code == "part_dropped":
        return drop_severity(case, ("part_dropped",))
    if fact.code in ("part_missed", "switch_chatter"):
        return "major"
    if kind == "symptom":
        return "minor"
    if fact.critical:
        return "critical"
    found = drop_severity(case, explains)
    return (
        "major"
        if found == "minor"
        and fact.code in ("sensor_stuck", "set_point_too_low", "hysteresis_too_small", "set_point_too_high")
        else found
    )
