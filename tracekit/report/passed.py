"""The limits of the station file, held against what a diagnosis measured."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from tracekit.frozen import dataclass
from tracekit.model.finding import Severity
from tracekit.model.station import Limit, Station
from tracekit.report.measures import measure
from tracekit.report.text import clean
from tracekit.report.verdict import Verdict
from tracekit.report.words import Num, Text, plain, say, urgency

_RANK: tuple[Severity, ...] = ("info", "minor", "major", "critical")


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed:
    """A limit that a station does not keep: whose and of what, in a sentence, and how severe the file calls it.

    `found` is the value and what the file allows, in kPa, for a step that follows a title.
    """

    station: str
    measure: str
    said: Text
    severity: Severity
    found: str = ""

    @property
    def text(self) -> str:
        """The sentence for a screen, pressures in kPa."""
        return plain(self.said)


def limits_passed(document: Mapping[str, Any], stations: Sequence[Station]) -> tuple[Passed, ...]:
    """Every limit that the medians or shares of a diagnosis do not keep, in the order of the station file.

    document  as in `diagnosis.json`; measures that it has no figure of are not judged
    """
    found = []
    for entry in document["stations"]:
        own = [s for s in stations if s.station.name == entry["station"]] or (stations if len(stations) == 1 else [])
        for name, limit in own[0].limits.items() if own else ():
            value, unit, half = _figure(entry, name)
            said = None if value is None else _said(name, Num(value=value, unit=unit, step=half), limit)
            if said is not None:
                severity, whose = next(s for s in _RANK if s == limit.severity), str(entry["station"])
                found.append(Passed(station=whose, measure=name, said=said[0], severity=severity, found=plain(said[1])))
    return tuple(found)


def _figure(entry: Mapping[str, Any], name: str) -> tuple[float | None, str, float | None]:
    """The median of a column or a share of cycles, its unit, and what limits its digits; of a leak that of the log."""
    summary = entry["summary"]
    if name in ("drop_share", "miss_share"):
        dropped = name == "drop_share"
        base = summary["held"] + summary["dropped"] + (0 if dropped else summary["missed"])
        return (summary["dropped" if dropped else "missed"] / base if base else None), "", None
    rate = entry["leak"].get(name)
    if isinstance(rate, Mapping):
        known = rate.get("limit") if rate.get("status") == "lower_bound" else rate.get("value")
        sure = "lower" in rate and "upper" in rate
        half = (float(rate["upper"]) - float(rate["lower"])) / 2.0 if sure else None
        return (None if known is None else float(known)), str(rate.get("unit", "")), half
    told = summary["measures"].get(name)
    return (None, "", None) if told is None else (float(told["median"]), str(told["unit"]), None)


def passed_by(passed: Sequence[Passed], station: str) -> tuple[Passed, ...]:
    """The limits that one station does not keep, the most severe first."""
    own = [one for one in passed if one.station == station]
    return tuple(sorted(own, key=lambda one: -_RANK.index(one.severity)))


def with_limits(said: Verdict, passed: Sequence[Passed]) -> Verdict:
    """The verdict of a station that does not keep these limits: as urgent as the most severe of them, or more."""
    worst = max((said.severity, *(one.severity for one in passed)), key=_RANK.index)
    return said if worst == said.severity else replace(said, severity=worst, action=urgency(worst))


def _said(name: str, found: Num, limit: Limit) -> tuple[Text, Text] | None:
    """A sentence of its own, and one for a step; None where the limit is kept."""
    for bound, word, over in ((limit.max, "at most", 1.0), (limit.min, "at least", -1.0)):
        if bound is not None and over * (found.value - bound) > 0.0:
            now = replace(found, step=found.step or abs(found.value) / 100.0 or None)
            most = Num(value=bound, unit=found.unit, step=_last_digit(bound), bare=True)
            start, end = f"Limit passed: {clean(measure(name).name, 80)} ", f" by the station file ({limit.severity})."
            sentence = (start, *say("{}, {} {}", now, word, most), end)
            return sentence, say("It is {}; the station file says {} {}.", now, word, replace(most, bare=False))
    return None


def _last_digit(value: float) -> float:
    """The place of the last digit that a person wrote."""
    figure = f"{value:g}"
    return float(10.0 ** -len(figure.partition(".")[2])) if "e" not in figure else abs(value)
