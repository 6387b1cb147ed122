"""What a page carries for a closer look: the cycle table and traces, as packed binary, read by the page's own script.

Packed means: columns or points behind one another, little-endian, gzipped, base64. Without script nobody misses it.
"""

import base64
import gzip
from collections.abc import Mapping

import numpy as np

from tracekit.model.result import StationResult
from tracekit.model.tables import Table
from tracekit.report.measures import measure
from tracekit.report.text import clean
from tracekit.report.view import Floats, Indices, main_finding, odd_cycles, spaced

_SKIPPED = ("log_id", "station", "cycle", "start_time", "end_s")
_SINCE_START = ("contact_s", "hold_start_s", "hold_end_s", "drop_s")
_TIME_STEP_S, _VACUUM_STEP_KPA, _MOST_VALUES = 1e-4, 0.01, 200


def packed(result: StationResult, most_cycles: int, most_points: int) -> Mapping[str, object]:
    """Everything for the script of one station's page, JSON-ready."""
    rows = _chosen(result, most_cycles)
    main = main_finding(result)
    settings = {k: s.value_kpa for k, s in result.data.settings.items() if s.value_kpa is not None}
    return {
        "cycles": _table(_with_rates(result), rows),
        "traces": _traces(result, most_points),
        "strip": _strip(result),
        "settings": settings,
        "touched": sorted(set(main.cycles) & set(rows.tolist())) if main is not None else [],
    }


def _with_rates(result: StationResult) -> Table:
    """The cycle table with the rates of the leak in it, wherever they were still missing."""
    cycles, leak = result.data.cycles, result.leak
    if np.isfinite(cycles.floats("decay_rate_kpa_s")).any() or len(leak.rate) != len(cycles):
        return cycles
    return cycles.with_columns(
        decay_rate_kpa_s=leak.rate, decay_rate_lower_kpa_s=leak.rate_lower, decay_rate_upper_kpa_s=leak.rate_upper
    )


def _chosen(result: StationResult, most: int) -> Indices:
    """All cycles, or of very many the odd ones and others in even spacing."""
    n = len(result.data.cycles)
    if n <= most:
        return np.arange(n)
    odd = odd_cycles(result)
    first = spaced(np.flatnonzero(odd), most // 2)
    return np.sort(np.concatenate((first, spaced(np.flatnonzero(~odd), most - len(first)))))


def _table(cycles: Table, rows: Indices) -> dict[str, object]:
    """Columns as 32-bit floats, times inside a cycle counted from its start, missing as NaN; the start as 64-bit."""
    starts = cycles.floats("start_s")[rows]
    columns: list[dict[str, object]] = []
    parts: list[np.ndarray[tuple[int], np.dtype[np.float32]]] = []
    for column in cycles.columns:
        if column.name in _SKIPPED or column.name == "start_s":
            continue
        words = measure(column.name)
        facts: dict[str, object] = {"name": clean(column.name, 60), "label": clean(words.name, 60), "unit": column.unit}
        if column.kind == "float":
            values = cycles.floats(column.name)[rows]
            values = values - starts if column.name in _SINCE_START else values
            facts["since"] = column.name in _SINCE_START
        else:
            codes = cycles.codes(column.name)[rows].astype(np.float64)
            values = np.where(codes < 0, np.nan, codes)
            facts |= _wording(cycles, column.name, column.kind)
        columns.append(facts)
        parts.append(values.astype("<f4"))
    body = np.concatenate(parts).tobytes() if parts else b""
    return {
        "columns": columns, "rows": rows.tolist(), "total": len(cycles),
        "start": _pack(starts.astype("<f8").tobytes()), "body": _pack(body),
    }  # fmt: skip


def _wording(cycles: Table, name: str, kind: str) -> dict[str, object]:
    """What the codes of a column stand for, each cleaned."""
    if kind == "bool":
        return {"values": ["no", "yes"]}
    if kind == "category":
        return {"values": [clean(v, 60) for v in cycles.categories[name][:_MOST_VALUES]]}
    return {}


def _traces(result: StationResult, most: int) -> dict[str, object]:
    """Points of cycles: every sample where an excerpt holds them, else short averages, `most` of these, odd ones first.

    Excerpts are few by themselves, and the cycles that matter: none of their samples is left out.
    """
    data = result.data
    samples = {e.cycle: (e.time_s, -e.pressure_kpa) for e in data.excerpts}
    order = _first_odd(result)
    bounds = np.searchsorted(data.bins.cycle, np.arange(len(data.cycles) + 1)) if _sorted(data.bins.cycle) else None
    starts = data.cycles.floats("start_s")
    index: list[list[int]] = []
    parts: list[tuple[Floats, Floats]] = []
    left = most
    for cycle in order.tolist():
        if cycle in samples:
            time, vacuum = samples[cycle]
        elif bounds is not None:
            own = slice(int(bounds[cycle]), int(bounds[cycle + 1]))
            time, vacuum = data.bins.time_s[own], -data.bins.pressure_kpa[own]
        else:
            continue
        good = np.isfinite(vacuum)
        whole = cycle in samples
        if good.sum() < 2 or (not whole and good.sum() > left):
            continue
        left -= 0 if whole else int(good.sum())
        index.append([cycle, int(good.sum()), int(whole)])
        parts.append((time[good] - starts[cycle], vacuum[good]))
    return {"index": index, **_points(parts)}


def _first_odd(result: StationResult) -> Indices:
    odd = odd_cycles(result)
    n = len(odd)
    usual = np.flatnonzero(~odd)
    stride = np.concatenate([usual[k::16] for k in range(16)]) if len(usual) else usual
    excerpts = np.array([e.cycle for e in result.data.excerpts if 0 <= e.cycle < n], np.int64)
    return np.array(
        list(dict.fromkeys([*excerpts.tolist(), *np.flatnonzero(odd).tolist(), *stride.tolist()])), np.int64
    )


def _sorted(values: np.ndarray[tuple[int], np.dtype[np.int32]]) -> bool:
    return bool((np.diff(values) >= 0).all())


def _steps(values: list[Floats]) -> str:
    """Whole numbers of steps, packed; those of an absurd time end at what four bytes hold."""
    if not values:
        return ""
    whole = np.iinfo(np.int32)
    return _pack(np.clip(np.concatenate(values), whole.min, whole.max).astype("<i4").tobytes())


def _points(parts: list[tuple[Floats, Floats]]) -> dict[str, object]:
    """Differences of whole steps: they compress well."""
    times = [np.diff(np.round(t / _TIME_STEP_S), prepend=0.0) for t, _ in parts]
    levels = [np.diff(np.round(v / _VACUUM_STEP_KPA), prepend=0.0) for _, v in parts]
    return {
        "time": _steps(times), "vacuum": _steps(levels),
        "time_step": _TIME_STEP_S, "vacuum_step": _VACUUM_STEP_KPA,
    }  # fmt: skip


def _strip(result: StationResult) -> dict[str, object]:
    """The thinned recording: time, highest and lowest vacuum per bucket."""
    thin = result.data.strip
    columns = (thin.time_s, -thin.lowest_kpa, -thin.highest_kpa)
    return {"n": len(thin.time_s), "body": _pack(np.concatenate(columns).astype("<f4").tobytes())}


def _pack(raw: bytes) -> str:
    return base64.b64encode(gzip.compress(raw, 4, mtime=0)).decode()
