"""The limits of the station file, held against what a diagnosis measured."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tracekit.fleet.batch import SEVERITIES
from tracekit.model.finding import Severity
from tracekit.model.station import Limit, Station
from tracekit.report.measures import measure
from tracekit.report.text import clean
from tracekit.report.words import Num, plain, say


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed:
    """A limit that a station does not keep: the sentence that says so, and how severe the station file calls it."""

    text: str
    severity: Severity


def limits_passed(document: Mapping[str, Any], stations: Sequence[Station]) -> tuple[Passed, ...]:
    """Every limit that the medians or shares of a diagnosis do not keep, in the order of the station file.

    document  as in `diagnosis.json`; measures that it has no figure of are not judged
    """
    found = []
    for entry in document["stations"]:
        own = [s for s in stations if s.station.name == entry["station"]] or (stations if len(stations) == 1 else [])
        for name, limit in own[0].limits.items() if own else ():
            value, unit = _figure(entry, name)
            passed = None if value is None else _passed(name, value, unit, limit)
            if passed is not None:
                found.append(passed)
    return tuple(found)


def _figure(entry: Mapping[str, Any], name: str) -> tuple[float | None, str]:
    """The median of a column or a share of cycles, with its unit; of a leak the log's, or its lower bound."""
    summary = entry["summary"]
    if name in ("drop_share", "miss_share"):
        dropped = name == "drop_share"
        base = summary["held"] + summary["dropped"] + (0 if dropped else summary["missed"])
        return (summary["dropped" if dropped else "missed"] / base if base else None), ""
    rate = entry["leak"].get(name)
    if isinstance(rate, Mapping):
        known = rate.get("limit") if rate.get("status") == "lower_bound" else rate.get("value")
        return (None if known is None else float(known)), str(rate.get("unit", ""))
    told = summary["measures"].get(name)
    return (None, "") if told is None else (float(told["median"]), str(told["unit"]))


def _passed(name: str, value: float, unit: str, limit: Limit) -> Passed | None:
    for bound, word, over in ((limit.max, "at most", 1.0), (limit.min, "at least", -1.0)):
        if bound is not None and over * (value - bound) > 0.0:
            now = Num(value=value, unit=unit, step=abs(value) / 100.0 or None)
            said = plain(say("{}, {} {}", now, word, f"{bound:g}"))
            severity = next(s for s in SEVERITIES if s == limit.severity)
            title = clean(measure(name).name, 80)
            return Passed(text=f"Limit passed: {title} {said} by the station file ({severity}).", severity=severity)
    return None
