"""`diagnosis.json` and the suggestion in it: plain dictionaries, never a bare null, no NaN.

What cannot be given is `{"status": "withheld", "reason": …}`; a key that does not apply is left out.
"""

import math
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from numbers import Integral, Real
from types import MappingProxyType

import numpy as np

from tracekit.model.cycle import SettingInForce, StationData
from tracekit.model.estimate import Quantity, Withheld, quantity_json
from tracekit.model.finding import Detectable, Evidence, Finding, NextStep
from tracekit.model.result import (
    BudgetLine,
    DiagnosisRecord,
    LeakChange,
    LeakGroup,
    LeakResult,
    StationResult,
    Suggestion,
)
from tracekit.model.tables import CYCLES, OUTCOMES
from tracekit.model.trace import Assumption, LogFacts

Json = Mapping[str, object]

SCHEMA = "tracekit.diagnosis/1"
_DIGITS = 9
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_UNITS: Mapping[str, str] = MappingProxyType({column.name: column.unit for column in CYCLES})
_NOT_IN_LOG = "neither the log's edges nor a station file give it"


def plain_object(value: Mapping[str, object]) -> dict[str, object]:
    """A dictionary fit for JSON: numbers to nine digits, and no key or item that is missing (None, NaN, infinite).

    Raises TypeError for a value that has no place in a JSON file.
    """
    return {str(key): _plain(item) for key, item in value.items() if not _missing(item)}


def _plain(value: object) -> object:
    if isinstance(value, Mapping):
        return plain_object(value)
    if isinstance(value, str):
        return value
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, Integral):
        return int(value)
    if isinstance(value, Real):
        return float(f"{float(value):.{_DIGITS}g}")
    if isinstance(value, Iterable):
        return [_plain(item) for item in value if not _missing(item)]
    raise TypeError(f"{type(value).__name__} has no place in a JSON file")


def _missing(value: object) -> bool:
    return value is None or (isinstance(value, Real) and not math.isfinite(value))


def quantity(value: Quantity) -> dict[str, object]:
    """The JSON form of a quantity; one that is not finite is withheld."""
    document = quantity_json(value)
    if not any(map(_missing, document.values())):
        return document
    return quantity_json(Withheld("the figures do not settle on a number"))


def utc_text(time_us: int) -> str:
    """A date in UTC, ISO 8601, of microseconds since 1970."""
    return (_EPOCH + timedelta(microseconds=time_us)).isoformat().replace("+00:00", "Z")


def diagnosis_json(record: DiagnosisRecord) -> dict[str, object]:
    """The whole of `diagnosis.json`."""
    logs = zip(record.logs, record.log_assumptions, strict=True)
    return plain_object(
        {
            "schema": SCHEMA,
            "tool": {"name": "tracekit", "version": record.version},
            "created": record.created,
            "options": {name: {"value": value, "unit": unit} for name, (value, unit) in record.options.items()},
            "logs": [_log(facts, assumptions) for facts, assumptions in logs],
            "stations": [_station(result) for result in record.stations],
        }
    )


def suggestion_json(suggestion: Suggestion) -> dict[str, object]:
    """A suggestion as in `tuning.json`, where `settings_suggested` may be withheld."""
    settings = suggestion.settings
    suggested: object = {
        s.name: {"kpa": s.suggested_kpa, "display": {"value": s.shown, "unit": s.unit, "from": s.entry}}
        for s in settings
    }
    if suggestion.withheld is not None:
        suggested = quantity_json(Withheld(suggestion.withheld))
    return {
        "settings_now": {
            s.name: {"kpa": s.now_kpa, "display": {"value": s.shown_now, "unit": s.unit, "from": s.entry}}
            for s in settings
            if s.now_kpa is not None
        },
        "settings_suggested": suggested,
        "predicted": {
            "now": {name: quantity(value) for name, value in suggestion.predicted_now.items()},
            "suggested": {name: quantity(value) for name, value in suggestion.predicted_suggested.items()},
        },
        "constraints": [{"name": c.name, "holds": c.holds, "margin_kpa": c.margin_kpa} for c in suggestion.constraints],
        "reasons": suggestion.reasons,
        "replayed": suggestion.replayed,
    }


def _log(facts: LogFacts, assumptions: Iterable[Assumption]) -> Json:
    start_us = facts.start_time_us
    return {
        "log_id": facts.log_id,
        "source": facts.source,
        "rows_read": facts.rows_read,
        "rows_used": facts.rows_used,
        "rows_rejected": facts.rows_rejected,
        "rejections": [{"reason": r.reason, "rows": r.rows, "first_lines": r.first_lines} for r in facts.rejections],
        "duplicates": facts.duplicates,
        "start": None if start_us is None else utc_text(start_us),
        "end": None if start_us is None else utc_text(start_us + round(facts.duration_s * 1e6)),
        "duration_s": facts.duration_s,
        "sample_interval_s": {
            "median": facts.interval_median_s,
            "p95": facts.interval_p95_s,
            "max": facts.interval_max_s,
        },
        "quantisation_kpa": facts.quantisation_kpa,
        "gaps": [{"start_s": start, "end_s": end} for start, end in facts.gaps],
        "clock_steps": [{"time_s": at, "step_s": step} for at, step in facts.clock_steps],
        "assumptions": _assumptions(assumptions),
        "warnings": facts.warnings,
    }


def _assumptions(assumptions: Iterable[Assumption]) -> list[Json]:
    return [{"what": a.what, "value": a.value, "evidence": a.evidence, "confidence": a.confidence} for a in assumptions]


def _station(result: StationResult) -> Json:
    data = result.data
    withheld = result.suggestion.withheld
    suggestion = suggestion_json(result.suggestion) if withheld is None else quantity_json(Withheld(withheld))
    return {
        "station": data.station,
        "settings": {f"{name}_kpa": _setting(value) for name, value in data.settings.items()},
        "summary": {"cycles": len(data.cycles), **_outcomes(data), "measures": _measures(result)},
        "leak": _leak(result),
        "detectable": [_detectable(item) for item in result.detectable],
        "causes": [{"code": c.code, "chance": c.chance, "reason": c.reason} for c in result.causes],
        "findings": [_finding(finding) for finding in result.findings],
        "suggestion": suggestion,
        "assumptions": _assumptions(result.assumptions),
        "limits_of_log": result.limits_of_log,
    }


def _setting(setting: SettingInForce) -> Json:
    if setting.value_kpa is None or not math.isfinite(setting.value_kpa):
        return quantity_json(Withheld(_NOT_IN_LOG))
    in_file = setting.station_file_kpa
    return {"value": setting.value_kpa, "source": setting.source, "station_file": in_file}


def _outcomes(data: StationData) -> dict[str, int]:
    return {outcome: int(data.cycles.where("outcome", outcome).sum()) for outcome in OUTCOMES}


def _measures(result: StationResult) -> Json:
    """Median and percentiles of each measure; one without a median is left out."""
    known = {name: stats for name, stats in result.summary.items() if not _missing(stats.get("median"))}
    return {name: {**stats, "unit": _UNITS.get(name, "")} for name, stats in known.items()}


def _leak(result: StationResult) -> Json:
    leak: LeakResult = result.leak
    return {
        "decay_rate_kpa_s": quantity(leak.decay_rate),
        "leak_rate_pa_m3_s": quantity(result.leak_rate_pa_m3_s),
        "leak_rate_l_min_anr": quantity(result.leak_rate_l_min_anr),
        "ref_vacuum_kpa": leak.ref_vacuum_kpa,
        "mechanism": leak.mechanism,
        "evidence": leak.evidence,
        "form_probability": leak.form_probability,
        "wall_time_constant_s": leak.wall_time_constant_s,
        "groups": [_group(group) for group in leak.groups],
        "budget": [_budget(line) for line in leak.budget],
        "warnings": leak.warnings,
        **({} if result.leak_change is None else {"change_from_baseline": _change(result.leak_change)}),
    }


def _change(change: LeakChange | Withheld) -> Json:
    """The change of leak of a station without coasts, against its baseline."""
    if isinstance(change, Withheld):
        return quantity(change)
    return {
        **quantity(change.change), "smallest_kpa_s": change.smallest_kpa_s, "how": change.how,
        "budget": [_budget(line) for line in change.budget],
    }  # fmt: skip


def _group(group: LeakGroup) -> Json:
    return {
        "by": group.by,
        "label": group.label,
        "share": group.share,
        "cycles": len(group.cycles),
        "mechanism": group.mechanism,
        "decay_rate_kpa_s": quantity(group.decay_rate_kpa_s),
    }


def _budget(line: BudgetLine) -> Json:
    return {"source": line.source, "u_kpa_s": line.u_kpa_s, "common": line.common}


def _detectable(item: Detectable) -> Json:
    if _missing(item.smallest):
        return {"code": item.code, "smallest": quantity_json(Withheld(item.why)), "why": item.why}
    smallest = {"measure": item.measure, "value": item.smallest, "unit": item.unit}
    return {"code": item.code, "smallest": smallest, "why": item.why}


def _finding(finding: Finding) -> Json:
    return {
        "code": finding.code,
        "kind": finding.kind,
        "severity": finding.severity,
        "confidence": finding.confidence,
        "share": finding.share,
        "onset_cycle": finding.onset_cycle,
        "title": finding.title,
        "evidence": [_evidence(item) for item in finding.evidence],
        "alternatives": finding.alternatives,
        "explains": finding.explains,
        "next_steps": [_step(step) for step in finding.next_steps],
    }


def _evidence(item: Evidence) -> Json:
    value = quantity_json(Withheld("no number")) if _missing(item.value) else item.value
    return {
        "measure": item.measure,
        "value": value,
        "unit": item.unit,
        "lower": item.lower,
        "upper": item.upper,
        "reference": item.reference,
        "reference_source": item.reference_source or None,
        "cycles": item.cycles,
        "text": item.text or None,
    }


def _step(step: NextStep) -> Json:
    return {
        "do": step.do,
        "expect_if": step.expect_if,
        "expect_else": step.expect_else,
        "minutes": step.minutes,
        "caution": step.caution,
    }
