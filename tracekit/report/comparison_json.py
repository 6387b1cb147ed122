"""`comparison.json`, `plan.json` and `volume.json`: plain dictionaries, never a bare null, no NaN."""

import math
from collections.abc import Mapping

from tracekit.errors import UsageError, message
from tracekit.model.comparison import (
    Acceptance,
    Comparison,
    Look,
    MeasureResult,
    Plan,
    PlanCheck,
    RankFigures,
    RateResult,
    Recording,
    VolumeResult,
)
from tracekit.model.estimate import Quantity, Withheld, quantity_json
from tracekit.report.json import plain_object, quantity, utc_text

Json = dict[str, object]

COMPARISON, PLAN, VOLUME = "tracekit.comparison/1", "tracekit.plan/1", "tracekit.volume/1"
_PLAN_KEYS = ("measure", "unit", "better", "change", "margin", "power", "cycles", "sample_interval_s", "rule", "sha256")


def comparison_json(comparison: Comparison) -> Json:
    """The whole of `comparison.json`."""
    document: Json = {
        "schema": COMPARISON,
        "tool": {"name": "tracekit", "version": comparison.version},
        "created": comparison.created,
        "options": _options(comparison.options),
        "before": [_recording(r) for r in comparison.before],
        "after": [_recording(r) for r in comparison.after],
        "claim": comparison.claim,
        "reasons": list(comparison.reasons),
        "primary": comparison.primary,
        "primary_source": comparison.primary_source,
        "rule": comparison.rule,
        "measures": {name: _measure(m) for name, m in comparison.measures.items()},
        "rates": _rates(comparison),
        "obstacles": [{"code": o.code, "text": o.text, "adjusted": o.adjusted} for o in comparison.obstacles],
        "acceptance": [_acceptance(a) for a in comparison.acceptance],
        "matched_by": list(comparison.matched_by),
        "plan": _plan_check(comparison.plan_check) if comparison.plan_check else None,
        "station_files": dict(comparison.station_files),
        "verdict": comparison.verdict,
    }
    return plain_object(document)


def plan_json(plan: Plan) -> Json:
    """The whole of `plan.json`."""
    return {
        "schema": PLAN,
        **{key: getattr(plan, key) for key in _PLAN_KEYS},
        "looks": [{"cycles": look.cycles, "bound": look.bound} for look in plan.looks],
        "basis": plan.basis,
        "parts": [{"part": part, "cycles": cycles} for part, cycles in plan.parts],
        "pilot_log_ids": list(plan.pilot_log_ids),
        "warnings": list(plan.warnings),
        **({"frozen_at": plan.frozen_at} if plan.frozen_at else {}),
    }


def plan_from_json(document: Mapping[str, object], source: str) -> Plan:
    """A plan as `plan --freeze` wrote it.

    Raises UsageError, naming `source`, where it is no plan or a key lacks.
    """
    if document.get("schema") != PLAN:
        found = f'schema "{document.get("schema")}"'
        raise UsageError(message(source, found, f'"{PLAN}"', "Give the file that plan --freeze wrote."))
    try:
        return Plan(
            measure=str(document["measure"]),
            unit=str(document["unit"]),
            better="higher" if document["better"] == "higher" else "lower",
            change=_number(document["change"]),
            margin=_number(document["margin"]),
            power=_number(document["power"]),
            cycles=int(_number(document["cycles"])),
            sample_interval_s=_number(document["sample_interval_s"]),
            looks=tuple(_look(item) for item in _items(document["looks"])),
            rule=str(document["rule"]),
            basis=str(document.get("basis", "")),
            sha256=str(document["sha256"]),
            frozen_at=str(document.get("frozen_at", "")),
        )
    except KeyError as error:
        raise UsageError(message(source, f"no {error}", "a whole plan", "Freeze it again.")) from error
    except (TypeError, ValueError) as error:
        raise UsageError(message(source, f"unreadable ({error})", "a whole plan", "Freeze it again.")) from error


def volume_json(volume: VolumeResult) -> Json:
    """The whole of `volume.json`."""
    return plain_object(
        {
            "schema": VOLUME,
            "tool": {"name": "tracekit", "version": volume.version},
            "created": volume.created,
            "volume_ml": quantity(volume.volume_ml),
            "budget": [{"source": b.source, "u": b.u, "share": b.share, "kind": b.kind} for b in volume.budget],
            "warnings": list(volume.warnings),
            "facts": {name: {"value": value, "unit": unit} for name, (value, unit) in volume.facts.items()},
            "logs": [{"log_id": f.log_id, "source": f.source, "duration_s": f.duration_s} for f in volume.logs],
        }
    )


def _recording(recording: Recording) -> Json:
    facts = recording.facts
    outcomes = {
        word: int(recording.cycles.where("outcome", word).sum()) for word in ("held", "dropped", "missed", "incomplete")
    }
    start = facts.start_time_us
    return {
        "log_id": facts.log_id,
        "source": facts.source,
        "station": recording.station,
        "start": None if start is None else utc_text(start),
        "end": None if start is None else utc_text(start + round(facts.duration_s * 1e6)),
        "duration_s": facts.duration_s,
        "cycles": len(recording.cycles),
        **outcomes,
        "sample_interval_s": recording.sensor.sample_interval_s,
        "settings": {
            f"{name}_kpa": {"value": s.value_kpa, "source": s.source}
            for name, s in recording.settings.items()
            if s.value_kpa is not None
        },
        "ambient_kpa": {"value": recording.ambient_kpa, "source": recording.ambient_source},
    }


def _measure(result: MeasureResult) -> Json:
    effective = [e for e in result.effective if math.isfinite(e)]
    return {
        "unit": result.unit,
        "better": result.better,
        "before": quantity(result.before),
        "after": quantity(result.after),
        "difference": quantity(result.difference),
        "margin": result.margin,
        "verdict": result.verdict,
        "cycles_needed": _needed(result.cycles_needed),
        "p_better": result.p_better,
        "p_worse": result.p_worse,
        "p_equivalent": result.p_equivalent,
        "effective_cycles": effective or None,
        "watched": result.watched,
        "as_if_independent": _ranks(result.ranks) if result.ranks else None,
        "note": result.note or None,
    }


def _ranks(ranks: RankFigures) -> Json:
    return {
        "pairs_better": ranks.pairs_better,
        "shift": ranks.shift,
        "p_better": ranks.p_better,
        "p_equal_means": ranks.p_equal_means,
    }


def _rates(comparison: Comparison) -> Json:
    """Drop and miss share always, as the contract names them; withheld where a side has no whole cycle."""
    absent = quantity_json(Withheld("no whole cycle on one side"))
    rates: Json = {n: {"before": absent, "after": absent, "difference": absent} for n in ("drop_share", "miss_share")}
    return rates | {name: _rate(rate) for name, rate in comparison.rates.items()}


def _rate(rate: RateResult) -> Json:
    return {
        "before": {**quantity(rate.before), "events": rate.events[0]},
        "after": {**quantity(rate.after), "events": rate.events[1]},
        "difference": quantity(rate.difference),
        "margin": rate.margin,
        "verdict": rate.verdict,
        "cycles_needed": _needed(rate.cycles_needed),
        "p_better": rate.p_better,
        "p_worse": rate.p_worse,
    }


def _acceptance(decision: Acceptance) -> Json:
    return {
        "text": decision.text,
        "measure": decision.measure,
        "operator": decision.operator,
        "limit": decision.limit,
        "unit": decision.unit,
        "side": decision.side,
        "decision_rule": f"JCGM 106, {decision.rule} acceptance",
        "rule": decision.rule,
        "quantity": quantity(decision.quantity),
        "decision": decision.decision,
        "guard_band": decision.guard_band,
        "conformity": decision.conformity,
        "risk": decision.risk,
    }


def _plan_check(check: PlanCheck) -> Json:
    return {
        **plan_json(check.plan),
        "hash_holds": True,
        "look": check.look,
        "look_bound": check.bound,
        "remarks": list(check.remarks),
    }


def _needed(cycles: int | Quantity | None) -> int | Json | None:
    return quantity_json(cycles) if isinstance(cycles, Withheld) else cycles if isinstance(cycles, int) else None


def _options(options: Mapping[str, tuple[float, str]]) -> Json:
    return {name: {"value": value, "unit": unit} for name, (value, unit) in options.items()}


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(f"{value!r} is no number")
    return float(value)


def _items(value: object) -> list[Mapping[str, object]]:
    if not isinstance(value, list) or not all(isinstance(item, Mapping) for item in value):
        raise TypeError("looks is no list of objects")
    return value


def _look(item: Mapping[str, object]) -> Look:
    return Look(cycles=int(_number(item["cycles"])), bound=_number(item["bound"]))
