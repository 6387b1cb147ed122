"""The trend as trend.json, schema tracekit.trend/1."""

from tracekit.history.events import iso
from tracekit.model.estimate import Estimate, Withheld, quantity_json
from tracekit.model.trend import (
    Alarm,
    CommonChange,
    CrossingDate,
    FleetTrend,
    LeakCost,
    LimitState,
    MeasureTrend,
    Repair,
    StationTrend,
    Step,
)  # fmt: skip

SCHEMA_NAME = "tracekit.trend/1"
_SIGNIFICANT = 6


def trend_json(fleet: FleetTrend, created: str) -> dict[str, object]:
    """The whole trend, ready for `json.dumps`; `created` is an ISO 8601 time."""
    return {
        "schema": SCHEMA_NAME,
        "tool": {"name": "tracekit", "version": fleet.version},
        "created": created,
        "as_of": iso(fleet.as_of_us),
        "logs": fleet.logs,
        "stations": [_station(s) for s in fleet.stations],
        "common_changes": [_common(c) for c in fleet.common],
        "changed_last_week": [{"time": iso(t), "station": s, "what": text} for t, s, text in fleet.changed],
        "causes": [{"code": code, "stations": n, "share": _short(share)} for code, n, share in fleet.causes],
        "silent": [s.station for s in fleet.stations if s.silent],
        "false_alarms": {"expected_per_week": _short(fleet.false_alarms_week), "rule": fleet.alarm_rule},
        "damaged": [{"file": d.name, "reason": d.reason} for d in fleet.damaged],
    }


def _station(station: StationTrend) -> dict[str, object]:
    body: dict[str, object] = {
        "station": station.station,
        "state": station.state,
        "days": _short(station.days),
        "logs": station.logs,
        "cycles": station.cycles,
        "dropped": station.dropped,
        "first": iso(station.first_us),
        "last": iso(station.last_us),
        "silent": station.silent,
        "events": [{"time": iso(e.time_us), "text": e.text, "source": e.source} for e in station.events],
        "measures": {name: _measure(trend) for name, trend in station.measures.items()},
    }
    optional = {
        "supply_group": station.supply_group,
        "finding": {"code": station.finding, "severity": station.severity} if station.finding else None,
        "first_step": station.first_step or None,
        "last_repair": _repair(station.repair) if station.repair else None,
        "leak_cost": _cost(station.cost) if station.cost else None,
    }
    return {**body, **{key: value for key, value in optional.items() if value is not None}}


def _measure(trend: MeasureTrend) -> dict[str, object]:
    body: dict[str, object] = {
        "unit": trend.measure.unit,
        "logs": len(trend.series.time_us),
        "present": quantity_json(trend.present),
        "slope_per_day": quantity_json(trend.slope),
        "test": trend.test,
        "steps": [_step(s) for s in trend.steps],
        "alarms": [_alarm(a) for a in trend.alarms],
        "in_alarm": trend.in_alarm,
        "crossing": _crossing(trend.crossing),
    }
    if trend.not_before_us is not None:
        body["crossing_not_before"] = iso(trend.not_before_us)
    if isinstance(trend.relative, Estimate):
        body["relative_slope_per_day"] = trend.relative.value
        body["relative_slope"] = quantity_json(trend.relative)
    elif isinstance(trend.relative, Withheld):
        body["relative_slope_per_day"] = quantity_json(trend.relative)
    if trend.p_value is not None:
        body["p_value"] = trend.p_value
    if trend.limit is not None:
        body["limit"] = _limit(trend.limit)
    if trend.taken_out:
        body["taken_out"] = list(trend.taken_out)
    if trend.bounds:
        body["bounds"] = trend.bounds
    return body


def _step(step: Step) -> dict[str, object]:
    body: dict[str, object] = {"time": iso(step.time_us), "before": _short(step.before), "after": _short(step.after)}
    if step.better is not None:
        body["better"] = step.better
    return {**body, **_if_said(event=step.event, common=step.common)}


def _alarm(alarm: Alarm) -> dict[str, object]:
    body: dict[str, object] = {"time": iso(alarm.time_us), "kind": alarm.kind, "rule": alarm.rule}
    values = {"value": _short(alarm.value), "usual": _short(alarm.usual)}
    return {**body, **values, **_if_said(common=alarm.common)}


def _if_said(**texts: str) -> dict[str, object]:
    return {key: text for key, text in texts.items() if text}


def _limit(limit: LimitState) -> dict[str, object]:
    side = "max" if limit.side > 0 else "min"
    return {side: limit.value, "severity": limit.severity, "state": limit.state, "source": limit.source}


def _crossing(crossing: CrossingDate | Withheld) -> dict[str, object]:
    if isinstance(crossing, Withheld):
        return quantity_json(crossing)
    return {
        "date": iso(crossing.date_us), "earliest": iso(crossing.earliest_us), "latest": iso(crossing.latest_us),
        "past": crossing.past, "form": crossing.form,
    }  # fmt: skip


def _repair(repair: Repair) -> dict[str, object]:
    effects = {name: {"before": _short(b), "after": _short(a)} for name, (b, a) in repair.effects.items()}
    return {
        "time": iso(repair.time_us), "text": repair.text, "source": repair.source,
        "days_since": _short(repair.days_since), "measures": effects,
    }  # fmt: skip


def _cost(cost: LeakCost) -> dict[str, object]:
    return {
        "running_hours_per_month": cost.hours,
        "energy_kwh_per_month": quantity_json(cost.energy_kwh),
        "money_per_month": quantity_json(cost.money),
        "supply_switches_per_month": quantity_json(cost.switches),
        "against": "the best five logs in a row of this history",
    }


def _common(change: CommonChange) -> dict[str, object]:
    return {
        "supply_group": change.supply_group, "measure": change.measure, "kind": change.kind,
        "time": iso(change.time_us), "stations": list(change.stations), "of": change.of,
    }  # fmt: skip


def _short(value: float) -> float:
    """Descriptive numbers without false digits."""
    return float(f"{value:.{_SIGNIFICANT}g}")
