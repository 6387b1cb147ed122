"""What a page carries so that anyone can check it against its log, and the check itself.

A page embeds the hashes of its logs, the version, the options, every figure of the diagnosis and the cycle table. With
the logs at hand the diagnosis is made again: hashes, figures, cycles and words must be the same.
"""

import base64
import gzip
import json
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np

from tracekit.errors import UsageError, message
from tracekit.model.result import DiagnosisRecord, StationResult
from tracekit.report.json import diagnosis_json
from tracekit.report.text import clean

SCHEMA = "tracekit.page/1"
_FIGURES = ("settings", "summary", "leak", "detectable", "causes", "findings", "suggestion")
_DATA = re.compile(r'<script type="application/json" id="data">(.*?)</script>', re.DOTALL)
_MAIN = re.compile(r"<main.*?</main>", re.DOTALL)
_REL, _REL_CYCLES, _MOST_WORDS, _LONGEST = 1e-6, 1e-5, 6, 160


def proof(record: DiagnosisRecord, index: int | None) -> dict[str, object]:
    """What a page embeds about itself; `index` is None on the index of several stations."""
    document: Any = diagnosis_json(record)
    chosen = range(len(record.stations)) if index is None else [index]
    found: dict[str, object] = {
        "schema": SCHEMA,
        "version": record.version,
        "created": record.created,
        "options": document["options"],
        "logs": [{"source": log.source, "log_id": log.log_id, "start_us": log.start_time_us} for log in record.logs],
        "baseline": sorted({i for k in chosen for i in _baseline_ids(record.stations[k])}),
        "stations": [record.stations[k].data.station for k in chosen],
        "several": index is None,
        "figures": [{k: document["stations"][at].get(k) for k in _FIGURES} for at in chosen],
    }
    return {key: _tidy(value) for key, value in found.items()}


def _tidy(value: object) -> object:
    """The same with every text of the log cleaned and cut."""
    if isinstance(value, Mapping):
        return {clean(str(k), _LONGEST): _tidy(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_tidy(v) for v in value]
    return clean(value, _LONGEST) if isinstance(value, str) else value


def _baseline_ids(result: StationResult) -> tuple[str, ...]:
    return result.baseline.cycles.categories["log_id"] if result.baseline is not None else ()


def embedded(text: str, where: str) -> dict[str, Any]:
    """The data that a page carries.

    Raises UsageError where it is no page of a diagnosis, or was made before pages could be checked.
    """
    found = _DATA.search(text)
    try:
        data = json.loads(found.group(1)) if found else None
    except ValueError:
        data = None
    known = isinstance(data, dict) and isinstance(data.get("proof"), dict) and data["proof"].get("schema") == SCHEMA
    if not known or not isinstance(data, dict):
        todo = "A comparison is checked by its comparison.json."
        raise UsageError(message(where, "no figures of a diagnosis in it", "report.html of tracekit diagnose", todo))
    return data


def read_page(path: Path) -> str:
    """The text of a page.

    Raises UsageError where it cannot be read.
    """
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        found = getattr(error, "strerror", None) or "not a text in UTF-8"
        raise UsageError(message(str(path), found, "a page that tracekit wrote", "Check the name.")) from error


def start_of(data: Mapping[str, Any]) -> int | None:
    """When the page's recording began [µs UTC], as the log or the command said; None where neither did."""
    starts = [log.get("start_us") for log in data["proof"]["logs"]]
    known = [start for start in starts if isinstance(start, int)]
    return min(known, default=None)


ASKS = "it was judged against a baseline"
"""How the fault begins that nothing is wrong with but what was given."""


def same_logs(data: Mapping[str, Any], record: DiagnosisRecord) -> tuple[str, ...]:
    """What is wrong with the logs at hand: one sentence per hash that is not the page's."""
    told = data["proof"]
    healthy = sorted({i for r in record.stations for i in _baseline_ids(r)})
    if (
        told["baseline"]
        and not healthy
        and sorted(log["log_id"] for log in told["logs"]) == sorted(log.log_id for log in record.logs)
    ):
        return (f"{ASKS}, SHA-256 {_short(sorted(told['baseline']))}, which is not given",)
    advice = "give it as --baseline LOG, or --history DIR for a last good log" if told["baseline"] else "leave it out"
    pairs = (
        ("logs", sorted(log["log_id"] for log in told["logs"]), sorted(log.log_id for log in record.logs), ""),
        ("baseline", sorted(told["baseline"]), healthy, f"; {advice}"),
    )
    return tuple(
        f"{name}: the page names {_short(a)}, given are {_short(b)}{todo}" for name, a, b, todo in pairs if a != b
    )


def _short(hashes: list[str]) -> str:
    return ", ".join(h[:12] for h in hashes) or "none"


def dated(record: DiagnosisRecord, data: Mapping[str, Any]) -> DiagnosisRecord:
    """The diagnosis made again, with the day of the page, so that its words can be compared."""
    return replace(record, created=str(data["proof"]["created"]))


def index_of(data: Mapping[str, Any], record: DiagnosisRecord) -> int | None:
    """Which station of the diagnosis the page shows; None for an index of several.

    Raises UsageError where the logs hold no such station.
    """
    names = [clean(r.data.station, _LONGEST) for r in record.stations]
    told = data["proof"]["stations"]
    if any(name not in names for name in told):
        raise UsageError(
            message(
                "page",
                f'the station "{told[0]}"',
                f"one of these logs, which are of {', '.join(names)}",
                "Give --station FILE that the page was made with.",
            )
        )
    return None if data["proof"]["several"] else names.index(told[0])


def differences(text: str, data: Mapping[str, Any], again: str) -> tuple[str, ...]:
    """Where a page and the page made again from the logs differ: figures, cycles, words; nothing where it follows."""
    fresh = embedded(again, "the page made again")
    faults = [*_figures(data["proof"], fresh["proof"]), *_cycles(data.get("cycles"), fresh.get("cycles"))]
    if data["proof"]["version"] == fresh["proof"]["version"]:
        faults += _words(text, again)
    return tuple(faults)


def _figures(told: Mapping[str, Any], found: Mapping[str, Any]) -> list[str]:
    before = dict(_leaves({"options": told["options"], "figures": told["figures"]}))
    after = dict(_leaves({"options": found["options"], "figures": found["figures"]}))
    faults = []
    for name in sorted(before.keys() | after.keys()):
        a, b = before.get(name), after.get(name)
        if not _same(a, b):
            label = name.removeprefix("figures.0.").removeprefix("figures.")
            faults.append(f"{label}: {_said(a)} in the page, {_said(b)} from the logs")
    return faults


def _leaves(value: object, name: str = "") -> Iterator[tuple[str, object]]:
    """Every figure and word of a document by its path."""
    items: list[tuple[str, object]]
    if isinstance(value, Mapping):
        items = [(str(k), v) for k, v in value.items()]
    elif isinstance(value, list | tuple):
        items = [(str(k), v) for k, v in enumerate(value)]
    else:
        yield name, value
        return
    for key, item in items:
        yield from _leaves(item, f"{name}.{key}" if name else key)


def _same(a: object, b: object) -> bool:
    if isinstance(a, int | float) and isinstance(b, int | float):
        return math.isclose(a, b, rel_tol=_REL, abs_tol=1e-9)
    return a == b


def _said(value: object) -> str:
    return "nothing" if value is None else str(value)[:60]


def _cycles(told: Mapping[str, Any] | None, found: Mapping[str, Any] | None) -> list[str]:
    """Columns of the cycle table that differ, with how many cycles."""
    if told is None or found is None:
        return [] if told == found else ["the cycle table is missing on one side"]
    if told["rows"] != found["rows"]:
        return [f"cycles: {len(told['rows'])} in the page, {len(found['rows'])} from the logs"]
    before, after = _unpacked(told), _unpacked(found)
    faults = []
    for name in sorted(before.keys() | after.keys()):
        a, b = before.get(name), after.get(name)
        if a is None or b is None:
            faults.append(f"cycles: column {name} on one side only")
            continue
        apart = ~(np.isclose(a, b, rtol=_REL_CYCLES, atol=1e-6) | (np.isnan(a) & np.isnan(b)))
        if apart.any():
            faults.append(f"cycles: {name} differs in {int(apart.sum())} of {len(a)} cycles")
    return faults


def _unpacked(packed: Mapping[str, Any]) -> dict[str, np.ndarray[Any, Any]]:
    """Columns of an embedded cycle table by name, the starts among them.

    Raises UsageError where the bytes are damaged.
    """
    try:
        body = np.frombuffer(gzip.decompress(base64.b64decode(packed["body"])), "<f4")
        start = np.frombuffer(gzip.decompress(base64.b64decode(packed["start"])), "<f8")
        columns = body.reshape(len(packed["columns"]), len(packed["rows"]))
    except (OSError, EOFError, ValueError) as error:
        todo = "Ask for the page anew."
        raise UsageError(message("page", "its cycle table is damaged", "the table as written", todo)) from error
    return {"start_s": start, **{c["name"]: v for c, v in zip(packed["columns"], columns, strict=True)}}


def _words(text: str, again: str) -> list[str]:
    """Sentences that only one of both pages says."""
    told, found = _lines(text), _lines(again)
    only = [f'the page says "{line[:80]}", the logs do not' for line in told if line not in set(found)]
    missing = [f'the logs say "{line[:80]}", the page does not' for line in found if line not in set(told)]
    return [*only[:_MOST_WORDS], *missing[:_MOST_WORDS]]


def _lines(text: str) -> list[str]:
    """The words of a page's main part, tag by tag."""
    main = _MAIN.search(text)
    plain = unescape(re.sub(r"<[^>]*>", "\n", main.group(0) if main else text))
    return [line.strip() for line in plain.split("\n") if line.strip()]
