"""Says what was understood of a log, with evidence, and writes a station file to start from."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.answers import answers
from tracekit.model.station import Station, StationFacts
from tracekit.model.trace import Assumption, Block, Layout, LogFacts
from tracekit.options.read import ReadOptions
from tracekit.read.deciding import UndecidedLogError
from tracekit.read.digitals import ROLES
from tracekit.read.head import Question
from tracekit.read.log import Log
from tracekit.read.opening import LogGroup, open_each
from tracekit.read.plan import Plan, StationPlan
from tracekit.read.settled import settled_channels, time_channel
from tracekit.read.station_text import station_text

_NO_STATION = Station()
_DEFAULT = ReadOptions()
_PICTURE_S = 20.0
_TOLD = ("time", *ROLES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """The first seconds of one station: arrays of shape (n,)."""

    station: str
    time_s: NDArray[np.float64]
    pressure_kpa: NDArray[np.float64]
    digital: NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspection:
    """What was understood of one recording.

    layout, facts  None where something has to be answered first; `questions` then says what
    station_file   the text of a station file with what was decided and lines for what was not
    message        why the log cannot be read as it is, empty where it can
    paths          the files as they were found
    """

    source: str
    assumptions: tuple[Assumption, ...]
    questions: tuple[Question, ...]
    layout: Layout | None
    facts: LogFacts | None
    pictures: tuple[Picture, ...]
    station_file: str
    message: str = ""
    paths: tuple[str, ...] = ()


def inspect_log(
    sources: Any, station: Station | Sequence[Station] = _NO_STATION, *, options: ReadOptions = _DEFAULT
) -> tuple[Inspection, ...]:
    """Read every recording among some sources and say what was understood; arguments as for `open_log`.

    A log that leaves something open gives its questions instead of facts, and so does, among several, one that cannot
    be read. Raises LogReadError where the only log cannot be read at all.
    """
    first = station if isinstance(station, Station) else next(iter(station), _NO_STATION)
    groups = open_each(sources, station, options=options)
    if len(groups) == 1 and groups[0].error is not None and not isinstance(groups[0].error, UndecidedLogError):
        raise groups[0].error
    return tuple(_read(g, g.log, first) if g.log is not None else _undecided(g, first) for g in groups)


def _undecided(group: LogGroup, station: Station) -> Inspection:
    """What is known of a log that leaves something open, or that cannot be read."""
    error = group.error
    known = error if isinstance(error, UndecidedLogError) else None
    questions = known.questions if known is not None else ()
    channels = {**(known.channels if known is not None else {}), **station.channels}
    lines = {q.line.partition(" ")[0]: q.line for q in reversed(questions)}
    text = station_text(replace(station, channels=channels), _evidence(known), without=tuple(lines))
    open_lines = f"# To be answered, with the right values:\n{_commented(lines.values())}"
    return Inspection(
        source=", ".join(group.names),
        assumptions=known.assumptions if known is not None else (),
        questions=questions,
        layout=None,
        facts=None,
        pictures=(),
        station_file=text.replace("[channels]\n", f"[channels]\n{open_lines}", 1) if questions else text,
        message=str(error),
        paths=group.paths,
    )


def _commented(lines: Iterable[str]) -> str:
    return "".join(f"# {line}\n" for line in lines)


def _evidence(known: UndecidedLogError | None) -> Mapping[str, str]:
    """Why time and signals were decided as they were, for the comments of a station file."""
    if known is None:
        return {}
    named = {f"channels.{role}": "its name" for role in ROLES if role in known.channels}
    told = {
        f"channels.{a.what}": f"{a.evidence} ({a.confidence:.0%} sure)" for a in known.assumptions if a.what in _TOLD
    }
    return {**named, **told}


def _read(group: LogGroup, log: Log, station: Station) -> Inspection:
    kept: dict[int, list[Block]] = {}
    for block in log.blocks():
        own = kept.setdefault(block.station, [])
        if sum(len(b.time_s) for b in own) < 200_000 and (not own or own[-1].time_s[-1] < _PICTURE_S):
            own.append(block)
    layout, facts = log.layout, log.facts()
    return Inspection(
        source=facts.source,
        assumptions=layout.assumptions,
        questions=(),
        layout=layout,
        facts=facts,
        pictures=tuple(_picture(layout.stations[k], blocks) for k, blocks in sorted(kept.items())),
        station_file=written_station(log.plan, station),
        paths=group.paths,
    )


def _picture(name: str, blocks: Sequence[Block]) -> Picture:
    time_s = np.concatenate([b.time_s for b in blocks])
    stop = int(np.searchsorted(time_s, time_s[0] + _PICTURE_S))
    return Picture(
        station=name,
        time_s=time_s[:stop],
        pressure_kpa=np.concatenate([b.pressure_kpa for b in blocks])[:stop],
        digital=np.concatenate([b.digital for b in blocks])[:stop],
    )


def written_station(plan: Plan, station: Station) -> str:
    """A station file with the channels of a plan; the evidence stands beside each as a comment."""
    first = plan.stations[0]
    alone = len(plan.stations) == 1
    settled = settled_channels(plan, first) if alone else time_channel(plan.time, plan.columns)
    channels = {**settled, **station.channels}
    facts: StationFacts = station.station
    if facts.name is None and alone and plan.station_column is None:
        facts = replace(facts, name=first.name)
    comments = _comments(plan, first) if alone else {**_comments(plan, first), **_side_by_side(plan)}
    return station_text(replace(station, station=facts, channels=channels), comments)


def _side_by_side(plan: Plan) -> Mapping[str, str]:
    """What is said of the channels of several stations: a line for one of them would leave the others out."""
    told = f"the log has {len(plan.stations)} stations side by side; with a line here one of them is read alone: "
    named: dict[str, list[tuple[str, str]]] = {"pressure": [(s.name, s.pressure.column) for s in plan.stations]}
    named |= {role: [(s.name, s.digitals[role].name) for s in plan.stations if role in s.digitals] for role in ROLES}
    return {f"channels.{r}": told + ", ".join(f'{n} "{c}"' for n, c in own) for r, own in named.items() if own}


def _comments(plan: Plan, first: StationPlan) -> Mapping[str, str]:
    told = {a.what: f"{a.evidence} ({a.confidence:.0%} sure)" for a in plan.assumptions}
    unit, sense = told.get(f"unit of {first.pressure.column}"), told.get(f"sense of {first.pressure.column}")
    pressure = "; ".join(part for part in (unit, sense) if part)
    found = {f"channels.{role}": told[role] for role in ("time", "supply", "release", "part_present") if role in told}
    return {**found, **({"channels.pressure": pressure} if pressure else {})}


def inspection_json(inspection: Inspection) -> dict[str, object]:
    """An inspection as a JSON object."""
    document: dict[str, object] = {
        "schema": "tracekit.inspection/1",
        "source": inspection.source,
        "decided": inspection.layout is not None,
        "assumptions": [
            {"what": a.what, "value": a.value, "evidence": a.evidence, "confidence": a.confidence}
            for a in inspection.assumptions
        ],
        "questions": [
            {"found": q.found, "line": q.line, "answers": [{"means": m, "line": text} for m, text in answers(q)]}
            for q in inspection.questions
        ],
    }
    if inspection.message:
        document["message"] = inspection.message
    if inspection.layout is not None:
        document |= _layout_json(inspection.layout)
    if inspection.facts is not None:
        document |= _facts_json(inspection.facts)
    return document


def _layout_json(layout: Layout) -> dict[str, object]:
    return {
        "stations": list(layout.stations),
        "columns": dict(layout.columns),
        "digitals": {
            "supply": layout.has_supply,
            "release": layout.has_release,
            "part_present": layout.has_present,
        },
        "absolute": layout.absolute,
    }


def _facts_json(facts: LogFacts) -> dict[str, object]:
    found: dict[str, object] = {
        "log_id": facts.log_id,
        "rows_read": facts.rows_read,
        "rows_used": facts.rows_used,
        "rows_rejected": facts.rows_rejected,
        "rejections": [
            {"reason": r.reason, "rows": r.rows, "first_lines": list(r.first_lines)} for r in facts.rejections
        ],
        "duration_s": facts.duration_s,
        "sample_interval_s": {
            "median": facts.interval_median_s,
            "p95": facts.interval_p95_s,
            "max": facts.interval_max_s,
        },
        "quantisation_kpa": facts.quantisation_kpa,
        "gaps": [list(g) for g in facts.gaps],
        "clock_steps": [list(s) for s in facts.clock_steps],
        "duplicates": facts.duplicates,
        "digital_lags": [
            {"station": lag.station, "signal": lag.signal, "lag_s": lag.lag_s, "u_s": lag.u_s, "edges": lag.edges}
            for lag in facts.digital_lags
        ],
        "warnings": list(facts.warnings),
    }
    return found if facts.start_time_us is None else {**found, "start_time_us": facts.start_time_us}
