"""Facts that several blocks and pictures of a page share."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import StationData
from tracekit.model.finding import Finding
from tracekit.model.result import LeakGroup, StationResult
from tracekit.report.text import clean
from tracekit.signal.known import known_quantiles
from tracekit.signal.standing import standing

Indices = NDArray[np.int64]
Mask = NDArray[np.bool_]
Floats = NDArray[np.float64]

LEAKS = frozenset({
    "leak_steady", "leak_part_dependent", "check_valve_leak", "release_valve_leak", "seal_lost_partly",
    "supply_valve_passing",
})  # fmt: skip
REPAIRABLE = ("cause", "setting", "sensor")
_LEAST_TOUCHED, _NEARLY_ALL, _EVERY, _LEAST_STILL = 5, 0.95, 8, 3
_EARLY_DEVIATIONS, _EARLY_SHARE, _MOST_EARLY = 6.0, 0.2, 0.25
_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def main_finding(result: StationResult) -> Finding | None:
    """What to repair first: the first cause, setting or sensor finding above info."""
    return next((f for f in result.findings if f.kind in REPAIRABLE and f.severity != "info"), None)


def fault_of_log(result: StationResult) -> Finding | None:
    """The first finding about the recording itself that is above info."""
    return next((f for f in result.findings if f.kind == "recording" and f.severity != "info"), None)


def symptom(result: StationResult) -> Finding | None:
    """The first symptom above info."""
    return next((f for f in result.findings if f.kind == "symptom" and f.severity != "info"), None)


def odd_cycles(result: StationResult) -> Mask:
    """True for cycles that the main finding names one by one, and for dropped and missed ones, shape (n_cycles,)."""
    cycles = result.data.cycles
    odd = cycles.where("outcome", "dropped") | cycles.where("outcome", "missed")
    main = main_finding(result)
    if main is not None:
        rows = np.array([c for c in main.cycles if 0 <= c < len(odd)], np.int64)
        odd[rows] = True
    return odd


def unmeasured(data: StationData) -> Mask:
    """True for cycles in which the reading stands still, where it does so for three and more, shape (n_cycles,)."""
    if len(data.reading_range_kpa) == len(data.cycles):
        still = standing(data.reading_range_kpa, data.sensor.quantisation_kpa)
        if still.sum() >= _LEAST_STILL:
            return still
    return np.zeros(len(data.cycles), np.bool_)


def touched(result: StationResult) -> Mask | None:
    """Cycles of the main finding where it names a part of them, at least five and not nearly all; else None."""
    main = main_finding(result)
    n = len(result.data.cycles)
    if main is None or not n:
        return None
    flag = np.zeros(n, np.bool_)
    flag[[c for c in main.cycles if 0 <= c < n]] = True
    return flag if _LEAST_TOUCHED <= flag.sum() <= _NEARLY_ALL * n else None


def counts(data: StationData) -> dict[str, int]:
    """Number of cycles per outcome, and of all under "cycles"."""
    found = {
        name: int(data.cycles.where("outcome", name).sum()) for name in ("held", "dropped", "missed", "incomplete")
    }
    return {"cycles": len(data.cycles), **found}


def early_ends(data: StationData) -> Indices:
    """Held cycles whose hold ends far before the usual moment: the station gave up, or the part was lost unseen."""
    cycles = data.cycles
    held = np.flatnonzero(cycles.where("outcome", "held"))
    lasted = (cycles.floats("hold_end_s") - cycles.floats("start_s"))[held]
    usual = median(lasted)
    scatter = 1.4826 * median(np.abs(lasted - usual))
    early = held[lasted < usual - max(_EARLY_DEVIATIONS * scatter, _EARLY_SHARE * usual)]
    return early if len(held) >= _LEAST_TOUCHED and len(early) <= _MOST_EARLY * len(held) else early[:0]


def column_of(group: LeakGroup) -> str:
    """The column of the log whose values part the groups of a leak, in words; empty where the rates alone part them."""
    name = clean(group.by.removeprefix("context_"), 30).replace("_", " ")
    return "" if name == "rate" else name


def codes_present(result: StationResult) -> set[str]:
    """Codes of every finding above info."""
    return {f.code for f in result.findings if f.severity != "info"}


def spaced(indices: Indices, most: int) -> Indices:
    """At most `most` of the indices, evenly spaced, the first and last among them."""
    if len(indices) <= most:
        return indices
    return indices[np.unique(np.linspace(0, len(indices) - 1, most).round().astype(np.int64))]


def in_periods(data: StationData, periods: Indices) -> Mask:
    """True for bins that lie in one of these rows of the periods table, shape (n_bins,)."""
    known = np.zeros(len(data.periods) + 1, np.bool_)
    known[periods] = True
    return known[data.bins.period]


def runs(mask: Mask, key: NDArray[np.int32]) -> list[tuple[int, Indices]]:
    """Indices of the masked bins per value of `key` (cycle or period), in order."""
    rows = np.flatnonzero(mask)
    if len(rows) == 0:
        return []
    values = key[rows]
    order = np.argsort(values, kind="stable")
    rows, values = rows[order], values[order]
    cuts = np.flatnonzero(np.diff(values)) + 1
    starts = np.concatenate(([0], cuts))
    return [(int(v), part) for v, part in zip(values[starts], np.split(rows, cuts), strict=True)]


def grid_spread(curves: Sequence[Floats]) -> tuple[Floats, Floats, Floats, Indices]:
    """5 %, 50 % and 95 % quantiles of curves on one grid (NaN where a curve is absent) and how many are present."""
    stack = np.vstack(curves)
    low, mid, high = known_quantiles(stack, (0.05, 0.5, 0.95))
    return low, mid, high, np.isfinite(stack).sum(axis=0)


def middle(values: Floats) -> tuple[float, float, float]:
    """5 %, 50 % and 95 % quantiles of the finite values; NaN where there is none."""
    good = values[np.isfinite(values)]
    if len(good) == 0:
        return float("nan"), float("nan"), float("nan")
    low, mid, high = np.percentile(good, (5.0, 50.0, 95.0))
    return float(low), float(mid), float(high)


def median(values: Floats) -> float:
    """Median of the finite values; NaN where there is none."""
    good = values[np.isfinite(values)]
    return float(np.median(good)) if len(good) else float("nan")


def number_word(n: int) -> str:
    """Small counts in words."""
    return _WORDS[n] if 0 <= n < len(_WORDS) else str(n)


def _ordinal(n: int) -> str:
    """As in "2nd", "4th", "11th"."""
    ending = "th" if n % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(n % 10, "th")
    return f"{n}{ending}"


def is_list(cycles: Sequence[int], most: int = 6) -> str:
    """Cycle numbers in a sentence: "4, 17 and 31", or "4, 17, 31 and 12 more", runs as "41 to 57", "every 4th"."""
    single = sorted(set(cycles))
    steps = set(np.diff(single).tolist())
    if len(single) >= _EVERY and len(steps) == 1 and (step := steps.pop()) > 1:
        return f"{single[0]}, {single[1]} and so on to {single[-1]}, every {_ordinal(step)}"
    spans: list[list[int]] = []
    for c in sorted(set(cycles)):
        if spans and c == spans[-1][1] + 1:
            spans[-1][1] = c
        else:
            spans.append([c, c])
    spans = [own for a, b in spans for own in ([[a, a], [b, b]] if b == a + 1 else [[a, b]])]
    words = [str(a) if a == b else f"{a} to {b}" for a, b in spans]
    if len(words) > most + 1:  # "and 1 more" is no shorter than the one
        left = sum(b - a + 1 for a, b in spans[most:])
        return ", ".join(words[:most]) + f" and {left} more"
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + (" and " if words[1:] else "") + "".join(words[-1:])
