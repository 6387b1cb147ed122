"""One diagnosis becomes the rows that a history keeps of it."""

from collections.abc import Mapping, Sequence
from dataclasses import field

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import UsageError, message
from tracekit.frozen import dataclass
from tracekit.history.measures import MEASURES
from tracekit.history.schema import SUMMARY
from tracekit.model.estimate import Bound, Quantity, Withheld
from tracekit.model.result import DiagnosisRecord, StationResult
from tracekit.model.station import Station
from tracekit.model.tables import Column, Table, make_table
from tracekit.model.trace import LogFacts
from tracekit.model.trend import TrendMeasure
from tracekit.options.history import StoreOptions

_DAY_US = 86_400_000_000
_RATES = ("uncoasted_share", "supply_switches_per_hour", "drop_share", "miss_share")
_LOG_LEAK = {"decay_rate_kpa_s": "decay_rate", "leak_rate_pa_m3_s": "leak_rate_pa_m3_s"}
_NAN = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """Rows being collected, a list per column."""

    station: str
    part: int
    start_us: int
    lists: dict[str, list[object]] = field(default_factory=lambda: {c.name: [] for c in SUMMARY})

    def add(self, kind: str, name: str, row: Mapping[str, object]) -> None:
        """One row; what `row` does not give is missing."""
        given = {
            "station": self.station, "part": self.part, "start_time": self.start_us, "kind": kind, "name": name, **row,
        }  # fmt: skip
        for column in SUMMARY:
            missing: object = _NAN if column.kind == "float" else None if column.kind == "category" else -1
            self.lists[column.name].append(given.get(column.name, missing))


def log_start(facts: LogFacts, started_us: int | None) -> int:
    """When a log began, in UTC microseconds since 1970: what the user says, else what the log says.

    Raises UsageError where neither does.
    """
    start = started_us if started_us is not None else facts.start_time_us
    if start is None:
        found = "no date in the log, or no zone of its time stamps"
        raise UsageError(
            message(facts.source, found, "a known start for a history", "Pass --started 2025-03-02T06:00Z.")
        )
    return start


def summarise(
    record: DiagnosisRecord,
    facts: LogFacts,
    starts_us: int,
    stations: Mapping[str, Station],
    options: StoreOptions,
) -> Table:
    """The rows of one log of a diagnosis, every station of it; `stations` are the station files by station name.

    The columns `version`, `added_time` and `analysis` are left missing.
    """
    rows: list[_Rows] = []
    for result in record.stations:
        here = _of_log(result.data.cycles, facts.log_id, len(record.logs))
        if here is None:
            continue
        whole_log = bool(here.all())
        for part, mask in enumerate(_parts(result.data.cycles, here, starts_us, facts.duration_s)):
            start_us = _part_start(result.data.cycles, mask, starts_us)
            collected = _Rows(station=result.data.station, part=part, start_us=start_us)
            whole = whole_log and bool((mask == here).all())
            _measure_rows(collected, result, mask, whole, options)
            if part == 0:
                _fact_rows(collected, result, facts, stations.get(result.data.station))
            rows.append(collected)
    return _table(rows, facts.log_id)


def _of_log(cycles: Table, log_id: str, logs: int) -> NDArray[np.bool_] | None:
    """Rows of the cycles table that belong to the log; None where the station is not in it."""
    if logs == 1:
        return np.ones(len(cycles), np.bool_)
    here = cycles.where("log_id", log_id)
    return here if here.any() else None


def times_us(cycles: Table, start_us: int) -> NDArray[np.int64]:
    """Start of every cycle in UTC microseconds since 1970, shape (n_cycles,)."""
    dated = cycles.codes("start_time")
    return np.where(dated >= 0, dated, start_us + (cycles.floats("start_s") * 1e6).astype(np.int64))


def _parts(cycles: Table, here: NDArray[np.bool_], start_us: int, duration_s: float) -> list[NDArray[np.bool_]]:
    """Masks of the parts that a log is kept in: one, or one per 24 hours of a log longer than that."""
    if duration_s * 1e6 <= _DAY_US or not here.any():
        return [here]
    days = (times_us(cycles, start_us) - start_us) // _DAY_US
    return [here & (days == day) for day in np.unique(days[here]).tolist()]


def _part_start(cycles: Table, mask: NDArray[np.bool_], start_us: int) -> int:
    return int(times_us(cycles, start_us)[mask].min()) if mask.any() else start_us


def _measure_rows(
    rows: _Rows, result: StationResult, mask: NDArray[np.bool_], whole: bool, options: StoreOptions
) -> None:
    cycles = result.data.cycles
    for measure in MEASURES:
        if measure.name in _RATES:
            row = _rate_row(measure, result, mask)
        elif measure.name in _LOG_LEAK and whole:
            row = _leak_row(measure, result, mask)
        else:
            row = _value_row(cycles, measure, mask, options)
        if row is not None:
            rows.add("measure", measure.name, {"unit": measure.unit, **row})
    for label, members in _groups(cycles, mask, options):
        for measure in (m for m in MEASURES if m.name not in _RATES):
            row = _value_row(cycles, measure, members, options)
            if row is not None:
                rows.add("group", measure.name, {"unit": measure.unit, "context": label, **row})


def _eligible(cycles: Table, measure: TrendMeasure, mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    if measure.held:
        return mask & cycles.where("outcome", "held")
    return mask & ~cycles.where("outcome", "incomplete")


def _value_row(
    cycles: Table, measure: TrendMeasure, mask: NDArray[np.bool_], options: StoreOptions
) -> dict[str, object] | None:
    """Median (of counts the mean) over the cycles with its 95 % interval from their scatter."""
    values = _column(cycles, measure.name)[_eligible(cycles, measure, mask)]
    known = values[np.isfinite(values)]
    if known.size == 0:
        return None
    centre = float(known.mean() if measure.scale == "count" else np.median(known))
    p05, p95 = (float(q) for q in np.quantile(known, (0.05, 0.95)))
    row: dict[str, object] = {"value": centre, "p05": p05, "p95": p95, "n": int(known.size)}
    if measure.name in _LOG_LEAK and 1.0 - known.size / values.size > options.unknown_share:
        return {**row, **_with_unknown(known, values.size)}
    half = _half_width(known, mean=measure.scale == "count")
    return {**row, "lower": centre - half, "upper": centre + half} if np.isfinite(half) else row


def _half_width(known: NDArray[np.float64], *, mean: bool) -> float:
    """Half of the 95 % interval of a median (normal scatter: 1.2533 σ/√n) or of a mean."""
    if known.size < 3:
        return _NAN
    quarters = np.quantile(known, (0.25, 0.75))
    sigma = float(known.std(ddof=1)) if mean else float(quarters[1] - quarters[0]) / 1.349
    return 1.96 * (1.0 if mean else 1.2533) * sigma / float(np.sqrt(known.size))


def _with_unknown(known: NDArray[np.float64], size: int) -> dict[str, object]:
    """The median where some cycles have no rate: they may be the largest leaks, so only a lower bound is sure."""
    ordered = np.sort(known)
    lacking = size - known.size
    rank = (size - 1) // 2
    lower = float(ordered[max(rank - lacking, 0)])
    upper = float(ordered[rank]) if rank < known.size else _NAN
    return {"value": _NAN, "lower": lower, "upper": upper, "text": "lower_bound"}


def _column(cycles: Table, name: str) -> NDArray[np.float64]:
    values = cycles.data[name]
    if values.dtype.kind == "f":
        return np.asarray(values, np.float64)
    return np.where(np.asarray(values) < 0, np.nan, values).astype(np.float64)


def _leak_row(measure: TrendMeasure, result: StationResult, mask: NDArray[np.bool_]) -> dict[str, object] | None:
    quantity: Quantity = result.leak.decay_rate if measure.name == "decay_rate_kpa_s" else result.leak_rate_pa_m3_s
    held = _eligible(result.data.cycles, measure, mask)
    values = _column(result.data.cycles, measure.name)[held]
    known = values[np.isfinite(values)]
    spread = {"p05": float(np.quantile(known, 0.05)), "p95": float(np.quantile(known, 0.95))} if known.size else {}
    if isinstance(quantity, Withheld):
        return {"text": quantity.reason, "n": 0} if result.data.air_saving else None
    if isinstance(quantity, Bound):
        side = "lower" if quantity.status == "lower_bound" else "upper"
        return {**spread, side: quantity.limit, "text": quantity.status, "n": quantity.n}
    return {**spread, "value": quantity.value, "lower": quantity.lower, "upper": quantity.upper, "n": quantity.n}


def _rate_row(measure: TrendMeasure, result: StationResult, mask: NDArray[np.bool_]) -> dict[str, object] | None:
    cycles = result.data.cycles
    outcomes = {name: int((mask & cycles.where("outcome", name)).sum()) for name in ("held", "dropped", "missed")}
    complete = sum(outcomes.values())
    if measure.name == "supply_switches_per_hour":
        return _switching(cycles, mask, complete) if result.data.air_saving else None
    if measure.name == "uncoasted_share":
        if not result.data.air_saving:
            return None
        held = mask & cycles.where("outcome", "held")
        hits, base = int((held & ~np.isfinite(cycles.floats("decay_rate_kpa_s"))).sum()), outcomes["held"]
    elif measure.name == "drop_share":
        hits, base = outcomes["dropped"], outcomes["held"] + outcomes["dropped"]
    else:
        hits, base = outcomes["missed"], complete
    return {"value": hits / base, "n": base} if base else None


def _switching(cycles: Table, mask: NDArray[np.bool_], complete: int) -> dict[str, object] | None:
    switches = _column(cycles, "supply_switches")[mask]
    hours = float(np.nansum(cycles.floats("end_s")[mask] - cycles.floats("start_s")[mask])) / 3600.0
    if hours <= 0 or complete == 0:
        return None
    return {"value": float(np.nansum(switches)) / hours, "n": complete}


def _groups(cycles: Table, mask: NDArray[np.bool_], options: StoreOptions) -> list[tuple[str, NDArray[np.bool_]]]:
    """Cycles that share the values of all context columns, the commonest groups first."""
    names = [
        c.name
        for c in cycles.columns
        if c.kind == "category"
        and c.name.startswith("context_")
        and 2 <= len(cycles.categories[c.name]) <= options.groups_per_context
    ]
    if not names or not mask.any():
        return []
    codes = np.stack([cycles.codes(name) for name in names], axis=1)
    keys, which, counts = np.unique(codes[mask], axis=0, return_inverse=True, return_counts=True)
    rows = np.flatnonzero(mask)
    found = []
    for group in np.argsort(-counts, kind="stable")[: options.groups_per_log].tolist():
        members = np.zeros(len(cycles), np.bool_)
        members[rows[which.reshape(-1) == group]] = True
        found.append((_label(cycles, names, keys[group]), members))
    return found


def _label(cycles: Table, names: Sequence[str], codes: NDArray[np.int64]) -> str:
    parts = []
    for name, code in zip(names, codes.tolist(), strict=True):
        value = cycles.categories[name][code] if code >= 0 else "unknown"
        parts.append(f"{name.removeprefix('context_')}={value}")
    return "; ".join(parts)


def _fact_rows(rows: _Rows, result: StationResult, facts: LogFacts, station: Station | None) -> None:
    data = result.data
    outcome = {name: int(data.cycles.where("outcome", name).sum()) for name in ("held", "dropped", "missed")}
    rows.add("fact", "cycles", {"value": float(len(data.cycles)), "n": len(data.cycles)})
    for name, count in outcome.items():
        rows.add("fact", name, {"value": float(count)})
    rows.add("fact", "source", {"text": facts.source})
    rows.add("fact", "duration", {"value": facts.duration_s, "unit": "s"})
    rows.add("fact", "sample_interval", {"value": facts.interval_median_s, "unit": "s"})
    _spread_row(rows, "ambient", data.ambient_kpa, data.ambient_u_kpa, "kPa", data.ambient_source)
    _spread_row(rows, "temperature", data.temperature_c, data.temperature_u_c, "°C", "")
    rows.add("fact", "mechanism", {"text": result.leak.mechanism})
    for name, setting in data.settings.items():
        if setting.value_kpa is not None:
            rows.add("setting", name, {"value": setting.value_kpa, "unit": "kPa", "text": setting.source})
    for finding in result.findings:
        if finding.severity != "info":
            rows.add("finding", finding.code, {"value": finding.confidence, "unit": "1", "text": finding.severity})
    first = next((f.next_steps[0].do for f in result.findings if f.severity != "info" and f.next_steps), None)
    if first is not None:
        rows.add("fact", "first_step", {"text": first})
    if station is not None:
        _station_rows(rows, station)


def _spread_row(rows: _Rows, name: str, value: float, u: float, unit: str, source: str) -> None:
    row = {"value": value, "lower": value - 1.96 * u, "upper": value + 1.96 * u, "unit": unit, "text": source or None}
    rows.add("fact", name, row)


def _station_rows(rows: _Rows, station: Station) -> None:
    """What the trend needs of the station file, so that a history can be read without it."""
    for name, limit in station.limits.items():
        for side, value in (("min", limit.min), ("max", limit.max)):
            if value is not None:
                rows.add("limit", name, {"context": side, "value": value, "text": limit.severity})
    if station.station.supply_group is not None:
        rows.add("fact", "supply_group", {"text": station.station.supply_group})
    price = station.price
    if price is not None:
        for name in ("nozzle_flow_l_min_anr", "energy_kwh_per_m3_anr", "price_per_kwh"):
            value = getattr(price, name)
            if value is not None:
                rows.add("fact", name, {"value": value})


def _table(rows: Sequence[_Rows], log_id: str) -> Table:
    data: dict[str, NDArray[np.generic]] = {}
    categories: dict[str, tuple[str, ...]] = {}
    for column in SUMMARY:
        cells = [cell for block in rows for cell in block.lists[column.name]]
        data[column.name], words = _cells(column, cells)
        if column.kind == "category":
            categories[column.name] = words
    data["log_id"] = np.zeros(len(data["log_id"]), np.int32)
    return make_table(SUMMARY, data, {**categories, "log_id": (log_id,)})


def _cells(column: Column, cells: list[object]) -> tuple[NDArray[np.generic], tuple[str, ...]]:
    if column.kind == "float":
        return np.array(cells, np.float64), ()
    if column.kind != "category":
        return np.array(cells, np.int64), ()
    words = tuple(dict.fromkeys(str(c) for c in cells if c is not None))
    index = {word: code for code, word in enumerate(words)}
    return np.array([-1 if c is None else index[str(c)] for c in cells], np.int32), words
