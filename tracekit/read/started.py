"""When a recording began, by the free lines above the header."""

import re
from collections.abc import Sequence

import pyarrow as pa

from tracekit.frozen import dataclass
from tracekit.read.cells import cell_kind
from tracekit.read.stamp_values import stamp_ns
from tracekit.read.stamps import find_form
from tracekit.read.words import tokens_of

_LINE = re.compile(r"^\W*(?P<key>[^\W\d][^\d:=;\t,]*?)[\s:=;,\"]+(?P<value>\d.*?)[\s;,\"]*$")
_STARTS = frozenset({
    "start", "started", "starts", "begin", "began", "begun", "beginn", "gestartet", "startzeit", "starttime",
    "startdate", "startdatum", "aufzeichnungsbeginn", "messbeginn", "messstart", "debut", "inicio", "inizio", "avvio",
    "poczatek", "zacatek", "baslangic", "начало", "开始", "开始时间", "開始", "開始時刻", "開始日時",
})  # fmt: skip
_TRIGGERS = frozenset({"trigger", "triggered", "trig", "triggertime", "triggerzeit", "triggerzeitpunkt", "auslosung"})
_BESIDE = frozenset({
    "recording", "record", "log", "logging", "measurement", "acquisition", "trace", "sampling", "test", "file", "data",
    "time", "date", "datetime", "stamp", "timestamp", "at", "on", "of", "the", "der", "messung", "aufzeichnung", "zeit",
    "datum", "de", "du", "la", "mesure", "heure", "enregistrement", "hora", "fecha", "ora", "utc",
    "local",
})  # fmt: skip
"""Words that name a start, and those that may stand beside them; a shift or a program that starts is another thing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """When a recording began: Unix time [s] as it stands there, whether with its zone, and the line.

    trigger  it is the time at which the recorder was triggered: that of elapsed time 0, before which rows may stand
    """

    unix_s: float
    zoned: bool
    line: str
    trigger: bool = False


def find_start(lines: Sequence[str]) -> Started | None:
    """The start that lines tell with date and time, else the trigger; None where none does, or they differ."""
    found = [start for line in lines if (start := _start_of(line)) is not None]
    if not found and (joined := _in_two_lines(lines)):
        found = [start for start in [_start_of(joined)] if start is not None]
    found = found or [start for line in lines if (start := _start_of(line, _TRIGGERS)) is not None]
    return found[0] if found and len({start.unix_s for start in found}) == 1 else None


def _in_two_lines(lines: Sequence[str]) -> str:
    """The start whose date and time of day stand in a line each, as one line; empty where there are no two such."""
    parts: dict[bool, list[str]] = {True: [], False: []}
    for line in lines:
        match = _LINE.match(line)
        words = set(tokens_of(match["key"])) if match is not None else set()
        if match is None or not words & _STARTS or words - _STARTS - _BESIDE or cell_kind(match["value"]) != "time":
            continue
        form = find_form([match["value"]])
        if form is not None and form.has_date != form.has_clock:
            parts[form.has_date].append(match["value"])
    dates, clocks = parts[True], parts[False]
    return f"start: {dates[0]} {clocks[0]}" if len(dates) == len(clocks) == 1 else ""


def _start_of(line: str, named: frozenset[str] = _STARTS) -> Started | None:
    match = _LINE.match(line)
    if match is None or cell_kind(match["value"]) != "time":
        return None
    words = set(tokens_of(match["key"]))
    form = find_form([match["value"]])
    if not words & named or words - named - _BESIDE or form is None:
        return None
    if not (form.has_date and form.has_year and form.has_clock) or form.ambiguous:
        return None
    ns, sound = stamp_ns(pa.array([match["value"].encode()], pa.binary()), form)
    if not sound[0]:
        return None
    zoned, trigger = bool(form.zone) or "utc" in words, named is _TRIGGERS
    return Started(unix_s=int(ns[0]) / 1e9, zoned=zoned, line=line.strip(), trigger=trigger)
