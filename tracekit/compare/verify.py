"""Does a sheet still hold: the logs that it names, the figures that they give."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta

from tracekit.compare.engine import Asked
from tracekit.errors import UsageError, message
from tracekit.model.comparison import Plan, Recording, Recordings
from tracekit.options.compare import CompareOptions

SCHEMA = "tracekit.comparison/1"
_RELATIVE = 1e-6
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_NAMES = frozenset({"source", "station"})  # a log is known by its hash, whatever its file is called
_UNCOMPARED = frozenset({"created", "tool", "primary_source", "station_files", "plan", "rule", "claim"})


def asked_of(sheet: Mapping[str, object], plan: Plan | None, source: str) -> Asked:
    """What the sheet's comparison was asked.

    Raises UsageError where the document is no comparison.
    """
    if sheet.get("schema") != SCHEMA:
        found = f'schema "{sheet.get("schema")}"'
        raise UsageError(message(source, found, f'"{SCHEMA}"', "Give the comparison.json of the sheet."))
    decisions = [d for d in _list(sheet.get("acceptance")) if isinstance(d, Mapping)]
    columns = tuple(str(c) for c in _list(sheet.get("matched_by")))
    return Asked(
        primary=str(sheet.get("primary")) if sheet.get("verdict") is not None else None,
        plan=plan,
        accept=tuple(str(d.get("text")) for d in decisions),
        accept_side="before" if any(d.get("side") == "before" for d in decisions) else "after",
        accept_rule=str(decisions[0].get("rule")) if decisions else "guarded",
        match=columns,
    )


def options_of(sheet: Mapping[str, object], source: str) -> CompareOptions:
    """The options that the sheet was made with.

    Raises UsageError for an option that this version does not know.
    """
    changed = sheet.get("options")
    values: dict[str, float] = {}
    known = {f.name: f.type for f in fields(CompareOptions)}
    for name, entry in (changed.items() if isinstance(changed, Mapping) else ()):
        value = entry.get("value") if isinstance(entry, Mapping) else None
        if name not in known or not isinstance(value, int | float):
            found = f'option "{name}"'
            raise UsageError(message(source, found, "one that this version knows", "Use the version named."))
        values[name] = int(value) if isinstance(getattr(CompareOptions(), name), int) else float(value)
    return CompareOptions(**values)  # type: ignore[arg-type]


def sides_of(
    sheet: Mapping[str, object], first: Recordings, second: Recordings
) -> tuple[Recordings, Recordings, tuple[str, ...]]:
    """The recordings on each side by their hashes, and what is missing or foreign.

    first, second  the same logs, read with the station file of BEFORE and of AFTER

    A log without dates begins when the sheet says; one with dates keeps its own.
    """
    wanted = [[_text(e, "log_id") for e in _list(sheet.get(side))] for side in ("before", "after")]
    have = {r.facts.log_id for r in first}
    faults = [f"no log with hash {log_id[:12]}… is given" for ids in wanted for log_id in ids if log_id not in have]
    foreign = [r.facts.source for r in first if r.facts.log_id not in {*wanted[0], *wanted[1]}]
    faults += [f"{name} is not the log that the sheet was made from" for name in foreign]
    sides = [
        tuple(_dated(r, e) for e in _list(sheet.get(side)) for r in given if r.facts.log_id == _text(e, "log_id"))
        for side, given in (("before", first), ("after", second))
    ]
    return sides[0], sides[1], tuple(faults)


def differences(sheet: Mapping[str, object], now: Mapping[str, object]) -> tuple[str, ...]:
    """Every place where the sheet and a comparison made now do not agree, figures to one part in a million."""
    kept = [{k: v for k, v in d.items() if k not in _UNCOMPARED} for d in (sheet, now)]
    return tuple(_apart("", kept[0], kept[1]))


def _dated(recording: Recording, entry: object) -> Recording:
    """The recording with the start that its sheet names, where the log has none."""
    try:
        told = datetime.fromisoformat(_text(entry, "start"))
    except ValueError:
        return recording
    if recording.facts.start_time_us is not None or told.tzinfo is None:
        return recording
    start_us = (told - _EPOCH) // timedelta(microseconds=1)
    return replace(recording, facts=replace(recording.facts, start_time_us=start_us))


def _apart(place: str, old: object, new: object) -> list[str]:
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        names = sorted({*old, *new} - _NAMES)
        return [fault for n in names for fault in _apart(f"{place}.{n}".lstrip("."), old.get(n), new.get(n))]
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        pairs = enumerate(zip(old, new, strict=True))
        return [fault for i, (a, b) in pairs for fault in _apart(f"{place}[{i}]", a, b)]
    if _numbers(old, new):
        close = math.isclose(float(str(old)), float(str(new)), rel_tol=_RELATIVE, abs_tol=1e-9)
        return [] if close else [f"{place} is {old} on the sheet, {new} from the logs"]
    return [] if old == new else [f"{place} is {_short(old)} on the sheet, {_short(new)} from the logs"]


def _numbers(*values: object) -> bool:
    return all(isinstance(v, int | float) and not isinstance(v, bool) for v in values)


def _short(value: object) -> str:
    text = "absent" if value is None else str(value)
    return text if len(text) <= 60 else text[:57] + "…"


def _list(value: object) -> Sequence[object]:
    return value if isinstance(value, list) else []


def _text(entry: object, key: str) -> str:
    return str(entry.get(key)) if isinstance(entry, Mapping) else ""
